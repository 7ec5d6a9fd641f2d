"""What is known of the connection to the broker: since when it is away, why, how often it was cut short, and
whether it kept what it was to keep for us.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

GRACE_S = 5.0  # a broker that restarts is back before this; shorter absences are nobody's trouble
SHORT_S, CUTS, WITHIN_S = 20.0, 3, 120.0  # so many connections ended so young within so long: something is wrong
MOST_ABSENCES = 100  # between two looks of a second, more than a network can flap
FORGOTTEN_S = 3600.0  # for so long it is said that the broker had forgotten us


@dataclass(slots=True)
class Link:
    """The broker's thread tells what happens, with monotonic seconds; others ask."""

    address: str
    away_s: float | None = None  # monotonic, None while connected
    away_at: str = ""
    refusal: str = ""
    times: int = 0  # how often it was opened
    denied: tuple[str, ...] = ()  # topics the broker does not let us read
    is_deaf: bool = False  # all of them
    absences: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=MOST_ABSENCES))
    """Monotonic seconds from and until, of those that have ended and that nobody has taken down yet."""
    _opened_s: float = 0.0
    _forgotten_s: float | None = None
    _forgotten_at: str = ""
    _cuts: deque[float] = field(default_factory=lambda: deque(maxlen=CUTS))

    def opened(self, now_s: float, utc_s: float, kept: bool) -> None:
        """The broker took the connection. kept: it still had the session of the one before."""
        self._forgotten_s = now_s if self.times and not kept else None
        self._forgotten_at = _moment(utc_s)
        if self.away_s is not None and (self.times or now_s - self.away_s >= GRACE_S):  # a start takes its moment
            self.absences.append((self.away_s, now_s))
        self.away_s, self.refusal, self._opened_s = None, "", now_s
        self.times += 1

    def answered(self, denied: Sequence[str], is_deaf: bool) -> None:
        """The broker answered the subscription."""
        self.denied, self.is_deaf = tuple(denied), is_deaf

    def lost(self, now_s: float, utc_s: float) -> None:
        """The connection ended without our doing."""
        if self.away_s is None:
            if now_s - self._opened_s < SHORT_S:
                self._cuts.append(now_s)
            self.missed(now_s, utc_s)

    def missed(self, now_s: float, utc_s: float) -> None:
        """No connection came about."""
        if self.away_s is None:
            self.away_s, self.away_at = now_s, _moment(utc_s)

    def refused(self, why: str, now_s: float, utc_s: float) -> None:
        """The broker answered and would not have us."""
        self.refusal = why
        self.missed(now_s, utc_s)

    def is_cut_short(self, now_s: float) -> bool:
        """Whether connections keep ending soon after they began."""
        return len(self._cuts) == CUTS and now_s - self._cuts[0] < WITHIN_S

    def words(self, now_s: float) -> str:
        """Return why nothing comes in, in one line, or nothing."""
        if self.away_s is None and self.is_deaf:
            return self._denied()
        if self.away_s is None or now_s - self.away_s < GRACE_S:
            return ""
        why = f"refuses the gateway ({self.refusal})" if self.refusal else "not reachable"
        return (
            f"broker {self.address} {why} since {self.away_at}: no reading comes in; publishers and broker keep "
            "what they can; check the broker and the network"
        )

    def short_of(self, now_s: float) -> tuple[str, ...]:
        """Return what the broker keeps from us while the connection stands, a line each."""
        found = [self._denied()] if self.denied and not self.is_deaf else []
        if self._forgotten_s is not None and now_s - self._forgotten_s < FORGOTTEN_S:
            found.append(
                f"broker {self.address} had forgotten the gateway when it came back ({self._forgotten_at}): what "
                "waited there is lost, and shows as gaps; it must save to its disk, with persistence true, "
                "autosave_interval 10 and a persistence_location it may write to, as in deploy/mosquitto.conf"
            )
        return tuple(found)

    def _denied(self) -> str:
        return (
            f"broker {self.address} does not let the gateway read {', '.join(self.denied)}: nothing of it comes "
            "in; allow it in the broker's access list"
        )


def _moment(utc_s: float) -> str:
    return f"{datetime.fromtimestamp(utc_s, UTC):%Y-%m-%d %H:%M:%S} UTC"
