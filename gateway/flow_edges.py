"""Sparkplug B edge nodes in the fold: what they say depends on what they said before, so sessions are state.

A message becomes readings, and sensors of which nothing is known any more. That the subscriber's own connection
began or ended, and what it asked for, are entries too, so that replay sees the same.
"""

from __future__ import annotations

from collections.abc import Mapping

from gateway.entry import Arrival
from gateway.flow_state import State
from gateway.jobsite import Jobsite, Sensor
from gateway.payload import sparkplug
from gateway.payload.sparkplug_bound import Bindings, Bound, bound
from gateway.payload.sparkplug_state import Edge, asked, begin, due
from gateway.payload.sparkplug_wire import NAMESPACE
from gateway.reading import News, Rejected

ASK_AGAIN_MS = 30_000
_PREFIX = f"{NAMESPACE}/"  # asked of every message


def bindings(site: Jobsite) -> Bindings:
    """Return which metric of which edge node is which sensor's."""
    sensors: dict[str, Sensor] = {each.id: each for each in site.sensors}
    return {
        (edge.group, edge.node, value.device, value.metric): sensors[value.sensor]
        for edge in site.edges
        for value in edge.values
    }


def is_edge(topic: str) -> bool:
    """Whether a message is an edge node's."""
    return topic.startswith(_PREFIX)


def changes(state: State, known: Bindings, arrival: Arrival, received_ms: int) -> list[News] | Rejected:
    """Fold a message of an edge node in; what is Rejected leaves the state as it was. received_ms: UTC."""
    outcome = sparkplug.take(state.edges, arrival.topic, arrival.payload, received_ms, retained=arrival.retain)
    return outcome if isinstance(outcome, Rejected) else _changes(bound(outcome, known))


def session(state: State, known: Bindings, body: Mapping[str, str], utc_ms: int) -> list[News]:
    """Fold in that our own connection began or ended, or that a rebirth was asked for."""
    if body["what"] == "rebirth asked for":
        asked(state.edges, (body["group"], body["node"]), utc_ms)
        return []
    edges = dict.fromkeys((group, node) for group, node, _, _ in known)
    return [
        each
        for outcome in begin(state.edges, edges, utc_ms, body["what"])
        for each in _changes(bound(outcome, known))
    ]


def to_ask(state: State, utc_ms: int) -> list[tuple[Edge, str]]:
    """Return the edge nodes to ask for a rebirth now, each with why."""
    found = due(state.edges, utc_ms, every_ms=ASK_AGAIN_MS)
    return [(edge, state.edges.nodes["/".join(edge)].wanted) for edge in found]


def _changes(found: Bound) -> list[News]:
    """History after what is new: it is stored, and judged no more than any late reading."""
    for each in found.historical:
        each.historical = True
    return [*found.changes, *found.historical]
