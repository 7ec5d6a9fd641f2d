"""What the fold adds to history, entry by entry and judging by judging (`tiers` says in which figures)."""

from __future__ import annotations

from collections.abc import Iterable

from gateway.conditions import Key, Made
from gateway.flow_state import State
from gateway.tiers import MILLION, PRESSURES, Sheet, Stood, channel_of

MINUTE = 60_000
Said = tuple[str, int | None]
"""A channel, and what it says [millionths]; None: it is not known."""


def is_minute(state: State, before_ms: int) -> bool:
    """Whether the second just judged is the first of its minute: then all that stands is taken down."""
    return state.judged_ms // MINUTE != before_ms // MINUTE


class Derived:
    """Derived values are history, too: one that changes, or is no longer known, has stood until now.

    Lives as long as the jobsite in force, so that the name of a channel is put together once.
    """

    def __init__(self, state: State) -> None:
        self._state = state
        self._channels: dict[tuple[Key, str], str] = {}

    def take(self, sheet: Sheet, made: Iterable[Made], minute: bool) -> None:
        """Take what was made again, or with `minute` all values, so that one that never changes is not missing."""
        channels, said = self._channels, list[Said]()
        for key, each in made:
            channel = channels.get((key, each.place))
            if channel is None:
                channel = channels[key, each.place] = channel_of(*key, each.place)
            value = each.measured.value
            if value is not None and key[1] in PRESSURES:
                value /= 1000.0  # `tiers.unit_of`
            said.append((channel, None if value is None else round(value * MILLION)))
        put_up(self._state, sheet, said, minute)


def put_up(state: State, sheet: Sheet, said: Iterable[Said], again: bool = False) -> None:
    """Let values stand from the second judged on; what stood and is another, or is to begin again, ends here."""
    standing, now_ms, offset_ms = state.standing, state.judged_ms, state.offset_ms
    for channel, whole in said:
        stood = standing.get(channel)
        if stood is None:
            if whole is not None:
                standing[channel] = Stood(now_ms, whole)
        elif again or whole != stood.whole:
            sheet.stand(channel, stood.since_ms + offset_ms, now_ms + offset_ms, stood.whole)
            del standing[channel]
            if whole is not None:
                stood.since_ms, stood.whole = now_ms, whole
                standing[channel] = stood  # the newest last


def take_down(state: State, sheet: Sheet, channels: Iterable[str]) -> None:
    """What stood has stood until the second judged."""
    put_up(state, sheet, [(channel, None) for channel in channels])


def take_all_down(state: State, sheet: Sheet) -> None:
    """Another jobsite is in force: what stood has stood until the last judging."""
    take_down(state, sheet, state.standing)
