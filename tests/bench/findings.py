"""How well failing pieces are named, for each set of sensors: `python -m tests.bench.findings`.

Faults, strengths, climates and the rounds held out stand in findings.toml, written before anything was tuned. The
simulated train (`simulators.faults`) shares nothing with the gateway. A fault counts as found when a finding that
means it begins within half an hour of its onset; every other finding that begins in that time is a false one,
unless it is a true consequence (a failed cooler does feed the dryer too hot). Healthy weeks give the false
findings a week.
"""

from __future__ import annotations

import argparse
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from alerts.measured import UNITS, Measured, Quantity, Validity
from gateway.findings import Watched, take
from gateway.jobsite import Accuracy, Jobsite, Piece, Point, Sensor, Station, Train
from gateway.observability import seen_as
from gateway.train_features import minute
from simulators.faults import DAY_S, START_S, Climate, Failure, Plant, minutes

FIGURES: dict[str, Any] = tomllib.loads((Path(__file__).parent / "findings.toml").read_text())
CASES = FIGURES["cases"]
PLANT = Plant(**{k: v for k, v in FIGURES["train"].items() if k != "baseline_min"})
SETS = ("dryer outlet only", "inlet and outlet", "every piece")
OUTLET = {"air-t", "air-rh", "baro", "dryer-t", "dryer-rh", "line-p", "pot-p", "pot-skin"}
WITHOUT = {"dryer outlet only": lambda name: name not in OUTLET,
           "inlet and outlet": lambda name: name not in {*OUTLET, "recv-t", "recv-rh"},
           "every piece": lambda _: False}  # fmt: skip
QUANTITIES = {
    "air-t": (Quantity.AIR_TEMPERATURE, 0.3, "shielded air"), "cooling-t": (Quantity.AIR_TEMPERATURE, 0.3, ""),
    "air-rh": (Quantity.RELATIVE_HUMIDITY, 0.02, "water"), "recv-rh": (Quantity.RELATIVE_HUMIDITY, 0.03, "water"),
    "dryer-rh": (Quantity.RELATIVE_HUMIDITY, 0.03, "water"), "baro": (Quantity.STATION_PRESSURE, 100.0, ""),
    "flow": (Quantity.AIR_FLOW, 0.01, "free air"), "recv-level": (Quantity.LIQUID_LEVEL, 0.01, "full scale"),
    "bypass-x": (Quantity.VALVE_POSITION, 0.01, "open"), "pot-skin": (Quantity.WALL_TEMPERATURE, 0.5, "pipe skin"),
}  # fmt: skip
CONSEQUENCES = {
    "fins": ("hot inlet",), "fan": ("hot inlet",), "housing": ("hot inlet",), "bypass": (), "hot_day": (),
    "separator_drain": ("receiver drain",), "sensor_receiver_t": ("hot inlet",),
}  # fmt: skip


def site(sensors: str, rated_inlet_c: float) -> Jobsite:
    """The train of the bench with one of SETS."""
    without = WITHOUT[sensors]

    def at(name: str) -> str:
        return "" if without(name) else name

    def out(*names: str) -> Point:
        return Point(*[at(name) if name else "" for name in names])

    pieces = (
        Piece("intake", "intake", "intake"), Piece("compressor", "compressor", "compressor"),
        Piece("cooler", "aftercooler", "aftercooler", out("cooler-t", "", "cooler-p", "", "flow"),
              cooling_air=at("cooling-t")),
        Piece("sep", "separator", "separator", out("sep-t", "", "sep-p"), drain_count=at("sep-count")),
        Piece("recv", "receiver", "receiver", out("recv-t", "recv-rh", "line-p"), level=at("recv-level"),
              drain_count=at("recv-count")),
        Piece("bypass", "bypass", "bypass", position=at("bypass-x")),
        Piece("dryer", "dryer", "deliquescent dryer", out("dryer-t", "dryer-rh", "line-p"),
              rated_inlet_c=rated_inlet_c),
        Piece("pot", "pot", "pot", out("", "", "pot-p"), "pot-skin", blast_line=at("blast-p")),
    )  # fmt: skip
    train = Train("T1", "train 1", ("A",), "deck", pieces)
    names = sorted({name for name in _all_names() if not without(name)})
    return Jobsite("bench", "bench", "UTC", 20.0, True, tuple(_sensor(each) for each in names),
                   (Station("deck", "deck", "air-t", "air-rh", "baro"),), (), (train,))  # fmt: skip


