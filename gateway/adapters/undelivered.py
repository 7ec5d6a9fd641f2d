"""Messages that reach nobody, in sentences for the board: read from the messenger's book, never written."""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing
from pathlib import Path

from gateway.adapters.journal import open_reader

LONG_MS = 300_000  # tried in vain for so long: ours, no source
IDLE_S = 60.0  # not even tried for so long
LOOK_S = 5.0
_NEWEST = "(SELECT * FROM outcomes WHERE id > (SELECT max(id) FROM outcomes) - 10000 AND number != '')"
_FAILING = f"""SELECT max(o.id), number, person, channel, reason, o.at_utc_ms - first_utc_ms AS waited
FROM attempts JOIN {_NEWEST} AS o USING (outbox_id) WHERE due_utc_ms IS NOT NULL AND first_utc_ms > 0
GROUP BY outbox_id HAVING waited >= ? ORDER BY outbox_id LIMIT 3"""  # noqa: S608  our own words
_NEVER = f"""SELECT max(id), channel, reason, outcome FROM {_NEWEST} WHERE outcome != 'try again'
GROUP BY channel HAVING outcome = 'will never work' ORDER BY channel LIMIT 3"""  # noqa: S608


class Undelivered:
    """What stands in the way of messages; looks every few seconds."""

    def __init__(self, home: Path) -> None:
        self._home = home
        self._looked_s = float("-inf")
        self._untried: tuple[int, float] = (0, 0.0)
        self._lines: tuple[str, ...] = ()
        self.idle: tuple[str, ...] = ()  # that messages wait and nobody sends, as of the last look

    def lines(self, now_s: float | None = None) -> tuple[str, ...]:
        """Return a sentence for each trouble. now_s: seconds that never step."""
        now_s = time.monotonic() if now_s is None else now_s
        if now_s - self._looked_s >= LOOK_S:
            self._looked_s = now_s
            try:
                self.idle = tuple(self._idle(now_s))
                self._lines = (*self.idle, *self._in_vain())
            except sqlite3.Error:  # being made, or a disk that refuses: `run` says that itself
                return self._lines
        return self._lines

    def _idle(self, now_s: float) -> list[str]:
        """Whether the first message that was never tried is the same for too long."""
        tried = 0
        if (self._home / "delivery.db").exists():
            with closing(open_reader(self._home / "delivery.db")) as book:
                (tried,) = book.execute("SELECT ifnull(max(outbox_id), 0) FROM attempts").fetchone()
        with closing(open_reader(self._home / "journal.db")) as journal:
            first, count = journal.execute(
                "SELECT ifnull(min(id), 0), count(*) FROM outbox WHERE id > ?", (tried,)
            ).fetchone()
        if first != self._untried[0]:
            self._untried = (first, now_s)
        if not first or now_s - self._untried[1] < IDLE_S:
            return []
        waiting = "1 message waits" if count == 1 else f"{count} messages wait"
        return [f"{waiting} and nobody sends: is dewgate deliver running?"]

    def _in_vain(self) -> list[str]:
        if not (self._home / "delivery.db").exists():
            return []
        with closing(open_reader(self._home / "delivery.db")) as book:
            failing = book.execute(_FAILING, (LONG_MS,)).fetchall()
            never = book.execute(_NEVER).fetchall()
        return [
            f"{number} has not reached {person} by {channel} for {waited // 60_000} min: {reason}; still trying"
            for _, number, person, channel, reason, waited in failing
        ] + [f"nothing reaches anybody by {channel}: {reason}" for _, channel, reason, _ in never]
