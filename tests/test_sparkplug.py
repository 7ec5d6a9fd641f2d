"""The session of an edge node: what its births define, and when nothing of it may be believed any more."""

from __future__ import annotations

import copy
from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.payload import canonical, sparkplug, sparkplug_wire
from gateway.payload.sparkplug import take
from gateway.payload.sparkplug_state import Node, Outcome, Sample, State, Unknown, asked, begin, due
from gateway.reading import Rejected
from tests.tables.sparkplug_messages import MADE_MS as T
from tests.tables.sparkplug_messages import MESSAGES

NOW = T + 2000
BORN, DEVICE_BORN = ("node birth seq 0 bdSeq 0", "device birth seq 1")


def send(state: State, name: str, at_ms: int = NOW) -> Outcome:
    """Fold one message of the table in; it must not be refused."""
    outcome = take(state, MESSAGES[name].topic, MESSAGES[name].payload, at_ms)
    assert isinstance(outcome, Outcome), outcome
    return outcome


def after(*names: str) -> State:
    """The state after these messages."""
    state = State()
    for name in names:
        send(state, name)
    return state


def node_of(state: State) -> Node:
    return state.nodes["site/pump"]


def samples(outcome: Outcome) -> list[tuple[str, str, float]]:
    return [(each.device, each.metric, each.value) for each in outcome.changes if isinstance(each, Sample)]


def unknowns(outcome: Outcome) -> list[tuple[str | None, str | None]]:
    return [(each.device, each.metric) for each in outcome.changes if isinstance(each, Unknown)]


def reason(outcome: Outcome) -> str:
    (only,) = [each.reason for each in outcome.changes if isinstance(each, Unknown)]
    return only


# -- births ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", [0, 7, 255])
def test_a_node_birth_may_have_any_sequence_number_and_is_counted_from(number: int) -> None:
    """topics-nbirth-seq-num wants 0, payloads-nbirth-seq allows 0 to 255: a reader takes any."""
    name = {0: "node birth seq 0 bdSeq 0", 7: "node birth seq 7 bdSeq 0", 255: "node birth seq 255 bdSeq 255"}
    state = after(name[number])
    assert node_of(state).born and node_of(state).next_seq == {0: 1, 7: 8, 255: 0}[number]
    follows = {0: "device birth seq 1", 7: "device birth seq 8", 255: "device birth seq 0"}[number]
    assert ("wall", "steel", 18.5) in samples(send(state, follows))


def test_a_birth_makes_its_values_known_and_everything_else_unknown() -> None:
    """topics-nbirth-metrics: what the new birth does not say is not carried over from before."""
    outcome = send(State(), BORN)
    assert outcome.changes[0] == Unknown(None, None, NOW, "born again, and not yet heard of since")
    assert Sample("", "baro", 1003.5, T) in outcome.changes
    assert not outcome.rebirth and not outcome.ignored
    device = send(after(BORN), DEVICE_BORN)
    assert device.changes[0] == Unknown("wall", None, NOW, "born again, and not yet heard of since")
    assert samples(device) == [("wall", "steel", 18.5), ("wall", "air/t", 21.0), ("wall", "air/rh", 55.25)]


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


# -- data ------------------------------------------------------------------------------------------------


def test_data_by_alias_is_read_by_the_names_and_types_of_the_birth() -> None:
    """payloads-alias-data-cmd-requirement: data has neither name nor type; -3 is sent as an Int16."""
    outcome = send(after(BORN, DEVICE_BORN), "by alias seq 2")
    assert outcome.changes == [
        Sample("wall", "steel", 17.25, T + 900),
        Sample("wall", "air/t", -3.0, T + 950),
    ]


def test_data_of_the_node_itself_is_read_by_its_own_aliases() -> None:
    """payloads-alias-uniqueness: alias 1 is the node's; the device's are not mixed with it."""
    outcome = send(after(BORN), "node by alias seq 1")
    assert outcome.changes == [Sample("", "baro", 1004.25, T + 900)]


def test_data_by_name_is_read() -> None:
    """payloads-name-requirement: without aliases the name is sent."""
    assert samples(send(after(BORN, DEVICE_BORN), "by name seq 2")) == [("wall", "steel", 16.75)]


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


def test_data_before_the_birth_of_its_device_asks_for_a_rebirth() -> None:
    """payloads-alias-birth-requirement: the node is known, this device is not."""
    state = after("node birth seq 0 bdSeq 0", "node by alias seq 1")
    outcome = send(state, "by alias seq 2")
    assert outcome.rebirth == reason(outcome) == "data before the birth of the device"
    assert unknowns(outcome) == [("wall", None)] and node_of(state).born and node_of(state).next_seq == 3


