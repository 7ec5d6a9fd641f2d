"""What persons do: taken or refused with a sentence, and folded in once."""

import pytest

from gateway import acts
from gateway.entry import Kind
from gateway.flow_state import Begun
from tests.test_flow import Day, day  # noqa: F401  the fixture

BEGIN = {"act": "begin", "person": "lead", "area": "A", "activity": "blasting"}


def why(day: Day, **body: object) -> str | None:  # noqa: F811
    """Return why an act would be refused now."""
    return acts.refusal(day.flow.state, day.flow.site, body)


def test_an_activity_begins_once_and_ends_once(day: Day) -> None:  # noqa: F811
    """What goes on in an area follows from the entries; a second click changes nothing."""
    day.put(Kind.ACTION, BEGIN)
    since = day.flow.state.activities["A"]["blasting"]
    assert since.by == "lead"
    day.put(Kind.ACTION, BEGIN | {"person": "other"})
    assert day.flow.state.activities == {"A": {"blasting": since}}
    assert day.flow.state.counts["act refused"] == 1
    day.put(Kind.ACTION, BEGIN | {"act": "end"})
    assert day.flow.state.activities == {"A": {}}
    assert why(day, **BEGIN | {"act": "end"}) == "blasting in A is not going on."


def test_several_at_once_but_idle_alone_beside_a_cure(day: Day) -> None:  # noqa: F811
    """An area may hold several activities; idle ends them but for a cure, and whatever begins ends idle."""
    for activity in ("washing", "curing"):
        day.put(Kind.ACTION, BEGIN | {"activity": activity})
    assert list(day.flow.state.activities["A"]) == ["washing", "curing"]
    day.put(Kind.ACTION, BEGIN | {"activity": "idle", "until_ms": day.now + 3_600_000})
    assert list(day.flow.state.activities["A"]) == ["curing", "idle"]
    day.put(Kind.ACTION, BEGIN)
    assert list(day.flow.state.activities["A"]) == ["curing", "blasting"]
    assert isinstance(day.flow.state.activities["A"]["blasting"], Begun)


@pytest.mark.parametrize(
    ("body", "sentence"),
    [
        ({"act": "open valve", "person": "lead"}, "There is no act 'open valve'"),
        (BEGIN | {"area": "Z"}, "There is no area 'Z'"),
        (BEGIN | {"activity": "lunch"}, "'lunch' is none of blasting"),
        (BEGIN | {"person": " "}, "begin needs person, a text of 1 to 2000 characters"),
        (BEGIN | {"area": ["A"]}, "begin needs area"),
        (BEGIN | {"activity": "idle"}, "Idle ends with its shift"),
        (BEGIN | {"activity": "idle", "until_ms": 5}, "Idle ends with its shift"),
        (BEGIN | {"coat": 1.5}, "begin: coat is a text of at most 2000 characters"),
        (BEGIN | {"activity": "coating", "product": "tar"}, "There is no product 'tar'"),
        (
            {"act": "disposition", "person": "i", "exposure": "E-1", "decision": "x", "reason": "y"},
            "no exposure 'E-1'",
        ),
        ({"act": "note", "person": "i", "area": "Z", "text": "y"}, "There is no area 'Z'"),
        ({"act": "manual", "person": "i", "area": "A", "kind": "guess"}, "There is no form 'guess'"),
        ({"act": "acknowledge", "person": "lead", "number": "A-99"}, "A-99 is not an alarm that waits"),
    ],
)
def test_what_is_refused(day: Day, body: dict[str, object], sentence: str) -> None:  # noqa: F811
    """Each refusal says what is wrong; nothing is folded in."""
    assert sentence in str(why(day, **body))
    day.put(Kind.ACTION, body)
    assert day.flow.state.counts["act refused"] == 1 and not day.flow.state.activities
