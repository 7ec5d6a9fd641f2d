"""What can be found out over MQTT about the settings that the promises about loss need.

A small probe under its own name and its own topic: a session is left, more messages are sent than the commonest
default keeps, and what waited is counted. Whether the broker saves to its disk cannot be seen from outside.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from secrets import token_hex
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from alerts import log
from gateway.adapters.address import Address
from gateway.adapters.link import Link

PROBED = 1200  # the commonest default keeps 1,000
LIMIT_S = 2.0
PATIENCE_S = 10.0  # beside the work, on a small box that is just starting
STEADY_S = 12.0  # long enough for a rival's next take-overs
AGAIN_S = 60.0  # a broker that came back may have better settings
RARELY_S = 21_600.0  # or worse ones; a look is 100 kB, so one that comes and goes is not asked each time
QUIET_S = 30.0  # nothing more waits, and still what we told ourselves is not back


class _Silent(Exception):
    """The broker did not answer in time, or not as it should; the message says what was tried."""


class _Visit:
    """One connection of the probe, driven by hand until something has come about."""

    def __init__(self, name: str, address: Address, clean: bool, until_s: float) -> None:
        self.until_s, self.counted, self.refused = until_s, 0, ""
        self.granted, self.answered, self.present, self.sent = -1, False, False, 0
        client = paho.Client(CallbackAPIVersion.VERSION2, name, clean_session=clean, protocol=paho.MQTTv311)
        client.on_connect, client.on_subscribe = self._on_connect, self._on_subscribe
        client.on_message, client.on_publish = self._on_message, self._on_publish
        client.max_inflight_messages_set(PROBED)
        client.connect_timeout = LIMIT_S
        self.client = client
        address.dress(client)
        client.connect(address.host, address.port, keepalive=10)
        self.wait(lambda: self.answered, "connecting")

    def wait(self, holds: Callable[[], bool], what: str) -> None:
        while not holds():
            left = self.until_s - time.monotonic()
            went_well = left > 0 and self.client.loop(min(left, 0.1)) == paho.MQTT_ERR_SUCCESS
            if self.refused:
                raise _Silent(f"it refuses the connection: {self.refused}")
            if not went_well:
                raise _Silent(f"no answer in time while {what}; dewgate doctor asks again")

    def leave(self) -> None:
        self.client.disconnect()
        self.client.loop(0.1)

    def _on_connect(self, _c: Any, _u: Any, flags: Any, reason: Any, _p: Any) -> None:
        self.answered, self.present = not reason.is_failure, flags.session_present
        self.refused = str(reason).lower() if reason.is_failure else ""

    def _on_subscribe(self, _c: Any, _u: Any, _m: Any, reasons: Any, _p: Any) -> None:
        self.granted = reasons[0].value

    def _on_message(self, *_: Any) -> None:
        self.counted += 1

    def _on_publish(self, *_: Any) -> None:
        self.sent += 1


def check(address: Address, client_id: str, limit_s: float = LIMIT_S) -> tuple[str, bool]:
    """Return what the keeper should know, or nothing, and whether it is a fault of the settings.

    Takes at most about limit_s. The name is always the same, so that a probe that was killed is cleaned up by the
    next. Never raises for what a broker or a network does.
    """
    name, until_s, where = f"{client_id}-check", time.monotonic() + limit_s, f"broker {address}"
    try:
        _Visit(name, address, True, until_s).leave()  # nothing of an earlier probe counts
        try:
            found = _probe(name, address, until_s)
        finally:
            _Visit(name, address, True, time.monotonic() + LIMIT_S).leave()
    except (_Silent, OSError, ValueError) as error:
        return f"{where}: its settings could not be checked ({error})", False
    return (f"{where} {found}", True) if found else ("", False)


def _probe(name: str, address: Address, until_s: float) -> str:
    topic = f"dewgate-check/{name}"
    first = _Visit(name, address, False, until_s)
    first.client.subscribe(topic, 1)
    first.wait(lambda: first.granted >= 0, "subscribing")
    first.leave()
    if first.granted == 128:
        raise _Silent(f"it does not let {name} subscribe to {topic}")
    if first.granted == 0:
        return "grants delivery at most once (QoS 0) only: messages can be lost; it must grant QoS 1"
    sender = _Visit(f"{name}-sender", address, True, until_s)
    for _ in range(PROBED):
        sender.client.publish(topic, b"", 1)
    sender.wait(lambda: sender.sent == PROBED, "publishing")
    sender.leave()
    return _count(_Visit(name, address, False, until_s))


def _count(back: _Visit) -> str:
    """Count what waited; it is over when nothing more comes for a while."""
    if not back.present:
        return "forgets the session of a gateway that was away: it must keep persistent sessions"
    seen_s = [time.monotonic(), -1]

    def quiet() -> bool:
        if back.counted != seen_s[1]:
            seen_s[:] = time.monotonic(), back.counted
        return back.counted >= PROBED or time.monotonic() - seen_s[0] > 0.3

    back.wait(quiet, "receiving")
    back.leave()
    if back.counted == 0:
        raise _Silent("it passes nothing on under dewgate-check/")
    if back.counted < PROBED:
        return (
            f"drops messages when more than about {back.counted} wait for a gateway that is away: "
            "set max_queued_messages 300000 in its configuration, as in deploy/mosquitto.conf"
        )
    return ""


def stays(address: Address, client_id: str, stop: threading.Event) -> bool:
    """Whether a connection under another name lives on for STEADY_S, as it does on a sound network."""
    until_s = time.monotonic() + STEADY_S
    try:
        visit = _Visit(f"{client_id}-{token_hex(4)}", address, True, until_s)
        visit.wait(stop.is_set, "")
    except _Silent:
        return time.monotonic() >= until_s
    except (OSError, ValueError):
        return False
    visit.leave()
    return False


class Watch(threading.Thread):
    """Looks at the broker beside the work: its settings once no backlog waits, a rival when we are cut off.

    is_live: the marker has come back; received: how many messages came, which the marker may have to wait for.
    """

    def __init__(
        self,
        address: Address,
        client_id: str,
        link: Link,
        is_live: Callable[[], bool],
        received: Callable[[], int],
    ) -> None:
        super().__init__(name="broker-watch", daemon=True)
        self._to, self._client_id, self._link = address, client_id, link
        self._is_live, self._received = is_live, received
        self._stop_now = threading.Event()
        self._settings = self._breaks = self._marker = ""
        self._checked, self._checked_s = 0, float("-inf")
        self._heard, self._heard_s = 0, time.monotonic()

    def run(self) -> None:
        """Look once a second until told to stop."""
        while not self._stop_now.wait(1.0):
            self.look(time.monotonic())

    def look(self, now_s: float) -> None:
        """Look once."""
        live = self._is_live()
        after_s = AGAIN_S if self._settings else RARELY_S
        if live and self._checked != self._link.times and now_s - self._checked_s >= after_s:
            self._checked, self._checked_s = self._link.times, now_s
            self._check()
        self._marker = self._why_not_live(live, now_s)
        self._breaks = self._why_cut_short() if self._link.is_cut_short(time.monotonic()) else ""

    def stop(self) -> None:
        """End soon; a probe in hand cleans up behind itself first."""
        self._stop_now.set()
        self.join(LIMIT_S)

    def standing(self) -> tuple[str, str]:
        """Return the class of the broker's health, and its words: "away", "unfit" or "good"."""
        if away := self._link.words(time.monotonic()):
            return "away", away
        words = "; ".join(self._unfit())
        return ("unfit", words) if words else ("good", "")

    def absences(self) -> list[tuple[float, float]]:
        """Return the absences of the broker that have ended since this was last asked, monotonic seconds."""
        found = self._link.absences
        return [found.popleft() for _ in range(len(found))]

    def lines(self) -> tuple[str, ...]:
        """Return what stands in the way now."""
        away = self._link.words(time.monotonic())
        return (away, *self._unfit()) if away else self._unfit()

    def _unfit(self) -> tuple[str, ...]:
        found = (self._breaks, *self._link.short_of(time.monotonic()), self._marker, self._settings)
        return tuple(line for line in found if line)

    def _check(self) -> None:
        said, is_fault = check(self._to, self._client_id, PATIENCE_S)
        if said and not is_fault:
            log.tell("run", "broker-unchecked", said)
        else:
            self._settings = said

    def _why_not_live(self, live: bool, now_s: float) -> str:
        """Say that the marker does not come back, once nothing else has come for a while, either."""
        count = self._received()
        if live or count != self._heard or self._link.away_s is not None or self._link.denied:
            self._heard, self._heard_s = count, now_s
        if now_s - self._heard_s < QUIET_S:
            return ""
        return (
            f"broker {self._link.address} does not give back what the gateway tells itself on "
            f"dewgate-marker/{self._client_id}: readings without a time of their own are not judged, and perhaps "
            "none comes in; its access list must let the gateway write and read there, and read what sensors send"
        )

    def _why_cut_short(self) -> str:
        if stays(self._to, self._client_id, self._stop_now):
            return (
                f"another client uses the client id {self._client_id} at broker {self._link.address}: each takes "
                "the connection from the other and gets a part of the messages; give each its own --client-id"
            )
        return (
            f"the connection to broker {self._link.address} breaks off again and again; nothing is lost, but "
            "readings without a time of their own are not judged; check the network"
        )
