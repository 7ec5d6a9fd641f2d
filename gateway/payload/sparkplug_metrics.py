"""The metrics of one Sparkplug B message: what a birth defines, and the numbers of births and data.

Source: Sparkplug Specification 3.0.0 (Eclipse Foundation, 2022; ISO/IEC 20237:2023), chapter 6: metric, quality
codes, data types; rules payloads-alias-*.
"""

from __future__ import annotations

from gateway.payload import sparkplug_wire as wire
from gateway.payload.sparkplug_state import Born, Defined, Node, Outcome, Sample, Unknown, want
from gateway.payload.sparkplug_wire import DataType, Metric, Payload
from gateway.payload.value import FUTURE_MS
from gateway.reading import Rejected

MAX_NAME = 512
MAX_UNIT = 64
GOOD = 192  # quality code


def define(node: Node, device: str, message: Payload, outcome: Outcome) -> None:
    """Take a birth: what it defines replaces all that was defined before, then its values are read."""
    born = node.births[device] = Born()
    if device:
        outcome.changes.append(
            Unknown(device, None, outcome.received_ms, "born again, and not yet heard of since")
        )
    # One without a name, or with an endless one: nobody can be bound to it, and its alias stays unknown.
    named = [metric for metric in message.metrics if 0 < len(metric.name) <= MAX_NAME]
    for metric in named:
        _add(born, metric)
    for metric in named:
        _metric(born, device, metric.name, metric, message, outcome)


def _add(born: Born, metric: Metric) -> None:
    """Define one metric; it may come several times. One alias for two is against payloads-alias-uniqueness."""
    before = born.metrics.get(metric.name)
    shared = before is not None and before.shared
    born.metrics[metric.name] = Defined(metric.datatype, metric.unit[:MAX_UNIT], shared)
    if metric.alias is None:
        return
    first = born.aliases.setdefault(metric.alias, metric.name)
    if first != metric.name:
        born.metrics[first].shared = born.metrics[metric.name].shared = True


def data(node: Node, device: str, message: Payload, outcome: Outcome) -> None:
    """Read the values of a data message by what the births defined."""
    born = node.births.get(device)
    if born is None:
        want(node, outcome, device, None, "data before the birth of the device")
        return
    for metric in message.metrics:
        name = metric.name if metric.name or metric.alias is None else born.aliases.get(metric.alias, "")
        if name in born.metrics:
            _metric(born, device, name, metric, message, outcome)
        elif metric.name:
            want(node, outcome, device, metric.name, "not defined by the last birth")
        else:
            want(node, outcome, device, None, f"alias {metric.alias} is not defined by the last birth")


def _metric(born: Born, device: str, name: str, metric: Metric, message: Payload, outcome: Outcome) -> None:
    """Add the sample of one metric, or why its value is not known; an old one says nothing of today."""
    defined = born.metrics[name]
    sent_ms = message.timestamp_ms if metric.timestamp_ms is None else metric.timestamp_ms
    number = _number(metric, defined, sent_ms, outcome.received_ms)
    if isinstance(number, float):
        unit = metric.unit[:MAX_UNIT] or defined.unit
        outcome.changes.append(Sample(device, name, number, sent_ms, metric.historical, unit))
    elif not metric.historical:
        since = outcome.received_ms if sent_ms is None else min(sent_ms, outcome.received_ms)
        outcome.changes.append(Unknown(device, name, since, number))


def _number(metric: Metric, defined: Defined, sent_ms: int | None, received_ms: int) -> float | str:
    """Return the number, or why there is none."""
    if doubt := _doubt(metric, defined):
        return doubt
    if sent_ms is not None and sent_ms > received_ms + FUTURE_MS:
        return f"measured {(sent_ms - received_ms) / 1000:.0f} s in the future"
    number = wire.value_of(metric, defined.datatype)
    if isinstance(number, Rejected):
        return number.detail
    if not DataType.INT8 <= defined.datatype <= DataType.DOUBLE:
        return f"data type {defined.datatype} carries no measurement"
    return float(number)


def _doubt(metric: Metric, defined: Defined) -> str:
    """Return why a value is not believed whatever it is, or "".

    A transient metric is not to be stored; all that is judged here is stored, so that it is not judged either.
    """
    if defined.shared:
        return "its alias stands for another metric too"
    if metric.transient:
        return "sent as transient, not to be stored: what is not recorded is not judged"
    if metric.quality is not None and metric.quality != GOOD:
        return f"sent with quality code {metric.quality}, not {GOOD} (good)"
    if metric.datatype and metric.datatype != defined.datatype:
        return f"sent as data type {metric.datatype}, born as {defined.datatype}"
    return ""
