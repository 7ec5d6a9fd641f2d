"""The plan on four days and nights: hot and humid, desert, freezing; with and without each piece.

The air used is worked by hand from the nozzle. The margins of 5.7, 2.2, 5.2 and 4.5 K are the program's own, held
fast so that a change is seen; what the pieces do is checked apart in test_water_path and test_trade_facts.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from gateway.compressed_air import choked_nozzle_kg_per_s
from gateway.plan import Need, Plan, Result, Weather, run, treatment, without
from gateway.plan_file import load
from gateway.plan_need import doubts, is_wet, meets_need, pot_margin_k, unsure, water_in_pot_and_hose_kg_per_h
from gateway.psychrometrics import dew_point_from_vapour_pressure_c, vapour_pressure_pa
from gateway.water_path import Passage

PLANS = Path(__file__).parent.parent / "deploy" / "plans"
CLOSE = pytest.approx


def plan(name: str) -> Plan:
    return load((PLANS / f"{name}.toml").read_text(encoding="utf-8"))


def by_label(result: Result) -> dict[str, Passage]:
    return {passage.label: passage for passage in result.passages}


def test_air_used_is_that_of_the_worn_nozzle_and_the_hoods() -> None:
    """3/8 in worn by 5 % at 90 psig, within the band 0.77 to 0.85 of choked flow, and 20 cfm of free air."""
    hot = plan("hot-humid")
    result = run(hot)
    area = 3.14159265 / 4.0 * (9.525e-3 * 1.05) ** 2
    station = hot.weather.station_pressure_pa
    nozzle = choked_nozzle_kg_per_s(area, 90 * 6894.757293168 + station, 35.0, station)
    hood = 20 * 0.028316846592 / 60 * (station - vapour_pressure_pa(35.0, 0.8, station)) / (287.042 * 308.15)
    assert result.flow_band_kg_per_s == (
        CLOSE(0.77 * nozzle + hood, rel=1e-4),
        CLOSE(0.85 * nozzle + hood, rel=1e-4),
    )
    assert result.flow_used_kg_per_s == CLOSE(0.81 * nozzle + hood, rel=1e-4)
    assert result.shortfall_share == 0.0
    assert result.passages[0].inlet.dry_kg_per_s == result.flow_used_kg_per_s


def test_water_follows_the_air_used_and_not_the_plate() -> None:
    """A compressor twice as large changes nothing; a second nozzle doubles the nozzle's share."""
    hot = plan("hot-humid")
    larger = replace(hot, source=replace(hot.source, delivery_m3_per_s=1.0))
    assert (
        by_label(run(larger))["aftercooler"].formed_kg_per_h == by_label(run(hot))["aftercooler"].formed_kg_per_h
    )
    two = replace(larger, nozzles=hot.nozzles * 2, loads=())
    one = replace(larger, loads=())
    assert by_label(run(two))["aftercooler"].formed_kg_per_h == CLOSE(
        2.0 * by_label(run(one))["aftercooler"].formed_kg_per_h
    )


def test_a_compressor_too_small_is_said_and_gives_what_it_has() -> None:
    """Derating and a third nozzle: the flow walked is the flow there is."""
    hot = plan("hot-humid")
    short = run(replace(hot, nozzles=hot.nozzles * 3, source=replace(hot.source, derating=0.1)))
    assert short.shortfall_share == CLOSE(1.0 - short.flow_available_kg_per_s / short.flow_used_kg_per_s)
    assert 0.3 < short.shortfall_share < 0.6
    assert short.passages[0].inlet.dry_kg_per_s == short.flow_available_kg_per_s


