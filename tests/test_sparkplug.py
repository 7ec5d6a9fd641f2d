"""The session of an edge node: when it begins, when nothing of it may be believed any more, what is refused."""

from __future__ import annotations

import pytest

from gateway.payload import sparkplug, sparkplug_wire
from gateway.payload.sparkplug import overdue, take
from gateway.payload.sparkplug_state import Outcome, State, Unknown, due
from gateway.reading import Rejected
from tests.tables.sparkplug_messages import (
    BORN,
    DEVICE_BORN,
    MESSAGES,
    NOW,
    after,
    node_of,
    samples,
    send,
    unknowns,
)
from tests.tables.sparkplug_messages import MADE_MS as T

# -- births ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", [0, 7, 255])
def test_a_node_birth_may_have_any_sequence_number_and_is_counted_from(number: int) -> None:
    """topics-nbirth-seq-num wants 0, payloads-nbirth-seq allows 0 to 255: a reader takes any."""
    name = {0: "node birth seq 0 bdSeq 0", 7: "node birth seq 7 bdSeq 0", 255: "node birth seq 255 bdSeq 255"}
    state = after(name[number])
    assert node_of(state).born and node_of(state).next_seq == {0: 1, 7: 8, 255: 0}[number]
    follows = {0: "device birth seq 1", 7: "device birth seq 8", 255: "device birth seq 0"}[number]
    assert ("wall", "steel", 18.5) in samples(send(state, follows))


@pytest.mark.parametrize("name", ["node birth without seq", "node birth seq 256"])
def test_a_node_birth_without_a_usable_sequence_number_begins_nothing(name: str) -> None:
    """payloads-nbirth-seq: from such a birth no loss could be told."""
    state = after(BORN, DEVICE_BORN)
    outcome = send(state, name)
    assert outcome.rebirth == "born without a sequence number of 0 to 255"
    assert not node_of(state).born and unknowns(outcome) == [(None, None)] and not samples(outcome)


def test_a_new_node_birth_forgets_the_devices() -> None:
    """payloads-alias-birth-requirement: devices are born after their node, and again after each of its births."""
    state = after(BORN, DEVICE_BORN, BORN)
    assert list(node_of(state).births) == [""]


@pytest.mark.parametrize(
    "name", ["by alias seq 2", "device birth seq 1", "node by alias seq 1", "device death seq 2"]
)
def test_nothing_is_believed_before_the_birth_of_the_node(name: str) -> None:
    """payloads-alias-birth-requirement: without names and types a rebirth is asked for."""
    state = State()
    outcome = send(state, name)
    assert outcome.rebirth.endswith("before the birth of its edge node")
    assert unknowns(outcome) == [(None, None)] and not samples(outcome)
    again = send(state, name)
    assert again.rebirth == outcome.rebirth and not again.changes
    assert due(state, NOW) == [("site", "pump")]


# -- sequence numbers -----------------------------------------------------------------------------------


def test_a_gap_loses_the_node_and_says_which() -> None:
    """payloads-sequence-num-incrementing, operational-behavior-host-reordering-*: expected, got, since when."""
    state = after(BORN, DEVICE_BORN)
    outcome = send(state, "by alias seq 4")
    assert outcome.changes == [Unknown(None, None, NOW, "sequence gap: expected 2, got 4")]
    assert outcome.rebirth == "sequence gap: expected 2, got 4"
    assert node_of(state).gap_since_ms == NOW and not node_of(state).births
    late = send(state, "by alias seq 2", NOW + 5)
    assert late.rebirth == outcome.rebirth and not late.changes


def test_the_same_message_twice_is_a_gap_too() -> None:
    """payloads-sequence-num-incrementing: any other number than the next one."""
    state = after(BORN, DEVICE_BORN, "by alias seq 2")
    assert send(state, "by alias seq 2").rebirth == "sequence gap: expected 3, got 2"


def test_a_birth_after_a_gap_makes_it_known_again() -> None:
    """operational-behavior-data-commands-rebirth-action-*: the rebirth has the same bdSeq and ends the gap."""
    state = after(BORN, DEVICE_BORN, "by alias seq 4", BORN)
    assert (node_of(state).born, node_of(state).gap_since_ms, node_of(state).wanted) == (True, None, "")
    assert samples(send(state, DEVICE_BORN)) and due(state, NOW) == []


def test_numbers_wrap_from_255_to_0() -> None:
    """payloads-sequence-num-incrementing: 254, 255, 0 is no gap; the device shares the count with its node."""
    state = after("node birth seq 254 bdSeq 0")
    assert samples(send(state, "node by alias seq 255")) == [("", "baro", 1004.25)]
    assert samples(send(state, "node by alias seq 0")) == [("", "baro", 1005.5)]
    assert samples(send(state, DEVICE_BORN)) and node_of(state).next_seq == 2


def test_a_message_without_a_number_loses_the_node() -> None:
    """payloads-sequence-num-always-included: without one nobody can say whether something was lost."""
    state = after(BORN, DEVICE_BORN)
    outcome = send(state, "data without seq")
    assert outcome.rebirth == "sent without a sequence number" and unknowns(outcome) == [(None, None)]
    assert node_of(state).gap_since_ms is None and not node_of(state).born


