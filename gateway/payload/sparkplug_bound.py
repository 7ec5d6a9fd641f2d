"""Sparkplug B outcomes in terms of the jobsite's sensors: readings, what became unknown, what is only history.

The caller names what is bound; everything else an edge node sends is passed over. Values go the way of every
payload form (`value.reading_of`), so that a unit or a value that cannot be the sensor's is refused here too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from gateway.jobsite import Sensor
from gateway.payload.sparkplug_state import Outcome, Sample, Unknown
from gateway.payload.value import Refused, reading_of
from gateway.reading import News, Reading, Rejected, Silent

Bindings = Mapping[tuple[str, str, str, str], Sensor]


@dataclass(slots=True)
class Bound:
    """An outcome in terms of the jobsite's sensors; historical readings are stored and never judged."""

    changes: list[News] = field(default_factory=list)
    historical: list[Reading] = field(default_factory=list)
    refused: list[Rejected] = field(default_factory=list)


def bound(outcome: Outcome, sensors: Bindings) -> Bound:
    """Return the outcome as readings of sensors, bound to (group, node, device, metric); device "": the node's.

    A number that cannot be its sensor's makes the sensor unknown: no other may come until it changes again.
    """
    result = Bound()
    for change in outcome.changes:
        if isinstance(change, Unknown):
            result.changes += _silent(outcome, change, sensors)
        elif sensor := sensors.get((outcome.group, outcome.node, change.device, change.metric)):
            _reading(change, sensor, outcome.received_ms, result)
    return result


def _silent(outcome: Outcome, unknown: Unknown, sensors: Bindings) -> list[Silent]:
    return [
        Silent(sensor.id, unknown.since_ms, unknown.reason)
        for (group, node, device, metric), sensor in sensors.items()
        if (group, node) == (outcome.group, outcome.node)
        and unknown.device in (None, device)
        and unknown.metric in (None, metric)
    ]


def _reading(sample: Sample, sensor: Sensor, received_ms: int, result: Bound) -> None:
    try:
        reading = reading_of(sensor, sample.value, sample.unit, sample.measured_ms)
    except Refused as refused:
        result.refused.append(refused.why)
        if not sample.historical:
            since_ms = received_ms if sample.measured_ms is None else sample.measured_ms
            result.changes.append(Silent(sensor.id, since_ms, refused.why.detail))
        return
    if sample.historical:
        result.historical.append(reading)
    else:
        result.changes.append(reading)
