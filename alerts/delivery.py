"""The messenger: a process of its own that sends what the journal's outbox holds until each row is settled.

It reads `journal.db` and never writes it; what it tried stands in its own `delivery.db`, from which the
writer takes the outcomes. A row is leased before it is sent and settled after, so a kill in between repeats
the message and never loses it; every message carries its event number and attempt ("A-1042 #2"), by which a
reader knows a repeat. "delivered" means that the server took it, not that a person read it.
"""

from __future__ import annotations

import fcntl
import sqlite3
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path

from alerts import delivery_links, delivery_trial, log
from alerts.channels import Sent, send
from alerts.contacts import Contacts, Followed, Refused, read_contacts
from alerts.delivery_book import BACK_OFF_S, LEASE_MS, Book, Row
from alerts.delivery_watch import LOOK_S, Told, Watchman, journal_reader

POLL_S = 0.25
_OUTBOX = """SELECT id, created_utc_ms, event_number, person, channel, priority, title, body FROM outbox
WHERE id > ? ORDER BY id"""
_RANK = {"high": 0, "medium": 1}


def is_due(row: Row, now_ms: int) -> bool:
    """Whether a row may be sent; one due later than any pause reaches was left behind by a clock set back."""
    return row.due_ms <= now_ms or row.due_ms > now_ms + BACK_OFF_S[-1] * 1000 + LEASE_MS


def choose(rows: Iterable[Row], busy: set[str], now_ms: int) -> list[Row]:
    """Return at most one due row per channel that is not busy: the most urgent, of these the least tried.

    So a channel that hangs holds up nobody else, and a row that always fails does not hold up its own.
    """
    chosen: dict[str, Row] = {}
    for row in rows:
        if row.channel not in busy and is_due(row, now_ms):
            best = chosen.get(row.channel)
            if best is None or _order(row) < _order(best):
                chosen[row.channel] = row
    return list(chosen.values())


def _order(row: Row) -> tuple[int, int, int]:
    return _RANK.get(row.priority, 2), row.attempt, abs(row.id)


class Desk:
    """Rows that wait, and sends under way; one thread per channel sends, this one alone writes."""

    def __init__(self, journal: Path, book: Book, channels: Mapping[str, str], link: str = "") -> None:
        self.journal = journal
        self.book = book
        self.channels = channels
        self.link = link
        self.waiting: dict[tuple[int, int], Row] = {}
        self.under_way: dict[Future[Sent], Row] = {}
        self.last_id = self.last_own = 0
        self.pool = self._own_pool()

    def _own_pool(self) -> ThreadPoolExecutor:
        return ThreadPoolExecutor(len(self.channels) + 1, "send")  # one each, so that none waits for another

    def use(self, channels: Mapping[str, str]) -> None:
        """Send to other addresses from now on; what is under way ends where it went."""
        self.pool.shutdown(wait=False)
        self.channels = channels
        self.pool = self._own_pool()

    def turn(self, now_ms: int) -> None:
        """Take new rows in, settle what ended, and begin what is due."""
        self._take_in()
        self._settle(now_ms)
        busy = {row.channel for row in self.under_way.values()}
        for row in choose(self.waiting.values(), busy, now_ms):
            self._begin(self.waiting.pop(row.key), now_ms)

    def _begin(self, row: Row, now_ms: int) -> None:
        made = delivery_links.make(row.event_number, self.link)
        leased = self.book.lease(row, now_ms, (made[1], row.title) if made else None)
        body = f"{row.body}\nAcknowledge in the name of {row.person}: {made[0]}" if made else row.body
        url = self.channels.get(row.channel)
        self.under_way[self.pool.submit(send, url, leased.headline, body, row.priority)] = leased

    def rest(self, stop: threading.Event) -> None:
        """Wait until a send ends, but no longer than one poll."""
        if self.under_way:
            wait(self.under_way, POLL_S, FIRST_COMPLETED)
        else:
            stop.wait(POLL_S)

    def finish(self) -> None:
        """Let what is under way end and settle it, so that an orderly stop repeats nothing."""
        wait(self.under_way)
        self.pool.shutdown()
        self._settle(_now_ms())

    def _settle(self, now_ms: int) -> None:
        for future in [each for each in self.under_way if each.done()]:
            row = self.under_way.pop(future)
            due_ms = self.book.settle(row, future.result(), now_ms)
            if due_ms is not None:
                self.waiting[row.key] = replace(row, due_ms=due_ms)

    def _take_in(self) -> None:
        found, own = self._outbox(), self.book.own_after(self.last_own)
        self.last_id = found[-1].id if found else self.last_id
        self.last_own = -own[-1].id if own else self.last_own
        for row in (*own, *found):
            known = self.book.resumed(row)
            if known is not None:
                self.waiting[row.key] = known

    def _outbox(self) -> list[Row]:
        """Return new outbox rows; none while there is no journal yet or while it is being made.

        A journal that ends before what was seen of it is another one (a backup, say): it is read from its start.
        """
        try:
            with journal_reader(self.journal) as reader:
                (last,) = reader.execute("SELECT ifnull(max(id), 0) FROM outbox").fetchone()
                after = self.last_id if last >= self.last_id else 0
                return [Row(*values) for values in reader.execute(_OUTBOX, (after,))]
        except sqlite3.OperationalError:
            return []


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