# -- messages out of order ------------------------------------------------------------------------------


def test_a_gap_that_is_filled_in_time_loses_nothing() -> None:
    """operational-behavior-host-reordering-*: 3 and 4 wait for 2, then all are read in their order."""
    state = after(BORN, DEVICE_BORN)
    early = send(state, "by alias seq 3", NOW, reorder_ms=2000)
    assert early.waiting == "sequence gap: expected 2, got 3" and not early.changes and not early.rebirth
    assert send(state, "by alias seq 4", NOW + 1, reorder_ms=2000).waiting == "sequence gap: expected 2, got 4"
    assert node_of(state).gap_since_ms == NOW and overdue(state, NOW + 1999, 2000) == []
    filled = send(state, "by name seq 2", NOW + 1999, reorder_ms=2000)
    assert [value for _, _, value in samples(filled)] == [16.75, 17.25, -3.0, 17.25, -3.0]
    assert not filled.rebirth and not unknowns(filled)
    assert (node_of(state).next_seq, node_of(state).gap_since_ms, node_of(state).held) == (5, None, {})


def test_a_gap_of_two_places_stays_open_until_both_are_filled() -> None:
    """operational-behavior-host-reordering-*: 2 alone does not bring the 4 that waits for 3."""
    state = after(BORN, DEVICE_BORN)
    send(state, "by alias seq 4", NOW, reorder_ms=2000)
    assert len(samples(send(state, "by alias seq 2", NOW + 5, reorder_ms=2000))) == 2
    assert node_of(state).gap_since_ms == NOW
    assert len(samples(send(state, "by alias seq 3", NOW + 9, reorder_ms=2000))) == 4
    assert node_of(state).gap_since_ms is None


def test_a_gap_that_is_not_filled_in_time_loses_the_node() -> None:
    """operational-behavior-host-reordering-*: then a rebirth must be asked for."""
    state = after(BORN, DEVICE_BORN)
    send(state, "by alias seq 4", NOW, reorder_ms=2000)
    (lost,) = overdue(state, NOW + 2000, 2000)
    assert lost.changes == [Unknown(None, None, NOW + 2000, "sequence gap: expected 2, got 4")]
    assert (lost.group, lost.node, lost.rebirth) == ("site", "pump", "sequence gap: expected 2, got 4")
    assert due(state, NOW + 2000) == [("site", "pump")] and node_of(state).gap_since_ms == NOW
    assert overdue(state, NOW + 9999, 2000) == [] and not node_of(state).held
    assert not samples(send(state, "by alias seq 2", NOW + 2001, reorder_ms=2000))


@pytest.mark.parametrize("name", ["node birth seq 0 bdSeq 0", "node death bdSeq 0"])
def test_what_waited_ends_with_its_session(name: str) -> None:
    """payloads-alias-birth-requirement: the aliases of what waited are not those of the new birth."""
    state = after(BORN, DEVICE_BORN)
    send(state, "by alias seq 4", NOW, reorder_ms=2000)
    send(state, name, NOW, reorder_ms=2000)
    assert node_of(state).held == {} and node_of(state).gap_since_ms is None
    assert overdue(state, NOW + 9999, 2000) == []


def test_what_is_too_far_ahead_or_comes_twice_does_not_wait() -> None:
    """Sixteen messages and 64 KiB are held; more is a loss at once."""
    far = send(after("node birth seq 7 bdSeq 0"), "by alias seq 4", reorder_ms=2000)
    assert far.rebirth == "sequence gap: expected 8, got 4"
    state = after(BORN, DEVICE_BORN)
    send(state, "by alias seq 4", reorder_ms=2000)
    assert send(state, "by alias seq 4", reorder_ms=2000).rebirth == "sequence gap: expected 2, got 4"
    state = after(BORN)
    for seq in (2, 17):
        assert _filler(state, seq, 30_000).waiting
    assert _filler(state, 18, 10).rebirth == "sequence gap: expected 1, got 18"
    no_number = bytes([0x18, 0x81, 0x02])  # 257, which is 1 modulo 256
    outcome = take(after(BORN), "spBv1.0/site/NDATA/pump", no_number, NOW, reorder_ms=2000)
    assert isinstance(outcome, Outcome) and outcome.rebirth == "sequence gap: expected 1, got 257"
    state = after(BORN)
    assert _filler(state, 2, 30_000).waiting
    assert _filler(state, 3, 40_000).rebirth == "sequence gap: expected 1, got 3"


def _filler(state: State, seq: int, size: int) -> Outcome:
    payload = bytes([0x18, seq, 0x2A, 0x80 | size & 0x7F, 0x80 | size >> 7 & 0x7F, size >> 14]) + b"x" * size
    outcome = take(state, "spBv1.0/site/NDATA/pump", payload, NOW, reorder_ms=2000)
    assert isinstance(outcome, Outcome)
    return outcome


# -- deaths ---------------------------------------------------------------------------------------------


