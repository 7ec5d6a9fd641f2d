"""Where messages go: the contacts file, and the one door to the library that knows the services.

Addresses hold secrets: they are never logged and never kept anywhere but in the contacts file.
"""

from __future__ import annotations

import logging
import stat
import tomllib
from enum import StrEnum
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

SEND_TIMEOUT_S = 15


class Refused(SystemExit):
    """Delivery cannot begin; the message says why. Ends the process with that message and no traceback."""


class Sent(StrEnum):
    """What became of one attempt to send; the value is the reason that is kept."""

    ACCEPTED = "the server took it"
    NOT_ACCEPTED = "the server did not take it"
    NO_ANSWER = "no answer in time; it may have arrived"
    NO_CHANNEL = "no such channel in the contacts file"
    NO_SERVICE = "the channel's address names no service that is known"


def read_channels(contacts: Path) -> dict[str, str]:
    """Return channel name -> address. Raises Refused; its message never shows an address."""
    try:
        if stat.S_IMODE(contacts.stat().st_mode) & 0o177:
            raise Refused(f"{contacts}: must be mode 0600, for addresses hold secrets; chmod 600 {contacts}")
        channels = tomllib.loads(contacts.read_text("utf-8")).get("channels")
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise Refused(f"{contacts}: cannot be read ({type(error).__name__})") from None
    if not isinstance(channels, dict) or not all(isinstance(url, str) for url in channels.values()):
        raise Refused(f'{contacts}: needs a table [channels] with lines such as lead-phone = "mailto://..."')
    for name, url in channels.items():
        _refuse_unanswered(contacts, name, url)
    return channels


def _refuse_unanswered(contacts: Path, name: str, url: str) -> None:
    """Refuse services that report success although nobody may have taken the message."""
    scheme, _, rest = url.partition("://")
    if scheme.lower() in ("syslog", "rsyslog"):
        raise Refused(f"{contacts}: channel {name}: {scheme} never answers, so nothing counts as delivered")
    if scheme.lower() in ("mqtt", "mqtts"):
        qos = parse_qs(urlsplit(f"//{rest}").query).get("qos", ["0"])[-1]
        if qos not in ("1", "2"):
            raise Refused(f"{contacts}: channel {name}: add qos=1; without it the broker never answers")


def send(url: str | None, title: str, body: str, priority: str) -> Sent:
    """Send one message to one address and say what became of it; never raises."""
    if url is None:
        return Sent.NO_CHANNEL
    try:
        return _send(url, title, body, priority)
    except Exception:  # noqa: BLE001  whatever a service's code does wrong, the message must be tried again
        return Sent.NOT_ACCEPTED


def _send(url: str, title: str, body: str, priority: str) -> Sent:
    from apprise import Apprise, AppriseResultStatus, NotifyType  # here: it is slow to load and large

    _keep_addresses_out_of_logs()
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


def _keep_addresses_out_of_logs() -> None:
    """Without a handler Python prints warnings to stderr, and these libraries put addresses into theirs."""
    for name in ("apprise", "urllib3", "requests", "paho"):
        logger = logging.getLogger(name)
        logger.propagate = False
        if not logger.handlers:
            logger.addHandler(logging.NullHandler())