def _all_names() -> Iterator[str]:
    from simulators.faults import INSTRUMENTS

    yield from (each.id for each in INSTRUMENTS)


def _sensor(name: str) -> Sensor:
    default = (Quantity.DRAIN_COUNT, 1.0, "") if name.endswith("count") else None
    default = default or ((Quantity.GAUGE_PRESSURE, 5000.0, "gauge") if name.endswith("-p") else None)
    quantity, half, basis = QUANTITIES.get(name) or default or (Quantity.GAS_TEMPERATURE, 0.5, "thermowell")
    return Sensor(name, name, quantity, UNIT[name], Accuracy(half), basis, "line", 60.0, name)


def _units() -> dict[str, str]:
    from simulators.faults import INSTRUMENTS

    return {each.id: each.unit for each in INSTRUMENTS}


UNIT = _units()


def reader(row: dict[str, float | None]) -> Callable[[str], Measured]:
    """The newest values of a row as the flow would give them."""

    def read(name: str) -> Measured:
        value = row[name]
        assert value is not None
        inside = UNITS[UNIT[name]].inside(value)
        wet = name.endswith("-rh") and inside >= 1.0
        return Measured(min(inside, 1.0) if wet else inside, 0.01, 0, Validity.SATURATED if wet else Validity.GOOD)

    return read


@dataclass(slots=True)
class Score:
    """Of one fault and one set: how many were tried, found in time, named something else; what was said."""

    tried: int = 0
    found: int = 0
    false: int = 0
    said: Counter[str] = field(default_factory=Counter)

    @property
    def recall(self) -> float:
        """Share found in time."""
        return self.found / self.tried if self.tried else 0.0

    @property
    def precision(self) -> float:
        """Share of what was said that was right."""
        return self.found / (self.found + self.false) if self.found + self.false else 1.0


@cache
def rows(climate: Climate, failure: Failure, seed: int) -> list[tuple[float, dict[str, float | None]]]:
    """What the sensors of one case publish."""
    return list(minutes(PLANT, climate, failure, seed, START_S, CASES["onset_min"] + CASES["watch_min"]))


def climates(held_out: str = "") -> dict[str, Climate]:
    """The climates to tune on, or those of a round held out."""
    found = FIGURES["held_out"][held_out] if held_out else FIGURES["climates"]
    return {name: Climate(**each) for name, each in found.items()}


def hottest_inlet_c(climate: Climate) -> float:
    """The dryer's inlet in the healthy case at the onset, from which its rating is made."""
    return max(row["recv-t"] or 0.0 for _, row in rows(climate, Failure(), 0)[60:]) + 1.5


def case(climate: Climate, kind: str, strength: float) -> tuple[Failure, float]:
    """The failure and the rated inlet of a case. A hot day is so much hotter than the rating allows for."""
    rated_c = hottest_inlet_c(climate)
    onset_s = START_S + 60.0 * CASES["onset_min"]
    if kind == "hot_day":
        now = rows(climate, Failure(), 0)[CASES["onset_min"]][1]["recv-t"] or 0.0
        return Failure(kind, strength + rated_c - now, onset_s), rated_c
    return Failure(kind, strength, onset_s), rated_c if kind not in CONSEQUENCES else rated_c + 30.0


def play(at: Jobsite, readings: Iterable[tuple[float, dict[str, float | None]]]) -> Iterator[tuple[float, str]]:
    """Every finding that begins, with its time [s]."""
    watched, train = Watched(), at.trains[0]
    for now_s, row in readings:
        for change in take(watched, train, minute(at, train, reader(row)), round(1000 * now_s)):
            if change.began:
                yield now_s, change.key