def test_aliases_are_forgotten_with_the_birth_that_defined_them() -> None:
    """payloads-alias-birth-requirement: after a new birth 2 and 3 have changed places and 4 is gone."""
    state = after(BORN, DEVICE_BORN, "by alias seq 2", "device birth seq 3 other aliases")
    outcome = send(state, "by alias seq 4")
    assert samples(outcome) == []
    assert [each.metric for each in outcome.changes] == ["air/t", "steel"]
    assert node_of(state).births["wall"].aliases == {3: ["steel"], 2: ["air/t"], 9: ["air/rh"]}


def test_an_unknown_alias_makes_the_device_unknown() -> None:
    """payloads-alias-*: nobody can tell which of its metrics changed."""
    outcome = send(after(BORN, DEVICE_BORN), "unknown alias seq 2")
    assert outcome.rebirth == reason(outcome) == "alias 77 is not defined by the last birth"
    assert unknowns(outcome) == [("wall", None)]


def test_a_name_no_birth_defined_is_not_read() -> None:
    """topics-dbirth-metrics: every metric that will be sent is in the birth."""
    outcome = send(after(BORN, DEVICE_BORN), "unknown name seq 2")
    assert outcome.rebirth == reason(outcome) == "not defined by the last birth"
    assert unknowns(outcome) == [("wall", "rust")]


def test_an_alias_given_twice_stands_for_neither() -> None:
    """payloads-alias-uniqueness: the birth's own values are read by name, later ones are unknown for both."""
    state = State()
    send(state, BORN)
    assert len(samples(send(state, "device birth seq 1 alias twice"))) == 3
    outcome = send(state, "by alias seq 2")
    assert unknowns(outcome)[:2] == [("wall", "steel"), ("wall", "air/t")] and not samples(outcome)
    assert isinstance(outcome.changes[0], Unknown)
    assert outcome.changes[0].reason == "alias 2 stands for 2 metrics"


def test_data_of_another_type_than_born_is_not_read() -> None:
    """payloads-metric-datatype-req: the type is the birth's."""
    outcome = send(after(BORN, DEVICE_BORN), "by name other type seq 2")
    assert reason(outcome) == "sent as data type 3, born as 9" and not samples(outcome)


def test_a_null_makes_its_metric_unknown_since_its_own_time() -> None:
    """Chapter 6, metric, is_null: said to be without a value."""
    outcome = send(after(BORN, DEVICE_BORN), "null seq 2")
    assert outcome.changes == [Unknown("wall", "steel", T + 900, "sent as null")]


def test_history_is_marked_and_says_nothing_of_today() -> None:
    """Chapter 6, metric, is_historical: stored, never judged; a null of the past makes nothing unknown."""
    outcome = send(after(BORN, DEVICE_BORN), "historical seq 2")
    assert outcome.changes == [Sample("wall", "steel", 12.0, T - 60_000, historical=True)]
    assert send(after(BORN, DEVICE_BORN), "historical null seq 2").changes == []


def test_a_transient_value_is_not_taken_and_says_so() -> None:
    """Chapter 6, metric, is_transient: not to be stored, and all that is judged here is stored."""
    outcome = send(after(BORN, DEVICE_BORN), "transient seq 2")
    assert reason(outcome).startswith("sent as transient") and not samples(outcome)


@pytest.mark.parametrize(("code", "read"), [(0, False), (192, True), (500, False)])
def test_only_good_quality_is_read(code: int, read: bool) -> None:
    """Chapter 6, quality codes: 0 bad, 192 good, 500 stale."""
    outcome = send(after(BORN, DEVICE_BORN), f"quality {code} seq 2")
    assert bool(samples(outcome)) is read
    assert read or reason(outcome) == f"sent with quality code {code}, not 192 (good)"


def test_one_metric_several_times_keeps_its_order() -> None:
    """publish-nbirth-order: values of one metric are in the order of their times."""
    outcome = send(after(BORN, DEVICE_BORN), "one metric three times seq 2")
    assert outcome.changes == [
        Sample("wall", "steel", 15.0, T),
        Unknown("wall", "steel", T + 100, "sent as null"),
        Sample("wall", "steel", 14.0, T + 200),
    ]


def test_a_time_ahead_of_now_is_not_believed() -> None:
    """payloads_metric_timestamp_in_UTC: a clock that runs ahead would keep its value the newest for ever."""
    outcome = send(after(BORN, DEVICE_BORN), "future seq 2")
    assert outcome.changes == [Unknown("wall", "steel", NOW, "measured 3598 s in the future")]


def test_a_metric_without_a_time_has_that_of_its_message() -> None:
    """payloads-name-birth-data-requirement wants one in every metric; the payload's is when it was published."""
    outcome = send(after(BORN, DEVICE_BORN), "no metric time seq 2")
    assert outcome.changes == [Sample("wall", "steel", 15.0, T + 1000)]


