"""What a transmitter's signal means, and when it means a fault instead of a value.

Sources: the bands of a 4 to 20 mA loop are those of NAMUR recommendation NE 43 (from memory): measurement from 3.8
to 20.5 mA, a fault below 3.6 and above 21.0 mA. The same shares of the span hold here for voltages, pulse rates
and a loop that begins at 0 mA (ours, no source).
"""

from __future__ import annotations

from gateway.jobsite import Scale

_BROKEN, _UNDER, _OVER, _FAULT = -0.025, -0.0125, 1.03125, 1.0625  # shares of the span: 3.6, 3.8, 20.5, 21.0 mA
_DEAD = 0.005  # share of the upper end; up to it a signal that begins at zero is as good as none (ours, no source)
_LOOP_MA = (4.0, 20.0)


def ends(scale: Scale) -> tuple[float, float]:
    """Return the ends of the signal in its raw unit: of a current loop 4 or 0 and 20 mA, else the two points."""
    low, high = scale.low[0], scale.high[0]
    if scale.raw_unit != "mA":
        return low, high
    return (_LOOP_MA[0] if low >= _LOOP_MA[0] else 0.0), _LOOP_MA[1]


def has_dead_zero(scale: Scale) -> bool:
    """Whether the range holds zero, which a broken wire gives as well."""
    low, high = ends(scale)
    return low <= 0.0 <= high


def fault(scale: Scale, raw: float) -> tuple[str, str] | None:
    """Return why a signal [raw_unit] is no measurement, as code and words; None when it is one.

    Saturated signals are refused too: the value is somewhere beyond the end, and which side is the good one is
    not known here.
    """
    low, high = ends(scale)
    span = high - low
    if has_dead_zero(scale) and abs(raw) <= _DEAD * max(high, -low):
        return "signal fault", "no signal; a broken wire gives the same"
    if raw < low + _BROKEN * span:
        return "signal fault", "broken wire or transmitter fault"
    if raw > low + _FAULT * span:
        return "signal fault", "fault signal"
    if raw < low + _UNDER * span or raw > low + _OVER * span:
        return "beyond range", "the transmitter is beyond its range"
    return None


def scaled(scale: Scale, raw: float) -> float:
    """Return the value in the sensor's unit that a signal [raw_unit] stands for."""
    (raw_low, low), (raw_high, high) = scale.low, scale.high
    return low + (raw - raw_low) / (raw_high - raw_low) * (high - low)