def test_the_death_of_a_node_makes_all_of_it_unknown_at_receipt() -> None:
    """host-action-*: the Will has no time of its own worth anything; it has no sequence number either."""
    state = after(BORN, DEVICE_BORN)
    outcome = send(state, "node death bdSeq 0", NOW + 77)
    assert outcome.changes == [Unknown(None, None, NOW + 77, "the edge node died")]
    assert not node_of(state).born and due(state, NOW) == [] and not outcome.rebirth
    assert send(state, "by alias seq 2").rebirth == "DDATA before the birth of its edge node"


def test_the_death_of_an_older_session_is_ignored() -> None:
    """topics-nbirth-bdseq-*: an NDEATH counts only with the bdSeq of the last NBIRTH."""
    state = after("node birth seq 0 bdSeq 1")
    outcome = send(state, "node death bdSeq 0")
    assert outcome.ignored == "a death of session 0, while 1 is the last one born" and not outcome.changes
    assert node_of(state).born
    assert unknowns(send(state, "node death bdSeq 1")) == [(None, None)]


def test_sessions_wrap_from_255_to_0() -> None:
    """topics-nbirth-bdseq-increment: 0 follows 255, and the late death of 255 does not end it."""
    state = after("node birth seq 255 bdSeq 255", "node birth seq 0 bdSeq 0")
    assert send(state, "node death bdSeq 255").ignored and node_of(state).born
    assert send(state, "node death bdSeq 0").changes and not node_of(state).born


def test_a_lost_session_still_tells_an_old_death_from_its_own() -> None:
    """topics-nbirth-bdseq-*: a gap does not end the session the Will belongs to."""
    state = after("node birth seq 0 bdSeq 1", "by alias seq 4")
    assert send(state, "node death bdSeq 0").ignored
    assert due(state, NOW) == [("site", "pump")]
    send(state, "node death bdSeq 1")
    assert due(state, NOW) == []


def test_the_death_of_a_device_counts_from_the_time_it_states() -> None:
    """host-action-*: the device alone, at the payload's timestamp, never from after its receipt."""
    state = after(BORN, DEVICE_BORN)
    outcome = send(state, "device death seq 2")
    assert outcome.changes == [Unknown("wall", None, T + 500, "the device died")]
    assert node_of(state).born and node_of(state).next_seq == 3
    assert send(state, "by alias seq 3").rebirth == "data before the birth of the device"
    early = send(after(BORN, DEVICE_BORN), "device death seq 2", T)
    assert early.changes == [Unknown("wall", None, T, "the device died")]


# -- what is refused ------------------------------------------------------------------------------------


def test_a_kept_message_is_refused() -> None:
    """topics-nbirth-mqtt and its like: no message of an edge node may be retained."""
    state = State()
    message = MESSAGES[BORN]
    refused = take(state, message.topic, message.payload, NOW, retained=True)
    assert isinstance(refused, Rejected) and refused.code == "retained" and state == State()


def test_commands_and_host_states_are_refused() -> None:
    """topics-*: they are for edge nodes."""
    for topic in ("spBv1.0/site/NCMD/pump", "spBv1.0/STATE/gateway-1"):
        refused = take(State(), topic, MESSAGES["rebirth request"].payload, NOW)
        assert isinstance(refused, Rejected) and refused.code == "wrong topic"


def test_what_cannot_be_read_loses_a_living_session_only() -> None:
    """payloads-sequence-num-*: it may have been a birth; of a node not yet born there is nothing to lose."""
    topic = MESSAGES[BORN].topic
    assert take(State(), topic, b"\xff", NOW) == sparkplug_wire.read(b"\xff")
    state = after(BORN, DEVICE_BORN)
    outcome = take(state, topic, b"\xff", NOW)
    assert isinstance(outcome, Outcome) and outcome.rebirth.startswith("NBIRTH cannot be read: not a Sparkplug")
    assert unknowns(outcome) == [(None, None)] and not node_of(state).born
    assert isinstance(take(state, topic, b"\xff", NOW), Rejected)


def test_nobody_can_fill_the_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """Edge nodes and what they define are bounded; a node may always be born again in its own place."""
    birth = MESSAGES[BORN].payload
    state = State()
    for number in range(sparkplug.MAX_NODES):
        assert isinstance(take(state, f"spBv1.0/site/NBIRTH/{number}", birth, NOW), Outcome)
    refused = take(state, "spBv1.0/site/NBIRTH/one-more", birth, NOW)
    assert isinstance(refused, Rejected) and refused.code == "too many"
    monkeypatch.setattr(sparkplug, "MAX_DEFINED", 12)  # a birth of three metrics asks for seven
    state = after(BORN)
    assert isinstance(take(state, "spBv1.0/site/NBIRTH/other", birth, NOW), Outcome)
    assert isinstance(take(state, "spBv1.0/site/NBIRTH/third", birth, NOW), Rejected)
    assert samples(send(state, BORN))[-1] == ("", "baro", 1003.5)
    lost = send(state, DEVICE_BORN)
    assert lost.rebirth.startswith("DBIRTH cannot be read: 10 metrics are defined")
