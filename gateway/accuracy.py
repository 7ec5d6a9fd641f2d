"""What a sensor's sheet and its certificate state, and what that makes of its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date as day

RECTANGULAR = 3**0.5  # half width over standard uncertainty (JCGM 100:2008, 4.3.7)
RECTANGULAR_95 = 0.95 * RECTANGULAR  # half the middle 95 % of a rectangle over its standard uncertainty

OVER_U = {"limit": RECTANGULAR, "k=2": 2.0, "k=1": 1.0}  # half width over standard uncertainty, by its meaning


@dataclass(frozen=True, slots=True)
class Accuracy:
    """What the sensor's sheet states: a half width and what it means; half_width None = not stated.

    meaning: "limit" (rectangular, divided by √3), "k=2" (expanded, halved), "k=1" (standard).
    Source: JCGM 100:2008, 4.3.7 (rectangular), 6.2 (expanded).
    """

    half_width: float | None
    meaning: str = "limit"

    @property
    def u(self) -> float | None:
        """Standard uncertainty, or None when the accuracy is not stated."""
        if self.half_width is None:
            return None
        return self.half_width / OVER_U[self.meaning]


@dataclass(frozen=True, slots=True)
class Calibration:
    """When the instrument was last calibrated, until when that holds, by which certificate, and what it found.

    In the unit of a difference of the sensor's quantity: correction is added to every reading; expanded_u is the
    certificate's uncertainty at k = 2; drift is the half width allowed for since then, rectangular. None = not
    stated, so nothing is added to the accuracy for it.
    """

    date: str = "not stated"
    due: str = "not stated"
    certificate: str = "not stated"
    correction: float = 0.0
    expanded_u: float | None = None
    drift: float | None = None

    @property
    def until(self) -> day | None:
        """The last day it holds, None where none is stated as YYYY-MM-DD."""
        try:
            return day.fromisoformat(self.due)
        except ValueError:
            return None
