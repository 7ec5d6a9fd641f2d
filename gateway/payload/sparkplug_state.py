"""What is remembered of Sparkplug B edge nodes, what a message brings about, and whom to ask for a rebirth.

Plain values: the state leaves in the flow's checkpoint.
Source: Sparkplug Specification 3.0.0 (Eclipse Foundation, 2022; ISO/IEC 20237:2023), rules by id.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

Edge = tuple[str, str]


@dataclass(slots=True)
class Defined:
    """What a birth said of one metric. shared: its alias was given to another one too, so that neither is read."""

    datatype: int
    unit: str = ""
    shared: bool = False


@dataclass(slots=True)
class Born:
    """What one birth defined: metrics by name, and names by alias."""

    metrics: dict[str, Defined] = field(default_factory=dict)
    aliases: dict[int, str] = field(default_factory=dict)


@dataclass(slots=True)
class Held:
    """A message that came before the one it follows."""

    kind: str
    device: str
    payload: bytes


@dataclass(slots=True)
class Node:
    """The session of one edge node. births: by device, "" its own; a device that died is taken out.

    held: by sequence number, in the order they came, while a gap may still be filled. gap_since_ms: when the gap
    was seen that is not yet filled or healed by a birth. wanted: why a rebirth is needed, "" if it is not.
    """

    born: bool = False
    bd_seq: int | None = None
    next_seq: int = 0
    births: dict[str, Born] = field(default_factory=dict)
    held: dict[int, Held] = field(default_factory=dict)
    wanted: str = ""
    gap_since_ms: int | None = None
    asked_ms: int | None = None


@dataclass(slots=True)
class State:
    """Every edge node heard of, by group/node."""

    nodes: dict[str, Node] = field(default_factory=dict)


@dataclass(slots=True)
class Sample:
    """One number of one metric. historical: to be stored, never judged. unit "" = none was given."""

    device: str
    metric: str
    value: float
    measured_ms: int | None
    historical: bool = False
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Unknown:
    """From since_ms on this is not known: a metric, a device (metric None), the whole node (device None)."""

    device: str | None
    metric: str | None
    since_ms: int
    reason: str


@dataclass(slots=True)
class Outcome:
    """What one message brought about; changes hold in their order. rebirth, waiting, ignored: why, or ""."""

    group: str
    node: str
    received_ms: int
    changes: list[Sample | Unknown] = field(default_factory=list)
    rebirth: str = ""
    waiting: str = ""
    ignored: str = ""


def begin(state: State, edges: Iterable[Edge], at_ms: int, reason: str) -> list[Outcome]:
    """Forget every birth, as the subscriber's own connection begins or ends: what was sent meanwhile is lost."""
    for group, name in edges:
        state.nodes.setdefault(f"{group}/{name}", Node())
    outcomes = []
    for key, node in state.nodes.items():
        group, name = key.split("/")
        outcomes.append(Outcome(group, name, at_ms))
        lose(node, outcomes[-1], reason)
        node.bd_seq = None
    return outcomes


def due(state: State, now_ms: int, *, every_ms: int = 0) -> list[Edge]:
    """Return the edge nodes to ask for a rebirth: it is wanted, and was not asked for within every_ms."""
    found = []
    for key, node in state.nodes.items():
        if node.wanted and (node.asked_ms is None or now_ms - node.asked_ms >= every_ms):
            group, name = key.split("/")
            found.append((group, name))
    return found


def asked(state: State, edge: Edge, at_ms: int) -> None:
    """Remember that a rebirth was asked for."""
    state.nodes["/".join(edge)].asked_ms = at_ms


def lose(node: Node, outcome: Outcome, reason: str) -> None:
    """End a session that can no longer be followed; only a birth begins another."""
    forget(node)
    node.wanted = outcome.rebirth = reason
    outcome.changes.append(Unknown(None, None, outcome.received_ms, reason))


def forget(node: Node) -> None:
    """End a session: what its births defined holds no longer."""
    node.born, node.gap_since_ms = False, None
    node.births.clear()
    node.held.clear()


def want(node: Node, outcome: Outcome, device: str, metric: str | None, reason: str) -> None:
    """Ask for a rebirth, since only a birth can tell what this was."""
    node.wanted = outcome.rebirth = reason
    outcome.changes.append(Unknown(device, metric, outcome.received_ms, reason))
