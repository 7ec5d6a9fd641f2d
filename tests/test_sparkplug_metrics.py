"""The metrics of births and data: what they are called, of which type, and which values are not believed."""

from __future__ import annotations

import copy
from math import inf

import pytest

from gateway.payload import sparkplug_wire
from gateway.payload.sparkplug import take
from gateway.payload.sparkplug_state import Outcome, Sample, State, Unknown, due
from tests.tables.sparkplug_messages import (
    BORN,
    DEVICE_BORN,
    MESSAGES,
    NOW,
    after,
    node_of,
    reason,
    samples,
    send,
    unknowns,
)
from tests.tables.sparkplug_messages import MADE_MS as T


def test_a_birth_makes_its_values_known_and_everything_else_unknown() -> None:
    """topics-nbirth-metrics: what the new birth does not say is not carried over from before."""
    outcome = send(State(), BORN)
    assert outcome.changes[0] == Unknown(None, None, NOW, "born again, and not yet heard of since")
    assert Sample("", "baro", 1003.5, T) in outcome.changes
    assert not outcome.rebirth and not outcome.ignored
    device = send(after(BORN), DEVICE_BORN)
    assert device.changes[0] == Unknown("wall", None, NOW, "born again, and not yet heard of since")
    assert samples(device) == [("wall", "steel", 18.5), ("wall", "air/t", 21.0), ("wall", "air/rh", 55.25)]


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
    assert node_of(state).births["wall"].aliases == {3: "steel", 2: "air/t", 9: "air/rh"}


def test_an_unknown_alias_makes_the_device_unknown() -> None:
    """payloads-alias-*: nobody can tell which of its metrics changed."""
    state = after(BORN, DEVICE_BORN)
    outcome = send(state, "unknown alias seq 2")
    assert outcome.rebirth == reason(outcome) == "alias 77 is not defined by the last birth"
    assert unknowns(outcome) == [("wall", None)]
    assert due(state, NOW) == [("site", "pump")]


def test_a_name_no_birth_defined_is_not_read() -> None:
    """topics-dbirth-metrics: every metric that will be sent is in the birth."""
    outcome = send(after(BORN, DEVICE_BORN), "unknown name seq 2")
    assert outcome.rebirth == reason(outcome) == "not defined by the last birth"
    assert unknowns(outcome) == [("wall", "rust")]


def test_an_alias_given_twice_stands_for_neither() -> None:
    """payloads-alias-uniqueness: both metrics are unknown from the birth on, by alias and by name."""
    state = State()
    send(state, BORN)
    birth = send(state, "device birth seq 1 alias twice")
    assert samples(birth) == [("wall", "air/rh", 55.25)]
    assert unknowns(birth) == [("wall", None), ("wall", "steel"), ("wall", "air/t")]
    outcome = send(copy.deepcopy(state), "by alias seq 2")
    assert outcome.changes[0] == Unknown("wall", "steel", T + 900, "its alias stands for another metric too")
    assert not samples(outcome) and not samples(send(state, "by name seq 2"))


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


# -- births as no good library makes them ----------------------------------------------------------------


def made(state: State, kind: str, seq: int, *metrics: dict[str, object]) -> Outcome:
    """Send a message with these fields of its metrics; unit stands for the property engUnit."""
    payload = sparkplug_wire._protobuf()[0](timestamp=T, seq=seq)
    for fields in metrics:
        unit = fields.pop("unit", None)
        metric = payload.metrics.add(**fields)
        if unit:
            metric.properties.keys.append("engUnit")
            metric.properties.values.add(string_value=unit)
    outcome = take(state, f"spBv1.0/site/{kind}/pump", payload.SerializeToString(), NOW)
    assert isinstance(outcome, Outcome)
    return outcome


def test_a_metric_without_a_name_or_with_an_endless_one_is_not_defined() -> None:
    """payloads-name-requirement: its alias stays unknown, the other metrics are read."""
    state = State()
    metrics = [
        {"name": name, "alias": len(name), "datatype": 9, "float_value": 1.0} for name in ("", "t", "n" * 513)
    ]
    outcome = made(state, "NBIRTH", 0, *metrics, {"name": "m" * 512, "datatype": 9, "float_value": 2.0})
    assert samples(outcome) == [("", "t", 1.0), ("", "m" * 512, 2.0)]
    assert node_of(state).births[""].aliases == {1: "t"}
    assert made(state, "NDATA", 1, {"alias": 513, "float_value": 3.0}).rebirth == (
        "alias 513 is not defined by the last birth"
    )
    assert made(state, "NDATA", 2, {"float_value": 3.0}).rebirth == "alias None is not defined by the last birth"


def test_one_metric_twice_in_a_birth_keeps_its_alias() -> None:
    """publish-nbirth-order: several values of one metric are no second metric."""
    state = State()
    twice = [{"name": "t", "alias": 1, "datatype": 9, "float_value": value} for value in (1.0, 2.0)]
    assert samples(made(state, "NBIRTH", 0, *twice)) == [("", "t", 1.0), ("", "t", 2.0)]
    assert samples(made(state, "NDATA", 1, {"alias": 1, "float_value": 3.0})) == [("", "t", 3.0)]


def test_one_metric_twice_with_anothers_alias_stays_shared() -> None:
    """payloads-alias-uniqueness: what comes after does not make the two apart again."""
    metric = {"datatype": 9, "float_value": 1.0}
    sent = [{"name": "t", "alias": 1, **metric}, {"name": "u", "alias": 1, **metric}, {"name": "t", **metric}]
    assert not samples(made(State(), "NBIRTH", 0, *sent))


def test_a_great_many_metrics_of_one_alias_cost_no_more_than_others() -> None:
    """A thousand names for one alias, and a thousand values by it, are two thousand changes and not a million."""
    state = State()
    names = [{"name": f"t{number}", "alias": 1, "datatype": 9, "float_value": 1.0} for number in range(1024)]
    assert len(made(state, "NBIRTH", 0, *names).changes) == 1025
    values: list[dict[str, object]] = [{"alias": 1, "float_value": 2.0} for _ in names]
    assert len(made(state, "NDATA", 1, *values).changes) == 1024


def test_a_unit_is_the_births_unless_the_message_states_its_own() -> None:
    """payloads-propertyset-*: what is said last of a value is said with it."""
    state = State()
    metric = {"alias": 1, "datatype": 9, "float_value": 3.0}
    assert unit_of(made(state, "NBIRTH", 0, {"name": "t", "unit": "degF", **metric})) == "degF"
    assert unit_of(made(state, "NDATA", 1, dict(metric))) == "degF"
    assert unit_of(made(state, "NDATA", 2, {"unit": "K" * 65, **metric})) == "K" * 64


def unit_of(outcome: Outcome) -> str:
    (unit,) = [each.unit for each in outcome.changes if isinstance(each, Sample)]
    return unit


def test_a_name_that_is_sent_counts_before_an_alias() -> None:
    """payloads-alias-data-cmd-requirement wants no name beside an alias; of both the name is plain."""
    state = State()
    born = [
        {"name": name, "alias": alias, "datatype": 9, "float_value": 1.0} for name, alias in (("t", 1), ("u", 2))
    ]
    made(state, "NBIRTH", 0, *born)
    assert samples(made(state, "NDATA", 1, {"name": "t", "alias": 2, "float_value": 3.0})) == [("", "t", 3.0)]