def test_hot_humid_day() -> None:
    """12 l/h in; the cooler forms three quarters; the salt keeps the pot 5.7 K clear; without it, wet."""
    hot = plan("hot-humid")
    result = run(hot)
    at = by_label(result)
    assert result.passages[0].inlet.water_kg_per_s * 3600.0 == CLOSE(12.16, abs=0.05)
    assert at["aftercooler"].outlet.temperature_c == CLOSE(43.0)
    assert 0.7 < at["aftercooler"].formed_kg_per_h / 12.16 < 0.8
    assert pot_margin_k(result) == CLOSE(5.7, abs=0.2)
    assert water_in_pot_and_hose_kg_per_h(result) == 0.0
    assert water_in_pot_and_hose_kg_per_h(run(without(hot, "salt dryer"))) > 0.1
    assert water_in_pot_and_hose_kg_per_h(run(without(hot, "aftercooler"))) > 3.0
    # Nothing taken from the air by hand: what enters is what leaves.
    out = sum(p.drained_kg_per_h + p.taken_kg_per_h + p.left_kg_per_h for p in result.passages)
    assert out + result.passages[-1].outlet.water_kg_per_s * 3600.0 == CLOSE(12.16, abs=0.05)


def test_housing_air_leaves_water_for_the_pot_on_a_hot_day() -> None:
    """The same cooler breathing air 20 K warmer: the bed is fed hot and the pot is wet."""
    hot = plan("hot-humid")
    recipes = tuple(
        replace(r, figures={**r.figures, "housing_k": 20.0}) if r.kind == "aftercooler" else r for r in hot.recipes
    )
    boxed = run(replace(hot, recipes=recipes))
    assert water_in_pot_and_hose_kg_per_h(boxed) > 0.3
    (why,) = doubts(hot, boxed)
    assert why.startswith("salt dryer is fed at 48.9")


def test_desert_night() -> None:
    """Dry intake, cold pot: less than a fifth of the water, and still the pot is wet without the salt."""
    desert = plan("desert-night")
    result = run(desert)
    assert result.passages[0].inlet.water_kg_per_s * 3600.0 < 12.16 / 5.0
    assert by_label(result)["pot"].wall_c == CLOSE(18.0)
    assert pot_margin_k(result) == CLOSE(2.2, abs=0.2)
    assert water_in_pot_and_hose_kg_per_h(run(without(desert, "salt dryer"))) > 0.2


def test_desert_day_feeds_the_salt_hotter_than_was_entered_for_it() -> None:
    """42 °C and 8 K of approach, half of it lost in the tank: 46 °C. What the bed then does is not known."""
    desert = plan("desert-day")
    result = run(desert)
    assert pot_margin_k(result) == CLOSE(5.2, abs=0.2)
    assert by_label(result)["salt dryer"].inlet.temperature_c == CLOSE(46.0, abs=0.1)
    (why,) = doubts(desert, result)
    assert why.startswith("salt dryer is fed at 4")
    assert doubts(without(desert, "salt dryer"), run(without(desert, "salt dryer"))) == []
    asked = replace(desert, need=Need(3.0, "ours 4.2"))
    assert meets_need(asked, result) is None
    assert meets_need(replace(asked, need=Need(9.0, "ours 4.2")), result) is False


def test_too_little_air_is_a_doubt() -> None:
    """At what pressure three nozzles would then blast is not worked out, so nothing is called met."""
    hot = replace(plan("hot-humid"), need=Need(3.0, "ours 4.2"))
    assert meets_need(hot, run(hot)) is True
    short = replace(hot, nozzles=hot.nozzles * 3)
    assert doubts(short, run(short))[-1] == "the compressor is short of air"
    assert meets_need(short, run(short)) is not True


def test_drier_desert_air_yields_no_water_at_all() -> None:
    """40 °C and 10 %: nothing falls out anywhere; at 15 % the pot, no cooler before it, gets some."""
    desert = plan("desert-night")
    dry = run(desert, Weather(40.0, 0.10, 94_300.0))
    assert all(passage.formed_kg_per_h <= 0.0 for passage in dry.passages)
    bare = replace(desert, recipes=tuple(r for r in desert.recipes if r.kind in ("pot", "hose")))
    assert water_in_pot_and_hose_kg_per_h(run(bare, Weather(40.0, 0.10, 94_300.0))) == 0.0
    assert water_in_pot_and_hose_kg_per_h(run(bare, Weather(40.0, 0.15, 94_300.0))) > 0.1


