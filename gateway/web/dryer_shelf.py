"""The yard's files in a home, as pages and `dewgate dryer` share them: registers, criteria, tests, certificates.

`dryers/D-0417.toml` is a unit's register, `dryers/D-0417.tests.jsonl` its kept tests, `dryers/D-0417/NAME/` one
test with `test.toml`, `readings.csv` and, once it is judged, `certificate.pdf`. A file is whole or not there.
"""

from __future__ import annotations

import os
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gateway import dryer_file, dryer_rows
from gateway.dryer_past import Kept
from gateway.dryer_trend import history_of
from gateway.dryer_unit import Criteria, Test, Unit
from gateway.web.dryer_forms import to_toml

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")
CRITERIA, TEST, READINGS, RECORD, CERTIFICATE = (
    "criteria.toml", "test.toml", "readings.csv", "record.csv", "certificate.pdf",
)  # fmt: skip
BENCH = "_bench.toml"  # no serial begins like this
MOST_UNITS, MOST_TESTS = 5000, 1000
Raw = dict[str, Any]


class NotThere(Exception):
    """There is no such unit or test; the message says which."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """The folder of the yard in a home."""

    folder: Path

    def serials(self) -> list[str]:
        """Every unit, by serial."""
        found = self.folder.glob("*.toml") if self.folder.exists() else ()
        return sorted(path.stem for path in found if path.name not in (CRITERIA, BENCH))

    def register(self, serial: str) -> Path:
        """The register's file. Raises: NotThere."""
        path = self.folder / f"{serial}.toml"
        if not NAME.fullmatch(serial) or path.name == CRITERIA or not path.exists():
            raise NotThere(f"There is no dryer {serial} in this yard.")
        return path

    def test_folder(self, serial: str, name: str) -> Path:
        """One test's folder. Raises: NotThere."""
        path = self.register(serial).with_suffix("") / name
        if not NAME.fullmatch(name) or not (path / TEST).exists():
            raise NotThere(f"Dryer {serial} has no test {name}.")
        return path

    def raw(self, serial: str) -> Raw:
        """The register as it is written. Raises: NotThere, tomllib.TOMLDecodeError."""
        return tomllib.loads(_text(self.register(serial)))

    def unit(self, serial: str) -> Unit:
        """The unit. Raises: NotThere, FileErrors."""
        path = self.register(serial)
        return dryer_file.unit(_text(path), path.name)

    def put_new(self, raw: Raw) -> Unit:
        """Enter a new unit. Raises: NotThere for a serial that cannot be or is there, FileErrors."""
        serial = str(raw["unit"]["serial"])
        if not NAME.fullmatch(serial) or f"{serial}.toml" == CRITERIA:
            raise NotThere(
                "A serial has 1 to 40 letters, digits, '-', '_' or '.', and begins with a letter or digit."
            )
        if (self.folder / f"{serial}.toml").exists():
            raise NotThere(f"Dryer {serial} is in the register already.")
        if len(self.serials()) >= MOST_UNITS:
            raise NotThere("There is no room for more dryers in this home.")
        return self._put(raw)

    def put(self, raw: Raw) -> Unit:
        """Change a unit's register. Raises: NotThere, FileErrors."""
        self.register(str(raw["unit"]["serial"]))
        return self._put(raw)

    def _put(self, raw: Raw) -> Unit:
        serial, text = raw["unit"]["serial"], to_toml(raw)
        unit = dryer_file.unit(text, f"{serial}.toml")
        _write(self.folder / f"{serial}.toml", text.encode())
        return unit

    def history(self, serial: str) -> list[Kept]:
        """The tests kept. Raises: NotThere, FileErrors."""
        path = self.register(serial).with_suffix(".tests.jsonl")
        return history_of(_text(path), path.name) if path.exists() else []

    def criteria_raw(self) -> Raw:
        """The owner's criteria as they are written; nothing where there are none."""
        path = self.folder / CRITERIA
        return tomllib.loads(_text(path)) if path.exists() else {}

    def criteria(self) -> Criteria:
        """The owner's criteria; none is built in. Raises: FileErrors."""
        return dryer_file.criteria(to_toml(self.criteria_raw()), CRITERIA)

    def put_criteria(self, raw: Raw) -> None:
        """Change the criteria. Raises: FileErrors."""
        text = to_toml(raw)
        dryer_file.criteria(text, CRITERIA)
        _write(self.folder / CRITERIA, text.encode())

    def bench(self) -> Raw:
        """What the newest test stated of the bench: its name, and the accuracy of its instruments."""
        path = self.folder / BENCH
        return tomllib.loads(_text(path)) if path.exists() else {}

    def put_bench(self, **said: Raw) -> None:
        """Remember what a test stated of the bench, as a proposal for the next one."""
        _write(self.folder / BENCH, to_toml(self.bench() | said).encode())

    def tests(self, serial: str) -> list[str]:
        """The names of a unit's tests, newest first."""
        folder = self.register(serial).with_suffix("")
        return sorted((path.parent.name for path in folder.glob(f"*/{TEST}")), reverse=True)

    def begin(self, serial: str, facts: Raw) -> str:
        """Begin a test and return its name. Raises: NotThere, FileErrors."""
        unit = self.unit(serial)
        stem, taken = f"{facts['day']}-{facts['kind']}", set(self.tests(serial))
        if len(taken) >= MOST_TESTS:
            raise NotThere(f"There is no room for more tests of {serial}.")
        name = next(one for one in (stem, *(f"{stem}-{n}" for n in range(2, MOST_TESTS + 2))) if one not in taken)
        text = to_toml({"test": {**facts, "readings": READINGS}})
        dryer_file.read_test(text, unit, "", TEST)
        _write(self.folder / serial / name / TEST, text.encode())
        return name

    def raw_test(self, serial: str, name: str) -> Raw:
        """A test's file as it is written. Raises: NotThere."""
        return tomllib.loads(_text(self.test_folder(serial, name) / TEST))

    def test(self, serial: str, name: str) -> Test:
        """A test with its readings so far. Raises: NotThere, FileErrors."""
        folder = self.test_folder(serial, name)
        readings = folder / READINGS
        text = _text(readings) if readings.exists() else ""
        return dryer_file.read_test(_text(folder / TEST), self.unit(serial), text, TEST)

    def put_test(self, serial: str, name: str, raw: Raw) -> None:
        """Change a test that has no certificate yet. Raises: NotThere, FileErrors."""
        folder, text = self.open_test(serial, name), to_toml(raw)
        dryer_file.read_test(text, self.unit(serial), "", TEST)
        _write(folder / TEST, text.encode())

    def put_rows(self, serial: str, name: str, file: str, text: str) -> None:
        """Keep readings or a rental's record of a test. Raises: NotThere, FileErrors."""
        folder = self.open_test(serial, name)
        dryer_rows.rows_of(text, file)
        _write(folder / file, text.encode())

    def open_test(self, serial: str, name: str) -> Path:
        """The folder of a test that may still change. Raises: NotThere."""
        folder = self.test_folder(serial, name)
        if (folder / CERTIFICATE).exists():
            raise NotThere("This test has its certificate: nothing of it changes any more. Begin another one.")
        return folder


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8-sig")


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.part")
    with part.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    part.rename(path)
