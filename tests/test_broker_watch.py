"""What a broker keeps from the gateway while the connection stands is said, and taken back when it is over."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from gateway.adapters import broker_check
from gateway.adapters.address import Address
from gateway.adapters.link import FORGOTTEN_S, GRACE_S, Link
from gateway.adapters.mqtt import Broker
from tests.broker import Mosquitto
from tests.test_mqtt import send, taken, until

SITE = "dewgate/test/#"


@contextmanager
def connected(port: int, *topics: str) -> Iterator[Broker]:
    broker = Broker(Address("127.0.0.1", port), "ours", list(topics or (SITE,)), threading.Event())
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


@pytest.mark.parametrize("setting", ["persistence false", ""], ids=["saves nothing", "as shipped"])
def test_a_broker_that_forgot_the_gateway_is_told(tmp_path: Path, setting: str) -> None:
    """Restarted: without its disk it has lost what waited, with it nothing is said."""
    mosquitto = Mosquitto(tmp_path, setting)
    with connected(mosquitto.port) as broker:
        until(lambda: broker._live)
        mosquitto.stop()
        until(lambda: broker._link.away_s is not None)
        mosquitto.start()
        until(lambda: broker._link.times == 2)
        said = " ".join(broker.trouble())
        assert ("had forgotten the gateway" in said and "persistence true" in said) if setting else not said
        assert broker.standing()[0] == ("unfit" if setting else "good")
    mosquitto.stop()


def test_it_is_said_for_an_hour_or_until_the_session_was_kept_once() -> None:
    link = Link("there")
    link.opened(0.0, 0.0, kept=False)  # the first one has nothing to be kept
    assert link.short_of(1.0) == ()
    link.opened(10.0, 60.0, kept=False)
    (said,) = link.short_of(11.0)
    assert "(1970-01-01 00:01:00 UTC)" in said
    assert link.short_of(10.0 + FORGOTTEN_S) == ()
    link.opened(20.0, 70.0, kept=True)
    assert link.short_of(21.0) == ()


class Denying(threading.Thread):
    """The few bytes of a broker that takes the connection and answers the subscription as it was told."""

    def __init__(self, *answers: int) -> None:
        super().__init__(daemon=True)
        self.answers, self.listener = bytes(answers), socket.create_server(("127.0.0.1", 0))
        self.port: int = self.listener.getsockname()[1]

    def run(self) -> None:
        ours = self.listener.accept()[0]
        ours.recv(1000)
        ours.sendall(b"\x20\x02\x00\x00")
        asked = ours.recv(1000)
        ours.sendall(bytes((0x90, 2 + len(self.answers))) + asked[2:4] + self.answers)
        while ours.recv(1000):
            pass


@pytest.mark.parametrize(("answers", "standing", "named", "others"), [
    ((128, 128, 1), "away", (SITE, "probes/+/report"), ("dewgate-marker",)),
    ((1, 128, 1), "unfit", ("probes/+/report",), (SITE,)),
    ((1, 1, 128), "unfit", ("dewgate-marker/ours",), (SITE, "probes")),
])  # fmt: skip
def test_a_topic_that_may_not_be_read_is_named(
    answers: tuple[int, ...], standing: str, named: tuple[str, ...], others: tuple[str, ...]
) -> None:
    """Where it is every one nothing comes in at all, which is as good as no broker."""
    denying = Denying(*answers)
    denying.start()
    with connected(denying.port, SITE, "probes/+/report") as broker:
        until(lambda: bool(broker._link.denied))
        broker._watch.look(time.monotonic() + 100)  # that the marker does not come back follows from it
        assert broker.standing()[0] == standing
        (said,) = broker.trouble()
        assert f"does not let the gateway read {', '.join(named)}: nothing of it comes in" in said
        assert not any(each in said for each in others)


def test_a_marker_that_does_not_come_back_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An access list that keeps it back without a word; not while messages still come in, which it may follow."""
    monkeypatch.setattr(broker_check, "QUIET_S", 1.5)
    (tmp_path / "acl").write_text("topic readwrite dewgate/test/#\n")
    mosquitto = Mosquitto(tmp_path, f"acl_file {tmp_path / 'acl'}")
    words = "does not give back what the gateway tells itself on dewgate-marker/ours"
    with connected(mosquitto.port) as broker:
        until(lambda: bool(broker._link.times))
        for _ in range(4):
            send(mosquitto.port, ("dewgate/test/a", b"x", 1, False))
            time.sleep(0.5)
            assert broker.trouble() == ()
        assert all(each.before_marker for each in taken(broker, 4))
        until(lambda: any(words in each for each in broker.trouble()))
        assert broker.standing()[0] == "unfit"
    mosquitto.stop()


def test_settings_are_looked_at_again_when_the_broker_comes_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """Mended or made worse meanwhile: soon where something is wrong, seldom where not."""
    found = [("drops messages", True), ("no answer", False), ("", False), ("drops messages", True)]
    monkeypatch.setattr(broker_check, "check", lambda *_: found.pop(0))
    link = Link("there")
    watch = broker_check.Watch(Address("there", 1), "ours", link, lambda: True, lambda: 0)

    def looked(at_s: float) -> tuple[int, tuple[str, ...]]:
        link.opened(time.monotonic(), 0.0, kept=True)
        watch.look(at_s)
        return len(found), watch.lines()

    soon, seldom = broker_check.AGAIN_S, broker_check.RARELY_S
    assert looked(0.0) == looked(soon - 1) == (3, ("drops messages",))
    assert looked(soon) == looked(2 * soon - 1) == (2, ("drops messages",)), "a look that failed says nothing"
    assert looked(2 * soon) == looked(2 * soon + seldom - 1) == (1, ())
    assert looked(2 * soon + seldom) == (0, ("drops messages",))
    watch.look(1e9)  # the same connection: nothing left to be asked


@pytest.mark.parametrize(("first_s", "taken"), [(1.0 + GRACE_S, [(1.0, 1.0 + GRACE_S)]), (1.1, [])])
def test_an_absence_is_taken_down_when_it_is_over_however_short(
    first_s: float, taken: list[tuple[float, float]]
) -> None:
    """From the first that was missed; the first connection of all takes its moment."""
    link = Link("there")
    link.missed(1.0, 1.0)
    link.opened(first_s, first_s, kept=False)
    link.lost(10.0, 10.0)
    link.missed(11.0, 11.0)
    assert list(link.absences) == taken
    link.opened(10.5, 10.5, kept=True)
    link.opened(13.0, 13.0, kept=True)
    assert list(link.absences) == [*taken, (10.0, 10.5)]
