"""What happens at the simulated jobsite, and when: the evening's weather, the salt, and failing sensors.

All times are seconds of simulated time since the start. `jobsite` plays a scenario, `publish` sends it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from simulators.sensors import Fault
from simulators.weather import Dusk, Weather

FRESH_RH = 0.5
"""RH_eq (0..1) over the brine of a fresh bed; a round figure for the demonstration."""
MINUTE = 60.0
NEVER = 1e12


@dataclass(frozen=True, slots=True)
class Scenario:
    """One course of events. The salt is spent between spending_s and spent_s [s]; still stops the evening."""

    name: str
    dusk: Dusk = field(default_factory=Dusk)
    spending_s: float = NEVER
    spent_s: float = 2 * NEVER
    still: bool = False
    faults: tuple[Fault, ...] = ()

    def weather(self, elapsed_s: float) -> Weather:
        """The weather at this time; a still scenario stays in its first minute."""
        return self.dusk.at(min(elapsed_s, 0.0) if self.still else elapsed_s)

    def equilibrium_rh(self, elapsed_s: float) -> float:
        """RH_eq of the salt (0..1): FRESH_RH while there is salt, 1 when it is spent."""
        spent = (elapsed_s - self.spending_s) / (self.spent_s - self.spending_s)
        return FRESH_RH + (1.0 - FRESH_RH) * min(max(spent, 0.0), 1.0)


_SPENDING_S, _SPENT_S = 180 * MINUTE, 250 * MINUTE

_FAILING = (
    Fault("steel-high", "stuck", 40 * MINUTE, 90 * MINUTE),
    Fault("recv-rh", "silent", 60 * MINUTE, 80 * MINUTE),
    Fault("air-rh", "drift", 30 * MINUTE, drift_per_hour=2.0),
)

SCENARIOS = {
    each.name: each
    for each in (
        Scenario("dusk", spending_s=_SPENDING_S, spent_s=_SPENT_S),
        Scenario("steady", still=True),
        Scenario("faults", still=True, faults=_FAILING),
    )
}
"""dusk: the demonstration. steady: an afternoon without end. faults: steady, with three failing sensors."""
