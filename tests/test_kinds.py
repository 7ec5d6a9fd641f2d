"""Kinds of limits that no reading of one second decides, and those of wind, product and a least humidity."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import pytest

from alerts.limits import Limit, Verdict, judge, worst
from alerts.measured import UNITS, Measured, Quantity, Validity
from alerts.notification import Reader, limit_words, value_words
from gateway import flow_faults, flow_lasting, overview
from gateway.config import ConfigErrors, load, to_toml, warnings
from gateway.entry import Kind
from gateway.flow import Flow
from gateway.flow_state import Drift, Outcomes
from gateway.jobsite import Jobsite
from gateway.site_amounts import spread
from gateway.site_sensors import BASES
from tests.sites import margin_limit, sensor, site
from tests.test_flow import MINUTE, Day, values

ES = Reader("es")
WIND = margin_limit(
    id="wind", quantity=Quantity.WIND_SPEED, relation="at most", threshold=25.0, unit="km/h", deadband=2.0,
    deadband_unit="km/h", advice="Stop spraying area A", activities=("coating",),
)  # fmt: skip
PAINT = margin_limit(
    id="paint", quantity=Quantity.PRODUCT_TEMPERATURE, threshold=15.0, unit="°C", activities=("coating",),
    advice="Do not put it on",
)  # fmt: skip
RAIN = margin_limit(
    id="rain", quantity=Quantity.RAIN_OR_FOG, relation="at most", threshold=0.0, unit="count", deadband=0.0,
    deadband_unit="count", on_delay_s=0.0, off_delay_s=600.0, advice="Cover area A", activities=("coating",),
)  # fmt: skip
WAIT = margin_limit(
    id="wait", quantity=Quantity.TIME_INSIDE, threshold=30.0, unit="min", deadband=0.0, deadband_unit="min",
    on_delay_s=0.0, off_delay_s=0.0, activities=("coating",), advice="Ask the inspector about the coat",
)  # fmt: skip
COATING = margin_limit(activities=("coating",), off_delay_s=60.0)


def trend(**changes: object) -> Limit:
    """Steel that may not cool."""
    said: dict[str, object] = {
        "id": "trend", "quantity": Quantity.STEEL_TEMPERATURE_CHANGE, "threshold": 0.0, "unit": "K/h",
        "deadband": 0.2, "deadband_unit": "K/h", "advice": "Do not start the coat",
    }  # fmt: skip
    return margin_limit(**said | changes)


def fitted(*limits: Limit) -> Jobsite:
    """The test site with wind and a probe in the product."""
    plain = site(*limits)
    more = (
        sensor("wind", Quantity.WIND_SPEED, "m/s", 0.5, "mean"),
        sensor("paint", Quantity.PRODUCT_TEMPERATURE, "Cel", 0.5, "immersed"),
    )
    return dataclasses.replace(
        plain,
        sensors=(*(dataclasses.replace(each, element=_element(each.id)) for each in plain.sensors), *more),
        stations=tuple(dataclasses.replace(each, wind_speed="wind") for each in plain.stations),
        areas=tuple(dataclasses.replace(each, product_temperature="paint") for each in plain.areas),
    )


def _element(name: str) -> str:
    return "line" if name.startswith("dryer") else "ambient"


def said(day: Day, limit: str) -> Verdict:
    return day.flow.judged[limit].judgement.verdict


def replays(day: Day) -> None:
    """Folding the same entries again says the same, across a checkpoint too."""
    day.put_heartbeat()
    again, out, half = Flow(), Outcomes(), len(day.entries) // 2
    again.advance(day.entries[:half], out)
    again = Flow.from_checkpoint(again.checkpoint())
    again.advance(day.entries[half:], out)
    assert out.events == day.out.events
    assert again.checkpoint() == day.flow.checkpoint()


# -- wind, product, a least humidity ---------------------------------------------------------------------


def test_wind_and_product_are_judged_by_their_own_sensors() -> None:
    """25 km/h is 6.94 m/s; 15 °C of a product. A silent gauge is unknown, never calm."""
    day = Day(at=fitted(WIND, PAINT))
    day.pass_time(60, wind=6.9, paint=15.2)
    assert (said(day, "wind"), said(day, "paint")) == (Verdict.CLOSE, Verdict.CLOSE)
    day.pass_time(90, wind=7.0, paint=14.9)
    assert (said(day, "wind"), said(day, "paint")) == (Verdict.OUTSIDE, Verdict.OUTSIDE)
    assert [change for _, change in day.changes() if "outside" in change] == ["outside limits"] * 2
    day.pass_time(90)
    assert said(day, "wind") is Verdict.UNKNOWN
    assert day.flow.judged["wind"].judgement.reason.startswith("wind: silent")


def test_the_words_of_wind_are_in_the_readers_unit() -> None:
    """25 km/h are 15.5 mph; u 0.5/sqrt(3) m/s gives U = 1.3 mph (rectangle, k = 2)."""
    wind = Measured(7.0, 0.5 / 3**0.5, 0, Validity.GOOD)
    us = Reader("en", "us")
    assert limit_words(WIND, us) == "wind at most 25 km/h = 15.5 mph (test specification 4.2)"
    assert value_words(WIND, wind, us) == "15.7 mph ± 1.3"
    assert limit_words(WIND, ES).startswith("viento como máximo 25 km/h")


def test_a_least_humidity_is_a_limit_as_any_other() -> None:
    """A moisture-cured coat needs damp air: the driest place decides, and a bound on the dry side breaks it."""
    least = margin_limit(quantity=Quantity.RELATIVE_HUMIDITY, threshold=40.0, unit="%RH", activities=("coating",))
    found = [judge(least, Measured(rh, 0.01, 0, Validity.GOOD)) for rh in (0.60, 0.35, 0.50)]
    assert found[worst(found)].distance == pytest.approx(-0.05)
    assert judge(least, Measured(0.02, 0.01, 0, Validity.BOUND)).verdict is Verdict.OUTSIDE
    assert judge(least, Measured(1.0, 0.01, 0, Validity.SATURATED)).verdict is Verdict.INSIDE


# -- a trend -------------------------------------------------------------------------------------------------


def test_a_slope_is_that_of_the_line_and_its_u_that_of_the_scatter() -> None:
    """y = 2 + 3 K/h exactly: u 0. With +-0.1 K in turn over 31 min: u = s / sqrt(Sxx), by hand."""
    exact, noisy = Drift(), Drift()
    for minute in range(100, 131):
        flow_lasting.take(exact, minute, 2 + 3 * minute / 60)
        flow_lasting.take(noisy, minute, 2 + 3 * minute / 60 + (0.1 if minute % 2 else -0.1))
    assert (exact.per_hour, exact.u) == (pytest.approx(3.0, abs=1e-4), pytest.approx(0.0, abs=1e-4))
    sxx = sum(((minute - 115) / 60) ** 2 for minute in range(100, 131))
    assert noisy.u == pytest.approx(((0.01 * 31 - 0.1**2 / 31) / 29) ** 0.5 / sxx**0.5, abs=1e-4)
    assert sxx == pytest.approx(31 * (31**2 - 1) / 12 / 3600)
    assert noisy.per_hour == pytest.approx(3.0, abs=3 * (noisy.u or 0))


def test_a_trend_needs_its_half_hour_and_forgets_what_is_older() -> None:
    """Nothing is said before 25 min of at least 20 values; an old rise does not hide a fall."""
    drift = Drift()
    for minute in range(25):
        flow_lasting.take(drift, minute, float(minute))
    assert drift.per_hour is None
    flow_lasting.take(drift, 25, 25.0)
    assert drift.per_hour == pytest.approx(60.0)
    for minute in range(26, 57):
        flow_lasting.take(drift, minute, 25.0 - minute)
    assert (drift.per_hour, drift.minutes[0]) == (pytest.approx(-60.0), 26)
    flow_lasting.take(drift, 200, 0.0)
    assert drift.per_hour is None, "a gap leaves too few"


def drifting(day: Day, k_per_hour: float, minutes: int, rh_per_hour: float = 0.0, rh: float = 50.0) -> None:
    """Steel and humidity that move evenly; each speaks twice a minute."""
    start = float(day.flow.read("steel").value or 20.0)
    for step in range(minutes * 2):
        day.now += 30_000
        hours = step / 120
        for name, value in values(steel=round(start + k_per_hour * hours, 2)).items():
            day.send(name, value if name != "air-rh" else round(rh + rh_per_hour * hours, 2))


def test_steel_that_cools_is_outside_and_a_silent_sensor_has_no_trend() -> None:
    """Falling 1.2 K an hour against "not falling": unknown for half an hour, then an alarm; silence is unknown."""
    day = Day(trend(unknown_delay_s=3600.0))
    drifting(day, -1.2, 24)
    assert (said(day, "trend"), day.changes()) == (Verdict.UNKNOWN, [])
    drifting(day, -1.2, 8)
    assert said(day, "trend") is Verdict.OUTSIDE
    assert day.flow.judged["trend"].condition.measured.value == pytest.approx(-1.2, abs=0.05)
    assert day.changes() == [("A-1", "outside limits")]
    day.pass_time(120)
    assert said(day, "trend") is Verdict.UNKNOWN
    replays(day)


def test_nothing_of_a_trend_is_kept_across_a_start() -> None:
    """A slope over downtime would be of two different days."""
    day = Day(trend())
    drifting(day, 1.0, 40)
    assert said(day, "trend") is Verdict.INSIDE
    day.now += 600_000
    day.put(Kind.STARTED, {"offset_ms": 0})
    drifting(day, 1.0, 5)
    assert said(day, "trend") is Verdict.UNKNOWN


@pytest.mark.parametrize(
    ("rh_per_hour", "verdict"), [(6.0, Verdict.OUTSIDE), (-6.0, Verdict.INSIDE)], ids=["rising", "falling"]
)
def test_and_rising_is_a_group_of_two(rh_per_hour: float, verdict: Verdict) -> None:
    """Damper than 48 %RH *and* rising: neither alone is a breach."""
    shared = {"group": "damp", "relation": "at most", "activities": ("coating",), "clause": "test 5"}
    humidity = margin_limit(id="rh", quantity=Quantity.RELATIVE_HUMIDITY, threshold=48.0, unit="%RH", **shared)
    rising = margin_limit(
        id="rising", quantity=Quantity.RELATIVE_HUMIDITY_CHANGE, threshold=1.0, unit="%RH/h", deadband=0.5,
        deadband_unit="%RH/h", **shared,
    )  # fmt: skip
    day = Day(humidity, rising)
    drifting(day, 0.0, 33, rh_per_hour, rh=55.0)
    assert said(day, "rh") is verdict


def test_a_saturated_probe_has_no_trend() -> None:
    """At 100 %RH it cannot rise further: that is no reason to call it not rising."""
    day = Day(trend(quantity=Quantity.RELATIVE_HUMIDITY_CHANGE, relation="at most", unit="%RH/h"))
    drifting(day, 0.0, 32, rh=101.0)
    assert said(day, "trend") is Verdict.UNKNOWN
    assert "saturated" in day.flow.judged["trend"].judgement.reason


def test_a_trend_near_none_warns_nobody() -> None:
    """Close to a limit of 0 K/h is where steady steel always is."""
    steady = Measured(0.01, 0.5, 0, Validity.GOOD)
    assert judge(trend(), steady).verdict is Verdict.INSIDE
    assert value_words(trend(), Measured(-0.04, 0.1, 0, Validity.GOOD)) == "-0.04 K/h ± 0.20"


# -- a product's temperature, entered by hand ------------------------------------------------------------------


def poured(day: Day, said: str, accuracy: str = "0.5 K", **more: object) -> None:
    refused = day.flow.state.counts.get("act refused", 0)
    words = {"instrument": "probe", "serial": "9", "calibration_due": "2027-03-31", "product": "finish, lot 17"}
    more = {"area": "A", **more}
    day.act("manual", kind="product temperature", temperature=said, accuracy=accuracy, **words, **more)
    assert day.flow.state.counts.get("act refused", 0) == refused


def test_a_product_without_a_sensor_is_judged_by_its_entry_for_an_hour() -> None:
    """Nothing entered says nothing; 12 °C against 15 °C is outside, with u of the instrument (0.5/sqrt(3) K)."""
    day = Day(PAINT)
    day.pass_time(60, **values())
    assert said(day, "paint") is Verdict.NOT_ENTERED and day.changes() == []
    poured(day, "53.6 °F")
    day.pass_time(90, **values())
    assert said(day, "paint") is Verdict.OUTSIDE
    found = day.flow.judged["paint"].condition
    assert (found.place, found.measured.value) == ("entered by hand", pytest.approx(12.0))
    assert found.measured.u == pytest.approx(0.289, abs=0.001)
    notice = next(each for each in day.out.notices if "Do not put it on" in each.title)
    assert "product temperature 12.0 °C ± 0.6" in notice.body and "entered by lead." in notice.body
    poured(day, "18 °C", "N/A")
    day.pass_time(700, **values())
    assert said(day, "paint") is Verdict.INSIDE and day.flow.judged["paint"].condition.measured.u is None
    assert [change for _, change in day.changes()] == ["outside limits", "limits back"]
    day.pass_time(3600)
    assert said(day, "paint") is Verdict.NOT_ENTERED
    assert day.flow.judged["paint"].judgement.reason == flow_lasting.READ_AGAIN
    replays(day)


def test_an_hour_without_a_reading_clears_no_alarm() -> None:
    """What was too cold stays so until somebody reads it anew."""
    day = Day(PAINT)
    poured(day, "12 °C")
    day.pass_time(90)
    day.now += 61 * MINUTE
    day.flow.tick(day.now)
    assert said(day, "paint") is Verdict.NOT_ENTERED
    assert [change for _, change in day.changes()] == ["outside limits"]
    assert day.flow.state.alarms["paint"].active


def test_a_product_read_earlier_does_not_undo_a_newer_reading_and_a_sensor_has_the_word() -> None:
    """Entered late, of another area, or not read at all; and where a probe is in the product."""
    day = Day(PAINT)
    day.now += 3 * 60 * MINUTE
    poured(day, "18 °C")
    poured(day, "12 °C", at_ms=day.now - 30 * MINUTE)
    poured(day, "N/A")
    poured(day, "12 °C", area="N/A")
    day.pass_time(20)
    assert said(day, "paint") is Verdict.INSIDE
    day = Day(at=fitted(PAINT))
    poured(day, "12 °C")
    day.pass_time(60, paint=18.0)
    assert said(day, "paint") is Verdict.INSIDE
    assert day.flow.judged["paint"].condition.place == "paint"


# -- rain or fog ---------------------------------------------------------------------------------------------


def rain(day: Day, seen: str, **more: object) -> None:
    refused = day.flow.state.counts.get("act refused", 0)
    day.act("manual", kind="rain or fog", area="A", seen=seen, words="N/A", **more)
    assert day.flow.state.counts.get("act refused", 0) == refused


def test_rain_stands_from_its_entry_until_it_is_entered_to_be_over() -> None:
    """No word is neither wet nor dry; "rain, entered by lead" is outside; ten minutes dry, and limits are back."""
    day = Day(RAIN)
    day.pass_time(60, **values())
    assert said(day, "rain") is Verdict.NOT_ENTERED
    assert day.changes() == []
    rain(day, "rain")
    day.pass_time(60, **values())
    assert said(day, "rain") is Verdict.OUTSIDE
    assert day.flow.judged["rain"].condition.measured.reason == "rain, entered by lead"
    assert day.changes() == [("A-1", "outside limits")]
    notice = next(each for each in day.out.notices if "Cover area A" in each.title)
    assert "rain, entered by lead." in notice.body
    assert "no rain or fog (test specification 4.2)" in notice.body
    assert "±" not in notice.body
    day.pass_time(3600)
    assert said(day, "rain") is Verdict.OUTSIDE, "silence ends nothing"
    rain(day, "dry again")
    day.pass_time(590)
    assert [change for _, change in day.changes()] == ["outside limits"]
    day.pass_time(30)
    assert [change for _, change in day.changes()] == ["outside limits", "limits back"]
    replays(day)


def test_dry_again_is_believed_for_a_shift() -> None:
    """Twelve hours later nobody has looked: nothing entered, and no alarm."""
    day = Day(RAIN)
    rain(day, "dry again")
    day.pass_time(60)
    assert said(day, "rain") is Verdict.INSIDE
    day.now += 12 * 60 * MINUTE
    day.flow.tick(day.now)
    assert said(day, "rain") is Verdict.NOT_ENTERED
    assert day.changes() == []


def test_an_older_look_does_not_undo_a_newer_one() -> None:
    """Who writes down at noon that it rained at eleven does not make it rain again."""
    day = Day(RAIN)
    day.now += 3 * 60 * MINUTE
    rain(day, "dry again")
    rain(day, "fog or mist", at_ms=day.now - 60 * MINUTE)
    day.pass_time(20)
    assert said(day, "rain") is Verdict.INSIDE
    rain(day, "N/A")
    day.pass_time(20)
    assert said(day, "rain") is Verdict.INSIDE


def test_rain_on_the_board_is_said_in_words() -> None:
    """No unit, no uncertainty, no rule: seen, and by whom."""
    day = Day(RAIN)
    rain(day, "dew")
    day.pass_time(20, **values())
    board = overview.board(day.flow, day.now)
    assert board is not None
    (line,) = next(each for each in board.verdicts if each.activity == "coating").limits
    assert (line.value, line.rule, line.amount, line.threshold) == ("seen", "", None, None)
    assert line.reason == "entered by hand: dew, entered by lead"
    assert value_words(RAIN, day.flow.judged["rain"].condition.measured, ES) == "observada"


# -- minutes inside before the work begins -------------------------------------------------------------------


def test_the_board_counts_and_nobody_is_told_of_a_wait() -> None:
    """30 min inside are asked for: outside at 29, inside at 30, and no alarm, since nothing was begun."""
    day = Day(COATING, WAIT)
    day.pass_time(20, **values())
    day.pass_time(29 * 60, **values())
    assert said(day, "wait") is Verdict.OUTSIDE
    assert value_words(WAIT, day.flow.judged["wait"].condition.measured) == "29 min"
    board = overview.board(day.flow, day.now)
    assert board is not None
    (wait, margin) = next(each for each in board.verdicts if each.activity == "coating").limits
    assert (wait.verdict, wait.value, wait.reason, wait.ahead) == (Verdict.OUTSIDE, "29 min", "", "")
    assert margin.quantity == "dew point margin"
    day.pass_time(60, **values())
    assert said(day, "wait") is Verdict.INSIDE
    assert day.changes() == []


def test_a_coat_begun_too_early_is_an_alarm_until_it_ends_and_an_exposure() -> None:
    """Begun after 12 min of the 30: told at once, still so an hour later; over when it waited after the end."""
    day = Day(COATING, WAIT)
    day.pass_time(12 * 60 + 20, **values())
    day.act("begin", area="A", activity="coating")
    day.pass_time(3600, **values())
    assert day.changes()[:1] == [("A-1", "outside limits")]
    assert said(day, "wait") is Verdict.OUTSIDE
    assert day.flow.judged["wait"].condition.measured.value == 12 * 60.0
    (exposure,) = day.flow.state.exposures.values()
    assert exposure.limits == ["wait"]
    day.act("end", area="A", activity="coating")
    day.pass_time(60, **values())
    assert ("A-1", "limits back") in day.changes()
    assert exposure.number not in {
        each.number for each in day.flow.state.exposures.values() if each.ended_ms is None
    }
    replays(day)


def test_what_breaks_stands_before_the_wait_that_follows_from_it() -> None:
    """A site lead reads first what to look at, then that the wait begins anew, and what it waits for."""
    day = Day(WAIT, COATING)
    day.pass_time(60, **values(steel=11.0))
    board = overview.board(day.flow, day.now)
    assert board is not None
    first, second = next(each for each in board.verdicts if each.activity == "coating").limits
    assert (first.quantity, second.reason) == ("dew point margin", "not inside: margin")


def test_a_coat_begun_in_time_is_none_though_limits_break_later() -> None:
    """What was inside long enough at the begin stays so; the margin that breaks has its own alarm."""
    day = Day(COATING, WAIT)
    day.pass_time(31 * 60, **values())
    day.act("begin", area="A", activity="coating")
    day.pass_time(300, **values(steel=11.0))
    assert said(day, "wait") is Verdict.INSIDE
    assert [each["limit"] for each in map(json.loads, day.out.events) if each["change"] == "outside limits"] == [
        "margin"
    ]


@pytest.mark.parametrize("spell", [{"steel": 11.0}, {}], ids=["a breach", "silence"])
def test_a_breach_or_silence_begins_the_count_anew(spell: dict[str, float]) -> None:
    """The half hour is one half hour, and all of it known."""
    day = Day(COATING, WAIT)
    day.pass_time(25 * 60, **values())
    day.pass_time(120, **(values(**spell) if spell else {}))
    day.pass_time(20 * 60, **values())
    assert said(day, "wait") is Verdict.OUTSIDE
    day.pass_time(12 * 60, **values())
    assert said(day, "wait") is Verdict.INSIDE


def test_a_start_begins_the_count_anew() -> None:
    """Nothing is derived across downtime."""
    day = Day(COATING, WAIT)
    day.pass_time(31 * 60, **values())
    day.now += 60_000
    day.put(Kind.STARTED, {"offset_ms": 0})
    day.pass_time(60, **values())
    assert said(day, "wait") is Verdict.OUTSIDE


def test_a_start_begins_the_count_anew_where_only_entries_are_judged() -> None:
    """Rain that was entered to be over outlives a restart; the count of it does not."""
    day = Day(RAIN, WAIT)
    rain(day, "dry again")
    day.pass_time(31 * 60)
    assert said(day, "wait") is Verdict.INSIDE
    day.put(Kind.STARTED, {"offset_ms": 0})
    day.pass_time(60)
    assert (said(day, "rain"), said(day, "wait")) == (Verdict.INSIDE, Verdict.OUTSIDE)


def test_what_nobody_entered_does_not_hold_the_count_up() -> None:
    """A crew that sees no rain enters nothing."""
    day = Day(COATING, RAIN, WAIT)
    day.pass_time(31 * 60, **values())
    assert (said(day, "rain"), said(day, "wait")) == (Verdict.NOT_ENTERED, Verdict.INSIDE)


def test_the_count_is_full_at_its_second_without_a_message() -> None:
    """Nobody speaks between 29:40 and 30:20; the verdict changes at 30:00 all the same."""
    day = Day(COATING, WAIT)
    day.pass_time(30 * 60 - 10, **values())
    assert said(day, "wait") is Verdict.OUTSIDE
    day.now += 40_000
    day.flow.tick(day.now)
    assert said(day, "wait") is Verdict.INSIDE
    assert day.flow.judged["wait"].since_ms - (day.flow.state.inside["wait"].since_ms or 0) == 30 * MINUTE


def test_alone_it_says_that_there_is_nothing_to_be_inside_of() -> None:
    """Unknown, not inside."""
    day = Day(WAIT)
    day.pass_time(60, **values())
    assert said(day, "wait") is Verdict.UNKNOWN


# -- the file --------------------------------------------------------------------------------------------------


def written(tmp_path: Path, *limits: Limit) -> Path:
    file = tmp_path / "jobsite.toml"
    file.write_text(to_toml(fitted(*limits)))
    return file


def test_every_kind_is_written_and_read_back(tmp_path: Path) -> None:
    """The file says the same as the jobsite."""
    limits = (WIND, PAINT, RAIN, WAIT, trend(), margin_limit())
    assert load(written(tmp_path, *limits)) == fitted(*limits)


@pytest.mark.parametrize(
    ("limit", "why"),
    [
        (dataclasses.replace(RAIN, threshold=1.0), "it rains, or it does not"),
        (dataclasses.replace(RAIN, group="g"), "a limit of rain_or_fog stands alone, in no group"),
        (dataclasses.replace(WAIT, relation="at most"), "time_inside is 'at least' so long"),
        (trend(unit="K"), "'K' is not a unit of change of temperature: use K/h, Δ°F/h"),
        (dataclasses.replace(WIND, area="", train="T1", piece="pot"), "not judged for a piece of a train"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_line(tmp_path: Path, limit: Limit, why: str) -> None:
    """In words a keeper can act on."""
    with pytest.raises(ConfigErrors, match=r"jobsite\.toml:\d+: limit") as refused:
        load(written(tmp_path, limit))
    assert why in str(refused.value)


def test_every_sensor_has_a_unit_inside_to_write_its_accuracy_in() -> None:
    """A plain spelling of factor 1, since files write values with it."""
    for dimension in map(spread, BASES):
        assert any(unit.factor == 1 and not unit.offset for unit in UNITS.values() if unit.dimension is dimension)


def test_a_limit_of_wind_without_a_gauge_is_said_at_the_check() -> None:
    """It would be unknown for ever."""
    found = [each for each in warnings(site(WIND, PAINT)) if "no sensor is named" in each]
    assert [each.partition(":")[0] for each in found] == ['limit "wind"', 'limit "paint"']
    assert not [each for each in warnings(fitted(WIND, PAINT)) if "no sensor is named" in each]


def test_a_dead_gauge_names_the_area_whose_verdict_it_takes_away() -> None:
    """Wind and product are instruments as the others: their keeper is told which area needs them."""
    made = fitted(WIND, PAINT)
    found = {
        each.id: each.areas for each in flow_faults.watched_of(made, {each.id: each.id for each in made.sensors})
    }
    assert found["sensor wind silent"] == found["sensor paint silent"] == ("A shell",)
