"""Hours of a weather file in their places: what has no row is not known, counted and told, and never dry."""

from __future__ import annotations

from pathlib import Path

import pytest

from gateway.plan_file import load
from gateway.plan_hours import text, work_out
from gateway.plan_times import Hour, WeatherErrors, When, in_their_places, when
from gateway.plan_units import UNITS
from gateway.plan_weather import read

HOT = Path(__file__).parent.parent / "deploy" / "plans" / "hot-humid.toml"
HEAD = "time,air_temperature_C,relative_humidity_%,station_pressure_hPa\n"
EPW_HEAD = "LOCATION\nDESIGN\nTYPICAL\nGROUND\nHOLIDAYS/DAYLIGHT SAVINGS,{},0,0,0\nCOMMENTS 1\nCOMMENTS 2\nDATA\n"


def csv(*times: str) -> str:
    return HEAD + "".join(f"{time},20,50,1013\n" for time in times)


def epw(*stamps: tuple[int, int, int, int], leap: str = "No") -> str:
    rows = "".join(f"{y},{m},{d},{h},0,x,20.0,9.9,50,101300\n" for y, m, d, h in stamps)
    return EPW_HEAD.format(leap) + rows


def gaps(hours: list[Hour]) -> list[str]:
    return [hour.time for hour in hours if hour.reason == "no row in the file"]


def test_an_hour_without_a_row_is_not_known() -> None:
    """Over midnight and the end of a month; order of the rows does not matter."""
    hours = read(csv("2026-08-01 01:00", "2026-07-31 22:00", "2026-07-31T23:00"), "a.csv")
    assert [hour.time for hour in hours] == [
        "2026-07-31 22:00", "2026-07-31T23:00", "2026-08-01 00:00", "2026-08-01 01:00"
    ]  # fmt: skip
    assert (hours[2].weather, hours[2].month, hours[2].reason) == (None, 8, "no row in the file")


def test_gaps_are_counted_told_and_never_dry() -> None:
    """Two rows a day apart leave 23 hours that nobody knows, in the sentence, its reason and its month."""
    year = work_out(
        load(HOT.read_text()), read(csv("2026-07-01 00:00", "2026-07-02 00:00"), "a.csv"), print_nothing
    )
    assert (len(year.outcomes), len(year.known), len(year.wet)) == (25, 2, 0)
    words = text(year, UNITS["si"])
    assert "Of 2 hours worked out" in words
    assert "23 of 25 hours are not known, which is not the same as dry:" in words
    assert "  23 x no row in the file (first at 2026-07-01 01:00)" in words
    assert "    7             2                      0          23" in words


def print_nothing(_: int, __: int) -> None:
    """No bar."""


def test_an_epw_year_has_8760_hours_and_8784_with_a_29_february() -> None:
    """Hours are counted from 1 to 24; a leap year is known by its head or by a row."""
    two = [(2019, 1, 1, 1), (2019, 12, 31, 24)]
    hours = read(epw(*two), "a.epw")
    assert (len(hours), len(gaps(hours))) == (8760, 8758)
    assert (gaps(hours)[0], gaps(hours)[-1]) == ("01-01 02:00", "12-31 23:00")
    assert "02-28 24:00" in gaps(hours)
    assert len(read(epw(*two, leap="Yes"), "a.epw")) == 8784
    assert len(read(epw((2020, 2, 29, 5)), "a.epw")) == 8784


def test_typical_years_of_many_years_are_one_year() -> None:
    """January of 1988, February of 1995: no seven years lie between them. EPW and CSV alike."""
    hours = read(epw((1988, 1, 31, 24), (1995, 2, 1, 1), (1981, 3, 1, 1)), "a.epw")
    assert (len(hours), len(gaps(hours))) == (8760, 8757)
    hours = read(csv("1988-01-31 23:00", "1988-01-31 24:00", "1995-02-01 01:00", "1995-02-01 03:00"), "a.csv")
    assert gaps(hours) == ["02-01 02:00"]
    assert len(hours) == 5


def test_a_real_winter_is_not_a_typical_year() -> None:
    """December to January of the next year is one hour's step; from July to June nothing is folded."""
    assert gaps(read(csv("2025-12-31 23:00", "2026-01-01 00:00"), "a.csv")) == []
    long = read(csv("2024-07-01 00:00", "2025-06-30 23:00"), "a.csv")
    assert len(long) == 8760
    several = read(epw((2019, 1, 1, 1), (2020, 1, 1, 1)), "a.epw")
    assert len(several) == 8761


def test_several_rows_for_one_hour_are_not_known() -> None:
    """A clock set back, or ten minutes' rows: which one holds is not guessed."""
    hours = read(csv("2026-10-25 01:00", "2026-10-25 02:00", "2026-10-25 02:00", "2026-10-25 03:10"), "a.csv")
    assert [hour.weather is None for hour in hours] == [False, True, False]
    assert hours[1].reason == "2 rows for this hour, one is wanted"


def test_offsets_put_the_hours_of_a_clock_set_back_apart() -> None:
    """02:00+02:00 and 02:00+01:00 are 00:00Z and 01:00Z; a gap is then told in UTC."""
    hours = read(csv("2026-10-25 02:00+02:00", "2026-10-25 02:00+01:00", "2026-10-25 03:00Z"), "a.csv")
    assert [hour.weather is not None for hour in hours] == [True, True, False, True]
    assert hours[2].time == "2026-10-25 02:00Z"
    assert when("2026-10-25 02:30:15.5-0330") == When(2026, 10, 25, 2, 30, -210)


def test_rows_without_a_time_are_kept_and_said() -> None:
    """What is missing between them cannot be seen, and that is said."""
    hours = read(csv("t1", "2026-07-01 00:00", "2026-07-01"), "a.csv")
    assert [hour.time for hour in hours] == ["2026-07-01 00:00", "t1", "2026-07-01"]
    words = text(work_out(load(HOT.read_text()), hours, print_nothing), UNITS["si"])
    assert "2 rows have no time such as 2026-07-01 13:00: hours missing between them cannot be seen." in words
    assert "cannot be seen" not in text(work_out(load(HOT.read_text()), hours[:1], print_nothing), UNITS["si"])


@pytest.mark.parametrize(
    ("time", "says"),
    [
        ("2026-02-29 01:00", "there is no such day"),
        ("2026-00-01 01:00", "the month is 0"),
        ("2026-01-01 24:30", "there is no such hour"),
        ("2026-01-01 12:61", "there is no such hour"),
    ],
)
def test_times_there_are_not(time: str, says: str) -> None:
    """Refused with the time as written."""
    with pytest.raises(WeatherErrors, match=says):
        read(csv(time), "a.csv")


def test_a_mistyped_year_is_refused() -> None:
    """A span of eight hundred years would only be counted as not known."""
    with pytest.raises(WeatherErrors, match="more than 50 years: is a year mistyped"):
        read(csv("2026-01-01 01:00", "1226-01-01 02:00"), "a.csv")


def test_no_rows_with_times_leaves_the_others() -> None:
    assert in_their_places([(None, Hour("x", 0, None, "why"))]) == [Hour("x", 0, None, "why")]
