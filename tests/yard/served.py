"""`dewgate yard run` and `dewgate push` as a clerk and a keeper start them."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
import time
import urllib.request
from contextlib import closing, suppress
from pathlib import Path

from gateway.adapters.journal import entries_after, open_reader
from gateway.adapters.site_book import SITES
from gateway.adapters.yard_db import YardDb
from tests.broker import free_port


class ServedYard:
    """The real program on loopback; can be killed and started again."""

    def __init__(self, folder: Path, *more: str) -> None:
        self.folder, self.port, self.more = folder, free_port(), more
        self.log = folder.parent / "yard.log"
        self.scheme = "https" if "--tls-cert" in more else "http"
        self.start()

    @property
    def url(self) -> str:
        return f"{self.scheme}://localhost:{self.port}"

    def start(self) -> None:
        command = [
            sys.executable,
            "-X",
            "faulthandler",
            "-m",
            "gateway",
            "yard",
            "--folder",
            str(self.folder),
            "run",
        ]
        with self.log.open("ab") as out:
            self.process = subprocess.Popen(
                [*command, "--listen", f"127.0.0.1:{self.port}", *self.more], stdout=out, stderr=out
            )

    def wait(self, seconds: float = 30) -> None:
        """Wait until it answers."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            with suppress(OSError):
                urllib.request.urlopen(f"http://127.0.0.1:{self.port}/static/board.css", timeout=2).close()
                return
            time.sleep(0.1)
        raise AssertionError(self.log.read_text())

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()

    def stop(self) -> int:
        self.process.terminate()
        try:
            return self.process.wait(30)
        except subprocess.TimeoutExpired:
            self.process.send_signal(signal.SIGABRT)  # it writes down where each thread stands
            self.process.wait()
            raise AssertionError(self.log.read_text()) from None


def token_file(yard: Path, site: str, to: Path, key: str = "") -> Path:
    """Let a site send, as `dewgate yard add` does; return the file with its token."""
    yard.mkdir(mode=0o700, exist_ok=True)
    with closing(YardDb(yard / "yard.db")) as db:
        token = db.add(site, key, 300, 0)
    to.touch(mode=0o600)
    to.write_text(token + "\n")
    return to


def pusher(home: Path, url: str, site: str, token: Path, *more: str) -> subprocess.Popen[bytes]:
    """Start `dewgate push`."""
    command = [sys.executable, "-m", "gateway", "push", "--home", str(home), "--yard", url, "--site", site]
    return subprocess.Popen([*command, "--token-file", str(token), "--every", "0.2", *more])


def size(yard: Path, site: str) -> int:
    """Return how many entries the yard holds of a site."""
    path = yard / SITES / site / "journal.db"
    if not path.exists():
        return 0
    with closing(open_reader(path)) as reader, suppress(sqlite3.OperationalError):  # being made
        row = reader.execute("SELECT size FROM arrived").fetchone()
        return int(row[0]) if row else 0
    return 0


def held(yard: Path, site: str) -> list[bytes]:
    """Return what the yard holds of a site, or nothing before the first entry."""
    path = yard / SITES / site / "journal.db"
    if not path.exists():
        return []
    with closing(open_reader(path)) as reader:
        try:
            return list(entries_after(reader, 0))
        except sqlite3.OperationalError:  # being made
            return []
