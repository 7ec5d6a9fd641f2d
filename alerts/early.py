"""When to warn ahead: the lowest probability that keeps to the false warnings a week the site lead allows.

Every threshold of a ladder warns in its mind only; how often each was wrong on this site, with older weeks fading,
picks the one that is used, beside three weeks of guess: a few lucky days do not make a low one good. A warning is
right when a sustained stay outside begins while it stands, at most four hours; one that ends by itself was false.
These constants are ours, chosen on half of a measured month and on a typical year of another place.
"""

from __future__ import annotations

from dataclasses import dataclass, field

LONGEST_MIN = 240  # a warning that stands longer was false
STAY_MIN = 10  # a stay outside shorter than this is a dip
CALM_MIN = 10  # inside by the deadband for so long ends a stay
LOW_MIN = 30  # a low probability for so long ends a warning: shorter, and one evening brings two false ones
FALLEN = 0.5  # of the threshold: a warning ends when the probability has stayed below it
REST_MIN = 60  # between two warnings
LADDER = tuple(n / 100 for n in range(60, 100, 5))  # lower ones looked good by luck, and were not
FIRST, FIRST_FALSE = 0.70, 2.0  # before this site has said anything: two a week at this threshold
HIGHEST = 0.99
MEMORY_MIN = 28 * 1440
WEEK_MIN = 7 * 1440
GUESS_MIN = 3 * WEEK_MIN  # of guess beside what was seen


@dataclass(slots=True)
class Stay:
    """A sustained stay outside the limit, told from dips. began: its first minute, while it lasts."""

    below: int | None = None
    calm: int | None = None
    began: int | None = None

    def feed(self, minute: int, distance: float, deadband: float) -> int | None:
        """Take one minute in; return the first minute of a stay that has just proved to be one."""
        if self.began is not None:
            self._ending(minute, distance, deadband)
            return None
        if distance >= 0:
            self.below = None
            return None
        if self.below is None:
            self.below = minute
        if minute - self.below + 1 < STAY_MIN:
            return None
        self.began, self.below, self.calm = self.below, None, None
        return self.began

    def _ending(self, minute: int, distance: float, deadband: float) -> None:
        if distance < deadband:
            self.calm = None
        elif self.calm is None:
            self.calm = minute
        elif minute - self.calm + 1 >= CALM_MIN:
            self.began = self.calm = None


@dataclass(slots=True)
class Rung:
    """One threshold: since when it warns, when the last one ended, and its false ones."""

    since: int | None = None
    low: int | None = None
    last: int = -REST_MIN
    false: float = 0.0

    def feed(self, minute: int, p: float, threshold: float) -> bool:
        """Take one probability in; return whether a warning begins. It ends when p has fallen by half."""
        if self.since is None:
            if p < threshold or minute - self.last < REST_MIN:
                return False
            self.since = minute
            return True
        if p >= threshold * FALLEN:
            self.low = None
        elif self.low is None:
            self.low = minute
        if minute - self.since > LONGEST_MIN or (self.low is not None and minute - self.low >= LOW_MIN):
            self.settle(minute)
            self.false += 1
        return False

    def settle(self, minute: int) -> None:
        """A stay has proved to be one: what warned of it was right."""
        self.since, self.low, self.last = None, None, minute


@dataclass(slots=True)
class Early:
    """The ladder of one limit, what has been said aloud, and the minutes it has been known for, fading."""

    stay: Stay = field(default_factory=Stay)
    rungs: list[Rung] = field(default_factory=lambda: [Rung() for _ in LADDER])
    said: Rung = field(default_factory=Rung)
    known_min: float = 0.0

    def feed(self, minute: int, distance: float, deadband: float, p: float | None, budget: float) -> bool:
        """Take one minute in; return whether a warning begins now. p is None where nothing may be said.

        budget: false warnings a week that the site lead allows.
        """
        del self.rungs[: -len(LADDER)]  # an older program's ladder began lower
        fade = 1 - 1 / MEMORY_MIN
        self.known_min = self.known_min * fade + 1
        for rung in self.rungs:
            rung.false *= fade
        if self.stay.feed(minute, distance, deadband) is not None:
            for rung in (*self.rungs, self.said):
                rung.settle(minute)
        if self.stay.began is not None or distance < 0 or p is None:
            return False
        for rung, threshold in zip(self.rungs, LADDER, strict=True):
            rung.feed(minute, p, threshold)
        return self.said.feed(minute, p, self.threshold(budget))

    def threshold(self, budget: float) -> float:
        """Return the lowest threshold that keeps to the budget, nearly certain where none does."""
        kept = (each for each, at in zip(LADDER, self.rungs, strict=True) if self._rate(each, at) <= budget)
        return next(kept, HIGHEST)

    def _rate(self, threshold: float, rung: Rung) -> float:
        """False warnings a week, the guess beside what was seen."""
        guess = FIRST_FALSE * (1 - threshold) / (1 - FIRST) * GUESS_MIN / WEEK_MIN
        return (rung.false + guess) / (self.known_min + GUESS_MIN) * WEEK_MIN