def test_values_that_are_no_measurement_say_why() -> None:
    """payloads-metric-datatype-value: words, flags and sets have no number; integers keep their sign."""
    outcome = send(State(), "every datatype")
    whys = {each.metric: each.reason for each in outcome.changes if isinstance(each, Unknown)}
    assert whys["Boolean/0"] == "data type 11 carries no measurement"
    assert whys["DateTime/0"] == "data type 13 carries no measurement"
    assert whys["String/1"] == "data type 12 carries no measurement"
    found = {metric: value for _, metric, value in samples(outcome)}
    sent = [(name, value) for name, kind, value in MESSAGES["every datatype"].given if kind <= 10]
    expected = {name: float(value) for name, value in sent if isinstance(value, int | float)}
    assert len(expected) == len(sent) == 22
    assert found == expected
    assert {metric: value for _, metric, value in samples(send(State(), "unusual values"))}["infinite"] == inf


# -- sequence numbers ------------------------------------------------------------------------------------


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


# -- deaths ----------------------------------------------------------------------------------------------


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


# -- what is refused -------------------------------------------------------------------------------------


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


# -- the subscriber's own side ---------------------------------------------------------------------------


def test_nothing_is_known_across_a_connection_of_our_own() -> None:
    """message-flow-phid-sparkplug-clean-session-*: what was sent meanwhile is lost, so every node is asked."""
    state = after(BORN, DEVICE_BORN)
    told = begin(state, [("site", "pump"), ("site", "other")], NOW, "the connection to the broker was lost")
    assert [(each.node, each.rebirth) for each in told] == [
        ("pump", "the connection to the broker was lost"),
        ("other", "the connection to the broker was lost"),
    ]
    assert all(each.changes == [Unknown(None, None, NOW, each.rebirth)] for each in told)
    assert due(state, NOW) == [("site", "pump"), ("site", "other")]
    assert not send(state, "node death bdSeq 1").ignored  # it may have been born anew meanwhile


def test_a_rebirth_is_asked_for_after_the_reorder_time_and_not_too_often() -> None:
    """operational-behavior-host-reordering-*: both times are the caller's."""
    state = after(BORN, DEVICE_BORN)
    assert due(state, NOW) == []
    send(state, "by alias seq 4")
    edge = ("site", "pump")
    assert due(state, NOW + 1999, reorder_ms=2000) == [] and due(state, NOW + 2000, reorder_ms=2000) == [edge]
    asked(state, edge, NOW + 2000)
    assert due(state, NOW + 11_999, every_ms=10_000) == [] and due(state, NOW + 12_000, every_ms=10_000) == [edge]


# -- the state as a whole --------------------------------------------------------------------------------

DAY = [
    *("by alias seq 2", BORN, DEVICE_BORN, "by alias seq 2", "device birth seq 3 other aliases", "by alias seq 4"),
    *("by alias seq 2", BORN, DEVICE_BORN, "null seq 2", "node death bdSeq 255", "node death bdSeq 0"),
    *("every datatype", "birth of ten seq 1", "ten metrics seq 2", "quality 0 seq 2", "unusual values"),
]


def test_the_state_goes_through_a_checkpoint_at_any_point() -> None:
    """The same messages give the same state, whether or not the gateway was started anew between two of them."""
    state, through = State(), State()
    for number, name in enumerate(DAY):
        through = canonical.from_checkpoint(canonical.checkpoint(through), State)
        assert send(through, name, NOW + number) == send(state, name, NOW + number)
        assert through == state
    assert canonical.checkpoint(through) == canonical.checkpoint(state)


NAMES = sorted(MESSAGES)
MUTATION = st.tuples(st.integers(0, 10_000), st.integers(0, 255), st.sampled_from(["set", "cut", "add"]))


def mutated(payload: bytes, place: int, byte: int, how: str) -> bytes:
    at = place % (len(payload) + 1)
    if how == "cut":
        return payload[:at]
    return payload[:at] + bytes([byte]) + payload[at + (how == "set") :]


@settings(deadline=200, max_examples=300)
@given(st.lists(st.tuples(st.sampled_from(NAMES), st.lists(MUTATION, max_size=3)), min_size=1, max_size=8))
def test_any_mutation_gives_an_outcome_or_a_reason(sent: list[tuple[str, list[tuple[int, int, str]]]]) -> None:
    """Nothing raises, a refusal leaves the state as it was, and every state goes through a checkpoint."""
    state = after(BORN, DEVICE_BORN)
    for name, changes in sent:
        payload = MESSAGES[name].payload
        for change in changes:
            payload = mutated(payload, *change)
        before = copy.deepcopy(state)
        found = take(state, MESSAGES[name].topic, payload, NOW)
        assert isinstance(found, Outcome) or (found.detail and state == before)
        assert canonical.from_checkpoint(canonical.checkpoint(state), State) == state


@settings(deadline=200)
@given(st.text(max_size=40) | st.sampled_from([each.topic for each in MESSAGES.values()]), st.binary(max_size=120))
def test_any_topic_and_bytes_give_an_outcome_or_a_reason(topic: str, payload: bytes) -> None:
    """Whatever is published, by whomever."""
    assert isinstance(take(after(BORN, DEVICE_BORN), topic, payload, NOW), Outcome | Rejected)
