"""The clocks of the steel of each area, made from the flow for the pages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from gateway import clocks, last_start
from gateway.area_work import Coat, Work
from gateway.clocks import Celsius, Phrase
from gateway.coatings import Product
from gateway.flow_state import Judged, State
from gateway.jobsite import Area, Jobsite
from gateway.steel_lines import Clock, SteelLine


def areas(
    state: State, site: Jobsite, core_ms: int, judged: Mapping[str, Judged] | None = None
) -> tuple[SteelLine, ...]:
    """Return the areas of a jobsite with their clocks as of a core time. judged: the newest word on each limit."""
    products = {each.id: each for each in site.products}
    found = []
    for area in site.areas:
        line = _area(area, state.work.get(area.id, Work()), products, core_ms)
        start = last_start.of_area(state, site, area, judged or {}, core_ms)
        if start is not None:
            said = last_start.clock(start, site, area, core_ms + state.offset_ms)
            line = replace(line, clocks=(*line.clocks, said))
        found.append(line)
    return tuple(found)


def _area(area: Area, work: Work, products: dict[str, Product], core_ms: int) -> SteelLine:
    found = [_since_blast(area, work, core_ms)] if work.blast_begun_ms is not None and work.bare else []
    for coat in work.coats[-1:]:
        found += _recoat(coat, products.get(coat.product), core_ms)
    return SteelLine(area.id, area.label, work.stage, tuple(found))


def _since_blast(area: Area, work: Work, core_ms: int) -> Clock:
    assert work.blast_begun_ms is not None
    found = clocks.since_blast(
        work.blast_begun_ms, core_ms, area.prime_within_s, area.prime_clause, work.blast_air_wet
    )
    parts: list[tuple[str, str | Celsius]] = [("stood", clocks.hours(found.stood_ms))]
    text = "{stood}; no limit set"
    if found.left_ms is not None:
        text = (
            "{stood} of {allowed} ({clause})" if found.left_ms > 0 else "{stood}, more than {allowed} ({clause})"
        )
        parts += [("allowed", clocks.hours(found.stood_ms + found.left_ms)), ("clause", found.clause)]
    passed = found.left_ms is not None and found.left_ms <= 0
    return Clock("Hours since blast", Phrase(text, tuple(parts)), passed, found.warning)


def _recoat(coat: Coat, product: Product | None, core_ms: int) -> list[Clock]:
    found = clocks.window(coat.recoat, product, coat.begun_ms, coat.ended_ms, core_ms)
    return [
        Clock("Earliest recoat", found.earliest, coat.recoat.earliest >= 1.0 and not coat.recoat.void),
        Clock("Latest recoat", found.latest, coat.recoat.latest >= 1.0),
        Clock("By the hottest hour", found.by_hottest),
    ]
