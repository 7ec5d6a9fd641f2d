"""What an edge node sent, as readings of the jobsite's sensors."""

from __future__ import annotations

import pytest

from alerts.measured import Quantity
from gateway.payload.sparkplug import take
from gateway.payload.sparkplug_bound import Bound, Silent, bound
from gateway.payload.sparkplug_state import Outcome, Sample, State, Unknown
from gateway.reading import Reading, Rejected
from tests.sites import sensor
from tests.tables.sparkplug_messages import MADE_MS as T
from tests.tables.sparkplug_messages import MESSAGES

NOW = T + 2000
STEEL = sensor("steel-1", Quantity.STEEL_TEMPERATURE, "Cel", 0.5, "contact")
BARO = sensor("baro-1", Quantity.STATION_PRESSURE, "hPa", 100.0, "absolute")
AIR = sensor("air-t-1", Quantity.AIR_TEMPERATURE, "Cel", 0.3, "shielded air")
OTHER = sensor("steel-2", Quantity.STEEL_TEMPERATURE, "Cel", 0.5, "contact")
SENSORS = {
    ("site", "pump", "wall", "steel"): STEEL,
    ("site", "pump", "wall", "air/t"): AIR,
    ("site", "pump", "", "baro"): BARO,
    ("site", "other", "wall", "steel"): OTHER,
}


def last_of(*names: str) -> Bound:
    """What the last of these messages says of the sensors."""
    state = State()
    taken = [take(state, MESSAGES[name].topic, MESSAGES[name].payload, NOW) for name in names]
    assert isinstance(taken[-1], Outcome)
    return bound(taken[-1], SENSORS)


BORN, DEVICE_BORN = "node birth seq 0 bdSeq 0", "device birth seq 1"


def test_bound_metrics_become_readings_in_the_unit_used_inside() -> None:
    """The node's own metric, 1003.5 hPa; what nobody bound (bdSeq) is passed over."""
    found = last_of(BORN)
    assert found.changes[-1] == Reading("baro-1", 100_350.0, T)
    assert [each.sensor for each in found.changes] == ["steel-1", "air-t-1", "baro-1", "baro-1"]
    assert last_of(BORN, DEVICE_BORN, "by alias seq 2") == Bound(
        [Reading("steel-1", 17.25, T + 900), Reading("air-t-1", -3.0, T + 950)]
    )


def test_a_gap_silences_all_sensors_of_the_node_and_no_other() -> None:
    """payloads-sequence-num-incrementing: the reason reaches each sensor."""
    found = last_of(BORN, DEVICE_BORN, "by alias seq 4")
    reason = "sequence gap: expected 2, got 4"
    assert found == Bound([Silent(name, NOW, reason) for name in ("steel-1", "air-t-1", "baro-1")])


def test_the_death_of_a_device_silences_its_sensors_only() -> None:
    """host-action-*: the node's barometer stays known."""
    found = last_of(BORN, DEVICE_BORN, "device death seq 2")
    assert found == Bound([Silent(name, T + 500, "the device died") for name in ("steel-1", "air-t-1")])


def test_a_null_silences_its_own_sensor() -> None:
    """Chapter 6, metric, is_null."""
    assert last_of(BORN, DEVICE_BORN, "null seq 2") == Bound([Silent("steel-1", T + 900, "sent as null")])


def test_history_is_kept_apart() -> None:
    """Chapter 6, metric, is_historical: stored, never judged."""
    found = last_of(BORN, DEVICE_BORN, "historical seq 2")
    assert found == Bound(historical=[Reading("steel-1", 12.0, T - 60_000)])


def test_a_unit_the_birth_states_is_converted_or_refused() -> None:
    """65.75 °F is 18.75 °C; an air temperature in bar is none; later data has the birth's unit."""
    found = last_of(BORN, "device birth seq 1 with units")
    steel, air = found.changes[-2:]
    assert isinstance(steel, Reading) and steel.value == pytest.approx(18.75, abs=1e-9)
    assert air == Silent("air-t-1", T, "air-t-1 states Cel, the message says bar")
    assert found.refused == [Rejected("wrong unit", "air-t-1 states Cel, the message says bar")]
    later = last_of(BORN, "device birth seq 1 with units", "by alias seq 2").changes[0]
    assert isinstance(later, Reading) and later.value == pytest.approx((17.25 - 32) / 1.8, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "code"), [(float("inf"), "not finite"), (float("nan"), "not finite"), (900.0, "impossible value")]
)
def test_a_value_that_cannot_be_the_sensors_silences_it(value: float, code: str) -> None:
    """No further message may come until the value changes, so that the old one may not stand."""
    outcome = Outcome("site", "pump", NOW, [Sample("wall", "steel", value, None)])
    found = bound(outcome, SENSORS)
    assert [each.code for each in found.refused] == [code]
    assert found.changes == [Silent("steel-1", NOW, found.refused[0].detail)]


def test_a_value_of_the_past_that_cannot_be_is_refused_and_silences_nothing() -> None:
    """It says nothing of today."""
    outcome = Outcome("site", "pump", NOW, [Sample("wall", "steel", 900.0, T, historical=True)])
    found = bound(outcome, SENSORS)
    assert not found.changes and not found.historical and found.refused[0].code == "impossible value"


def test_changes_keep_their_order() -> None:
    """Unknown, then known again: the sensor is known at the end, and the other way round it is not."""
    sample, unknown = Sample("wall", "steel", 20.0, T), Unknown("wall", "steel", NOW, "sent as null")
    reading, silent = Reading("steel-1", 20.0, T), Silent("steel-1", NOW, "sent as null")
    assert bound(Outcome("site", "pump", NOW, [unknown, sample]), SENSORS).changes == [silent, reading]
    assert bound(Outcome("site", "pump", NOW, [sample, unknown]), SENSORS).changes == [reading, silent]
