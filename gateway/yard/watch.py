"""The yard's own alarms: a site fell silent, or what it sends was refused. Told through the messenger of `alerts`.

Messages are rows of `yard.db`, sent until each is settled, as a site's own are; `delivery.db` lies in the
yard's folder. An alarm ends when new entries came, or when somebody has looked at what was refused.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path

from alerts import log
from alerts.contacts import Contacts
from alerts.delivery import Desk, SignOfLife
from alerts.delivery_book import Book
from alerts.notification import CAUTION
from gateway.adapters.yard_db import SAYS_OTHERWISE, Site, YardDb
from gateway.yard.intake import Intake
from gateway.yard.look import clock

SILENT, REFUSED = "silent", "refused"
_WORDS = {
    SILENT: (
        "Site {} is silent. Treat its verdict as unknown.",
        "Look at its gateway, its power and its way to the network.", "Site {} sends again",
    ),
    REFUSED: (
        "Site {}: its record was refused", "Compare its key and ask who restored or changed its journal.",
        "Site {} was looked at",
    ),
    SAYS_OTHERWISE: (
        "Site {}: what it says does not follow from its journal. Treat its verdict as unknown.",
        "Ask its keeper what was changed there; its readings are held here.", "Site {} was looked at",
    ),
}  # fmt: skip
"""Of each kind of alarm: its title, what to do, the title when it is over."""
LOOK_S, TURN_S = 2.0, 0.5


class YardWatch:
    """Looks at all sites and begins and ends alarms. channels: who is told, by the contacts file."""

    def __init__(self, db: YardDb, intake: Intake, channels: Sequence[str], began_ms: int) -> None:
        self._db, self._intake, self._channels, self._began_ms = db, intake, channels, began_ms

    def turn(self, now_ms: int) -> None:
        """Look once."""
        standing = {(each.site, each.kind): each for each in self._db.alarms(standing=True)}
        known = set[str]()
        for site in self._db.sites():
            known.add(site.id)
            refused = [each for each in self._db.refusals(site.id) if not each.seen_by]
            causes = {
                SILENT: self._silent(site, now_ms),
                REFUSED: next((each.why for each in refused if each.kind != SAYS_OTHERWISE), ""),
                SAYS_OTHERWISE: next((each.why for each in refused if each.kind == SAYS_OTHERWISE), ""),
            }
            for kind, why in causes.items():
                alarm = standing.get((site.id, kind))
                if why and alarm is None:
                    self._begin(site, kind, why, now_ms)
                elif alarm and not why:
                    self._end(site, kind, alarm.id, alarm.begun_ms, now_ms)
        for (site_id, _), alarm in standing.items():
            if site_id not in known:
                self._db.end(alarm.id, now_ms)

    def _silent(self, site: Site, now_ms: int) -> str:
        """While the yard itself was away nobody can have been heard."""
        arrived, _ = self._intake.newest.get(site.id, (None, None))
        if arrived is None or not arrived.size:  # nothing was ever promised
            return ""
        since_ms = max(arrived.received_ms, self._began_ms)
        if now_ms - since_ms <= 1000 * site.silent_s:
            return ""
        return f"nothing new has come from it since {clock(arrived.received_ms)}"

    def _begin(self, site: Site, kind: str, why: str, now_ms: int) -> None:
        number, (title, look, _) = f"Y-{self._db.begin(site.id, kind, why, now_ms)}", _WORDS[kind]
        body = f"{site.id}: {why}. {look} {CAUTION}"
        self._db.tell(number, self._channels, f"{number} {title.format(site.id)}", body, now_ms)

    def _end(self, site: Site, kind: str, number: int, begun_ms: int, now_ms: int) -> None:
        self._db.end(number, now_ms)
        title = f"Y-{number} {_WORDS[kind][2].format(site.id)}"
        body = f"{site.id}: from {clock(begun_ms)} to {clock(now_ms)}. {CAUTION}"
        self._db.tell(f"Y-{number}", self._channels, title, body, now_ms)


def work(
    folder: Path, watch: YardWatch, contacts: Contacts, wall_ms: Callable[[], int], stop: threading.Event
) -> None:
    """Watch and send until told to stop; a thread of its own."""
    with closing(Book(folder / "delivery.db")) as book, closing(SignOfLife(contacts.heartbeat)) as sign:
        desk = Desk(folder / "yard.db", book, contacts.channels)
        next_look = next_beat = 0
        while not stop.wait(TURN_S):
            now_ms = wall_ms()
            if now_ms >= next_look or next_look > now_ms + 60_000:
                next_look = now_ms + round(1000 * LOOK_S)
                _look(watch, now_ms)
            if contacts.heartbeat and now_ms >= next_beat:
                next_beat = now_ms + round(1000 * contacts.every_s)
                sign.send()
            desk.turn(now_ms)
        desk.finish()


def _look(watch: YardWatch, now_ms: int) -> None:
    try:
        watch.turn(now_ms)
    except sqlite3.Error as error:  # a full disk ends when there is room; what is silent then is told then
        log.tell("yard", "site", str(error))
