"""The yard's own alarms: a site fell silent, or what it sends was refused. Told through the messenger of `alerts`.

Messages are rows of `yard.db`, sent until each is settled, as a site's own are; `delivery.db` lies in the
yard's folder. An alarm ends when new entries came, or when somebody has looked at what was refused.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from pathlib import Path

from alerts import log
from alerts.contacts import Contacts
from alerts.delivery import Desk, SignOfLife
from alerts.delivery_book import Book
from alerts.notification import CAUTION
from gateway.adapters.health import LOW, NEARLY_FULL, level_of
from gateway.adapters.yard_db import SAYS_OTHERWISE, Site, YardAlarm, YardDb
from gateway.adapters.yard_room import RoomWatch
from gateway.flow_health import GOOD
from gateway.yard.intake import Intake
from gateway.yard.look import clock

SILENT, REFUSED, DISK_LOW, DISK_FULL = "silent", "refused", "disk low", "disk nearly full"
_WORDS = {
    SILENT: (
        "Site {} is silent. Treat its verdict as unknown.",
        "Look at its gateway, its power and its way to the network.", "Site {} sends again",
    ),
    REFUSED: (
        "Site {}: its record was refused", "Compare its key and ask who restored or changed its journal.",
        "Site {} was looked at",
    ),
    DISK_LOW: (
        "The yard's disk is low", "Make room, or say how long entries are kept (dewgate yard keep, yard tidy).",
        "The yard's disk has room again",
    ),
    DISK_FULL: (
        "The yard's disk is nearly full: soon no site's entries are taken",
        "Make room now. Sites keep what is not taken and send it later.", "The yard's disk has more room",
    ),
    SAYS_OTHERWISE: (
        "Site {}: what it says does not follow from its journal. Treat its verdict as unknown.",
        "Ask its keeper what was changed there; its readings are held here.", "Site {} was looked at",
    ),
}  # fmt: skip
"""Of each kind of alarm: its title, what to do, the title when it is over."""
THE_YARD = ""  # stands for the site in an alarm of the yard itself
_CLASSES = {DISK_FULL: NEARLY_FULL, DISK_LOW: LOW}
LOOK_S, TURN_S = 2.0, 0.5


class YardWatch:
    """Looks at all sites and begins and ends alarms. channels: who is told, by the contacts file."""

    def __init__(self, db: YardDb, intake: Intake, channels: Sequence[str], began_ms: int) -> None:
        self._db, self._intake, self._channels, self._began_ms = db, intake, channels, began_ms
        self._room = RoomWatch(db, intake.folder.parent)

    def turn(self, now_ms: int) -> None:
        """Look once."""
        standing = {(each.site, each.kind): each for each in self._db.alarms(standing=True)}
        known = set[str]()
        for site in self._db.sites():
            known.add(site.id)
            refused = [each for each in self._db.refusals(site.id) if not each.seen_by]
            causes = {
                SILENT: self._silent(site, standing.get((site.id, SILENT)), now_ms),
                REFUSED: next((each.why for each in refused if each.kind != SAYS_OTHERWISE), ""),
                SAYS_OTHERWISE: next((each.why for each in refused if each.kind == SAYS_OTHERWISE), ""),
            }
            for kind, why in causes.items():
                self._settle(site.id, kind, why, standing.get((site.id, kind)), now_ms)
        for kind, why in self._disk(standing, now_ms).items():
            self._settle(THE_YARD, kind, why, standing.get((THE_YARD, kind)), now_ms)
        for (site_id, _), alarm in standing.items():
            if site_id not in known and site_id != THE_YARD:
                self._db.end(alarm.id, now_ms)

    def _settle(self, site: str, kind: str, why: str, alarm: YardAlarm | None, now_ms: int) -> None:
        if why and alarm is None:
            self._begin(site, kind, why, now_ms)
        elif alarm and not why:
            self._end(site, kind, alarm.id, alarm.begun_ms, now_ms)

    def _disk(self, standing: Mapping[tuple[str, str], YardAlarm], now_ms: int) -> dict[str, str]:
        """A class of room, as at a site: what is nearly full is low, too."""
        before = next((level for kind, level in _CLASSES.items() if (THE_YARD, kind) in standing), GOOD)
        found = self._room.newest(now_ms)
        level = level_of(found.free, found.days, before)
        return {
            DISK_LOW: found.words if level != GOOD else "",
            DISK_FULL: found.words if level == NEARLY_FULL else "",
        }

    def _silent(self, site: Site, alarm: YardAlarm | None, now_ms: int) -> str:
        """While the yard itself was away, or its disk full, nobody can have been heard: no alarm begins by that.

        Only entries end one.
        """
        arrived, _ = self._intake.newest.get(site.id, (None, None))
        if alarm and (arrived is None or arrived.received_ms <= alarm.begun_ms):
            return alarm.why
        if arrived is None or not arrived.size:  # nothing was ever promised
            return ""
        since_ms = max(arrived.received_ms, self._began_ms, self._intake.full_ms)
        if now_ms - since_ms <= 1000 * site.silent_s:
            return ""
        return f"nothing new has come from it since {clock(arrived.received_ms)}"

    def _begin(self, site: str, kind: str, why: str, now_ms: int) -> None:
        number, (title, look, _) = f"Y-{self._db.begin(site, kind, why, now_ms)}", _WORDS[kind]
        body = f"{site or 'This yard'}: {why}. {look} {CAUTION}"
        self._db.tell(number, self._channels, f"{number} {title.format(site)}", body, now_ms)

    def _end(self, site: str, kind: str, number: int, begun_ms: int, now_ms: int) -> None:
        self._db.end(number, now_ms)
        title = f"Y-{number} {_WORDS[kind][2].format(site)}"
        body = f"{site or 'This yard'}: from {clock(begun_ms)} to {clock(now_ms)}. {CAUTION}"
        self._db.tell(f"Y-{number}", self._channels, title, body, now_ms)


def work(
    folder: Path, watch: YardWatch, contacts: Contacts, wall_ms: Callable[[], int], stop: threading.Event
) -> None:
    """Watch and send until told to stop; a thread of its own."""
    with closing(Book(folder / "delivery.db")) as book, closing(SignOfLife(contacts.heartbeat)) as sign:
        desk = Desk(folder / "yard.db", book, contacts.channels)
        next_look, next_beat, said = 0, 0, ""
        while not stop.wait(TURN_S):
            now_ms = wall_ms()
            if now_ms >= next_look or next_look > now_ms + 60_000:
                next_look = now_ms + round(1000 * LOOK_S)
                said = _look(watch, now_ms, said)
            if contacts.heartbeat and now_ms >= next_beat:
                next_beat = now_ms + round(1000 * contacts.every_s)
                sign.send()
            desk.turn(now_ms)
        desk.finish()


def _look(watch: YardWatch, now_ms: int, before: str) -> str:
    """Look once; return why it could not, which is said once. before: the same of the look before."""
    try:
        watch.turn(now_ms)
    except sqlite3.Error as error:  # a full disk ends when there is room; what is silent then is told then
        if str(error) != before:
            log.tell("yard", "site", str(error))
        return str(error)
    return ""
