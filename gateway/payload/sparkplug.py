"""Sparkplug B as a subscriber keeps it: which births are known, and what may still be believed.

One message in, an outcome out: samples and what became unknown, in order, and whether a rebirth is needed. The
state is a function of the messages (and of `begin` and `asked`) alone; a message that is Rejected leaves it as it
was. Data is QoS 0, so that a loss shows only as a gap in the sequence numbers: unless it is filled within the
reorder time, nothing of the edge node is known from then on until it is born again.
Source: Sparkplug Specification 3.0.0 (Eclipse Foundation, 2022; ISO/IEC 20237:2023), chapters 4 to 6, rules by id.
"""

from __future__ import annotations

from gateway.payload import sparkplug_wire as wire
from gateway.payload.sparkplug_metrics import data, define
from gateway.payload.sparkplug_state import Born, Held, Node, Outcome, State, Unknown, forget, lose
from gateway.payload.sparkplug_wire import Address, DataType, Payload
from gateway.payload.value import MAX_PAYLOAD
from gateway.reading import Rejected

MAX_NODES = 256
MAX_DEFINED = 20_000  # births, metrics and aliases in the whole state
MAX_HELD = 16  # messages of one edge node that wait for an earlier one, 64 KiB together
SEQUENCE = 256
BD_SEQ = "bdSeq"


def take(
    state: State, topic: str, payload: bytes, received_ms: int, *, reorder_ms: int = 0, retained: bool = False
) -> Outcome | Rejected:
    """Fold one message in and return what it brought about, or why nothing of it is taken (state unchanged).

    Args: topic as received; payload up to 64 KiB; received_ms UTC; reorder_ms: how long a gap may wait to be
    filled, 0 = not at all, always the same for one state (see `overdue`); retained: sent as a kept message, which
    no edge node may ask for (topics-nbirth-mqtt and its like), so that it says nothing of today.
    """
    who = wire.address(topic)
    if isinstance(who, Rejected):
        return who
    if retained:
        return Rejected("retained", f"{who.kind} may not be retained, so nobody knows its age")
    node = state.nodes.get(f"{who.group}/{who.node}")
    message = wire.read(payload)
    if not isinstance(message, Rejected):
        message = _with_room(state, node, who, message)
    if isinstance(message, Rejected):
        return _unreadable(node, who, message, received_ms)
    if node is None:
        node = state.nodes[f"{who.group}/{who.node}"] = Node()
    outcome = Outcome(who.group, who.node, received_ms)
    if who.kind == "NBIRTH":
        _node_birth(node, message, outcome)
    elif who.kind == "NDEATH":
        _node_death(node, message, outcome)
    elif not node.born:
        _before_birth(node, who, outcome)
    else:
        _count(node, Held(who.kind, who.device, payload), message, outcome, reorder_ms)
    return outcome


def overdue(state: State, now_ms: int, reorder_ms: int) -> list[Outcome]:
    """Lose the edge nodes whose gap was not filled within reorder_ms (operational-behavior-host-reordering-*)."""
    outcomes = []
    for key, node in state.nodes.items():
        since = node.gap_since_ms
        if node.born and since is not None and now_ms - since >= reorder_ms:
            group, name = key.split("/")
            outcomes.append(Outcome(group, name, now_ms))
            _lose_in_gap(node, next(iter(node.held)), outcomes[-1])
    return outcomes


# -- what may be taken at all ----------------------------------------------------------------------------


def _with_room(state: State, node: Node | None, who: Address, message: Payload) -> Payload | Rejected:
    """Return the message if the state may hold what it brings; nobody may fill the memory with births."""
    if node is None and len(state.nodes) >= MAX_NODES:
        return Rejected("too many", f"{MAX_NODES} edge nodes are known, no more are taken")
    if who.kind not in ("NBIRTH", "DBIRTH"):
        return message
    held = sum(
        _size(born)
        for each in state.nodes.values()
        for device, born in each.births.items()
        if each is not node or (who.kind == "DBIRTH" and device != who.device)  # what this birth replaces goes
    )
    if held + 1 + 2 * len(message.metrics) > MAX_DEFINED:
        return Rejected("too many", f"{held} metrics are defined, at most {MAX_DEFINED} are kept")
    return message


def _size(born: Born) -> int:
    return 1 + len(born.metrics) + len(born.aliases)


def _unreadable(node: Node | None, who: Address, why: Rejected, received_ms: int) -> Outcome | Rejected:
    """Lose a living session with a message that cannot be read: it may have been the birth of a new one."""
    if node is None or not node.born:
        return why
    outcome = Outcome(who.group, who.node, received_ms)
    lose(node, outcome, f"{who.kind} cannot be read: {why.detail}")
    return outcome