def test_freezing_day() -> None:
    """-5 °C: frost points, ice may block cooler and tank; the intake's dew point is over water below its air."""
    freezing = plan("freezing")
    result = run(freezing)
    assert by_label(result)["pot"].frost
    intake = result.passages[0].inlet
    assert dew_point_from_vapour_pressure_c(intake.vapour_pressure_pa, intake.pressure_pa) == CLOSE(
        -7.91, abs=0.02
    )
    assert pot_margin_k(result) == CLOSE(4.5, abs=0.3)


def test_each_treatment_piece_can_be_left_out() -> None:
    """And a bypass leaves its pieces in place."""
    hot = plan("hot-humid")
    assert treatment(hot) == ["aftercooler", "separator", "wet tank", "coalescing filter", "salt dryer"]
    for label in treatment(hot):
        assert label not in by_label(run(without(hot, label)))
    text = (PLANS / "hot-humid.toml").read_text(encoding="utf-8")
    at = text.index('[[piece]]\nkind = "deliquescent dryer"')
    bypass = '[[piece]]\nkind = "bypass"\nopen = "30 %"\naround = ["salt dryer"]\n\n'
    passed = load(text[:at] + bypass + text[at:])
    open_margin, closed_margin = pot_margin_k(run(passed)), pot_margin_k(run(hot))
    assert open_margin is not None
    assert closed_margin is not None
    assert open_margin < closed_margin - 1.0
    assert pot_margin_k(run(without(passed, "bypass"))) == closed_margin
    assert treatment(without(passed, "salt dryer"))[-1] == "bypass"


def test_liquid_that_comes_with_the_air_through_a_hose_is_water_at_the_steel() -> None:
    """No pot keeps it back: what the hose carries on counts, though a part of it evaporated there."""
    hot = plan("hot-humid")
    bare = replace(hot, recipes=tuple(each for each in hot.recipes if each.kind in ("aftercooler", "hose")))
    result = run(bare)
    hose = by_label(result)["hose"]
    assert hose.carried_kg_per_h > 1.0 and water_in_pot_and_hose_kg_per_h(result) >= hose.carried_kg_per_h
    assert is_wet(result)


def test_purge_air_has_to_be_compressed_too() -> None:
    """A dryer that blows off 15 % needs 1 / 0.85 of the air at the intake, or the nozzle gets less."""
    hot = plan("hot-humid")
    dryer = next(each for each in hot.recipes if each.kind == "deliquescent dryer")
    blown = replace(dryer, kind="adsorption dryer", figures=BLOWS_OFF)
    purged = run(replace(hot, recipes=tuple(blown if each is dryer else each for each in hot.recipes)))
    assert purged.flow_used_kg_per_s == CLOSE(run(hot).flow_used_kg_per_s / 0.85, rel=1e-12)
    assert purged.passages[-1].outlet.dry_kg_per_s == CLOSE(run(hot).flow_used_kg_per_s, rel=1e-9)


BLOWS_OFF = {"pdp_c": -40.0, "warming_k": 0.0, "purge": 0.15, "drop_pa": 10_000.0}


def test_a_need_is_not_met_by_a_dryer_nobody_vouches_for() -> None:
    """Its highest inlet is not stated, or its bed gets liquid: the margin is worked out, and not called met."""
    hot = replace(plan("hot-humid"), need=Need(3.0, "test clause"))
    assert meets_need(hot, run(hot)) is True
    dryer = next(each for each in hot.recipes if each.kind == "deliquescent dryer")
    figures = {name: value for name, value in dryer.figures.items() if name != "highest_inlet_c"}
    unstated = replace(
        hot, recipes=tuple(replace(each, figures=figures) if each is dryer else each for each in hot.recipes)
    )
    assert meets_need(unstated, run(unstated)) is None
    wet = without(without(without(hot, "separator"), "wet tank"), "coalescing filter")
    assert unsure(wet, run(wet)) == ["salt dryer"] and meets_need(wet, run(wet)) is not True


def test_a_hose_under_a_night_sky_is_as_cold_as_the_pot() -> None:
    """Desert night, pot wall 4 K below the air: the thin hose on the ground is not warmer."""
    found = by_label(run(plan("desert-night")))
    assert found["hose"].wall_c == found["pot"].wall_c == CLOSE(18.0)