def scores(sensors: str, held_out: str, seeds: int, faults: Iterable[str]) -> dict[str, Score]:
    """The score of every fault with one set of sensors."""
    found = {kind: Score() for kind in faults}
    for kind in faults:
        score, strengths = found[kind], FIGURES["faults"][kind]
        for climate in climates(held_out).values():
            for strength in strengths:
                for seed in range(seeds):
                    _try(score, sensors, climate, kind, strength, seed)
    return found


def _try(score: Score, sensors: str, climate: Climate, kind: str, strength: float, seed: int) -> None:
    failure, rated_c = case(climate, kind, strength)
    at = site(sensors, rated_c)
    wanted = seen_as(at.trains[0], kind)
    said = {
        key.rpartition(" ")[0]
        for now, key in play(at, rows(climate, failure, seed))
        if now >= failure.onset_s - 600.0
    }
    score.tried += 1
    score.said.update(said or {"nothing"})
    score.found += bool(wanted and said & set(wanted))
    score.false += len(said - set(wanted) - set(CONSEQUENCES.get(kind, ())))


def healthy_week(sensors: str, climate: Climate, seed: int) -> list[tuple[float, str]]:
    """Findings in seven working days without any fault, some of them with a smaller nozzle."""
    at = site(sensors, hottest_inlet_c(climate) + 30.0)
    day, shares = round(PLANT.day_h * 60) + 30, FIGURES["healthy"]["shares"]

    def week() -> Iterator[tuple[float, dict[str, float | None]]]:
        for n, share in enumerate(shares[seed % len(shares)]):
            plant = replace(PLANT, share=share)
            yield from minutes(plant, climate, Failure(), seed, START_S + n * DAY_S, day)
            yield from ((START_S + n * DAY_S + 60.0 * (day + k), _stopped()) for k in range(40))

    return list(play(at, week()))


def _stopped() -> dict[str, float | None]:
    return {**dict.fromkeys(UNIT, 20.0), "pot-p": 0.0, "flow": 0.0, "baro": 1000.0, "line-p": 0.0}


def main() -> None:
    """Print the table, or its short form."""
    parser = argparse.ArgumentParser("tests.bench.findings", description=__doc__)
    parser.add_argument(
        "--held-out", default="", choices=tuple(FIGURES["held_out"]), help="a round nobody tuned on, instead"
    )
    parser.add_argument("--faults", default="", help="only these, with commas between")
    parser.add_argument("--sensors", default="", choices=SETS, help="only this set")
    parser.add_argument("--seeds", type=int, default=CASES["seeds"])
    parser.add_argument("--said", action="store_true", help="also what was said of each fault")
    args = parser.parse_args()
    faults = args.faults.split(",") if args.faults else list(FIGURES["faults"])
    print(f"climates: {', '.join(climates(args.held_out))}")
    for sensors in [args.sensors] if args.sensors else SETS:
        found = scores(sensors, args.held_out, args.seeds, faults)
        _table(sensors, found, args.said)
        _summary(sensors, found, args.held_out, args.seeds)


def _summary(sensors: str, found: dict[str, Score], held_out: str, seeds: int) -> None:
    train = site(sensors, 50.0).trains[0]
    seen = [score for kind, score in found.items() if seen_as(train, kind)]
    for what in ("recall", "precision"):
        least = min((getattr(score, what) for score in seen), default=1.0)
        print(f"bench findings_{what} {least:.2f} share goal >=0.9", flush=True)
    weeks = [healthy_week(sensors, each, seed) for each in climates(held_out).values() for seed in range(seeds)]
    print(f"bench findings_false_a_week {max(map(len, weeks))} findings goal <=1", flush=True)


def _table(sensors: str, found: dict[str, Score], said: bool) -> None:
    train = site(sensors, 50.0).trains[0]
    print(f"\nsensors: {sensors}\n{'fault':22}{'seen as':42}{'recall':>8}{'precision':>11}{'tried':>7}")
    for kind, score in found.items():
        words = " / ".join(seen_as(train, kind)) or "cannot be seen with these sensors"
        print(f"{kind:22}{words:42}{score.recall:8.2f}{score.precision:11.2f}{score.tried:7}",
              dict(score.said) if said else "")  # fmt: skip


if __name__ == "__main__":
    main()
