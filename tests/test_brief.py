"""Answers of servers are read to a bound: whole ones as they are, endless ones not at all."""

from __future__ import annotations

import gzip
import re
import threading
import time
import tracemalloc
from collections.abc import Iterator
from contextlib import suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import httpx
import pytest

from gateway.adapters import brief, stamping
from gateway.adapters.series_count import in_server
from gateway.adapters.timeseries import Unreachable as NoServer
from gateway.adapters.yard_link import Unreachable, Yard

BOMB = gzip.compress(bytes(1_000_000), 9)


class _Server(BaseHTTPRequestHandler):
    """Says a little, or without an end: quickly, a byte at a time, or packed."""

    def do_GET(self) -> None:
        self.rfile.read(int(self.headers.get("Content-Length", "0")))
        self.send_response(200)
        if "packed" in self.path:
            self.send_header("Content-Encoding", "gzip")
        self.end_headers()
        with suppress(OSError):
            if "whole" in self.path:
                self.wfile.write(b'{"next": 7, "head": 2}')
            elif "packed" in self.path:
                self.wfile.write(BOMB)
            else:
                while True:
                    self.wfile.write(b"x" if "slow" in self.path else bytes(65_536))
                    time.sleep(0.05 if "slow" in self.path else 0)

    do_POST = do_PUT = do_GET  # noqa: N815  the names of the server

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    made = ThreadingHTTPServer(("127.0.0.1", 0), _Server)
    made.daemon_threads = True
    threading.Thread(target=made.serve_forever, args=(0.05,), daemon=True).start()
    yield f"http://127.0.0.1:{made.server_port}"
    made.shutdown()
    made.server_close()


@pytest.fixture
def held() -> Iterator[None]:
    """What a test may hold at its most."""
    tracemalloc.start()
    yield
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 100e6


def test_a_whole_answer_is_given_as_it_is(server: str) -> None:
    with httpx.Client() as client:
        answer = brief.ask(client, "POST", f"{server}/whole", 100, 5, content=b"asked")
    assert (answer.status_code, answer.json()) == (200, {"next": 7, "head": 2})


@pytest.mark.usefixtures("held")
@pytest.mark.parametrize(
    ("pace", "why"), [("quick", "more than 4096"), ("slow", "within 0.5"), ("packed", "packed (gzip)")]
)
def test_an_answer_without_an_end_is_none(server: str, pace: str, why: str) -> None:
    """Also none that is packed: a few bytes can unpack to very much."""
    with httpx.Client() as client, pytest.raises(brief.Endless, match=re.escape(why)):
        brief.ask(client, "GET", f"{server}/{pace}", 4096, 0.5)


@pytest.mark.usefixtures("held")
def test_whoever_asks_says_so_in_its_own_words(server: str) -> None:
    """An authority for time stamps, a yard, a time-series server: each as if it were not there."""
    with pytest.raises(stamping.NoStamp, match="more than 65536 bytes"):
        stamping.ask(f"{server}/quick", b"a head")
    yard = Yard(f"{server}/quick", "north", "token")
    with pytest.raises(Unreachable, match="more than 65536 bytes"):
        yard.wanted()
    yard.close()
    with pytest.raises(NoServer, match="more than"):
        in_server(f"{server}/quick", "", "north", 20_000, 0, 1 << 60)
    assert Yard(f"{server}/whole", "north", "token").wanted().next == 7
