"""The clocks of an area: hours since blast, hours of wetness, the recoat window. Pure: each is given the time.

Fed by `flow_work` with what stood between two judgings; read by the board and the climate record. What a clock
does not know it counts against the coat: an unknown temperature lets the earliest time stand still and the latest
run at its fastest.
Sources: wetness ISO 9223 (RH > 80 %, T > 0 °C, both strict; the wording of 2012 is from memory), recoat windows
the product's own sheet; the reading by the hottest hour UFGS 09 97 13.00 / 09971 ("highest surface temperature
sustained for one hour or more").
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from gateway.coatings import Product, RecoatStep

HOUR_MS = 3_600_000
MINUTE_MS = 60_000
WET_RH = 0.80
SUSTAINED_MINUTES = 60
RUST_WITHIN = "the blast air was wet: rust within two hours is common practice, no source"


# -- wetness -------------------------------------------------------------------------------------------


def is_wet_air(rh: float | None, t_c: float | None) -> bool | None:
    """Whether this hour counts by the ISO 9223 estimate: RH above 80 % and air above 0 °C. None = not known."""
    if (rh is not None and rh <= WET_RH) or (t_c is not None and t_c <= 0.0):
        return False
    return None if rh is None or t_c is None else True


def is_wet_steel(rh_at_steel: float | None) -> bool | None:
    """Whether the humidity at the steel is above 80 %: ours, the steel being what rusts."""
    return None if rh_at_steel is None else rh_at_steel > WET_RH


def is_condensing(margin_k: float | None) -> bool | None:
    """Whether the steel is at or below the dew (frost) point."""
    return None if margin_k is None else margin_k <= 0.0


@dataclass(slots=True)
class Wetness:
    """Hours [ms] that were wet by each of the three readings, and for which each was known."""

    air_ms: int = 0
    steel_ms: int = 0
    condensing_ms: int = 0
    air_known_ms: int = 0
    steel_known_ms: int = 0
    condensing_known_ms: int = 0

    def take(self, length_ms: int, air: bool | None, steel: bool | None, condensing: bool | None) -> None:
        """Add a stretch of time in which these three stood."""
        if air is not None:
            self.air_known_ms += length_ms
            self.air_ms += length_ms * air
        if steel is not None:
            self.steel_known_ms += length_ms
            self.steel_ms += length_ms * steel
        if condensing is not None:
            self.condensing_known_ms += length_ms
            self.condensing_ms += length_ms * condensing


# -- blast ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SinceBlast:
    """How long the oldest blasted steel has stood [ms], and how much is left of what the specification allows.

    left_ms: None where no limit is entered. warning: said where the blast air was wet.
    """

    stood_ms: int
    left_ms: int | None
    clause: str
    warning: str


def since_blast(
    begun_ms: int, now_ms: int, prime_within_s: float | None, clause: str, air_was_wet: bool
) -> SinceBlast:
    """Return the clock of blasted steel; it counts from the begin of blasting, where the oldest steel stands."""
    stood = now_ms - begun_ms
    left = None if prime_within_s is None else round(prime_within_s * 1000) - stood
    return SinceBlast(stood, left, clause, RUST_WITHIN if air_was_wet else "")


# -- recoat --------------------------------------------------------------------------------------------


@dataclass(slots=True)
class Recoat:
    """How far one coat has come: shares of its earliest and latest recoat time, each full at 1.

    minutes: the coldest reading of the warmest spot in each of the last sixty minutes; hottest_c: the highest
    temperature that every minute of some whole hour reached, None before the first whole hour known.
    void: why the earliest time does not hold any more.
    """

    earliest: float = 0.0
    latest: float = 0.0
    still_ms: int = 0
    unknown_ms: int = 0
    above_sheet: bool = False
    hottest_c: float | None = None
    minute: int = -1
    minutes: list[float] = field(default_factory=list)
    void: str = ""


def no_window(product: Product | None) -> str:
    """Say why no recoat window is counted, or an empty string."""
    if product is None:
        return "no product stated"
    if product.cure != "by temperature":
        return f"{product.cure}: its recoat time is not one of temperature alone; the sheet decides"
    return "" if product.recoat else "no recoat times entered from the sheet"


def run(
    recoat: Recoat, product: Product, at_ms: int, length_ms: int, coldest_c: float | None,
    warmest_c: float | None, applied: bool,
) -> None:  # fmt: skip
    """Let the window run over a stretch of time [core ms] in which these temperatures stood at the two spots.

    Earliest counts only once the coat is applied, at the coldest spot; latest from the begin, at the warmest.
    Below the sheet's lowest temperature earliest stands still and latest still runs; above its highest the window
    says nothing. The sheet's own steps hold; between two, earliest takes the colder and latest the warmer.
    """
    steps = product.recoat
    if coldest_c is None or warmest_c is None:
        recoat.unknown_ms += length_ms
    if warmest_c is not None:
        recoat.above_sheet |= warmest_c > steps[-1].to_c
        _sustain(recoat, at_ms, length_ms, warmest_c)
    else:
        recoat.minutes.clear()
    row = None if coldest_c is None else _colder(steps, coldest_c)
    if applied and row is not None:
        recoat.earliest += length_ms / (row.earliest_h * HOUR_MS)
    elif applied:
        recoat.still_ms += length_ms
    latest_h = (steps[-1] if warmest_c is None else _warmer(steps, warmest_c)).latest_h
    if latest_h is not None:
        recoat.latest += length_ms / (latest_h * HOUR_MS)


def _colder(steps: tuple[RecoatStep, ...], t_c: float) -> RecoatStep | None:
    for step in reversed(steps):
        if step.from_c <= t_c:
            return step
    return None


def _warmer(steps: tuple[RecoatStep, ...], t_c: float) -> RecoatStep:
    for step in steps:
        if t_c <= step.to_c:
            return step
    return steps[-1]


def _sustain(recoat: Recoat, at_ms: int, length_ms: int, t_c: float) -> None:
    """Keep the low of each minute of the last hour; a whole hour of them has sustained its lowest."""
    last, minutes = (at_ms + length_ms - 1) // MINUTE_MS, recoat.minutes
    if minutes and last == recoat.minute:  # as in most seconds
        minutes[-1] = min(minutes[-1], t_c)
        return
    for minute in range(at_ms // MINUTE_MS, last + 1):
        if minute == recoat.minute and minutes:
            minutes[-1] = min(minutes[-1], t_c)
            continue
        _end_of_hour(recoat)
        if minute != recoat.minute + 1:
            minutes.clear()
        recoat.minute = minute
        minutes.append(t_c)
        del minutes[:-SUSTAINED_MINUTES]


def _end_of_hour(recoat: Recoat) -> None:
    if len(recoat.minutes) == SUSTAINED_MINUTES:
        sustained = min(recoat.minutes)
        recoat.hottest_c = sustained if recoat.hottest_c is None else max(recoat.hottest_c, sustained)


@dataclass(frozen=True, slots=True)
class Celsius:
    """A temperature in a sentence, with as many decimals as are to be said, in the reader's own unit."""

    t_c: float
    decimals: int = 1

    def __str__(self) -> str:
        """The temperature in °C."""
        return f"{self.t_c:.{self.decimals}f} °C"


