"""What an instrument makes of the truth: it lags, it is noisy, it rounds, and at times it fails.

Truth comes from `jobsite`; what is returned here is what gets published. Noise is repeatable: the same
sensor in the same scenario gives the same series.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from typing import Literal


@dataclass(frozen=True, slots=True)
class Fault:
    """A failure of one sensor between start_s and end_s [s since the start of the scenario].

    stuck repeats the last value, silent publishes nothing, drift adds drift_per_hour [unit/h].
    """

    sensor: str
    kind: Literal["stuck", "silent", "drift"]
    start_s: float
    end_s: float = math.inf
    drift_per_hour: float = 0.0

    def acts(self, sensor: str, elapsed_s: float) -> bool:
        """Whether this fault concerns the sensor at this time."""
        return self.sensor == sensor and self.start_s <= elapsed_s < self.end_s


@dataclass(frozen=True, slots=True)
class Instrument:
    """The character of one sensor: unit as published, noise (standard deviation) and resolution in that unit.

    lag_s is the time constant [s] of a first-order response. Figures are common practice, no source.
    """

    id: str
    unit: str
    noise: float
    resolution: float
    lag_s: float = 0.0
    highest: float = math.inf


@dataclass(slots=True)
class Sensor:
    """One instrument at work: it keeps its lagged value, its last reading and its own noise."""

    instrument: Instrument
    faults: tuple[Fault, ...] = ()
    followed: float | None = None
    last: float | None = None
    noise: random.Random = field(init=False)

    def __post_init__(self) -> None:
        """Seed by the sensor's name, so that sensors differ and runs do not."""
        self.noise = random.Random(self.instrument.id)

    def read(self, truth: float, elapsed_s: float, step_s: float) -> float | None:
        """The reading at elapsed_s [s], step_s after the one before; None when the sensor is silent."""
        active = [f for f in self.faults if f.acts(self.instrument.id, elapsed_s)]
        value = self._rounded(self._follow(truth, step_s) + _drift(active, elapsed_s))
        kinds = {f.kind for f in active}
        if "stuck" in kinds and self.last is not None:
            value = self.last
        self.last = value
        return None if "silent" in kinds else value

    def _follow(self, truth: float, step_s: float) -> float:
        if self.followed is None or self.instrument.lag_s <= 0.0:
            self.followed = truth
        share = 1.0 - math.exp(-step_s / self.instrument.lag_s) if self.instrument.lag_s > 0.0 else 1.0
        self.followed += share * (truth - self.followed)
        return self.followed

    def _rounded(self, value: float) -> float:
        noisy = min(value + self.noise.gauss(0.0, self.instrument.noise), self.instrument.highest)
        # The second rounding only removes binary tails such as 21.400000000000002 from the message.
        return round(round(noisy / self.instrument.resolution) * self.instrument.resolution, 6)


def _drift(active: list[Fault], elapsed_s: float) -> float:
    return sum(f.drift_per_hour * (elapsed_s - f.start_s) / 3600.0 for f in active if f.kind == "drift")
