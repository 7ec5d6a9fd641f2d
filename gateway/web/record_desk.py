"""Records made for a page: one command at a time in a process of its own, what it wrote in a folder of the home.

It is the same command as on the terminal, so that a page can do nothing that a person could not check. The folders
are copies; every one of them can be made again from the journal.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from gateway.progress import FILE
from gateway.web.gate import TurnedAway

KEPT = 20
SAID, TROUBLE, PROGRESS = "said.txt", "trouble.txt", "progress.txt"
BUSY = "Something else is being made just now. Wait until it is done."
_FOLDER = re.compile(r"\d{8}-\d{6}-[a-z-]{1,12}")
Process = subprocess.Popen[bytes]


@dataclass(frozen=True, slots=True)
class File:
    """One file that was written: its name and how many bytes it has."""

    name: str
    size: int


@dataclass(frozen=True, slots=True)
class Made:
    """One command's folder: what it wrote, whether it is still at it, how far it is (0..1), what went wrong."""

    name: str
    files: tuple[File, ...]
    running: bool = False
    done: float = 0.0
    doing: str = ""
    trouble: str = ""
    said: str = ""


@dataclass(slots=True)
class Desk:
    """Starts commands and tells of them. home: the folder of the journal."""

    home: Path
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _running: tuple[str, Process] | None = None

    @property
    def _folder(self) -> Path:
        return self.home / "records"

    def start(self, name: str, command: str, words: Sequence[str], texts: dict[str, str] | None = None) -> None:
        """Start `dewgate COMMAND`; {out} in its words is its folder. texts: files to lay there beforehand.

        Raises TurnedAway while another one works.
        """
        with self._lock:
            if self._running and self._running[1].poll() is None:
                raise TurnedAway(409, BUSY)
            self._forget_the_oldest()
            out = self._folder / name
            out.mkdir(parents=True, mode=0o700, exist_ok=True)
            for each, text in (texts or {}).items():
                (out / each).write_text(text, encoding="utf-8")
            said = [word.replace("{out}", str(out)) for word in words]
            line = ["nice", "-n", "10", sys.executable, "-m", "gateway", command, "--home", str(self.home), *said]
            with (out / SAID).open("wb") as told, (out / TROUBLE).open("wb") as trouble:
                here = os.environ | {FILE: str(out / PROGRESS)}
                process = subprocess.Popen(line, stdin=subprocess.DEVNULL, stdout=told, stderr=trouble, env=here)  # noqa: S603
            self._running = name, process

    def _forget_the_oldest(self) -> None:
        for each in self._names()[KEPT - 1 :]:
            shutil.rmtree(self._folder / each, ignore_errors=True)

    def _names(self) -> list[str]:
        """The newest first."""
        if not self._folder.is_dir():
            return []
        return sorted((each.name for each in self._folder.iterdir() if _FOLDER.fullmatch(each.name)), reverse=True)

    def every(self) -> list[Made]:
        """Return what was made, the newest first."""
        return [self.made(name) for name in self._names()]

    def made(self, name: str) -> Made:
        """Return one. Raises TurnedAway where there is none."""
        if name not in self._names():
            raise TurnedAway(404, "There is no such record here; it can be made again.")
        folder, running = self._folder / name, self._running
        busy = running is not None and running[0] == name and running[1].poll() is None
        own = {SAID, TROUBLE, PROGRESS, f"{PROGRESS}.part"}
        files = tuple(
            File(each.name, each.stat().st_size) for each in sorted(folder.iterdir())
            if each.name not in own and each.suffix not in (".part", ".toml")
        )  # fmt: skip
        done, doing = _progress(folder / PROGRESS) if busy else (0.0, "")
        said, trouble = _text(folder / SAID), "" if busy else _text(folder / TROUBLE)
        if not busy and not files and not said and not trouble:
            trouble = "It was not finished: the gateway was stopped meanwhile."
        return Made(name, () if busy else files, busy, done, doing, trouble, said)

    def path(self, name: str, file: str) -> Path:
        """Return where a file of a record lies. Raises TurnedAway where there is none."""
        if file not in {each.name for each in self.made(name).files}:
            raise TurnedAway(404, "There is no such file.")
        return self._folder / name / file


def _text(path: Path) -> str:
    return path.read_text("utf-8", "replace").strip() if path.exists() else ""


def _progress(path: Path) -> tuple[float, str]:
    done, _, rest = _text(path).partition(" ")
    total, _, doing = rest.partition(" ")
    if not (done.isdecimal() and total.isdecimal() and int(total)):
        return 0.0, ""
    return min(1.0, int(done) / int(total)), doing
