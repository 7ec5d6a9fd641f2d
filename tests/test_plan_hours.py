"""Hours of weather through a plan: read from CSV and EPW, worked out, told; what is not known is never dry."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import pytest

from gateway.__main__ import main
from gateway.plan import Plan, run, without
from gateway.plan_file import load
from gateway.plan_hours import text, work_out
from gateway.plan_need import doubts
from gateway.plan_times import WeatherErrors
from gateway.plan_units import UNITS
from gateway.plan_weather import read

PLANS = Path(__file__).parent.parent / "deploy" / "plans"
HOT = PLANS / "hot-humid.toml"
CLOSE = pytest.approx

# Synthetic: three hours, one without its humidity.
CSV = """time,air_temperature_F,relative_humidity_%,station_pressure_hPa
2026-07-01 12:00,95,80,1012
2026-07-01 13:00,95,,1012
2026-08-01 02:00,50,5,1012
"""
# Synthetic: a noon hotter than the salt may be fed, and an hour that is not.
CSV_HOT = """time,air_temperature_C,relative_humidity_%,station_pressure_hPa
2026-07-01 12:00,42,15,943
2026-07-01 13:00,30,15,943
"""
# Synthetic: eight lines of head; rows hold month, day, hour and from the 7th column the weather.
EPW = "head\n" * 8 + "".join(
    f"2026,{month},1,{hour},0,x,{dry},9.9,{rh},{pressure}\n"
    for month, hour, dry, rh, pressure in [
        (1, 1, 5.0, 70, 101_200),
        (1, 2, 99.9, 70, 101_200),
        (2, 3, 20.0, 110, 1e5),
    ]
)


def plan() -> Plan:
    return load(HOT.read_text(encoding="utf-8"))


def ignore(_: int, __: int) -> None:
    """No bar in tests."""


def test_csv_hours_are_read_in_their_units_and_a_hole_stays_a_hole() -> None:
    """95 °F is 35 °C; the hour without humidity is not known, with the reason."""
    hours = read(CSV, "hours.csv", 2.0)
    first, hole, last = hours[0], hours[1], hours[-1]
    assert first.weather is not None
    assert first.weather.air_temperature_c == CLOSE(35.0)
    assert (first.weather.rh, first.weather.station_pressure_pa) == (0.8, 101_200.0)
    assert first.weather.pot_wall_below_air_k == 2.0
    assert (hole.weather, hole.reason) == (None, "relative_humidity_% missing")
    assert (first.month, last.month) == (7, 8)


def test_csv_with_dew_point() -> None:
    """20 °C with 9.274 °C is 50 %RH (Hardy 1998); a dew point above the air is not known."""
    good, wrong = read(
        "time,air_temperature_C,dew_point_C,station_pressure_kPa\nt1,20,9.274,101.325\nt2,20,25,101.325\n", "a.csv"
    )
    assert good.weather is not None
    assert good.weather.rh == CLOSE(0.5, abs=1e-3)
    assert wrong.weather is None
    assert "relative humidity" in wrong.reason


def test_epw_fills_and_impossible_values_are_not_known() -> None:
    """99.9 °C is the fill of the format; 110 %RH cannot be and is not cut to 100."""
    good, filled, impossible = (hour for hour in read(EPW, "site.EPW") if hour.reason != "no row in the file")
    assert good.weather is not None
    assert (good.weather.air_temperature_c, good.weather.rh, good.time) == (5.0, 0.7, "01-01 01:00")
    assert (filled.weather, filled.reason) == (None, "air missing")
    assert impossible.weather is None
    assert "relative humidity" in impossible.reason


@pytest.mark.parametrize(
    ("content", "name", "says"),
    [
        (
            "time,air_temperature_C,air_temperature_F,relative_humidity_%,station_pressure_hPa\n1,2,3,4,5\n",
            "a.csv",
            "line 1: said by more than one column: air",
        ),
        (CSV.replace("2026-07-01 12", "2026-13-01 12"), "a.csv", "the month is 13, allowed is 1 to 12"),
        (EPW.replace("2026,1,1,1", "2026,13,1,1"), "a.epw", "line 9: the month is 13, allowed is 1 to 12"),
        ("time,temp\n1,2\n", "a.csv", "column 'temp' is not known here"),
        (
            "time,air_temperature_C,station_pressure_hPa\n1,2,3\n",
            "a.csv",
            "either relative_humidity_% or dew_point_C",
        ),
        ("time,air_temperature_C,relative_humidity_%,station_pressure_hPa\n1,2\n", "a.csv", "line 2: 2 columns"),
        ("time,air_temperature_C,relative_humidity_%,station_pressure_hPa\n", "a.csv", "no hours in it"),
        ("head\n" * 8 + "1,2\n", "a.epw", "line 9: an EPW row has at least 10 columns"),
        (EPW.replace("2026,1,1,1", "2026,1,x,1"), "a.epw", "line 9: year, month, day and hour are whole numbers"),
    ],
)
def test_files_that_cannot_be_read(content: str, name: str, says: str) -> None:
    """Which line, and what is wanted."""
    with pytest.raises(WeatherErrors) as refused:
        read(content, name)
    assert says in str(refused.value)


def test_hours_are_counted_as_wet_dry_or_not_known() -> None:
    """Without the salt dryer the hot hour wets the pot, the cool one does not, the hole stays a hole."""
    bare = without(plan(), "salt dryer")
    seen: list[tuple[int, int]] = []
    year = work_out(bare, read(CSV, "a.csv")[:3], lambda done, total: seen.append((done, total)))
    assert seen == [(1, 3), (2, 3), (3, 3)]
    assert (len(year.known), len(year.wet), len(year.outcomes)) == (1, 1, 3)
    hot = run(bare, year.outcomes[0].hour.weather)
    assert year.outcomes[0].wet
    assert year.outcomes[0].water_kg_per_h == sum(p.left_kg_per_h for p in hot.passages if p.kind == "pot")
    assert year.outcomes[1].water_kg_per_h is None
    words = text(year, UNITS["si"])
    assert "2 of 3 hours are not known, which is not the same as dry:" in words
    assert "  1 x relative_humidity_% missing (first at 2026-07-01 13:00)" in words
    assert "No limit set: no pot margin was asked for." in words


def test_hours_below_the_margin_asked_for() -> None:
    """The user's own need, with its clause, is counted; the hot hour has 5.7 K."""
    need = '\n[need]\npot_margin = "6 K"\nclause = "ours 4.2"\n'
    year = work_out(load(HOT.read_text(encoding="utf-8") + need), read(CSV, "a.csv"), ignore)
    assert [each.hour.time for each in year.below_need] == ["2026-07-01 12:00"]
    assert "is not met in 1 hours" in text(year, UNITS["us"])


