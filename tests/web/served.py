"""The made board behind a real server, as its own process: `python -m tests.web.served FOLDER`.

The board's second follows the clock. The folder steers it: a file `inside` changes the first verdict; the
port and the last acknowledgement are written there, and `closed` after an orderly end.
"""

from __future__ import annotations

import json
import socket
import sys
import time
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from fastapi import FastAPI

from alerts.limits import Verdict
from gateway.board import Board
from gateway.web.app import make_app
from gateway.web.dryer_shelf import Shelf
from gateway.web.house import House
from gateway.web.roles import Role
from gateway.web.server import PageServer
from tests.sites import margin_limit, site
from tests.web.made import ALARMS, VERDICTS, area, at, judged
from tests.web.made_journal import write_journal

PASSWORD = "seven dry steel plates"
INSIDE = area(Verdict.INSIDE, "Hull frames 12 to 18", "coating", judged(Verdict.INSIDE, "4.4 K ± 0.9 K"))


def board_from(folder: Path, seconds: int) -> Board:
    """Return the board as the files say."""
    board = at(seconds)
    if (folder / "inside").exists():
        board = replace(board, verdicts=(INSIDE, *VERDICTS[1:]))
    if (folder / "acknowledged").exists():
        board = replace(board, alarms=(replace(ALARMS[0], state="acknowledged"), *ALARMS[1:]))
    return board


def free_port() -> int:
    """Return a port that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def main(folder: Path) -> None:
    """Serve until a signal comes."""
    started = time.monotonic()

    def act(body: Mapping[str, str | int]) -> None:
        (folder / "acknowledged").write_text(json.dumps(body))

    def board() -> Board:
        return board_from(folder, int(time.monotonic() - started))

    made = replace(site(margin_limit()), trains=())
    write_journal(folder, made)
    _yard(folder)
    app, port = make_app(House(board, act, lambda: made, folder, open_when_simulated=True)), free_port()
    (folder / "session").write_text(app.state.web.door.accounts.open(_kim(app), "", time.time_ns() // 1_000_000))
    server = PageServer(app, port=port)
    _tell_when_listening(server, folder, port)
    server.run()
    (folder / "closed").touch()


def _yard(folder: Path) -> None:
    """One dryer with one test that was begun."""
    shelf = Shelf(folder / "dryers")
    shelf.put_new({"unit": {"serial": "D-1", "label": "salt dryer (simulated)"}, "rating": {}})
    shelf.begin("D-1", {"kind": "return", "day": "2026-07-13", "person": "jo"})


def _kim(app: FastAPI) -> str:
    """Make an account beside the visitor's, for tests that sign in or come from another address."""
    accounts, now_ms = app.state.web.door.accounts, time.time_ns() // 1_000_000
    return accounts.begin(accounts.invite("Kim", "lead", Role.KEEPER, now_ms), "", PASSWORD, now_ms).name


def _tell_when_listening(server: PageServer, folder: Path, port: int) -> None:
    begin = server.startup

    async def startup(sockets: list[socket.socket] | None = None) -> None:
        await begin(sockets)
        (folder / "port.new").write_text(str(port))
        (folder / "port.new").rename(folder / "port")  # whole or not there

    server.startup = startup  # type: ignore[method-assign]


if __name__ == "__main__":
    main(Path(sys.argv[1]))
