"""Every form of message by one door, and from there through the whole flow."""

from __future__ import annotations

import json
from dataclasses import replace

import cbor2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway import entry
from gateway.entry import Arrival, Kind
from gateway.flow import CORE_VERSION, Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Source, SourceValue
from gateway.payload import canonical, senml
from gateway.payload.forms import Forms, topics
from gateway.payload.mapped import Sources
from gateway.reading import Reading, Rejected
from tests.sites import T0, pack, site

PROBE = Source(
    "probe", "probes/+/report", "json", (SourceValue("{1}-t", "temp"), SourceValue("{1}-rh", "rh")), "at", "ms"
)
LOOP = Source("loop", "plant/steel", "number", (SourceValue("steel"),))
SITE = replace(site(), sources=(PROBE, LOOP))


def test_the_topic_says_which_form() -> None:
    forms = Forms.of(SITE)
    assert topics(SITE) == ["dewgate/test/#", "plant/steel", "probes/+/report"]
    (steel,) = forms.decode("plant/steel", b"21.5", T0)  # type: ignore[misc]
    assert steel == Reading("steel", 21.5, None)
    found = forms.decode("probes/air/report", b'{"at": %d, "temp": 20.5, "rh": 61}' % T0, T0)
    assert found == [Reading("air-t", 20.5, T0), Reading("air-rh", 0.61, T0)]
    assert forms.decode("dewgate/test/baro", pack("baro", 1013.0, T0), T0) == [Reading("baro", 101_300.0, T0)]


def test_a_fed_sensor_has_one_way_in_and_no_other() -> None:
    for topic, payload in (("dewgate/test/steel", pack("steel", 20.0)), ("plant/air-t", b"20")):
        assert isinstance(Forms.of(SITE).decode(topic, payload, T0), Rejected)


def the_flow() -> tuple[Flow, list[bytes]]:
    started = entry.plain(Kind.STARTED, T0, canonical.to_bytes({"offset_ms": 0, "core_version": CORE_VERSION}))
    entries = [started, entry.plain(Kind.CONFIG_SET, T0, canonical.config_set(SITE, "keeper", "test"))]
    flow = Flow()
    flow.advance(entries, Outcomes())
    return flow, entries


def test_a_mapped_message_is_judged_journalled_and_read_again() -> None:
    """Also its repeat, by its own time; and a plain number, by the broker's word."""
    flow, entries = the_flow()
    report = Arrival("probes/air/report", b'{"at": %d, "temp": 20.5, "rh": 61}' % T0, 1)
    number = Arrival("plant/steel", b"19.5", 2)
    for each in (report, report, number, Arrival(number.topic, number.payload, 2, dup=True)):
        entries.append(flow.receive(each, T0 + 1000, Outcomes()))
    assert flow.state.counts == {"message": 2, "duplicate": 2}
    assert {name: newest.value for name, newest in flow.state.newest.items()} == {
        "air-t": 20.5, "air-rh": 0.61, "steel": 19.5,
    }  # fmt: skip
    again = Flow()
    again.advance(entries, Outcomes())
    assert again.state == flow.state


def test_what_another_version_took_and_this_one_refuses_is_counted_not_believed() -> None:
    """A journal of an older program opens; one of this version that reads otherwise is a fault of the program."""
    taken = entry.message(Arrival("dewgate/test/baro", b'[{"v":1000,"vs":"two values"}]', 1), T0 + 5)
    config = entry.plain(Kind.CONFIG_SET, T0, canonical.config_set(site(), "keeper", "test"))

    def advanced(version: str) -> Flow:
        started = entry.plain(Kind.STARTED, T0, canonical.to_bytes({"offset_ms": 0, "core_version": version}))
        flow = Flow()
        flow.advance([started, config, taken], Outcomes())
        return flow

    older = advanced("0.0.1/1").state
    assert older.counts["no longer read"] == 1 and not older.newest
    with pytest.raises(ValueError, match="is now refused"):
        advanced(CORE_VERSION)


@pytest.mark.parametrize("error", [OverflowError, IndexError, TypeError, RecursionError, UnicodeError])
def test_a_fault_of_our_own_refuses_one_message_and_stops_nothing(
    monkeypatch: pytest.MonkeyPatch, error: type[Exception]
) -> None:
    """It would come again at each start; so it is an entry with its bytes, and the next one is read."""

    def fails(*_: object) -> list[Reading]:
        raise error

    forms = Forms.of(SITE)
    with monkeypatch.context() as patch:
        patch.setattr(senml, "decode", fails)
        refused = forms.decode("dewgate/test/steel", pack("steel", 20.0), T0)
        assert refused == Rejected(
            "not readable", f"this program fails at it ({error.__name__}); please report it"
        )
    assert forms.decode("dewgate/test/baro", pack("baro", 1013.0, T0), T0) == [Reading("baro", 101_300.0, T0)]


NUMBERS = st.integers(-(2**70), 2**70) | st.floats(allow_nan=False, allow_infinity=False)
NAMES = senml.Names.of(site())
CLOCKS = [Sources.of(replace(SITE, sources=(replace(PROBE, time_form=form),))) for form in ("s", "ms")]
CBOR_LABELS = {"n": 0, "v": 2, "s": 5, "t": 6, "ut": 7, "bt": -3, "bv": -5, "bs": -6}


@settings(max_examples=300)
@given(st.dictionaries(st.sampled_from(["v", "t", "bt", "bv", "s", "bs", "ut"]), NUMBERS))
def test_whatever_number_stands_in_a_sound_message_nothing_raises(numbers: dict[str, float]) -> None:
    """Random bytes seldom get as far: all else is right, and any number may be as large as it can be written."""
    record = {"n": "steel", "v": 20, **numbers}
    for payload in (json.dumps([record]).encode(), cbor2.dumps([{CBOR_LABELS[k]: v for k, v in record.items()}])):
        assert isinstance(senml.decode("dewgate/test/steel", payload, NAMES, T0), list | Rejected)
    for sources in CLOCKS:
        match = sources.find("probes/air/report")
        payload = json.dumps({"at": numbers.get("t", T0), "temp": numbers.get("v", 20), "rh": 50}).encode()
        assert match and isinstance(sources.decode(match, payload, T0), list | Rejected)
