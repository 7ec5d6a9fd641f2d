"""Make the sample tests of deploy/yard from the simulator: `python -m tests.make_yard`."""

from __future__ import annotations

import tomllib
from pathlib import Path

from simulators.dryer_return import brine_kg, readings
from simulators.faults import Climate

YARD = Path(__file__).parent.parent / "deploy" / "yard"
CLIMATES = tomllib.loads((Path(__file__).parent / "bench" / "findings.toml").read_text())["climates"]
SALT = 0.4
HEAT_UP_MIN = 30
FACTS = """# A {kind} test (simulated). Everything a person enters; the readings stand in their own file.

[test]
kind = "{kind}"
day = {day}
person = "clerk 2"
bench = "yard bench (simulated)"
visual = "pass"
relief_valve = "pass"
blown_out = true
readings = "{name}.csv"

[brine]
mass = "{brine:.2f} kg"
time = "{minutes} min"
mass_accuracy = "0.05 kg"
salt_share = "{salt:.0%}"

[leak]
from = "7.00 bar(g)"
to = "6.96 bar(g)"
time = "10 min"
accuracy = "0.01 bar"

[accuracy] # half widths from the bench's own certificates
inlet_temperature = "0.3 K"
outlet_temperature = "0.3 K"
inlet_humidity = "1.5 %RH"
outlet_humidity = "1.5 %RH"
inlet_pressure = "0.03 bar"
pressure_loss = "0.01 bar"
flow = "15 cfm"
ambient_temperature = "0.3 K"
station_pressure = "1 hPa"
"""


def facts(kind: str, day: str, name: str, rows: str) -> str:
    """The file a clerk fills in, with the brine the readings lead to."""
    minutes = rows.count("\n") - 1 - HEAT_UP_MIN
    return FACTS.format(
        kind=kind, day=day, name=name, brine=brine_kg(rows, HEAT_UP_MIN, SALT), minutes=minutes, salt=SALT
    )  # fmt: skip


def write(folder: Path, kind: str, day: str, name: str, rows: str) -> None:
    """Write the two files of a test."""
    (folder / f"{name}.csv").write_text(rows)
    (folder / f"{name}.toml").write_text(facts(kind, day, name, rows))


def main() -> None:
    """Write an outgoing test of a good unit and two returns of it, good and tired."""
    coast, inland = (Climate(**CLIMATES[name]) for name in ("coast", "inland"))
    write(YARD, "outgoing", "2026-05-04", "outgoing", readings(inland, "good"))
    write(YARD, "return", "2026-06-15", "return", readings(coast, "tired"))


if __name__ == "__main__":
    main()
