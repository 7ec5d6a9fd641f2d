"""A site that is judged as it runs and says how it stands, turn by turn as its service does it."""

from __future__ import annotations

from gateway import entry, overview
from gateway.board import Board
from gateway.entry import Arrival, Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.payload import canonical
from gateway.standing import Saying
from tests.sites import margin_limit, pack
from tests.sites import site as jobsite
from tests.yard_site import Site


class Told:
    """Grows a site's journal by whole turns; the board is made anew after a turn, once a second at most."""

    def __init__(self, site: Site) -> None:
        self.site, self.flow, self.saying = site, Flow(), Saying()
        self.board: Board | None = None
        self.flow.advance(site.entries, Outcomes())
        config = canonical.config_set(jobsite(margin_limit()), "keeper", "test")
        self.turn(actions=[(Kind.CONFIG_SET, config)])

    def turn(
        self, arrivals: list[Arrival] | None = None, actions: list[tuple[Kind, bytes]] | None = None,
        wait_ms: int = 200,
    ) -> None:  # fmt: skip
        """One turn of the writer."""
        self.site.now_ms += wait_ms
        now, outcomes = self.site.now_ms, Outcomes()
        events = self.flow.tick(now).events
        entries = [self.flow.receive(each, now, outcomes) for each in arrivals or []]
        due = list(actions or [])
        if word := self.saying.due(self.board, self.flow.state.counts, now):
            due.append((Kind.STANDING, word))
        if events and not entries and not due:
            due.append((Kind.HEARTBEAT, b""))
        for kind, body in due:
            entries.append(entry.plain(kind, now, body))
            self.flow.advance(entries[-1:], outcomes)
        if entries:
            self.site.grow(entries, head=False)
        if self.board is None or now + self.flow.state.offset_ms - self.board.utc_ms >= 1000:
            self.board = overview.board(self.flow, now)

    def speak(self, steel_c: float) -> None:
        """Each sensor says something."""
        at_ms = self.site.now_ms + 400
        said = (
            ("air-t", 20.0, "Cel"),
            ("air-rh", 50.0, "%RH"),
            ("baro", 1013.0, "hPa"),
            ("steel", steel_c, "Cel"),
        )
        self.turn([
            Arrival(f"dewgate/test/{name}", pack(name, round(value + at_ms % 7 / 100, 2), at_ms, unit), n + 1)
            for n, (name, value, unit) in enumerate(said)
        ], wait_ms=400)  # fmt: skip

    def minutes(self, count: int, steel_c: float | None) -> None:
        """Ten-second readings, or none, and idle turns between them."""
        for _ in range(6 * count):
            if steel_c is None:
                self.turn(wait_ms=400)
            else:
                self.speak(steel_c)
            for _ in range(8):
                self.turn(wait_ms=1200)

    def delivered(self, outcome: str = "delivered") -> None:
        """A message came to an end."""
        body = {"number": "A-1", "attempt": 1, "outcome": outcome, "person": "lead", "outbox": 1}
        self.turn(actions=[(Kind.DELIVERY, canonical.to_bytes(body))])