class SignOfLife:
    """Sends the sign of life in a thread of its own; the next one makes up for one that failed."""

    def __init__(self, address: str | None) -> None:
        self.address, self._pool = address, ThreadPoolExecutor(1, "heartbeat")
        self._under_way: Future[Sent] | None = None
        self._said = ""

    def send(self) -> None:
        """Begin to send one, unless the last is still under way."""
        if self._under_way is None or self._under_way.done():
            self._under_way = self._pool.submit(
                send, self.address, "dewgate: sign of life", "The record grows.", "low"
            )

    def trouble(self) -> str:
        """Return why the last one was not taken, when that is news."""
        if self._under_way is None or not self._under_way.done():
            return ""
        sent = self._under_way.result()
        news = f"heartbeat: {sent.value}" if sent is not Sent.ACCEPTED else ""
        was, self._said = self._said, news
        return news if news != was else ""

    def close(self) -> None:
        """Wait for the one under way."""
        self._pool.shutdown()


@contextmanager
def _the_only_one(home: Path) -> Iterator[None]:
    """Hold a lock for the life of the process: leases of a dead one can then be taken over at once."""
    with (home / "delivery.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise Refused(f"{home}: another dewgate deliver is already at work here") from None
        yield


def deliver(
    home: Path, contacts: Path, stop: threading.Event, link: str = "", people: Callable[[], Told] = list
) -> None:
    """Send the outbox of the journal in `home` until `stop` is set. Raises Refused when it cannot begin.

    link: the address of the board as phones see it, for links that acknowledge. people: gives (person, channel)
    of all who take messages of high priority.
    """
    file = Followed(contacts)
    if wrong := delivery_links.wrong_base(link):
        raise Refused(wrong)
    home.mkdir(parents=True, exist_ok=True)
    with _the_only_one(home), closing(Book(home / "delivery.db")) as book:
        desk = Desk(home / "journal.db", book, file.now.channels, link)
        _tell("started", f"{len(file.now.channels)} channels in {contacts}")
        _note(file.now)
        _work(desk, Watchman(home, book, file.now, people), file, stop)
        _tell("stopped", "what was under way has ended")


def _work(desk: Desk, watchman: Watchman, file: Followed, stop: threading.Event) -> None:
    with closing(SignOfLife(file.now.heartbeat)) as sign:
        told, looked_s = "", time.monotonic()
        while not stop.is_set():
            now_ms, now_s = _now_ms(), time.monotonic()
            if now_s - looked_s >= LOOK_S:
                looked_s = now_s
                _reread(file, desk, watchman, sign)
            delivery_trial.take_in(watchman.home, desk.book, now_ms)
            watchman.turn(now_ms, now_s)
            if watchman.beat_is_due(now_s):
                sign.send()
            desk.turn(now_ms)
            _tell("heartbeat", sign.trouble())
            if desk.book.refused != told:
                told = desk.book.refused
                told_so = f"{watchman.home / 'delivery.db'}: {told}; messages are sent all the same"
                _tell("book", told_so if told else "")
            desk.rest(stop)
        desk.finish()


def _reread(file: Followed, desk: Desk, watchman: Watchman, sign: SignOfLife) -> None:
    """Go by the contacts file as it stands now, if it has changed and can be used."""
    event, words = file.look()
    if event:
        _tell(event, words)
    if event == "contacts":
        desk.use(file.now.channels)
        watchman.use(file.now)
        sign.address = file.now.heartbeat
        _note(file.now)


def _note(known: Contacts) -> None:
    for note in known.notes:
        _tell("channel", note)


def _tell(event: str, line: str) -> None:
    if line:
        log.tell("deliver", event, line)


def send_test(contacts: Path, told: Told) -> list[str]:
    """Send a test message to each (person, channel) at once and return a line for each: what became of it."""
    known = read_contacts(contacts)
    return [
        f"{person} {channel}: {send(known.channels.get(channel), *delivery_trial.words('', channel), 'high')}"
        for person, channel in told
    ]
