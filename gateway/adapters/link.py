"""What is known of the connection to the broker: since when it is away, why, and how often it was cut short."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from datetime import UTC, datetime

GRACE_S = 5.0  # a broker that restarts is back before this; shorter absences are nobody's trouble
SHORT_S, CUTS, WITHIN_S = 20.0, 3, 120.0  # so many connections ended so young within so long: something is wrong


@dataclass(slots=True)
class Link:
    """The broker's thread tells what happens, with monotonic seconds; others ask."""

    address: str
    away_s: float | None = None  # monotonic, None while connected
    away_at: str = ""
    refusal: str = ""
    _opened_s: float = 0.0
    _cuts: deque[float] = field(default_factory=lambda: deque(maxlen=CUTS))

    def opened(self, now_s: float) -> None:
        """The broker took the connection."""
        self.away_s, self.refusal, self._opened_s = None, "", now_s

    def lost(self, now_s: float, utc_s: float) -> None:
        """The connection ended without our doing."""
        if self.away_s is None:
            if now_s - self._opened_s < SHORT_S:
                self._cuts.append(now_s)
            self.missed(now_s, utc_s)

    def missed(self, now_s: float, utc_s: float) -> None:
        """No connection came about."""
        if self.away_s is None:
            self.away_s, self.away_at = now_s, f"{datetime.fromtimestamp(utc_s, UTC):%Y-%m-%d %H:%M:%S} UTC"

    def refused(self, why: str, now_s: float, utc_s: float) -> None:
        """The broker answered and would not have us."""
        self.refusal = why
        self.missed(now_s, utc_s)

    def is_cut_short(self, now_s: float) -> bool:
        """Whether connections keep ending soon after they began."""
        return len(self._cuts) == CUTS and now_s - self._cuts[0] < WITHIN_S

    def words(self, now_s: float) -> str:
        """Return the standing trouble in one line, or nothing."""
        if self.away_s is None or now_s - self.away_s < GRACE_S:
            return ""
        why = f"refuses the gateway ({self.refusal})" if self.refusal else "not reachable"
        return (
            f"broker {self.address} {why} since {self.away_at}: no reading comes in; publishers and broker keep "
            "what they can; check the broker and the network"
        )
