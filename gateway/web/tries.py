"""How often somebody may guess at the door: counted by name and by where the guesses come from."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

WINDOW_MS = 300_000
PER_NAME_AND_CLIENT, PER_NAME, PER_CLIENT, EVERYWHERE = 5, 30, 30, 200
MOST_KEYS = 10_000  # whoever guesses may send any number of names


@dataclass(slots=True)
class Tries:
    """Failed tries of the last five minutes; somebody else's guesses do not lock a name out at once."""

    _failed: dict[tuple[str, ...], deque[int]] = field(default_factory=dict)

    def wait_s(self, name: str, client: str, now_ms: int) -> int:
        """Return for how many seconds no further try is taken, 0 when one is."""
        return max(self._wait_s(key, most, now_ms) for key, most in _keys(name, client))

    def _wait_s(self, key: tuple[str, ...], most: int, now_ms: int) -> int:
        failed = self._failed.get(key, deque())
        while failed and failed[0] <= now_ms - WINDOW_MS:
            failed.popleft()
        return 0 if len(failed) < most else 1 + (failed[-most] + WINDOW_MS - now_ms) // 1000

    def failed(self, name: str, client: str, now_ms: int) -> None:
        """Count a failed try."""
        if len(self._failed) > MOST_KEYS:
            self._failed.clear()  # the count over everything starts again, too: 200 more tries, not endlessly many
        for key, most in _keys(name, client):
            self._failed.setdefault(key, deque(maxlen=most)).append(now_ms)

    def succeeded(self, name: str, client: str) -> None:
        """Forget a person's own mistakes."""
        self._failed.pop((name.casefold()[:80], client), None)


def _keys(name: str, client: str) -> tuple[tuple[tuple[str, ...], int], ...]:
    name = name.casefold()[:80]
    return (
        ((name, client), PER_NAME_AND_CLIENT),
        (("name", name, ""), PER_NAME),
        (("client", client, ""), PER_CLIENT),
        ((), EVERYWHERE),
    )
