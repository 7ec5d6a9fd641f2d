"""What a person is told: the consequence first, then the number, the limit, its clause and since when.

Texts fit a lock screen. They say what to stop; they never say that work may go on, and never tell anyone to
open or adjust a pressurised piece.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from alerts.alarm import Change
from alerts.limits import Limit, conformity_note, written
from alerts.measured import DIMENSION, UNITS, Dimension, Measured

CAUTION = "Advisory only; the specification decides."


@dataclass(frozen=True, slots=True)
class Notice:
    """One message to one person on one channel; the outbox keeps it until it is settled."""

    event_number: str
    person: str
    channel: str
    priority: str
    title: str
    body: str


def limit_words(limit: Limit) -> str:
    """Return the limit as the specification writes it, with its clause."""
    return f"{limit.quantity.replace('_', ' ')} {limit.relation} {limit.threshold:g} {limit.unit} ({limit.clause})"


def value_words(limit: Limit, measured: Measured) -> str:
    """Return the value ± expanded uncertainty (k=2) in the limit's own unit, or what is not known."""
    if measured.value is None:
        return "not known"
    dimension, unit = DIMENSION[limit.quantity], UNITS[limit.unit]
    # Two decimals on a difference: 2.96 K must not be shown as 3.0 K beside a limit of 3 K.
    decimals = 2 if dimension is Dimension.DIFFERENCE else 1
    number = written(measured.value, dimension, unit, decimals)
    if measured.u is None:
        return f"{number} (uncertainty not stated)"
    return f"{number} ± {2 * measured.u / unit.factor:.{decimals}f}"


def title(number: str, change: Change, limit: Limit, where: str) -> str:
    """Return the line a lock screen shows."""
    match change:
        case Change.BREACH:
            return f"{number} {limit.advice}"
        case Change.UNKNOWN:
            return f"{number} Unknown: {where}. Treat as outside limits."
        case Change.RETURNED:
            return f"{number} Limits back: {where}"
        case _:
            return f"{number} {change.value.capitalize()}: {where}"


def body(change: Change, limit: Limit, where: str, measured: Measured, since: str) -> str:
    """Return the words under the title."""
    exposure = " Any coat or blasted steel exposed meanwhile needs the inspector's disposition."
    rule = "" if measured.value is None else f" Rule: {conformity_note(limit, measured)}."
    return (
        f"{where}: {value_words(limit, measured)}. Limit: {limit_words(limit)}.{rule} Since {since}."
        + (f" {measured.reason}." if measured.reason else "")
        + (exposure if change is Change.RETURNED else "")
        + f" {CAUTION}"
    )


def clock_words(utc_ms: int) -> str:
    """Return a moment as an alert says it: hour and minute, UTC named."""
    return f"{datetime.fromtimestamp(utc_ms / 1000, UTC):%H:%M} UTC"
