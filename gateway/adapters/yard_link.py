"""The site's side of the yard: a process of its own that reads the journal and pushes what the yard wants next.

The journal itself is what is stored and forwarded: nothing else is kept here. After a start, an error or a refusal
the yard is asked again; the stretch then begins one entry early, so that a journal that was rewound is noticed at
once. This is the one door to the yard's HTTP side.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx

from alerts import log
from gateway.adapters import brief
from gateway.adapters import heads as table
from gateway.adapters.address import is_loopback
from gateway.adapters.journal import WrongJournal, entries_after, last_of, open_reader
from gateway.heads import Signed
from gateway.tree import SEAL
from gateway.yard_batch import MOST_HEADS, Stretch, pack

BACK_OFF_S = (1.0, 2.0, 5.0, 10.0, 30.0)
REFUSED_S = 60.0
TIMEOUT_S = 30.0
MOST_ANSWER = 65_536
_UNKNOWN_CA = "; if the yard's certificate is of a CA of your own, give that CA's file with --ca"
MOST_PLAIN = 4 << 20  # bytes of entries at once; one entry alone may have more


class Unreachable(Exception):
    """The yard did not answer, or asks to wait: try again."""


class Refused(Exception):
    """The yard has refused what came, and will again until a person has settled it."""


class WrongAddress(ValueError):
    """The address cannot be used; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the yard holds: the entry it wants next, and the number of its newest head."""

    next: int
    head: int


class Yard:
    """The yard, asked over HTTP."""

    def __init__(self, url: str, site: str, token: str, ca: str = "") -> None:
        parts = urlsplit(url)
        if parts.scheme not in ("https", "http") or not parts.hostname:
            raise WrongAddress(f"{url}: an address is written https://host:port")
        if parts.scheme == "http" and not is_loopback(parts.hostname):
            raise WrongAddress(f"{url} is across a network: use https://")
        if ca and not Path(ca).is_file():
            raise WrongAddress(
                f"{ca}: there is no such file; it is the PEM file of the CA of the yard's certificate"
            )
        self._at = f"{url.rstrip('/')}/sites/{site}"
        self._http = httpx.Client(
            headers={"Authorization": f"Bearer {token}"}, timeout=TIMEOUT_S, verify=_trust(ca), trust_env=False
        )

    def wanted(self) -> Wanted:
        """Ask what is wanted next. Raises Unreachable, Refused."""
        return self._ask("GET", self._at)

    def push(self, first: int, stretch: Stretch, newest: int | None = None) -> Wanted:
        """Send a stretch that begins with entry `first`; newest: say that the journal ends there."""
        said = {"from": first} | ({} if newest is None else {"newest": newest})
        return self._ask("PUT", f"{self._at}/entries", params=said, content=pack(stretch))

    def _ask(self, method: str, url: str, **more: Any) -> Wanted:
        try:
            answer = brief.ask(self._http, method, url, MOST_ANSWER, TIMEOUT_S, **more)
            said = answer.json()
        except (httpx.HTTPError, ValueError) as error:
            hint = _UNKNOWN_CA if "CERTIFICATE_VERIFY_FAILED" in str(error) else ""
            raise Unreachable(f"{self._at} does not answer ({type(error).__name__}: {error}){hint}") from error
        if answer.status_code in (400, 401, 409, 413, 422):
            raise Refused(f"{self._at}: {_error(said, answer)}")
        if answer.status_code != 200:
            raise Unreachable(f"{self._at}: {_error(said, answer)}")
        try:
            return Wanted(int(said["next"]), int(said["head"]))
        except (KeyError, TypeError, ValueError):
            raise Unreachable(f"{self._at} gives no answer of a yard: is there another program?") from None

    def close(self) -> None:
        """Leave the yard."""
        self._http.close()


def _error(said: Any, answer: httpx.Response) -> str:
    return str(said["error"]) if isinstance(said, dict) and "error" in said else f"status {answer.status_code}"


def _trust(ca: str) -> Any:
    import ssl

    return ssl.create_default_context(cafile=ca) if ca else True


class Pusher:
    """Pushes one journal."""

    def __init__(self, home: Path, yard: Yard) -> None:
        self._journal, self._yard = home / "journal.db", yard
        self._wanted: Wanted | None = None
        self.pushed = 0

    def step(self, wait: Callable[[float], object] = lambda _: None) -> bool:
        """Push one stretch; return whether there may be more. Raises Unreachable, Refused."""
        first_of_all = self._wanted is None
        wanted = self._wanted or self._yard.wanted()
        first = max(1, wanted.next - 1) if first_of_all else wanted.next
        stretch, last = self._read(first, wanted.head)
        if wanted.next > last + 1:
            wait(2.0)  # an answer to a push of before may have overtaken it
            self._rewound()
        if stretch.entries:
            self._wanted = None  # until the answer is there, nobody knows what the yard holds
            self._wanted = self._yard.push(first, stretch)
            self.pushed += self._wanted.next - wanted.next
        else:
            self._wanted = wanted
        return self._wanted.next <= last

    @property
    def held(self) -> int:
        """How many entries the yard held when it was asked last."""
        return self._wanted.next - 1 if self._wanted else 0

    def forget(self) -> None:
        """Ask the yard again what it wants."""
        self._wanted = None

    def _rewound(self) -> None:
        """Say so to the yard, which refuses and shows it."""
        with closing(open_reader(self._journal)) as reader:
            last = last_of(reader)
        self._yard.push(last + 1, Stretch([], []), newest=last)

    def _read(self, first: int, head: int) -> tuple[Stretch, int]:
        """Return entries from a number on, as of one moment; the heads up to their end, from the yard's newest on,
        which is compared there; and the number of the newest entry."""
        with closing(open_reader(self._journal)) as reader:
            reader.execute("BEGIN")
            last = last_of(reader)
            if first > last:
                return Stretch([], []), last
            entries = list(_at_most(islice(entries_after(reader, first - 1), SEAL)))
            end, signed = first + len(entries) - 1, list[Signed]()
            for number in range(max(1, head), head + MOST_HEADS):
                found = table.numbered(reader, number)
                if found is None or found.head.size > end:
                    break
                signed.append(found)
        return Stretch(entries, signed), last


def _at_most(entries: Iterator[bytes]) -> Iterator[bytes]:
    size = 0
    for each in entries:
        size += len(each)
        if size > MOST_PLAIN and size > len(each):
            return
        yield each


def push(home: Path, yard: Yard, every_s: float, stop: threading.Event) -> None:
    """Push until told to stop. An error only makes it wait."""
    failures, said, greeted, pusher = 0, "", False, Pusher(home, yard)
    while not stop.is_set():
        try:
            more = pusher.step(stop.wait)
            if not greeted:
                log.tell("push", "started", f"the yard takes entries; it holds {pusher.held} of this site")
            said, greeted = _tell(said, ""), True
            failures = 0
            stop.wait(0 if more else every_s)
        except (Unreachable, WrongJournal, sqlite3.Error) as error:
            pause = BACK_OFF_S[min(failures, len(BACK_OFF_S) - 1)]
            said, failures = _tell(said, f"{error}; trying again"), failures + 1
            pusher.forget()
            stop.wait(pause)
        except Refused as error:
            said = _tell(
                said, f"REFUSED: {error} Nothing more is taken until a person has settled it at the yard."
            )
            pusher.forget()
            stop.wait(REFUSED_S)


def _tell(before: str, now: str) -> str:
    if now != before and now:
        log.tell("push", "yard", now)
    elif now != before:
        log.tell("push", "yard-over", "the yard takes entries again")
    return now
