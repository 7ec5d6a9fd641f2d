"""What was done to the steel, in a climate record: exposures, stages, coats and clocks, hours of wetness."""

from __future__ import annotations

from alerts.measured import Dimension
from gateway import clocks
from gateway.area_work import TIME, Coat, Exposure, Work
from gateway.climate_record import Material, exposures, utc_of, wet_hours
from gateway.coatings import Product
from gateway.record_channels import Span, spans
from gateway.record_words import Words
from gateway.tiers import QUARTER_MS

Table = tuple[
    str, tuple[str, ...], tuple[str, ...], tuple[float, ...], tuple[int, ...], tuple[tuple[str, ...], ...]
]


def exposure_table(material: Material, words: Words) -> Table:
    """Return the exposures: what, how long, how bad, and the inspector's word on each."""
    made = tuple(_exposure(each, material, words) for each in exposures(material))
    columns = ("No.", "Area", "Coat", "During", "Outside", "from", "to", "Least margin", "Disposition")
    text = words("A curing coat cannot be stopped or resumed. Limits back are no release: the inspector decides.")
    heads = tuple(map(words, columns))
    return words("Exposures"), (text,) if made else (), heads, (1.1, 1, 2, 2, 2.2, 2.2, 2.2, 1.5, 4), (7,), made


def _exposure(each: Exposure, material: Material, words: Words) -> tuple[str, ...]:
    opened, as_of = utc_of(material, each.opened_ms), material.as_of_ms
    ended = None if each.ended_ms is None else utc_of(material, each.ended_ms)
    until = words("goes on") if ended is None else words.moment(ended)
    lasted = words.length((as_of if ended is None else ended) - opened)
    kelvin = Dimension.DIFFERENCE
    worst = words.number(each.worst_k, kelvin) + (
        "" if each.worst_k is None else f" {words.unit(kelvin).spelling}"
    )
    said = words("none yet")
    if each.disposition and each.disposed_ms is not None:
        when = words.moment(utc_of(material, each.disposed_ms))
        said = f"{words(each.disposition)}: {each.reason} ({each.disposed_by}, {when})"
    limits = ", ".join(each.limits) or words("at or below the dew point")
    limits = words("stood longer than {allowed}", allowed=limits) if each.cause == TIME else limits
    during = ", ".join(words(name) for name in each.activity.split(", "))
    times = words.moment(opened), f"{until}\n({lasted})"
    return each.code, each.area, each.coat, during, limits, *times, worst, said


def area_table(material: Material, words: Words) -> Table:
    """Return the stage of each area, and how long blasted steel has stood."""
    made = []
    for area in material.site.areas:
        work = material.work.get(area.id, Work())
        when = words.moment(utc_of(material, work.since_ms)) if work.by else "N/A"
        made.append(
            (
                area.id,
                area.label,
                words(work.stage),
                when,
                work.by or "N/A",
                _since_blast(work, material, area.id, words),
            )
        )
    columns = ("Area", "What", "Stage", "Since", "Said by", "Hours since blast")
    text = words(
        "Hours since blast count from the begin of blasting, where the oldest steel stands, until a coat begins."
    )
    return words("Areas"), (text,), tuple(map(words, columns)), (1, 3, 2, 2.4, 2, 5), (), tuple(made)


def _since_blast(work: Work, material: Material, area_id: str, words: Words) -> str:
    if work.blast_begun_ms is None:
        return "N/A"
    area = next(each for each in material.site.areas if each.id == area_id)
    until = utc_of(material, work.coats[0].begun_ms) if work.coats else material.as_of_ms
    begun = utc_of(material, work.blast_begun_ms)
    clock = clocks.since_blast(begun, until, area.prime_within_s, area.prime_clause, work.blast_air_wet)
    said = words.length(clock.stood_ms)
    if clock.left_ms is not None:
        allowed = words.length(clock.stood_ms + clock.left_ms)
        word = words("of") if clock.left_ms >= 0 else words("more than")
        said += f" {word} {allowed} ({words('clause')}: {clock.clause})"
    else:
        said += f" ({words('no limit set')})"
    return f"{said}. {words(clock.warning)}" if clock.warning else said


def coat_table(material: Material, words: Words) -> Table:
    """Return the coats of each area with both readings of their recoat window."""
    products = {each.id: each for each in material.site.products}
    made = []
    for area, work in sorted(material.work.items()):
        made += [_coat(area, each, products.get(each.product), material, words) for each in work.coats]
    columns = (
        "Area",
        "Coat",
        "Product, batch",
        "Applied",
        "Earliest recoat",
        "Latest recoat",
        "By the hottest hour",
    )
    text = words(
        "Over the newest blast. Earliest: from the end, at the coldest. Latest: from the begin, at the warmest."
    )
    heads = tuple(map(words, columns))
    return words("Coats"), (text,) if made else (), heads, (0.8, 2, 2.4, 3, 3, 2.4, 4), (), tuple(made)


def _coat(area: str, coat: Coat, product: Product | None, material: Material, words: Words) -> tuple[str, ...]:
    begun = utc_of(material, coat.begun_ms)
    ended = None if coat.ended_ms is None else utc_of(material, coat.ended_ms)
    window = clocks.window(coat.recoat, product, begun, ended, material.as_of_ms)
    name = coat.product or "N/A" if product is None else f"{product.label} ({product.sheet})"
    until = words("goes on") if ended is None else words.moment(ended)
    applied = f"{words.moment(begun)}\n{until}, {coat.begun_by}"
    said = (each.said(words, words.degrees) for each in (window.earliest, window.latest, window.by_hottest))
    return area, coat.name, f"{name}, {coat.batch or 'N/A'}", applied, *said


def wet_table(material: Material, words: Words) -> Table:
    """Return the hours of wetness of the record, by each of the three readings."""
    whole = material.asked.until_ms - material.asked.from_ms
    made = []
    for area in material.site.areas:
        for name, total in sorted(wet_hours(material, area.id).items()):
            share = f"{total.so_ms / total.known_ms:.0%}" if total.known_ms else "–"
            unknown = words.length(max(0, whole - total.known_ms))
            made.append((area.id, words(name), words.length(total.so_ms) if total.so_ms else "0", share, unknown))
    columns = ("Area", "Reading", "Wet for", "of the time known", "Unknown")
    text = words(
        "ISO 9223 estimate: RH above 80 %, air above 0 °C; it fails with salts, sun and frost. At the steel: ours."
    )
    return (
        words("Hours of wetness"),
        (text,) if made else (),
        tuple(map(words, columns)),
        (1, 5, 2, 2, 2),
        (2, 3, 4),
        tuple(made),
    )


def activity_spans(material: Material, words: Words, subject: str) -> list[tuple[str, str, list[Span]]]:
    """Return when each activity of an area went on, and its exposures, as places 0..1 in the record."""
    start, asked = f"{subject}|activity|", material.asked
    found = []
    for channel, quarters in material.quarters.items():
        if channel.startswith(start):
            name = channel[len(start) :]
            shares = [known / QUARTER_MS for known in quarters.known_ms]
            found.append((name, words(name), spans(shares)))
    length = asked.until_ms - asked.from_ms
    exposed = []
    for each in exposures(material):
        if each.area == subject:
            ended = asked.until_ms if each.ended_ms is None else utc_of(material, each.ended_ms)
            ends = (utc_of(material, each.opened_ms) - asked.from_ms) / length, (ended - asked.from_ms) / length
            exposed.append((max(0.0, ends[0]), min(1.0, ends[1])))
    return [*found, *([("exposure", words("exposure"), exposed)] if exposed else [])]
