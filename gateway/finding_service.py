"""Work done on a piece of a train: the figures it changes begin a new first hour, and what they said is over.

Only these: an element that was changed says nothing of the salt, whose slow failing must not become its measure.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from gateway.finding_rules import meaning
from gateway.findings import Change, Watched, moved
from gateway.jobsite import Train
from gateway.observability import measures


class Service(NamedTuple):
    """Which figures a work changes. of_piece: of its piece, None = all; of_train: wherever in the train."""

    of_piece: tuple[str, ...] | None
    of_train: tuple[str, ...] = ()


SERVICES: Mapping[str, Service] = {
    "salt refilled": Service(("outlet_rh", "came", "span", "over", "heat")),
    "element changed": Service(("element", "gauges")),
    "drain cleaned": Service(("drain", "level")),
    "cooler cleaned": Service(("cooling", "approach", "housing"), ("pair",)),
    "bypass shut": Service(("position", "seen")),
    "sensor changed": Service(
        None, ("cooling", "approach", "pair", "inlet_rh", "outlet_rh", "span", "over", "heat")
    ),
    "other work": Service(None),
}
"""What was done, as it is chosen from. A sensor that was changed ties its train's pieces together anew."""


def serviced(watched: Watched, train: Train, piece: str, what: str) -> list[Change]:
    """Forget what a work made new, and return the findings on that piece which nothing speaks for any more."""
    service = SERVICES.get(what, SERVICES["other work"])
    for name in [name for name in (*watched.trends, *watched.seen) if _changes(service, name, piece)]:
        watched.trends.pop(name, None)
        watched.seen.pop(name, None)
    if _changes(service, f"drain {piece}", piece):
        watched.drains.pop(piece, None)
    meant = meaning(moved(watched), measures(train), watched.open)
    over = [key for key in watched.open if key not in meant and (service.of_train or key.endswith(f" {piece}"))]
    for key in over:
        del watched.open[key]
    return [Change(key, False) for key in over]


def _changes(service: Service, name: str, piece: str) -> bool:
    figure, _, of = name.partition(" ")
    return figure in service.of_train or (of == piece and (service.of_piece is None or figure in service.of_piece))