@dataclass(frozen=True, slots=True)
class Phrase:
    """A sentence with its {parts} apart, so that it can be said in another language and other units."""

    text: str
    parts: tuple[tuple[str, str | Celsius], ...] = ()

    def __str__(self) -> str:
        """The sentence in English and °C."""
        return self.said(str, str)

    def said(self, in_language: Callable[[str], str], in_unit: Callable[[Celsius], str]) -> str:
        """Return the sentence as a reader has it."""
        parts = {name: in_unit(each) if isinstance(each, Celsius) else each for name, each in self.parts}
        return in_language(self.text).format(**parts)


def _say(text: str, **parts: str | Celsius) -> Phrase:
    return Phrase(text, tuple(parts.items()))


@dataclass(frozen=True, slots=True)
class Window:
    """What the recoat clock says of its two ends.

    by_hottest: the sheet's row for the highest temperature sustained for an hour, said beside the counted shares.
    """

    earliest: Phrase
    latest: Phrase
    by_hottest: Phrase


def window(
    recoat: Recoat, product: Product | None, started_ms: int, ended_ms: int | None, now_ms: int
) -> Window:  # fmt: skip
    """Return the two ends of a coat's recoat window in words."""
    if product is None or (why := no_window(product)):
        none = _say(no_window(product) if product is None else why)
        return Window(none, none, _say("N/A"))
    if recoat.above_sheet:
        top_c = product.recoat[-1].to_c
        hot = _say("warmer than the sheet's {t}: ask the manufacturer", t=Celsius(top_c, int(top_c % 1 > 0)))
        return Window(hot, hot, _say("N/A"))
    gone = None if ended_ms is None else now_ms - ended_ms
    return Window(
        _earliest(recoat, ended_ms), _latest(recoat, product), _hottest(recoat, product, now_ms - started_ms, gone)
    )


def _earliest(recoat: Recoat, ended_ms: int | None) -> Phrase:
    if recoat.void:
        return _say(f"void: {recoat.void}; ask the manufacturer")
    if ended_ms is None:
        return _say("counts from the end of application")
    if recoat.earliest >= 1.0:
        return _say("reached")
    if not recoat.still_ms:
        return _say("not yet, {share} of it", share=f"{recoat.earliest:.0%}")
    return _say("not yet, {share} of it, stood still {still}", share=f"{recoat.earliest:.0%}",
                still=hours(recoat.still_ms))  # fmt: skip


def _latest(recoat: Recoat, product: Product) -> Phrase:
    if all(step.latest_h is None for step in product.recoat):
        return _say("none stated")
    return _say("passed") if recoat.latest >= 1.0 else _say("{share} of it used", share=f"{recoat.latest:.0%}")


def _hottest(recoat: Recoat, product: Product, since_begin_ms: int, since_end_ms: int | None) -> Phrase:
    if recoat.hottest_c is None:
        return _say("no whole hour known yet")
    row = _warmer(product.recoat, recoat.hottest_c)
    text = "{t} sustained for an hour: earliest {earliest} h from the end ({since_end} gone)"
    latest = "" if row.latest_h is None else f"{row.latest_h:g}"
    if latest:
        text += ", latest {latest} h from the begin ({since_begin} gone)"
    return _say(
        text, t=Celsius(recoat.hottest_c), earliest=f"{row.earliest_h:g}", latest=latest,
        since_end=hours(since_end_ms or 0), since_begin=hours(since_begin_ms),
    )  # fmt: skip


def hours(length_ms: int) -> str:
    """Return a length of time as "6 h 05 min"."""
    minutes = length_ms // MINUTE_MS
    return f"{minutes // 60} h {minutes % 60:02d} min"
