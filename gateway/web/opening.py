"""The pages of a running service: where they listen, for whom, and what the keeper is told at the start."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, replace

from gateway.board import Board
from gateway.jobsite import Jobsite
from gateway.web.accounts import Account, Accounts
from gateway.web.app import make_app
from gateway.web.gate import LOCAL_NAMES
from gateway.web.house import Act, House
from gateway.web.roles import Role
from gateway.web.server import PageServer

__all__ = ["House", "Listening", "open_from", "open_pages"]


@dataclass(frozen=True, slots=True)
class Listening:
    """Where the pages listen: host, port, PEM files for HTTPS, the address of a proxy that ends TLS."""

    host: str
    port: int
    certificate: str | None = None
    key: str | None = None
    proxy: str | None = None

    @property
    def local(self) -> bool:
        """Whether only this machine can ask."""
        return not self.proxy and self.host in (*LOCAL_NAMES, "::1")

    @property
    def url(self) -> str:
        """The address a person types."""
        return f"{'https' if self.certificate else 'http'}://{self.host}:{self.port}/"


def open_from(
    args: argparse.Namespace, board: Callable[[], Board | None], act: Act, site: Callable[[], Jobsite | None]
) -> PageServer:
    """Return the server of the pages as the command line wants it."""
    host, _, port = args.page.rpartition(":")
    house = House(board, act, site, args.home, open_when_simulated=args.open_if_simulated)
    at = Listening(host, int(port), args.tls_cert, args.tls_key, args.behind_proxy)
    return open_pages(house, at, lambda line: print(line, flush=True))


def open_pages(house: House, at: Listening, say: Callable[[str], None]) -> PageServer:
    """Return the server of the pages, not yet started, and say how to get in.

    A visitor signs in by itself only where nobody else can reach the pages.
    """
    secure = at.certificate is not None or at.proxy is not None
    house = replace(house, secure=secure, open_when_simulated=house.open_when_simulated and at.local)
    app = make_app(house)
    say(f"board: {at.url}")
    _say_how(app.state.web.door.accounts, app.state.web.door.by_itself(), house, at, say)
    return PageServer(app, at.host, at.port, at.certificate, at.key, at.proxy)


def _say_how(
    accounts: Accounts, visitor: Account | None, house: House, at: Listening, say: Callable[[str], None]
) -> None:
    if not at.local and not house.secure:
        say("note: without --tls-cert and --tls-key passwords cross the network as they are typed")
    if visitor:
        say("SIMULATED jobsite: whoever opens the board on this machine is signed in by itself")
    else:
        say_how(accounts, at.url, house.wall_ms(), say)


def say_how(accounts: Accounts, url: str, now_ms: int, say: Callable[[str], None]) -> None:
    """Say how the first keeper gets in; nothing where there is an account."""
    if not accounts.everyone():
        code = accounts.invite("", "", Role.KEEPER, now_ms)
        say(f"no account yet: open {url}begin within a day and type the one-time code {code}")
