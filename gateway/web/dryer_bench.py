"""Readings and certificates of the yard's pages, by `dewgate dryer` in processes of their own.

The pages live in the process that judges alarms: what folds a journal, sets a page or seals it stays out of it.
"""

from __future__ import annotations

import subprocess
import sys
import time
import tomllib
from dataclasses import dataclass
from pathlib import Path

from gateway.jobsite import Jobsite, Train
from gateway.train_look import DRYER_KINDS
from gateway.web.dryer_shelf import CERTIFICATE, CRITERIA, READINGS, TEST, Shelf

PATIENCE_S = 60
FRESH_S = 8.0  # readings are taken anew when they are older, while somebody looks
LONGEST_S = 8 * 3600.0  # a test that was forgotten is read no further back


@dataclass(frozen=True, slots=True)
class Bench:
    """What the pages ask of the command. home: the gateway's; shelf: the yard's files in it."""

    home: Path
    shelf: Shelf

    def look(self, serial: str, name: str) -> str:
        """Take the readings of an open test anew where they come from this gateway; return what went wrong."""
        folder = self.shelf.test_folder(serial, name)
        facts = self.shelf.raw_test(serial, name).get("test", {})
        readings = folder / READINGS
        if not facts.get("train") or (folder / CERTIFICATE).exists() or _is_fresh(readings):
            return ""
        done = self._run("readings", "--home", str(self.home), "--train", facts["train"], "--from", facts["from"])
        if done.returncode:
            return done.stderr.strip()
        self.shelf.put_rows(serial, name, READINGS, done.stdout)
        raw = self.shelf.raw_test(serial, name)
        stated = tomllib.loads(done.stderr).get("accuracy", {})
        if stated and "accuracy" not in raw:
            self.shelf.put_test(serial, name, raw | {"accuracy": stated})
        return ""

    def certify(self, serial: str, name: str, person: str, language: str = "en") -> str:
        """Judge, keep, enter in the record and seal a test; return what went wrong."""
        folder, unit = self.shelf.open_test(serial, name), self.shelf.register(serial)
        asked = self.shelf.folder / CRITERIA
        criteria = ["--criteria", str(asked)] if asked.exists() else []
        part = folder / f"{CERTIFICATE}.part"
        done = self._run("check", str(unit), str(folder / TEST), *criteria, "--keep", "--home", str(self.home),
                         "--who", person, "--language", language, "--pdf", str(part))  # fmt: skip
        if not part.exists() or done.returncode == 2:
            return done.stderr.strip() or "The certificate could not be made; try again in a moment."
        part.rename(folder / CERTIFICATE)
        return ""

    def _run(self, action: str, *words: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "gateway", "dryer", action, *words]
        try:
            return subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=False)  # noqa: S603
        except subprocess.TimeoutExpired:
            return subprocess.CompletedProcess(command, 2, "", f"This took longer than {PATIENCE_S} s; try again.")


def _is_fresh(readings: Path) -> bool:
    return readings.exists() and time.time() - readings.stat().st_mtime < FRESH_S


def trains(site: Jobsite | None) -> list[Train]:
    """The trains of this gateway that have a dryer in them: benches that readings can come from."""
    return [each for each in site.trains if any(p.kind in DRYER_KINDS for p in each.pieces)] if site else []
