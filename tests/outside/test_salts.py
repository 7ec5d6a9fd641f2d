"""Saturated salt solutions: our dew point gives the suppression that humidity fixed points are known for.

Equilibrium humidity: Greenspan 1977 (J. Res. Natl. Bur. Stand. 81A, 89), polynomials from memory, checked here
against his table as reprinted for conservators (padfield.org) to 0.1 %RH.
"""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import HAPropsSI

from gateway import psychrometrics as air
from gateway.pieces import SALTS, salt_equilibrium_rh
from gateway.psychrometrics import OutOfRange

ATMOSPHERE = 101_325.0

SHORT = {
    "LiCl": "lithium chloride",
    "MgCl2": "magnesium chloride",
    "NaCl": "sodium chloride",
    "KCl": "potassium chloride",
    "K2SO4": "potassium sulfate",
}
TABLE_C = (5, 10, 15, 20, 25)
# NaCl at 20 C is reprinted as 75.7; the polynomial and its neighbours say 75.5: a slip, left out.
TABLE: dict[str, tuple[float | None, ...]] = {
    "LiCl": (11.3, 11.3, 11.3, 11.3, 11.3),
    "MgCl2": (33.6, 33.5, 33.3, 33.1, 32.8),
    "NaCl": (75.7, 75.7, 75.6, None, 75.3),
    "KCl": (87.7, 86.8, 85.9, 85.1, 84.3),
    "K2SO4": (98.5, 98.2, 97.9, 97.6, 97.3),
}
ROWS = [
    (salt, t, value)
    for salt, values in TABLE.items()
    for t, value in zip(TABLE_C, values, strict=True)
    if value is not None
]


def equilibrium_percent(salt: str, t_c: float) -> float:
    return 100.0 * salt_equilibrium_rh(SHORT[salt], t_c)


def suppression_k(t_c: float, percent: float, p_pa: float = ATMOSPHERE) -> float:
    return t_c - air.dew_point_c(t_c, percent / 100, p_pa)


@pytest.mark.parametrize(("salt", "t_c", "percent"), ROWS)
def test_the_polynomials_reproduce_the_table(salt: str, t_c: float, percent: float) -> None:
    assert len(ROWS) == 24
    assert equilibrium_percent(salt, t_c) == pytest.approx(percent, abs=0.1)


def test_other_temperatures_are_refused() -> None:
    """Each solution has its own range."""
    assert set(SALTS) == set(SHORT.values())
    with pytest.raises(OutOfRange, match="potassium sulfate"):
        salt_equilibrium_rh("potassium sulfate", 60.0)


def test_sodium_chloride_at_other_temperatures() -> None:
    """Wexler and Hasegawa 1954: 74.9 % at 0 C and 74.7 % at 50 C; Greenspan within their 1 %."""
    assert equilibrium_percent("NaCl", 0) == pytest.approx(74.9, abs=1.0)
    assert equilibrium_percent("NaCl", 50) == pytest.approx(74.7, abs=1.0)


@pytest.mark.parametrize("t_c", [20.0, 25.0, 30.0, 40.0])
@pytest.mark.parametrize("salt", SHORT)
def test_suppression_over_a_salt_is_that_of_coolprop(salt: str, t_c: float) -> None:
    """Within 2 mK at one atmosphere; below 0 C, over lithium chloride, both are frost points."""
    share = equilibrium_percent(salt, t_c) / 100
    theirs = HAPropsSI("D", "T", t_c + 273.15, "P", ATMOSPHERE, "R", share) - 273.15
    ours = air.condensation_point_c(air.vapour_pressure_pa(t_c, share, ATMOSPHERE), ATMOSPHERE)[0]
    assert ours == pytest.approx(theirs, abs=0.002)


@pytest.mark.parametrize(
    ("salt", "expected", "tolerance"),
    [
        ("LiCl", (31.0, 32.1, 33.3, 35.6), 0.15),
        ("NaCl", (4.5, 4.7, 4.9, 5.2), 0.2),
        ("KCl", (2.6, 2.8, 3.0), 0.1),
        ("K2SO4", (0.4,), 0.05),
    ],
)
def test_suppression_over_a_salt(salt: str, expected: tuple[float, ...], tolerance: float) -> None:
    """Gas less dew point at 20, 25, 30, 40 C (from the fit of the CRC Handbook, constant humidity solutions)."""
    found = [suppression_k(t, equilibrium_percent(salt, t)) for t in (20.0, 25.0, 30.0, 40.0)]
    assert found[: len(expected)] == pytest.approx(expected, abs=tolerance)


def test_suppression_at_33_percent() -> None:
    """Magnesium chloride taken as 33 %: 16.7, 17.4, 18.0, 19.3 K."""
    found = [suppression_k(t, 33.0) for t in (20.0, 25.0, 30.0, 40.0)]
    assert found == pytest.approx((16.7, 17.4, 18.0, 19.3), abs=0.05)


@pytest.mark.parametrize(
    ("t_c", "percent"), [(10.0, 45.9), (20.0, 48.7), (25.0, 50.1), (30.0, 51.4), (37.8, 53.4), (40.0, 53.9)]
)
def test_the_claimed_20_f_of_suppression(t_c: float, percent: float) -> None:
    """The trade's "20 F below the air" (common practice, no source) needs this humidity at the outlet."""
    assert suppression_k(t_c, percent) == pytest.approx(20 / 1.8, abs=0.05)


def test_suppression_hardly_changes_with_pressure() -> None:
    """A salt sets relative humidity; at 8 bar the suppression moves by less than 0.1 K."""
    assert suppression_k(30.0, 33.0, 8e5) == pytest.approx(suppression_k(30.0, 33.0), abs=0.1)
