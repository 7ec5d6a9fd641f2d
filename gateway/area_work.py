"""What has been done to the steel of an area, and what happened to it meanwhile: plain values of the fold.

Made by `flow_work`, kept in the flow's state, read by the board, the climate record and whoever judges by
activities. Times are core ms.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from alerts.limits import Limit
from gateway.clocks import Recoat, Wetness

COATING = ("priming", "stripe coat", "coating")
"""Activities that put a film on the steel; the end of one begins its cure."""
EXPOSED = frozenset({*COATING, "curing"})
"""While one of these goes on, a breach opens an exposure: a curing coat cannot be stopped or resumed."""
UNSET = "unset"
"""What goes on where nobody said it: not idle, so every limit is judged."""
NOT_STATED, BLASTED, PRIMED, COATED, CURED = "not stated", "blasted", "primed", "coated", "cured"


def applies(limit: Limit, going_on: Iterable[str]) -> bool:
    """Whether a limit is judged for these activities; with none set, every limit is. Idle steel has no limits.

    A limit for coating holds for priming and stripe coats too: each puts a film on the steel.
    """
    names = set(going_on)
    if not names:
        return True
    if names & set(COATING):
        names.add("coating")
    return not names.isdisjoint(limit.activities)


@dataclass(slots=True)
class Coat:
    """One film on the steel: what, by whom, from when until when, and its recoat clock. product: id or empty."""

    activity: str
    name: str
    product: str
    batch: str
    begun_ms: int
    begun_by: str
    ended_ms: int | None = None
    cured_ms: int | None = None
    recoat: Recoat = field(default_factory=Recoat)


@dataclass(slots=True)
class Seen:
    """What stood at the last judging: the two steel temperatures, and whether it was wet by the three readings."""

    since_ms: int
    coldest_c: float | None = None
    warmest_c: float | None = None
    air: bool | None = None
    steel: bool | None = None
    condensing: bool | None = None


@dataclass(slots=True)
class Work:
    """One area: its stage, since when and by whom; the blast and the coats over it."""

    stage: str = NOT_STATED
    since_ms: int = 0
    by: str = ""
    blast_begun_ms: int | None = None
    blast_ended_ms: int | None = None
    blast_air_wet: bool = False
    wetness: Wetness = field(default_factory=Wetness)
    coats: list[Coat] = field(default_factory=list)
    seen: Seen | None = None
    shown: list[str] = field(default_factory=list)  # activities whose time is being counted

    @property
    def bare(self) -> bool:
        """Whether blasted steel stands without a film on it."""
        return self.blast_begun_ms is not None and not self.coats


LIMITS, DEW_POINT, TIME = "limits broken", "steel at or below its dew point", "blasted steel stood too long"


@dataclass(slots=True)
class Exposure:
    """Steel or a coat that stood in what it should not: what, since when, how bad; open until limits are back.

    cause: LIMITS, DEW_POINT or TIME. limits: ids of those that were broken, or what was allowed and its clause; of
    DEW_POINT none. worst_k: the least margin over the dew point seen meanwhile, None where none was known.
    disposition: the inspector's, empty until given.
    """

    number: int
    area: str
    coat: str
    activity: str
    limits: list[str]
    opened_ms: int
    cause: str = LIMITS
    worst_k: float | None = None
    ended_ms: int | None = None
    ended_by: str = ""
    disposition: str = ""
    reason: str = ""
    disposed_by: str = ""
    disposed_ms: int | None = None

    @property
    def code(self) -> str:
        """The number people use."""
        return f"E-{self.number}"
