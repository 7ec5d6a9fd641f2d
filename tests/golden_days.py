"""Play a golden day of `tests/scenarios` through the whole fold, and write down what happened minute by minute.

A day is a file an inspector can read: a story, readings as a table (straight lines between its rows, "-" is
silence), what persons do, and what is expected. `python -m tests.golden_days FILE` prints what happens now, with
the messages as they arrive on the phones.
"""

from __future__ import annotations

import json
import random
import sys
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from alerts.notification import Notice
from gateway import entry
from gateway.config import load
from gateway.entry import Arrival, Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Jobsite
from gateway.payload import canonical

HERE = Path(__file__).parent / "scenarios"
STEP_MS, MINUTE = 20_000, 60_000


@dataclass
class Line:
    """One thing that happened: the minute, and the words; a notice beside it where it is a message."""

    minute: int
    words: str
    notice: Notice | None = None

    def __str__(self) -> str:
        return f"{self.minute:4d}  {self.words}"


def days() -> list[Path]:
    """Every golden day."""
    return sorted(path for path in HERE.glob("*.toml") if path.name != "jobsite.toml")


def expected(path: Path) -> list[str]:
    """The lines that a day promises."""
    return [line.rstrip() for line in tomllib.loads(path.read_text())["expected"].strip("\n").splitlines()]


def play(path: Path) -> list[Line]:
    """Return what happens on a day."""
    told = tomllib.loads(path.read_text())
    return _Day(_site(told.get("limits", "")), told).play()


def _site(more: str) -> Jobsite:
    """The jobsite of the golden days, with the limits a day adds."""
    with TemporaryDirectory() as folder:
        file = Path(folder) / "jobsite.toml"
        file.write_text((HERE / "jobsite.toml").read_text() + more)
        return load(file)


class _Day:
    def __init__(self, site: Jobsite, told: Mapping[str, Any]) -> None:
        self.site = site
        self.begins = round(datetime.fromisoformat(told["begins"]).timestamp() * 1000)
        self.minutes: int = told["minutes"]
        self.table = list(_table(told["readings"]))
        self.acts = list(_acts(told.get("acts", "")))
        self.noise: Mapping[str, float] = told.get("noise", {})
        self.chance, self.digit = random.Random(7), random.Random(8)
        self.flow, self.now = Flow(), self.begins
        self.units = {sensor.id: sensor.unit for sensor in site.sensors}

    def play(self) -> list[Line]:
        self._put(Kind.STARTED, {"offset_ms": 0})
        self._fold(entry.plain(Kind.CONFIG_SET, self.now, canonical.config_set(self.site, "keeper", "golden day")))
        lines: list[Line] = []
        for step in range(self.minutes * MINUTE // STEP_MS):
            self.now = self.begins + step * STEP_MS
            out = self.flow.tick(self.now)
            lines += self._lines(out)
            for minute, body in self.acts:
                if minute * MINUTE == step * STEP_MS:
                    lines += self._lines(self._put(Kind.ACTION, self._act(body)))
            lines += self._lines(self._speak(step * STEP_MS / MINUTE))
        return lines

    def _put(self, kind: Kind, body: Mapping[str, Any]) -> Outcomes:
        return self._fold(entry.plain(kind, self.now, canonical.to_bytes(body)))

    def _fold(self, made: bytes) -> Outcomes:
        out = Outcomes()
        refused = self.flow.state.counts.get("act refused", 0)
        self.flow.advance([made], out)
        assert self.flow.state.counts.get("act refused", 0) == refused, f"refused: {made!r}"
        return out

    def _act(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """`until` is written as a minute of the day that is played, an alarm as `of` its limit."""
        made = dict(body)
        if "of" in made:
            made["number"] = f"A-{self.flow.state.alarms[made.pop('of')].number}"
        if "until" in made:
            made["until_ms"] = self.begins + int(made.pop("until")) * MINUTE
        return made

    def _speak(self, minute: float) -> Outcomes:
        out = Outcomes()
        for name, value in _row(self.table, minute).items():
            if value is None:
                continue
            digit = 0.0 if name in self.noise else self.digit.choice((0.0, 0.001))  # never still for hours
            noisy = value + self.chance.gauss(0.0, self.noise.get(name, 0.0)) + digit
            pack = [{"n": name, "u": self.units[name], "v": round(noisy, 3), "t": self.now / 1000}]
            topic = f"dewgate/{self.site.id}/{name}"
            self.flow.receive(Arrival(topic, json.dumps(pack).encode()), self.now, out)
        return out

    def _lines(self, out: Outcomes) -> Iterator[Line]:
        for event in map(json.loads, out.events):
            minute = (event["core_ms"] - self.begins) // MINUTE
            if event["change"] == "kept back":
                yield Line(minute, f"{event['number']} kept back: {event['reason']}")
            elif event["change"] != "told":
                yield Line(minute, f"{event['number']} {event['change']}: {event['limit'] or event['reason']}")
        for notice in out.notices:
            minute = (self.flow.state.judged_ms - self.begins) // MINUTE
            yield Line(minute, f"{notice.person} is told: {notice.title}", notice)


def _table(text: str) -> Iterator[tuple[float, dict[str, float | None]]]:
    names, *rows = (line.split() for line in text.strip().splitlines())
    for minute, *cells in rows:
        yield float(minute), {n: None if c == "-" else float(c) for n, c in zip(names[1:], cells, strict=True)}


def _row(table: list[tuple[float, dict[str, float | None]]], minute: float) -> dict[str, float | None]:
    """Straight lines between the rows; what is silent in a row is silent until the next."""
    at = max(n for n, (since, _) in enumerate(table) if since <= minute)
    since, before = table[at]
    until, after = table[min(at + 1, len(table) - 1)]
    share = 0.0 if until == since else (minute - since) / (until - since)
    found: dict[str, float | None] = {}
    for name, value in before.items():
        later = after[name]
        found[name] = value if value is None or later is None else value + share * (later - value)
    return found


def _acts(text: str) -> Iterator[tuple[int, dict[str, Any]]]:
    """`minute person act name=words, name=words`."""
    for line in text.strip().splitlines():
        minute, person, act, *rest = line.split(maxsplit=3)
        words = dict(pair.strip().split("=", 1) for pair in rest[0].split(",")) if rest else {}
        yield int(minute), {"act": act, "person": person, **words}


def main() -> None:
    """Print a day as it happens now, with every message in full."""
    for name in sys.argv[1:]:
        path = Path(name)
        print(tomllib.loads(path.read_text())["title"])
        for line in play(path):
            print(line)
            if line.notice:
                print("\n".join(f"        | {each}" for each in line.notice.body.splitlines()))


if __name__ == "__main__":
    main()
