"""What was read before: the same decisions as a memory without bounds gives, as far back as a broker can go."""

from hypothesis import given
from hypothesis import strategies as st

from gateway import flow_repeats
from gateway.entry import Arrival
from gateway.flow_repeats import BACK_MS, KEPT, MARK_MS
from gateway.flow_state import State
from gateway.payload import canonical
from gateway.reading import Reading

TOPIC = Arrival("dewgate/test/steel", b"")


def hear(state: State, sensor: str, time_ms: int, value: float) -> int:
    """Take one reading as the flow does; return the number of the entry it repeats, or 0."""
    reading = Reading(sensor, value, time_ms)
    first = flow_repeats.first_of(state, TOPIC, [reading])
    state.sequence += 1
    if not first:
        flow_repeats.is_new(state, reading)
    return first


@given(said=st.lists(st.tuples(st.sampled_from("ab"), st.integers(0, 30), st.sampled_from([1.0, 2.0]))))
def test_every_reading_is_known_again(said: list[tuple[str, int, float]]) -> None:
    """In any order, with conflicts: the first entry of sensor, time and value is named, and only then."""
    state, firsts = State(), {}
    for number, each in enumerate(said, 1):
        assert hear(state, *each) == firsts.get(each, 0)
        firsts.setdefault(each, number)


def test_a_broker_may_give_all_again_that_it_gave_in_the_last_minute() -> None:
    """Six thousand a second for ten seconds, and all of it again from the beginning."""
    state, count = State(), 60_000
    for number in range(count):
        state.core_ms = number // 6
        assert hear(state, "steel", number * 10, number / 7) == 0
    kept = canonical.from_checkpoint(canonical.checkpoint(state), State)
    assert kept == state
    state.core_ms += 3_600_000  # the broker was away for an hour meanwhile
    assert [hear(kept, "steel", number * 10, number / 7) for number in range(count)] == list(range(1, count + 1))


def test_what_came_long_ago_is_forgotten_but_for_the_last() -> None:
    """A quiet sensor keeps between KEPT readings and three times as many; the newest KEPT are always known."""
    state, count = State(), 20 * KEPT
    for number in range(count):
        state.core_ms = number * 10_000
        hear(state, "steel", state.core_ms, 20.0)
    assert KEPT <= len(state.tracks["steel"].times) <= 3 * KEPT
    assert len(state.marks) <= BACK_MS // MARK_MS + 2
    again = [hear(state, "steel", number * 10_000, 20.0) for number in range(count - KEPT, count)]
    assert again == list(range(count - KEPT + 1, count + 1))


def test_a_backlog_of_many_sensors_fills_the_memory_no_more_than_one_of_one() -> None:
    """A million messages drained within a minute: what the shipped broker can give again is known, and no more."""
    state, names = State(), [f"s{n}" for n in range(8)]
    for number in range(3 * flow_repeats.MOST):
        hear(state, names[number % 8], number, 20.0)
    assert sum(len(track.times) for track in state.tracks.values()) <= 1.6 * flow_repeats.MOST
    known = range(2 * flow_repeats.MOST + 8, 2 * flow_repeats.MOST + 16)
    assert [hear(state, names[n % 8], n, 20.0) for n in known] == [n + 1 for n in known]


def test_no_sensor_fills_the_memory() -> None:
    """Beyond the most the shipped broker holds the oldest go, however quickly they came."""
    state = State()
    for number in range(2 * flow_repeats.MOST):
        hear(state, "steel", number, 20.0)
    assert len(state.tracks["steel"].times) <= 1.5 * flow_repeats.MOST
    assert hear(state, "steel", flow_repeats.MOST + 1, 20.0) == flow_repeats.MOST + 2
