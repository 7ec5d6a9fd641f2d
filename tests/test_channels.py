"""Ways to a person without internet: mail, webhook, broker, push server; and how urgency reaches them."""

from __future__ import annotations

import json
import threading
import time
import tracemalloc
from collections.abc import Iterator
from contextlib import suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from aiosmtpd.controller import Controller

from alerts import channels
from alerts.channels import Sent, send, with_urgency
from tests.broker import Mosquitto, free_port

TITLE, TEXT = "A-7 #2 Stop blasting north.", "Margin 2.10 K."


class Push(ThreadingHTTPServer):
    """A push server of one's own: keeps headers and body of each message."""

    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Taker)
        self.taken: list[tuple[str, dict[str, str], bytes]] = []


class _Taker(BaseHTTPRequestHandler):
    server: Push

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.taken.append((self.path, {k.lower(): v for k, v in self.headers.items()}, body))
        self.send_response(200)
        self.end_headers()
        self.wfile.write(b"{}")

    def log_message(self, *args: object) -> None:
        """Say nothing."""


@pytest.fixture
def push() -> Iterator[Push]:
    server = Push()
    threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
    yield server
    server.shutdown()
    server.server_close()


@pytest.mark.parametrize(("priority", "header"), [("high", "max"), ("medium", "high"), ("low", None)])
def test_a_push_server_of_ones_own_learns_the_priority(push: Push, priority: str, header: str | None) -> None:
    assert send(f"ntfy://127.0.0.1:{push.server_port}/alerts", TITLE, TEXT, priority) is Sent.ACCEPTED
    ((_, headers, body),) = push.taken
    assert headers.get("x-priority") == header
    said = json.loads(body)
    assert (said["title"], said["message"]) == (TITLE, TEXT)
    assert "http" not in json.dumps(headers), "a picture from a place that a site cannot reach"


@pytest.mark.parametrize(("priority", "number"), [("high", 10), ("medium", 8), ("low", 5)])
def test_the_other_push_server_too(push: Push, priority: str, number: int) -> None:
    assert send(f"gotify://127.0.0.1:{push.server_port}/tok3n", TITLE, TEXT, priority) is Sent.ACCEPTED
    assert json.loads(push.taken[0][2])["priority"] == number


def test_an_address_that_says_how_urgent_it_is_is_left(push: Push) -> None:
    send(f"ntfy://127.0.0.1:{push.server_port}/alerts?priority=min", TITLE, TEXT, "high")
    assert push.taken[0][1]["x-priority"] == "min"


def test_a_webhook_takes_title_text_and_kind(push: Push) -> None:
    assert send(f"json://127.0.0.1:{push.server_port}/hook", TITLE, TEXT, "high") is Sent.ACCEPTED
    path, _, body = push.taken[0]
    said = json.loads(body)
    assert (path, said["title"], said["message"], said["type"]) == ("/hook", TITLE, TEXT, "failure")


@pytest.mark.parametrize(
    ("url", "priority", "expected"),
    [
        ("json://h/x", "high", "json://h/x"),
        ("ntfy://h/x", "high", "ntfy://h/x?priority=max&image=no"),
        ("ntfys://h/x?auth=login", "low", "ntfys://h/x?auth=login&priority=default&image=no"),
        ("ntfy://h/x?image=yes&priority=", "high", "ntfy://h/x?image=yes&priority="),
        ("mailto://h/?to=a@b.c", "high", "mailto://h/?to=a@b.c&+X-Priority=1&+Importance=high"),
        ("mailto://h/?+X-Priority=3", "high", "mailto://h/?+X-Priority=3&+Importance=high"),
        ("mailto://h/?to=a@b.c", "medium", "mailto://h/?to=a@b.c"),
    ],
)
def test_addresses_with_urgency(url: str, priority: str, expected: str) -> None:
    assert with_urgency(url, priority) == expected


class _Box:
    def __init__(self) -> None:
        self.mails: list[str] = []

    async def handle_DATA(self, *told: Any) -> str:  # noqa: N802
        self.mails.append(told[2].content.decode())
        return "250 OK"


def test_mail_carries_the_urgency() -> None:
    box, port = _Box(), free_port()
    server = Controller(box, "127.0.0.1", port)
    server.start()
    try:
        url = f"mailto://127.0.0.1:{port}/?from=gate@example.org&to=lead@example.org"
        assert send(url, TITLE, TEXT, "high") is Sent.ACCEPTED
        assert send(url, TITLE, TEXT, "medium") is Sent.ACCEPTED
    finally:
        server.stop()
    urgent, other = box.mails
    assert "X-Priority: 1\r\n" in urgent
    assert "Importance: high\r\n" in urgent
    assert "X-Priority" not in other


def test_a_broker_takes_the_message_or_it_is_tried_again(tmp_path: Path) -> None:
    broker = Mosquitto(tmp_path)
    url = f"mqtt://127.0.0.1:{broker.port}/site/alerts?qos=1"
    arrived, ready = threading.Event(), threading.Event()
    heard: list[bytes] = []
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, "reader", protocol=paho.MQTTv311)
    client.on_subscribe = lambda *_: ready.set()
    client.on_message = lambda _c, _u, message: (heard.append(message.payload), arrived.set())
    client.connect("127.0.0.1", broker.port)
    client.subscribe("site/alerts", qos=1)
    client.loop_start()
    try:
        assert ready.wait(10)
        assert send(url, TITLE, TEXT, "high") is Sent.ACCEPTED
        assert arrived.wait(10)
    finally:
        client.disconnect()
        client.loop_stop()
        broker.stop()
    assert TITLE.encode() in heard[0]
    assert TEXT.encode() in heard[0]
    assert send(url, TITLE, TEXT, "high") is Sent.NOT_ACCEPTED


class _Endless(BaseHTTPRequestHandler):
    """Takes a message, and then answers without an end: as quickly as it can, or a byte at a time."""

    def do_POST(self) -> None:
        self.rfile.read(int(self.headers["Content-Length"]))
        self.send_response(200)
        self.end_headers()
        is_slow = self.path == "/slow"
        with suppress(OSError):
            while True:
                self.wfile.write(b"x" if is_slow else bytes(65_536))
                time.sleep(0.1 if is_slow else 0)

    def log_message(self, *_: object) -> None:
        pass


@pytest.mark.parametrize("pace", ["quick", "slow"])
def test_an_answer_without_an_end_fills_no_memory_and_holds_nobody_up(
    pace: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The status says that it was taken; of the rest the beginning is read, for a while, and the door shut."""
    monkeypatch.setattr(channels, "ANSWER_S", 1.0)
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Endless)
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, daemon=True).start()
    address = f"json://127.0.0.1:{server.server_port}/{pace}"
    tracemalloc.start()
    began = time.monotonic()
    try:
        assert channels.send(address, "title", "text", "high") is Sent.ACCEPTED
        assert time.monotonic() - began < 8
        assert tracemalloc.get_traced_memory()[1] < 100e6
    finally:
        tracemalloc.stop()
        server.shutdown()
        server.server_close()
