"""What the fold adds to history, entry by entry and judging by judging (`tiers` says in which figures)."""

from __future__ import annotations

from collections.abc import Iterable

from gateway.conditions import Made
from gateway.flow_state import State
from gateway.tiers import PRESSURES, Cover, Sheet, Stood, channel_of, whole_of

MINUTE = 60_000


def take(state: State, sheet: Sheet, sensor: str, value: float, utc_ms: int, patience_ms: int) -> None:
    """Every reading is history, late or not, and vouches for its patience."""
    sheet.add(sensor, utc_ms, value)
    cover = state.covers.get(sensor)
    if cover is None:
        cover = state.covers[sensor] = Cover(0)
    for stretch in cover.take(utc_ms, utc_ms + patience_ms):
        sheet.know(sensor, *stretch)


def is_minute(state: State, before_ms: int) -> bool:
    """Whether the second just judged is the first of its minute: then all that stands is taken down."""
    return state.judged_ms // MINUTE != before_ms // MINUTE


def derived(state: State, sheet: Sheet, made: Iterable[Made], minute: bool) -> None:
    """Derived values are history, too: one that changes, or is no longer known, has stood until now.

    made: what was made again, or with `minute` all values, so that one that never changes is not missing.
    """
    for key, each in made:
        value, channel = each.measured.value, channel_of(*key, each.place)
        if value is not None and key[1] in PRESSURES:
            value /= 1000.0  # `tiers.unit_of`
        put_up(state, sheet, channel, None if value is None else whole_of(value), minute)


def put_up(state: State, sheet: Sheet, channel: str, whole: int | None, again: bool) -> None:
    """Let a value [millionths] stand from the second judged on; None: not known."""
    stood = state.standing.get(channel)
    if stood is not None:
        if whole == stood.whole and not again:
            return
        take_down(state, sheet, channel)
    if whole is not None:
        state.standing[channel] = Stood(state.judged_ms, whole)


def take_down(state: State, sheet: Sheet, channel: str) -> None:
    """What stood has stood until the second judged."""
    stood = state.standing.pop(channel)
    from_ms, until_ms = stood.since_ms + state.offset_ms, state.judged_ms + state.offset_ms
    sheet.stand(channel, from_ms, until_ms, stood.whole)


def take_all_down(state: State, sheet: Sheet) -> None:
    """Another jobsite is in force: what stood has stood until the last judging."""
    for channel in list(state.standing):
        take_down(state, sheet, channel)
