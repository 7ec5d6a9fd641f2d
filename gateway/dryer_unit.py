"""A dryer of the yard: what plate and register say, what its owner asks of it, what a test was told and read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

NOT_STATED = "not stated"
ISO_7183 = (
    "ISO 7183 does not cover deliquescent (absorption) dryers: a rating is its maker's own statement, for the "
    "conditions stated."
)


@dataclass(frozen=True, slots=True)
class Rating:
    """What the plate states, with its conditions. None = not stated. Flow as free air [m³/s], pressure gauge [Pa].

    suppression_k: outlet pressure dew point below the inlet gas temperature, at these conditions.
    """

    flow_m3_per_s: float | None = None
    inlet_c: float | None = None
    pressure_pa: float | None = None
    suppression_k: float | None = None
    loss_pa: float | None = None


@dataclass(frozen=True, slots=True)
class Rental:
    """One rental: who had it when, how long it ran, what its salt did. Amounts as the clerk wrote them."""

    contract: str
    customer: str
    out: str
    back: str = NOT_STATED
    hours: str = NOT_STATED
    level_out: str = NOT_STATED
    level_in: str = NOT_STATED
    photos: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Refill:
    """Salt filled in: a new trend begins, and it is billed."""

    day: str
    salt: str
    lot: str
    kg: float


@dataclass(frozen=True, slots=True)
class Unit:
    """One dryer of the yard. salt: a name of `pieces.SALTS`, or "" with equilibrium_rh as its maker states it."""

    serial: str
    label: str
    salt: str
    equilibrium_rh: float | None
    relief_valve_due: str
    vessel_due: str
    rating: Rating = Rating()
    rentals: tuple[Rental, ...] = ()
    refills: tuple[Refill, ...] = ()


@dataclass(frozen=True, slots=True)
class Criterion:
    """What the owner asks: a limit in the unit used inside, and where it is written."""

    limit: float
    clause: str


Criteria = Mapping[str, Criterion]
"""By name: a key of `dryer_check.JUDGED`, or "least_flow", a share of the rated flow. None is shipped."""


@dataclass(frozen=True, slots=True)
class Brine:
    """What left by the drain's own line: mass [kg] over minutes, salt as a share 0..1 with its u, or None."""

    mass_kg: float
    minutes: float
    salt_share: float | None
    u_share: float = 0.0
    u_mass_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class Facts:
    """What a person entered of a test. visual, relief_valve: "pass" or what is wrong; "" = not looked at yet."""

    kind: str
    day: str
    person: str
    bench: str
    visual: str = ""
    relief_valve: str = ""
    blown_out: bool = False
    brine: Brine | None = None
    leak_pa_per_min: float | None = None
    u_leak: float | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """One row of readings: minutes since the first, values in the unit used inside by the names of CHANNELS."""

    minute: float
    values: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Test:
    """A test as it was made: facts, rows, and the standard uncertainty of each channel (missing = not stated)."""

    __test__ = False  # not a test of ours

    facts: Facts
    rows: tuple[Row, ...]
    u: Mapping[str, float] = field(default_factory=dict)


CHANNELS = (
    "inlet_temperature", "inlet_humidity", "inlet_dew_point", "inlet_pressure", "outlet_temperature",
    "outlet_humidity", "outlet_dew_point", "outlet_pressure", "pressure_loss", "flow", "ambient_temperature",
    "station_pressure",
)  # fmt: skip


def not_to_be_pressurised(unit: Unit, facts: Facts) -> list[str]:
    """Return why this unit is not to be put under pressure; empty when nothing speaks against a test."""
    why = []
    for what, said in (("visual inspection", facts.visual), ("relief valve", facts.relief_valve)):
        if said != "pass":
            why.append(f"{what}: {said or 'not entered yet'}")
    for what, due in (("relief valve", unit.relief_valve_due), ("vessel", unit.vessel_due)):
        if due == NOT_STATED:
            why.append(f"{what} inspection: its due day is not stated in the register")
        elif due < facts.day:
            why.append(f"{what} inspection was due on {due}")
    return why
