"""The climate record as a document: titles, sentences, tables and pictures, all finished texts.

Made from a `climate_record.Material`; set as a page by `adapters.report`. What must be answered stands first, then
what was in force, how long the work was inside it, the pictures, and then the tables.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gateway import record_intervals, record_manual, record_shifts, record_work
from gateway.climate_record import (
    Material,
    exposures,
    gaps,
    in_force,
    limits_in_force,
    sensors,
    times_in_limits,
)
from gateway.entry import Kind
from gateway.record_alarms import AlarmStory, alarms, of_the_gateway
from gateway.record_channels import Sheet, name_of, sheets
from gateway.record_intervals import Section
from gateway.record_words import Words, utc

MOST_GAPS, MOST_ALARMS, MOST_ANSWERS = 120, 200, 12
CAUTIONS = (
    "Advisory only, never a safety interlock; the specification, the data sheets and the inspector decide.",
    "Climate only: salts, other contamination and surface profile are not judged unless an entry by hand says so.",
    "A reading is where its sensor is: the coldest and the warmest steel may be elsewhere.",
    "Nothing here is about breathing air.",
)


@dataclass(frozen=True, slots=True)
class Document:
    """Everything on the pages. facts: label and value pairs under the title; answer: what waits for a person.

    calm: whatever the answer says, nothing waits.
    """

    language: str
    title: str
    subtitle: str
    facts: tuple[tuple[str, str], ...]
    answer: tuple[str, ...]
    sections: tuple[Section, ...]
    signers: tuple[str, ...]
    sign_here: str
    foot: str
    page: str
    as_of_ms: int
    made_from: str
    answer_title: str = ""
    calm: bool = False


def document(material: Material, words: Words) -> Document:
    """Return the record as a document."""
    site = material.site
    tables = sheets(site, material.quarters)
    return Document(
        words.language, words("Climate record"), site.label, _facts(material, words), _answer(material, words),
        tuple(each for each in _sections(material, words, tables) if each.rows or each.pictures or each.text),
        (words("Contractor"), words("Inspector"), words("Owner")),
        words("Sign here: name, certificate and level, date"),
        f"{words('Record code')} {code(material)}  ·  {words('as of')} {utc(material.as_of_ms)}",
        words("page {page} of {pages}"), material.as_of_ms, _made_from(material, words),
    )  # fmt: skip


def code(material: Material) -> str:
    """Return the short code of the as-of: number of entries and the beginning of the root over them."""
    return f"{material.sequence}-{material.root.hex()[:16]}"


def _made_from(material: Material, words: Words) -> str:
    """What has to be asked of the same journal to get the same bytes again."""
    asked = material.asked
    return (
        f"dewgate record; from_ms={asked.from_ms}; until_ms={asked.until_ms}; every_ms={asked.every_ms}; "
        f"as_of={material.sequence}; language={words.language}; units={words.units}; root={material.root.hex()}"
    )


def _facts(material: Material, words: Words) -> tuple[tuple[str, str], ...]:
    asked, site = material.asked, material.site
    span = f"{words.moment(asked.from_ms)}  {words('to')}  {words.moment(asked.until_ms)}"
    simulated = [(words("Simulated"), words("no real steel is behind these readings"))] if site.simulated else []
    return (
        (words("Period, site time"), f"{span}  ({words.zone}, {words.offset(asked.from_ms)})"),
        (words("As of"), f"{words('entry')} {material.sequence}, {utc(material.as_of_ms)}"),
        (words("Record code"), code(material)),
        (words("Root over all entries"), material.root.hex()),
        (words("Newest signed head"), material.heads[-1] if material.heads else words("none yet")),
        (words("Jobsite"), f"{site.id}, {words('altitude')} {site.altitude_m:g} m"),
        *simulated,
    )


def _answer(material: Material, words: Words) -> tuple[str, ...]:
    """What waits for a person, in sentences; a record without any says so."""
    waiting = [each.code for each in exposures(material) if not each.disposition]
    said = [words("{code} needs the inspector's disposition.", code=code) for code in waiting[:1]]
    if len(waiting) > 1:  # all of them: what nobody has answered is never left to a table
        said = [words("{count} need the inspector's disposition: {codes}.", count=len(waiting),
                      codes=", ".join(waiting))]  # fmt: skip
    open_alarms = [each.number for each in alarms(material) if _waits({change for _, change, _ in each.changes})]
    if open_alarms:
        said.append(words("Not acknowledged: {codes}.", codes=_some(open_alarms)))
    said += record_manual.in_question_words(material, words)
    if len(said) > MOST_ANSWERS:
        said[MOST_ANSWERS:] = [words("{left} further ones are in the tables.", left=len(said) - MOST_ANSWERS)]
    return tuple(said) or (words("Nothing waits for an answer."),)


def _waits(changes: set[str]) -> bool:
    """A warning that a value came close needs no acknowledgement."""
    return "acknowledged" not in changes and bool(changes & {"outside limits", "unknown"})


def _some(codes: list[str]) -> str:
    return ", ".join(codes[:MOST_ANSWERS]) + (
        f" + {len(codes) - MOST_ANSWERS}" if len(codes) > MOST_ANSWERS else ""
    )


def _sections(material: Material, words: Words, tables: list[Sheet]) -> list[Section]:
    before = [
        *(record_intervals.picture(material, words, each) for each in tables),
        _limits(material, words),
        _times(material, words),
        Section(*record_shifts.table(material, words)),
        Section(*record_work.exposure_table(material, words)),
        Section(*record_work.area_table(material, words)),
        Section(*record_work.coat_table(material, words)),
        Section(*record_work.wet_table(material, words)),
        _alarms(material, words),
        Section(*record_manual.table(material, words)),
    ]
    after = [
        _gaps(material, words),
        Section(*record_manual.instruments(material, words)),
        _changes(material, words),
        _how(material, words),
    ]
    left = record_intervals.MOST_ROWS - sum(len(each.rows) for each in (*before, *after))
    return [*before, *record_intervals.tables(material, words, tables, left), *after]


def _limits(material: Material, words: Words) -> Section:
    found = limits_in_force(material)
    made = tuple(
        (
            (each.limit.area and f"{words('area')} {each.limit.area}") or each.limit.subject,
            words(name_of(each.limit.quantity)), words.limit(each.limit), each.limit.clause,
            ", ".join(words(name) for name in each.limit.activities), words(each.limit.decision_rule),
            _spans(each.spans, material, words),
        )
        for each in found
    )  # fmt: skip
    text = () if found else (words("No limit was set. Nothing was judged."),)
    columns = ("Where", "Quantity", "Limit", "Clause", "For", "Decision rule", "In force")
    return Section(
        words("Limits in force"), text, tuple(map(words, columns)) if made else (), (2, 3, 3, 4, 4, 2, 3), (), made
    )


def _spans(spans: Sequence[tuple[int, int]], material: Material, words: Words) -> str:
    asked = material.asked
    if list(spans) == [(asked.from_ms, asked.until_ms)]:
        return words("throughout")
    return "; ".join(f"{words.moment(one)} {words('to')} {words.moment(other)}" for one, other in spans)


def _times(material: Material, words: Words) -> Section:
    limits = {each.limit.id: each.limit for each in limits_in_force(material)}
    made = []
    for each in times_in_limits(material):
        limit = limits.get(each.limit)
        said = words("no limit set") if limit is None else _limit_words(each.limit, limit.clause, words)
        times = (each.going_on_ms, each.inside_ms, each.outside_ms, each.unknown_ms, each.stopped_ms)
        times = times if limit else (each.going_on_ms, 0, 0, 0, 0)
        made.append(
            (each.area, words(each.activity), said, *(words.length(time) if time else "0" for time in times))
        )
    columns = ("Area", "Activity", "Limit", "Went on", "Inside", "Outside", "Unknown", "Not running")
    text = words("Unknown is never counted as inside. Unset: nobody said what went on, so every limit was judged.")
    return Section(
        words("Time in and out of limits"), (text,) if made else (), tuple(map(words, columns)),
        (1.2, 2.2, 5, 2.2, 2.2, 2.2, 2.2, 2.2), (3, 4, 5, 6, 7), tuple(made),
    )  # fmt: skip


def _limit_words(name: str, clause: str, words: Words) -> str:
    return f"{name} ({words('clause')}: {clause})"


# -- what happened -----------------------------------------------------------------------------------------


def _alarms(material: Material, words: Words) -> Section:
    found = alarms(material)
    made = tuple(
        (
            each.number, each.limit,
            "\n".join(f"{words.moment(at)}  {_change(change, said, words)}" for at, change, said in each.changes),
            ", ".join(each.told) or words("nobody"), each.reason,
        )
        for each in found[:MOST_ALARMS]
    )  # fmt: skip
    left = len(found) - len(made)
    text = (
        (words("{left} further alarms are in the journal; a record of a shorter time shows them.", left=left),)
        if left
        else ()
    )
    columns = ("No.", "Limit", "What happened", "Told", "Said then")
    return Section(words("Alarms"), text, tuple(map(words, columns)), (1, 2, 4, 2, 4), (), made)


def _change(change: str, said: str, words: Words) -> str:
    by = said.partition("acknowledged by ")[2]
    return f"{words(change)}, {by}" if by else words(change)


def _gaps(material: Material, words: Words) -> Section:
    found = gaps(material)
    made = tuple(
        (each.sensor, words.moment(each.from_ms), words.moment(each.until_ms), words.length(each.missing_ms))
        for each in found[:MOST_GAPS]
    )
    text = [words("Stated, never filled. Each begins and ends within these quarters of an hour.")]
    if not made:
        text = [words("No sensor was silent for as much as a second longer than it may be.")]
    if len(found) > len(made):
        text.append(words("{left} further rows are in the CSV file.", left=len(found) - len(made)))
    columns = ("Sensor", "from", "to", "Not known for") if made else ()
    return Section(words("Gaps"), tuple(text), tuple(map(words, columns)), (3, 3, 3, 2), (3,), made)


def _changes(material: Material, words: Words) -> Section:
    """What was done to the gateway and its settings meanwhile, and what went wrong with it."""
    asked = material.asked
    made = [
        (words.moment(each.from_ms), words("jobsite set"), f"{each.who}: {each.why}")
        for each in in_force(material)[1:]
    ]
    says = {Kind.STARTED: "gateway started", Kind.STOPPING: "gateway stopped", Kind.CLOCK_STEP: "clock stepped"}
    for deed in material.deeds:
        if deed.kind in says and asked.from_ms <= deed.utc_ms < asked.until_ms:
            body = material.bodies(deed)
            made.append((words.moment(deed.utc_ms), words(says[Kind(deed.kind)]), str(body.get("cause", ""))))
    for story in of_the_gateway(material):
        made += [(words.moment(at), words(change), _wrong(story, said)) for at, change, said in story.changes]
    columns = tuple(map(words, ("When", "What", "Who and why")))
    return Section(words("Changes, starts and stops"), (), columns, (2, 2, 6), (), tuple(sorted(made)))


def _wrong(story: AlarmStory, said: str) -> str:
    return f"{story.number} {story.limit}: {said}".removesuffix(": ")


def _how(material: Material, words: Words) -> Section:
    bare = [each.id for each in sensors(material) if each.u is None]
    said = [
        words("Uncertainty: JCGM 100:2008, from what each sensor's sheet and certificate state; U = 2u."),
        words("Simple acceptance where the specification names no decision rule: a value at the limit is inside."),
        words("Values are judged to 0.0001; printed figures are rounded half to even, never onto a limit."),
        words("Dew points: temperature and RH of one probe at its own pressure; below 0 °C the frost point."),
        words("Texts that persons or alarms wrote stand as they were written."),
        *map(words, CAUTIONS),
    ]  # fmt: skip
    if bare:
        said.insert(1, words("Accuracy not stated, so uncertainty not stated: {names}.", names=", ".join(bare)))
    return Section(words("How to read this"), tuple(said))
