"""What sensors say, and what several of them say together."""

from __future__ import annotations

from alerts.measured import Measured, Validity, unknown
from gateway.said import Channels, Told, joined
from gateway.uncertainty import raw
from tests.sites import site

GOOD = Measured(21.0, 0.2, 5, Validity.GOOD)


def test_what_several_inputs_said_is_joined() -> None:
    """Oldest time, worst flag, reasons in order; the first that is missing says why."""
    good, noted = Told(5, Validity.GOOD, ""), Told(3, Validity.GOOD, "a")
    wet, bound = Told(7, Validity.SATURATED, "b"), Told(9, Validity.BOUND, "c")
    assert joined(joined(good, noted), wet) == Told(3, Validity.SATURATED, "a; b")
    assert joined(wet, bound) == Told(7, Validity.BOUND, "b; c")
    assert joined(good, Told(4, Validity.GOOD, "")) == Told(4, Validity.GOOD, "")
    assert joined(joined(good, unknown("first", 8)), unknown("second", 1)) == Told(1, Validity.UNKNOWN, "first")


def test_a_channel_is_heard_once_however_often_it_is_used() -> None:
    """Only what says something else is returned; the first word counts as that."""
    asked, says = list[str](), {"steel": GOOD, "baro": unknown("baro: silent", 3)}

    def read(name: str) -> Measured:
        asked.append(name)
        return says[name]

    of = Channels(site(), read)
    assert of.renew(["steel", "baro"]) == ["steel", "baro"]
    assert of["steel"] is of["steel"] and of["steel"].measured == GOOD
    assert asked == ["steel", "baro"]
    assert of["steel"].exact == raw("steel", 21.0, 0.2) and of["baro"].exact == raw("baro", 0.0, None)
    assert of.renew(["steel", "baro"]) == []
    says["steel"] = GOOD._replace(reason="steel: jumped")
    assert of.renew(["steel", "baro"]) == ["steel"]


def test_the_same_said_again_is_no_news_and_anything_else_is() -> None:
    """Only since when it is known moves; value, accuracy, flag and reason are something else."""
    says = {"steel": GOOD}
    of = Channels(site(), says.__getitem__)
    of.renew(says)
    says["steel"] = GOOD._replace(since_ms=9)
    assert of.renew(says) == []
    assert of["steel"].measured.since_ms == 9
    for other in (
        GOOD._replace(reason="steel: check"), GOOD._replace(validity=Validity.BOUND), GOOD._replace(value=21.1),
        GOOD._replace(u=0.3), GOOD._replace(u=None), unknown("steel: silent", 9),
    ):  # fmt: skip
        says["steel"] = GOOD
        of.renew(says)
        says["steel"] = other
        assert of.renew(says) == ["steel"] and of["steel"].measured == other
        assert of["steel"].exact == raw("steel", other.value or 0.0, other.u)
