"""How well a path did, learned while it is used: its error, an interval that holds, a probability that is meant.

Nothing is assumed of the errors. Their size is averaged with forgetting; the ends of the 80 % interval move out
after each miss and in after each hit, so that they hold on any site in the long run; the probability is a logistic
curve of the distance to the limit in errors, refitted with every outcome.
Several ways are mixed by their past losses, so that the mix is never much worse than any one of them.
Sources: Gibbs and Candès 2021, "Adaptive conformal inference under distribution shift" (moving ends);
Kivinen and Warmuth 1999, "Averaging expert predictions", and Herbster and Warmuth 1998, "Tracking the best expert"
(weights, from memory); recursive logistic regression: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, sqrt

TAIL = 0.1  # below and above the 80 % interval
MOVE = 0.02  # how far an end moves [errors] after a miss; a ninth of it after a hit
MEMORY = 3000  # outcomes of a spread or curve; ten days at one in five minutes
FEW = 30  # outcomes before the first own figures count in full
NEAREST, FARTHEST = -4.0, 6.0  # distances in errors beyond which nothing more is learned
LEAST_ERROR = 1e-3
RATE = 0.3  # of losing weight by a Brier loss; up to a half a mean loses ln(1 / weight) / RATE at most
SHARE = (
    0.05  # of the weights that go back to the first ones for each point two losses differ: none is lost for ever
)


def reweighed(weights: Sequence[float], losses: Sequence[float], first: Sequence[float]) -> list[float]:
    """Return the weights of several ways after one outcome, by the squared error of what each had said."""
    raw = [weight * exp(-RATE * loss) for weight, loss in zip(weights, losses, strict=True)]
    whole, share = sum(raw), SHARE * (max(losses) - min(losses))
    return [(1 - share) * each / whole + share * back for each, back in zip(raw, first, strict=True)]


@dataclass(slots=True)
class Spread:
    """Size of the error at one lead [scale of the path], and the ends of 80 % of the errors in that size."""

    square: float
    low: float = -1.28  # of a normal distribution, until outcomes say otherwise
    high: float = 1.28
    count: int = 0

    @property
    def error(self) -> float:
        """Root of the mean square."""
        return max(sqrt(self.square), LEAST_ERROR)

    def learn(self, error: float) -> None:
        """Take in what came minus what was expected."""
        in_errors = error / self.error
        self.low += MOVE * (TAIL - (in_errors < self.low)) / (1 - TAIL)
        self.high -= MOVE * (TAIL - (in_errors > self.high)) / (1 - TAIL)
        self.count = min(self.count + 1, MEMORY)
        self.square += (error * error - self.square) / (self.count + FEW)


@dataclass(slots=True)
class Odds:
    """P = 1 / (1 + exp(-(a + b z))), the covariance of a and b.

    z: least distance of the path from the limit in errors, within the horizon. a and b begin near a normal tail.
    """

    a: float = 0.2
    b: float = -1.9
    aa: float = 0.05
    ab: float = 0.0
    bb: float = 0.05

    def probability(self, z: float) -> float:
        """Return the probability of an outcome at this distance."""
        return 1 / (1 + exp(-self.a - self.b * max(NEAREST, min(FARTHEST, z))))

    def learn(self, z: float, came: bool) -> None:
        """Refit the curve with one outcome: one step of a Kalman filter in the weight of a logistic curve."""
        z = max(NEAREST, min(FARTHEST, z))
        p = self.probability(z)
        weight, keep = p * (1 - p), 1 + 1 / MEMORY  # forgetting: what was known of the curve gets less sure
        aa, ab, bb = min(self.aa * keep, 1.0), self.ab * keep, min(self.bb * keep, 1.0)
        toward_a, toward_b = aa + ab * z, ab + bb * z
        whole = 1 + weight * (toward_a + toward_b * z)
        share = weight / whole
        self.aa, self.ab = aa - share * toward_a**2, ab - share * toward_a * toward_b
        self.bb = bb - share * toward_b**2
        self.a += toward_a * (came - p) / whole
        self.b = min(self.b + toward_b * (came - p) / whole, -0.2)  # nearer is never less likely
