"""The one door to the library that knows the services: one message to one address, and what became of it.

Addresses hold secrets: they are never logged and never kept anywhere but in the contacts file.
"""

from __future__ import annotations

import logging
import time
from enum import StrEnum
from functools import cache
from typing import Any
from urllib.parse import parse_qs

SEND_TIMEOUT_S = 15
MOST_OF_ANSWER, ANSWER_S = 65_536, 5.0  # of an answer's body; its status says what became of the message


class Sent(StrEnum):
    """What became of one attempt to send; the value is the reason that is kept."""

    ACCEPTED = "the server took it"
    NOT_ACCEPTED = "the server did not take it"
    NO_ANSWER = "no answer in time; it may have arrived"
    NO_CHANNEL = "no such channel in the contacts file"
    NO_SERVICE = "the channel's address names no service that is known"


_PUSH = {"high": "priority=max", "medium": "priority=high", "low": "priority=default"}
_MAIL = {"high": "+X-Priority=1&+Importance=high", "low": "+X-Priority=5&+Importance=low"}  # RFC 2156 importance
_LEVELS = {"high": "priority=emergency", "medium": "priority=high", "low": "priority=normal"}
_URGENCY = {"ntfy": _PUSH, "ntfys": _PUSH, "gotify": _LEVELS, "gotifys": _LEVELS,
            "mailto": _MAIL, "mailtos": _MAIL}  # fmt: skip
"""How an address says how urgent a message is: services take it from there and nowhere else."""
_ALWAYS = {"ntfy": "image=no", "ntfys": "image=no"}  # the picture is fetched from a place a site cannot reach


def with_urgency(url: str, priority: str) -> str:
    """Return an address that carries the priority of a message; what the address itself says stands."""
    scheme = url.partition("://")[0].lower()
    words = [_URGENCY.get(scheme, {}).get(priority, ""), _ALWAYS.get(scheme, "")]
    said = parse_qs(url.partition("?")[2].replace("+", "%2B"), keep_blank_values=True)
    new = [each for word in words for each in word.split("&") if each and each.partition("=")[0] not in said]
    return url + "".join(f"{'&' if '?' in url or at else '?'}{each}" for at, each in enumerate(new))


def recipients(url: str) -> int:
    """Return how many an address reaches; 0 when it names no service that is known."""
    from apprise import Apprise  # here: it is slow to load and large

    _keep_addresses_out_of_logs()
    service = Apprise()
    return sum(len(each) for each in service) if service.add(url) else 0


def send(url: str | None, title: str, body: str, priority: str) -> Sent:
    """Send one message to one address and say what became of it; never raises."""
    if url is None:
        return Sent.NO_CHANNEL
    try:
        return _send(with_urgency(url, priority), title, body, priority)
    except Exception:  # noqa: BLE001  whatever a service's code does wrong, the message must be tried again
        return Sent.NOT_ACCEPTED


def _send(url: str, title: str, body: str, priority: str) -> Sent:
    from apprise import Apprise, AppriseResultStatus, NotifyType

    _keep_addresses_out_of_logs()
    _read_no_endless_answers()
    service = Apprise()
    if not service.add(url):
        return Sent.NO_SERVICE
    for each in service:
        each.redirects = False  # a redirected POST loses its body and still reports success
        each.retry = 0  # trying again is our own work, so that every attempt has its number
    kinds = {"high": NotifyType.FAILURE, "medium": NotifyType.WARNING}
    kind = kinds.get(priority, NotifyType.INFO)
    result = service.notify(body or title, title, kind, timeout=SEND_TIMEOUT_S)
    if result:
        return Sent.ACCEPTED
    return Sent.NO_ANSWER if result.status == AppriseResultStatus.TIMEOUT else Sent.NOT_ACCEPTED


@cache
def _read_no_endless_answers() -> None:
    """Let the services read the beginning of an answer only: their library would hold one without an end."""
    from requests import sessions
    from requests.adapters import HTTPAdapter

    class Brief(HTTPAdapter):
        def build_response(self, req: Any, resp: Any) -> Any:
            answer, body, until_s = super().build_response(req, resp), bytearray(), time.monotonic() + ANSWER_S
            while len(body) < MOST_OF_ANSWER and time.monotonic() < until_s and (piece := resp.read1(4096)):
                body += piece
            resp.close()
            answer._content, answer._content_consumed = bytes(body), True  # noqa: SLF001  as the class itself does
            return answer

    vars(sessions)["HTTPAdapter"] = Brief  # what every service posts through


def _keep_addresses_out_of_logs() -> None:
    """Without a handler Python prints warnings to stderr, and these libraries put addresses into theirs."""
    for name in ("apprise", "urllib3", "requests", "paho"):
        logger = logging.getLogger(name)
        logger.propagate = False
        if not logger.handlers:
            logger.addHandler(logging.NullHandler())