# -- the session -----------------------------------------------------------------------------------------


def _node_birth(node: Node, message: Payload, outcome: Outcome) -> None:
    """Begin a session. topics-nbirth-seq-num wants 0, payloads-nbirth-seq 0..255: any is counted from."""
    forget(node)
    node.bd_seq = _bd_seq(message)
    if message.seq is None or message.seq >= SEQUENCE:
        lose(node, outcome, "born without a sequence number of 0 to 255")
        return
    node.born, node.next_seq, node.wanted = True, (message.seq + 1) % SEQUENCE, ""
    outcome.changes.append(Unknown(None, None, outcome.received_ms, "born again, and not yet heard of since"))
    define(node, "", message, outcome)


def _node_death(node: Node, message: Payload, outcome: Outcome) -> None:
    """End the session the Will belongs to; one of an older session came late (topics-nbirth-bdseq-*)."""
    died = _bd_seq(message)
    if died is not None and node.bd_seq is not None and died != node.bd_seq:
        outcome.ignored = f"a death of session {died}, while {node.bd_seq} is the last one born"
        return
    forget(node)
    node.wanted = ""  # the dead are not asked; they are born when they come back
    outcome.changes.append(Unknown(None, None, outcome.received_ms, "the edge node died"))


def _before_birth(node: Node, who: Address, outcome: Outcome) -> None:
    """Ask for the birth without which neither names nor types are known (payloads-alias-*)."""
    if not node.wanted:
        node.wanted = f"{who.kind} before the birth of its edge node"
        outcome.changes.append(Unknown(None, None, outcome.received_ms, node.wanted))
    outcome.rebirth = node.wanted


def _count(node: Node, sent: Held, message: Payload, outcome: Outcome, reorder_ms: int) -> None:
    """Take a message of the node or a device if it is the next one (payloads-sequence-num-*)."""
    if message.seq == node.next_seq:
        _next(node, sent, message, outcome)
        _catch_up(node, outcome)
    elif message.seq is None:
        lose(node, outcome, "sent without a sequence number")
    elif not (reorder_ms and _hold(node, message.seq, sent)):
        _lose_in_gap(node, message.seq, outcome)
    else:
        node.gap_since_ms = outcome.received_ms if node.gap_since_ms is None else node.gap_since_ms
        outcome.waiting = _gap(node, message.seq)


def _next(node: Node, sent: Held, message: Payload, outcome: Outcome) -> None:
    node.next_seq = (node.next_seq + 1) % SEQUENCE
    if sent.kind == "DBIRTH":
        define(node, sent.device, message, outcome)
    elif sent.kind == "DDEATH":
        _device_death(node, sent.device, message, outcome)
    else:
        data(node, sent.device, message, outcome)


def _hold(node: Node, seq: int, sent: Held) -> bool:
    """Keep a message that came too early, if it is near and there is room for it."""
    ahead = (seq - node.next_seq) % SEQUENCE
    size = len(sent.payload) + sum(len(each.payload) for each in node.held.values())
    if seq >= SEQUENCE or ahead > MAX_HELD or seq in node.held or size > MAX_PAYLOAD:
        return False
    node.held[seq] = sent
    return True


def _catch_up(node: Node, outcome: Outcome) -> None:
    """Take what waited for the message just taken; the gap is filled when nothing waits any more."""
    while sent := node.held.pop(node.next_seq, None):
        message = wire.read(sent.payload)
        assert isinstance(message, Payload), "only what could be read is held"
        _next(node, sent, message, outcome)
    if not node.held:
        node.gap_since_ms = None


def _lose_in_gap(node: Node, got: int, outcome: Outcome) -> None:
    since = outcome.received_ms if node.gap_since_ms is None else node.gap_since_ms
    lose(node, outcome, _gap(node, got))
    node.gap_since_ms = since


def _gap(node: Node, got: int) -> str:
    return f"sequence gap: expected {node.next_seq}, got {got}"


def _device_death(node: Node, device: str, message: Payload, outcome: Outcome) -> None:
    """A device is unknown from the time its death states (host-action-*), never from later than its receipt."""
    node.births.pop(device, None)
    said = message.timestamp_ms
    since = outcome.received_ms if said is None else min(said, outcome.received_ms)
    outcome.changes.append(Unknown(device, None, since, "the device died"))


def _bd_seq(message: Payload) -> int | None:
    for metric in message.metrics:
        if metric.name == BD_SEQ:
            number = wire.value_of(metric, metric.datatype or DataType.INT64)
            return number if type(number) is int else None
    return None
