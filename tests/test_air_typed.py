"""What may be typed about a state of air, and what is refused with which words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.air_typed import ATMOSPHERE_PA, NotUnderstood, read, words
from gateway.psychrometrics import (
    OutOfRange,
    absolute_humidity_kg_per_m3,
    dew_point_c,
    frost_point_c,
    humidity_ratio,
    vapour_pressure_pa,
)
from gateway.wet_bulb import wet_bulb_c

CLOSE = pytest.approx


@pytest.mark.parametrize(
    ("typed", "t_c", "p_pa"),
    [
        ("20C 50% 7barg", 20.0, 801_325.0),
        ("20 °C 50 %RH 7 bar(g)", 20.0, 801_325.0),
        ("20,0degC rh50% 8 bar(a)", 20.0, 800_000.0),
        ("68F 50% 100psig", 20.0, 790_800.73),
        ("68 °f 50% 114.696 PSIA", 20.0, 790_801.08),
        ("50% 20C", 20.0, 101_325.0),
        ("20C 50% 840 hPa", 20.0, 84_000.0),
        ("20C 50% 29.92inHg", 20.0, 101_320.76),
        ("-5C 80% 1atm", -5.0, 101_325.0),
        ("\N{MINUS SIGN}5C 80% 700kPag", -5.0, 801_325.0),
    ],
)
def test_units_as_people_type_them(typed: str, t_c: float, p_pa: float) -> None:
    """Spaces, decimal comma, upper and lower case, gauge and absolute."""
    air = read(typed)
    assert air.t_c == CLOSE(t_c, abs=1e-9)
    assert air.p_pa == CLOSE(p_pa, abs=0.5)


states = st.tuples(
    st.floats(-20.0, 60.0).map(lambda t: round(t, 6)),
    st.floats(0.05, 0.999),
    st.sampled_from([84_000.0, ATMOSPHERE_PA, 8e5]),
)


@given(states)
def test_every_way_to_say_it_gives_the_same_vapour(state: tuple[float, float, float]) -> None:
    """Any pair typed back with all its digits means the same partial pressure."""
    t, rh, p = state
    e = vapour_pressure_pa(t, rh, p)
    said = [f"{100.0 * rh:.9f}%", f"dp{dew_point_c(t, rh, p):.9f}C", f"{1e3 * humidity_ratio(e, p):.9f}g/kg"]
    said += [f"{1e3 * absolute_humidity_kg_per_m3(t, e, p):.9f}g/m3", f"e{e:.9f}Pa"]
    said += [f"fp{frost_point_c(t, rh, p):.9f}C"] if dew_point_c(t, rh, p) < -1.0 else []
    for each in said:
        # The fitted inverse of the dew point is good to 2 mK, 0.02 % of the vapour.
        assert read(f"{t:.9f}C {each} {p:.3f}Pa").e_pa == CLOSE(e, rel=3e-4), each


@given(st.floats(5.0, 45.0), st.floats(0.2, 0.99))
def test_wet_bulb_typed_back(t: float, rh: float) -> None:
    """The thermodynamic wet bulb of a state gives the state again."""
    wet = wet_bulb_c(t, rh, ATMOSPHERE_PA)
    assert read(f"{t:.9f}C wb{wet:.9f}C").e_pa == CLOSE(vapour_pressure_pa(t, rh, ATMOSPHERE_PA), rel=1e-5)


def test_a_sling_is_not_the_thermodynamic_wet_bulb() -> None:
    """20/15 °C: 58.64 %RH by the psychrometer formula of WMO-No. 8, 58.96 by the thermodynamic bulb."""
    whole = vapour_pressure_pa(20.0, 1.0, ATMOSPHERE_PA)
    assert read("20C sling15C").e_pa / whole == CLOSE(0.5864, abs=3e-4)
    assert read("20C wb15C").e_pa / whole == CLOSE(0.5896, abs=3e-4)
    assert '"sling15C" is wet bulb of a whirled sling psychrometer' in read("20C sling15C").assumed


def test_what_was_not_said_is_assumed_aloud() -> None:
    """One atmosphere, over water; a given barometer is named as given."""
    assert any("1013.25 hPa (one atmosphere)" in each for each in read("20C 50% 7barg").assumed)
    assert '"50%" is relative humidity over liquid water' in read("20C 50%").assumed
    high = read("20C 50% 7barg", station_pa=84_000.0)
    assert high.p_pa == 784_000.0
    assert "station pressure 840.00 hPa, as given" in high.assumed
    assert not any("one atmosphere" in each for each in read("20C 50% 840hPa").assumed)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("20C 50% 7bar", '"7bar": gauge or absolute'),
        ("20C 50% 100 psi", "gauge or absolute"),
        ("20C", "the water in the air is missing"),
        ("50% 7barg", "the air temperature is missing"),
        ("20C 30C 50%", 'air temperature is said twice: "20C" and "30C"'),
        ("20C 50% dp5C", "water in the air is said twice"),
        ("20C 50% 7barg 8bara", "pressure is said twice"),
        ("20C 120%", "relative humidity goes to 100"),
        ("20C 0%", "a sensor that says so is dead"),
        ("20C dp25C", "would be 135"),
        ("20C fp5C", "over ice"),
        ("20C wb25C", "wet bulb"),
        ("20C dp50%", "does not come in %RH"),
        ("20C e50%", "does not come in %RH"),
        ("20C rh50hPa", "does not come in hPa"),
        ("20C 50% bananas", '"bananas" is not understood'),
        ("20C 50% 7barg steel 18C", "steel stands in open air"),
        ("20C 50% steel 1bar(a)", "does not fit"),
        ("20C 50% 40barg", "total pressure"),
    ],
)
def test_refusals_name_the_word_and_what_to_type(typed: str, says: str) -> None:
    """Which word, and why."""
    with pytest.raises(NotUnderstood) as refused:
        read(typed)
    assert says in str(refused.value)


def test_words_keep_their_text() -> None:
    """The reader sees what was typed."""
    assert [word.text for word in words("20C  dp 5 C")] == ["20C", "dp 5 C"]


def test_nothing_typed_is_out_of_the_blue() -> None:
    """An empty line misses everything."""
    with pytest.raises((NotUnderstood, OutOfRange), match="air temperature is missing"):
        read("")


@pytest.mark.parametrize("typed", ["20C e1,200Pa", "20C 50% 1,013hPa"])
def test_a_comma_that_may_mean_thousands_is_refused(typed: str) -> None:
    """1,200 read as 1.2 would be very dry air; ask instead."""
    with pytest.raises(NotUnderstood, match="thousands or a decimal"):
        read(typed)
