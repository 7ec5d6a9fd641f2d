"""How the value of each limit has moved lately: one value a minute, for the words of a message."""

from __future__ import annotations

from collections.abc import Mapping

from gateway.flow_state import Judged, Trend

MINUTE = 60_000
KEPT = 16  # minutes looked back over: ours
ENOUGH = 10


def take(trends: dict[str, Trend], judged: Mapping[str, Judged], now_ms: int) -> None:
    """Keep the values of this minute, unless they are kept already; a minute without a judging breaks the line."""
    minute = now_ms // MINUTE
    for name, each in judged.items():
        trend = trends.get(name)
        if trend is None or minute > trend.minute + 1:
            trend = trends[name] = Trend(minute - 1)
        if minute > trend.minute:
            trend.minute = minute
            trend.values = [*trend.values[-KEPT + 1 :], each.condition.measured.value]


def per_hour(trends: Mapping[str, Trend], name: str) -> float | None:
    """Return the change per hour over the values kept (least squares), or None where too little is known."""
    trend = trends.get(name)
    known = [value for value in trend.values if value is not None] if trend else []
    if trend is None or len(known) < ENOUGH or len(known) < len(trend.values):
        return None
    middle, mean = (len(known) - 1) / 2, sum(known) / len(known)
    slope = sum((at - middle) * (value - mean) for at, value in enumerate(known))
    return 60 * slope / sum((at - middle) ** 2 for at in range(len(known)))
