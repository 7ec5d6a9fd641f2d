"""The clocks of an area: wetness by published boundaries, recoat by a published table."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gateway.clocks import (
    RUST_WITHIN,
    Recoat,
    Wetness,
    is_condensing,
    is_wet_air,
    is_wet_steel,
    no_window,
    run,
    since_blast,
    window,
)
from gateway.coatings import Product, RecoatStep
from gateway.psychrometrics import relative_humidity, vapour_pressure_pa

H = 3_600_000
# UFGS 09971, recoat windows of polyurethane over polyurethane, hours at steel temperatures in °C.
UFGS = Product(
    "pu", "polyurethane", "UFGS 09971", "by temperature",
    tuple(
        RecoatStep(*row)
        for row in ((16, 21, 8, 48), (22, 27, 6, 48), (28, 32, 4, 36), (33, 38, 3, 24), (39, 43, 2, 12))
    ),
)  # fmt: skip


@pytest.mark.parametrize(
    ("rh", "t_c", "wet"),
    [
        (0.80, 10.0, False),  # ISO 9223: strictly above 80 %
        (0.8001, 10.0, True),
        (0.95, 0.0, False),  # and strictly above 0 °C
        (0.95, 0.1, True),
        (None, 10.0, None),
        (None, -1.0, False),  # frost decides, whatever the humidity
        (0.5, None, False),
        (0.9, None, None),
    ],
)
def test_wet_air_by_iso_9223(rh: float | None, t_c: float | None, wet: bool | None) -> None:
    """Hours count where RH is above 80 % and the air above 0 °C; what is not known is not dry."""
    assert is_wet_air(rh, t_c) is wet


def test_steel_colder_than_air_is_wet_where_the_air_is_not() -> None:
    """Steel 2 K below air of 15 °C and 72 % has 82 % at its surface (CoolProp 8.0.0: 0.8198 at 1 atm)."""
    rh = relative_humidity(13.0, vapour_pressure_pa(15.0, 0.72, 101_325.0), 101_325.0)
    assert rh == pytest.approx(0.8198, abs=0.0005)
    assert is_wet_air(0.72, 15.0) is False and is_wet_steel(rh) is True


def test_condensing_begins_at_no_margin() -> None:
    """At the dew point water is there."""
    assert (is_condensing(0.0), is_condensing(0.0001), is_condensing(None)) == (True, False, None)


def test_wet_hours_say_how_much_was_not_known() -> None:
    """Unknown time is neither wet nor known."""
    kept = Wetness()
    kept.take(H, True, None, False)
    kept.take(2 * H, False, True, False)
    kept.take(3 * H, None, False, True)
    assert (kept.air_ms, kept.air_known_ms) == (H, 3 * H)
    assert (kept.steel_ms, kept.steel_known_ms) == (2 * H, 5 * H)
    assert (kept.condensing_ms, kept.condensing_known_ms) == (3 * H, 6 * H)


def test_a_minute_is_as_warm_as_its_coldest_second() -> None:
    """30 °C, then 20 °C within the same minute, then 25 °C over the next two."""
    recoat = Recoat()
    for at_ms, length_ms, t_c in ((0, 20_000, 30.0), (20_000, 10_000, 20.0), (30_000, 100_000, 25.0)):
        run(recoat, UFGS, at_ms, length_ms, t_c, t_c, True)
    assert recoat.minutes == [20.0, 25.0, 25.0] and recoat.minute == 2


def test_hours_since_blast_count_against_the_entered_limit_only() -> None:
    """Without a limit none is left; with one it may be overdrawn; wet blast air adds its warning."""
    assert since_blast(0, 5 * H, None, "", False).left_ms is None
    clock = since_blast(H, 10 * H, 8 * 3600.0, "spec 5.1", True)
    assert (clock.stood_ms, clock.left_ms, clock.clause, clock.warning) == (9 * H, -H, "spec 5.1", RUST_WITHIN)


@pytest.mark.parametrize(
    ("t_c", "earliest_h", "latest_h"),
    [(16.0, 8, 48), (21.0, 8, 48), (24.0, 6, 48), (30.0, 4, 36), (32.0, 4, 36), (35.0, 3, 24), (41.0, 2, 12)],
)
def test_recoat_at_a_steady_temperature_is_the_sheets_row(t_c: float, earliest_h: int, latest_h: int) -> None:
    """UFGS 09971: the shares are full exactly at the published hours."""
    coat = Recoat()
    run(coat, UFGS, 0, earliest_h * H, t_c, t_c, applied=True)
    assert coat.earliest == pytest.approx(1.0, abs=1e-12)
    run(coat, UFGS, earliest_h * H, (latest_h - earliest_h) * H, t_c, t_c, applied=True)
    assert coat.latest == pytest.approx(1.0, abs=1e-12)


def test_the_hottest_row_of_the_published_table() -> None:
    """UFGS 09971, 44 to 49 °C: from one hour until two."""
    coat, whole = Recoat(), replace(UFGS, recoat=(*UFGS.recoat, RecoatStep(44, 49, 1, 2)))
    run(coat, whole, 0, H // 2, 46.0, 46.0, applied=True)
    assert (coat.earliest, coat.latest) == (pytest.approx(1 / 2), pytest.approx(1 / 4))


def test_earliest_follows_the_coldest_spot_and_latest_the_warmest() -> None:
    """Between two rows earliest takes the colder and latest the warmer one."""
    coat = Recoat()
    run(coat, UFGS, 0, H, 17.0, 30.0, applied=True)
    assert (coat.earliest, coat.latest) == (pytest.approx(1 / 8), pytest.approx(1 / 36))
    between = Recoat()
    run(between, UFGS, 0, H, 21.5, 27.5, applied=True)
    assert (between.earliest, between.latest) == (pytest.approx(1 / 8), pytest.approx(1 / 36))


def test_below_the_sheet_earliest_stands_still_and_latest_runs() -> None:
    """Cold steel does not cure faster than the sheet knows."""
    coat = Recoat()
    run(coat, UFGS, 0, 12 * H, 10.0, 10.0, applied=True)
    assert (coat.earliest, coat.still_ms, coat.latest) == (0.0, 12 * H, pytest.approx(12 / 48))


def test_what_is_not_known_counts_against_the_coat() -> None:
    """Earliest stands still, latest runs as at the warmest row."""
    coat = Recoat()
    run(coat, UFGS, 0, 6 * H, None, None, applied=True)
    assert (coat.earliest, coat.latest, coat.unknown_ms) == (0.0, pytest.approx(6 / 12), 6 * H)


def test_earliest_counts_from_the_end_and_latest_from_the_begin() -> None:
    """While the coat is being applied only latest runs."""
    coat = Recoat()
    run(coat, UFGS, 0, 4 * H, 24.0, 24.0, applied=False)
    assert (coat.earliest, coat.latest) == (0.0, pytest.approx(4 / 48))


def test_above_the_sheet_the_manufacturer_is_asked() -> None:
    """No window is told, however cool it is later."""
    coat = Recoat()
    run(coat, UFGS, 0, 60_000, 44.0, 44.0, applied=True)
    run(coat, UFGS, 60_000, 48 * H, 20.0, 20.0, applied=True)
    said = window(coat, UFGS, 0, 0, 48 * H)
    assert str(said.earliest) == str(said.latest) == "warmer than the sheet's 43 °C: ask the manufacturer"


def test_the_hottest_hour_is_one_that_was_sustained() -> None:
    """UFGS 09971 chooses the row by the highest temperature sustained for an hour: 30 min of 36 °C are none."""
    coat = Recoat()
    for minute in range(240):
        t_c = 36.0 if 60 <= minute < 90 else 29.0 if minute < 160 else 24.0
        run(coat, UFGS, minute * 60_000, 60_000, t_c, t_c, applied=True)
    assert coat.hottest_c == 29.0
    assert str(window(coat, UFGS, 0, 0, 4 * H).by_hottest) == (
        "29.0 °C sustained for an hour: earliest 4 h from the end (4 h 00 min gone), "
        "latest 36 h from the begin (4 h 00 min gone)"
    )


@pytest.mark.parametrize("silent_ms", [60_000, 20_000])
def test_silence_breaks_the_hottest_hour(silent_ms: int) -> None:
    """An hour with a hole was not sustained, however short the hole."""
    coat = Recoat()
    run(coat, UFGS, 0, 50 * 60_000, 30.0, 30.0, applied=True)
    run(coat, UFGS, 50 * 60_000, silent_ms, None, None, applied=True)
    run(coat, UFGS, 50 * 60_000 + silent_ms, 50 * 60_000, 30.0, 30.0, applied=True)
    assert coat.hottest_c is None


def test_no_window_for_moisture_cured_and_zinc_silicate() -> None:
    """Their recoat time is not one of temperature."""
    for cure in ("moisture-cured", "zinc silicate"):
        assert no_window(Product("x", "x", "x", cure)).startswith(cure)
    assert no_window(None) == "no product stated"
    assert no_window(UFGS) == ""


def test_water_on_the_coat_makes_earliest_void() -> None:
    """It is said so, and the share is not."""
    coat = Recoat(earliest=0.5, void="rain or fog on the coat")
    assert str(window(coat, UFGS, 0, 0, H).earliest) == "void: rain or fog on the coat; ask the manufacturer"


def test_latest_is_none_only_where_the_sheet_states_none() -> None:
    """A coat just begun has used nothing of it yet, which is another thing."""
    assert str(window(Recoat(), UFGS, 0, None, 0).latest) == "0% of it used"
    open_ended = Product("x", "x", "x", "by temperature", (RecoatStep(5.0, 40.0, 8.0),))
    assert str(window(Recoat(), open_ended, 0, None, 0).latest) == "none stated"
    assert str(window(Recoat(latest=1.0), UFGS, 0, None, 0).latest) == "passed"