def test_a_typical_year_of_a_station(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every tenth hour of TMY3 723170 (in pvlib): the nine between are not known; three are worked out apart."""
    spec = find_spec("pvlib")
    assert spec is not None
    assert spec.origin is not None
    rows = list(csv.DictReader((Path(spec.origin).parent / "data/723170TYA.CSV").read_text().splitlines()[1:]))
    lines = ["time,air_temperature_C,relative_humidity_%,station_pressure_hPa"]
    for row in rows[::10]:
        day = row["Date (MM/DD/YYYY)"]
        lines.append(
            f"{day[6:]}-{day[:2]}-{day[3:5]} {row['Time (HH:MM)']},{row['Dry-bulb (C)']},{row['RHum (%)']},"
            f"{row['Pressure (mbar)']}"
        )
    file = tmp_path / "year.csv"
    file.write_text("\n".join(lines), encoding="utf-8")
    assert main(["plan", str(HOT), "--hours", str(file), "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert (made["hours"], made["hours_known"], made["hours_not_known"]) == (8751, 876, 7875)
    hours = read(file.read_text(encoding="utf-8"), "year.csv")
    for at in (0, 4000, 8750):
        apart = run(plan(), hours[at].weather)
        assert made["each"][at]["pot_margin_k"] == min(p.gap_k for p in apart.passages[-2:] if p.gap_k is not None)
    assert main(["plan", str(HOT), "--hours", str(file)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Of 876 hours worked out, water falls out in pot or hose in 0 (0.0 %).")
    assert "   12" in said


def test_every_reason_is_told_once_and_unreadable_is_not_missing() -> None:
    """Four kinds of not known, each with its count and its first hour; figures do not split a kind."""
    head = "time,air_temperature_C,relative_humidity_%,station_pressure_hPa\n"
    rows = "t1,20,50,101\nt2,20,50,102\nt3,abc,50,1013\nt4,20,,1013\nt5,20,120,1013\nt6,20,50,1013\n"
    words = text(work_out(plan(), read(head + rows, "a.csv"), ignore), UNITS["si"])
    assert "5 of 6 hours are not known" in words
    assert "  2 x total pressure (bar absolute) is 0.101, allowed is 0.55 to 16 (first at t1)" in words
    assert "  1 x air_temperature_C unreadable: 'abc' (first at t3)" in words
    assert "  1 x relative_humidity_% missing (first at t4)" in words
    assert "  1 x relative humidity" in words


def test_an_hour_with_liquid_in_the_pot_does_not_meet_a_need() -> None:
    """Wide gaps do not count where liquid is carried into the pot."""
    need = '\n[need]\npot_margin = "1 K"\nclause = "ours 4.2"\n'
    carried = load(HOT.read_text(encoding="utf-8").replace('"pot"', '"pot"\nloss = "0.1 bar"') + need)
    wet = without(without(without(without(carried, "salt dryer"), "coalescing filter"), "wet tank"), "separator")
    year = work_out(wet, read(CSV, "a.csv"), ignore)
    assert [each.hour.time for each in year.below_need] == ["2026-07-01 12:00"]


def test_an_hour_that_feeds_the_salt_too_hot_is_not_known_unless_it_is_wet() -> None:
    """At 42 °C and 15 %RH nobody knows; without the aftercooler the pot is wet all the same."""
    hours = read(CSV_HOT, "a.csv")
    year = work_out(plan(), hours, ignore)
    assert [(each.water_kg_per_h, each.wet) for each in year.outcomes] == [(None, False), (0.0, False)]
    assert set(year.formed_kg) == {p.label for p in run(plan()).passages}
    cool_only = work_out(plan(), hours[1:], ignore)
    assert year.formed_kg == cool_only.formed_kg
    words = text(year, UNITS["us"])
    assert (
        "  1 x salt dryer is fed at 114.8 °F, above the 113.0 °F entered for it (first at 2026-07-01 12:00)"
        in words
    )
    assert "gal" in words
    assert " l," not in words
    uncooled = work_out(without(plan(), "aftercooler"), hours[:1], ignore)
    assert doubts(plan(), run(without(plan(), "aftercooler"), hours[0].weather))
    assert len(uncooled.wet) == len(uncooled.known) == 1


def test_an_hour_short_of_air_is_not_called_dry() -> None:
    """With the salt dryer the model has no water in the pot, but not at which pressure."""
    short = replace(plan(), source=replace(plan().source, derating=0.5))
    year = work_out(short, read(CSV_HOT, "a.csv")[1:], ignore)
    assert (year.outcomes[0].water_kg_per_h, year.outcomes[0].reason) == (None, "the compressor is short of air")
    assert "The compressor is short of air in 1 of the hours" in text(year, UNITS["si"])
