"""What one sensor's own readings say against it: it jumps, it stands still, its chip stood in the wet for days.

Every figure here is ours, generous on purpose: common practice, no source, unless one is named. A reading costs a
few comparisons; everything it leaves behind is in `Track`, which is part of the flow's state.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from alerts.limits import written
from alerts.measured import DIMENSION, Dimension, Quantity
from gateway.jobsite import Sensor

MINUTE_MS = 60_000
HOUR_MS = 3_600_000
AGREE = 2  # further readings that must agree with a jump before it is believed
STUCK_READINGS = 60
LONGEST_PATIENCE_MS = 12 * HOUR_MS
COARSE = 3  # a value must be held this many times as long as ever seen before: a coarse sensor changes seldom
WET_RH = 0.80
WET_MS = 60 * HOUR_MS  # general component data sheets: more than 60 h above 80 %RH can add 3 %RH, slow to recover

# (at once, per minute) in the unit used inside. A steel or wall sensor may be put on another spot, in or out
# of the sun; a train's gas warms fast when it starts. Gauge pressure has none: a train is vented within a second.
MAY_MOVE: dict[Quantity, tuple[float, float]] = {
    Quantity.AIR_TEMPERATURE: (5.0, 2.0),
    Quantity.RELATIVE_HUMIDITY: (0.20, 0.10),
    Quantity.STEEL_TEMPERATURE: (10.0, 5.0),
    Quantity.WALL_TEMPERATURE: (15.0, 10.0),
    Quantity.GAS_TEMPERATURE: (30.0, 30.0),
    Quantity.STATION_PRESSURE: (500.0, 200.0),
}
# How long the same last digit is believed. Pressures may stand still for hours: a regulator, a calm day.
MAY_STAND_MS: dict[Quantity, int] = {
    Quantity.AIR_TEMPERATURE: 2 * HOUR_MS,
    Quantity.RELATIVE_HUMIDITY: 2 * HOUR_MS,
    Quantity.GAS_TEMPERATURE: 2 * HOUR_MS,
    Quantity.PRESSURE_DEW_POINT: 2 * HOUR_MS,
    Quantity.STEEL_TEMPERATURE: 4 * HOUR_MS,
    Quantity.WALL_TEMPERATURE: 4 * HOUR_MS,
}
JUDGED = MAY_MOVE.keys() | MAY_STAND_MS.keys()


@dataclass(frozen=True, slots=True)
class Rule:
    """How one sensor is expected to behave, in the unit used inside.

    at_once, per_minute: the step it can make (at_once is endless where none is judged). stands_ms: how long the
    same digits are believed, 0 where they always are. compared: with another probe, so its hours are summed.
    """

    quantity: Quantity
    patience_ms: int
    at_once: float
    per_minute: float
    stands_ms: int
    humidity: bool
    dry_by_design: bool
    compared: bool


def rule_of(sensor: Sensor, patience_ms: int, *, in_line: bool, dry_by_design: bool, compared: bool) -> Rule:
    """Return the rule of a sensor.

    in_line: it stands in a train, where a start or a stop changes the air within seconds: the step of a humidity
    is not judged. dry_by_design: behind an adsorption dryer a humidity chip may rest at its low end for ever.
    """
    humidity = sensor.quantity is Quantity.RELATIVE_HUMIDITY
    step = (inf, 0.0) if in_line and humidity else MAY_MOVE.get(sensor.quantity, (inf, 0.0))
    stands_ms = MAY_STAND_MS.get(sensor.quantity, 0)
    if sensor.quantity is Quantity.PRESSURE_DEW_POINT and dry_by_design:  # a transmitter rests at its low end, too
        stands_ms = 0
    return Rule(sensor.quantity, patience_ms, *step, stands_ms, humidity, dry_by_design, compared)


@dataclass(slots=True)
class Track:
    """What is remembered of one sensor. Times are core ms; durations grow only while it is heard.

    believed: the last value that did not jump. odd: the newest value that did, with how many agreed since.
    held: how many readings, and for how long, brought the same digits; low_end: they are the low end of the
    range; longest_ms: the longest a value was ever held without suspicion. wet_ms rises above 80 %RH and falls
    below; wet is set at 60 h and taken back at 0. count to spoilt: this hour's readings, to be compared.
    """

    last: float
    at_ms: int
    believed: float
    believed_ms: int
    odd: float | None = None
    agreed: int = 0
    held: int = 0
    held_ms: int = 0
    low_end: bool = False
    longest_ms: int = 0
    wet_ms: int = 0
    wet: bool = False
    count: int = 0
    total: float = 0.0
    low: float = 0.0
    high: float = 0.0
    spoilt: bool = False


def take(track: Track, rule: Rule, value: float, at_ms: int, saturated: bool, below_resolution: bool) -> None:
    """Take in the newest reading of a sensor: O(1), written for the usual one that moves a little."""
    step, at_once, heard_ms = value - track.believed, rule.at_once, at_ms - track.at_ms
    if not 0 <= heard_ms <= rule.patience_ms:  # silence is no evidence of anything, nor is a step of a clock
        heard_ms = rule.patience_ms if heard_ms > 0 else 0
    if track.odd is None and -at_once <= step <= at_once:
        track.believed, track.believed_ms = value, at_ms
    else:
        _step(track, rule, value, at_ms)
    if value != track.last:
        if track.held > 1:
            _moved(track, rule)
    elif rule.stands_ms and not (rule.humidity and (value >= 1.0 or (below_resolution and rule.dry_by_design))):
        track.held += 1  # a humidity at 100 % is saturated, not stuck
        track.held_ms += heard_ms
        track.low_end = below_resolution
    if rule.humidity and (value > WET_RH or track.wet_ms):
        _wet(track, value, heard_ms)
    if rule.compared:
        stuck = track.held >= STUCK_READINGS and is_stuck(track, rule)
        _add(track, value, stuck or saturated or below_resolution or track.odd is not None)
    track.last, track.at_ms = value, at_ms


def _step(track: Track, rule: Rule, value: float, at_ms: int) -> None:
    """Believe a value that could have come about since the one before, or a jump that two more agree with."""
    allowed = rule.at_once + rule.per_minute * (at_ms - track.believed_ms) / MINUTE_MS
    if abs(value - track.believed) <= allowed:
        track.odd = None
    elif track.odd is not None and abs(value - track.odd) <= rule.at_once:
        track.agreed += 1
        track.odd = None if track.agreed >= AGREE else value
    else:
        track.odd, track.agreed = value, 0
    if track.odd is None:
        track.believed, track.believed_ms = value, at_ms


def _moved(track: Track, rule: Rule) -> None:
    """The digits changed: remember how long they were held, unless that was already suspected."""
    if track.held_ms > track.longest_ms and not is_stuck(track, rule):
        track.longest_ms = track.held_ms
    track.held, track.held_ms = 1, 0


def _add(track: Track, value: float, doubtful: bool) -> None:
    if not track.count:
        track.low = track.high = value
    track.count += 1
    track.total += value
    track.spoilt |= doubtful
    if value < track.low:
        track.low = value
    elif value > track.high:
        track.high = value


def _wet(track: Track, value: float, heard_ms: int) -> None:
    """Count wet hours up and dry hours down: recovery takes as long as the wetting did."""
    if value > WET_RH:
        track.wet_ms += heard_ms
        track.wet = track.wet or track.wet_ms > WET_MS
    elif track.wet_ms:
        track.wet_ms = max(track.wet_ms - heard_ms, 0)
        track.wet = track.wet and track.wet_ms > 0


def is_stuck(track: Track, rule: Rule) -> bool:
    """Whether the same digits came 60 times and for longer than this sensor ever needed to change."""
    if track.held < STUCK_READINGS:
        return False
    return track.held_ms > max(rule.stands_ms, min(COARSE * track.longest_ms, LONGEST_PATIENCE_MS))


def fault(track: Track, rule: Rule) -> str:
    """Return why the sensor's value is not believed, or nothing."""
    if track.odd is not None:
        return f"jumped by {_by(track.odd - track.believed, rule.quantity)}; waiting until two more readings agree"
    if not is_stuck(track, rule):
        return ""
    hours = track.held_ms / HOUR_MS
    if track.low_end:
        return f"at the low end of its range for {hours:.1f} h: check the sensor and its wire"
    return f"stuck: exactly the same value for {hours:.1f} h while it should move"


def notes(track: Track) -> list[str]:
    """Return what a person should know of a value that is used all the same."""
    if not track.wet:
        return []
    return ["may read up to 3 %RH high: it stood above 80 %RH for more than 60 h"]


def _by(step: float, quantity: Quantity) -> str:
    kind = DIMENSION[quantity]
    return f"{step:+.1f} K" if kind is Dimension.TEMPERATURE else written(step, kind)
