"""The certificate of a dryer test as a document: finished texts, set as a page by `adapters.report`.

`Tongue` turns the program's own sentences into the reader's language; what persons wrote stays as it was written.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from gateway import __version__
from gateway.dryer_check import JUDGED, Judged, Result, Verdict
from gateway.dryer_figures import expected_outlet, inlet_rh
from gateway.dryer_past import Kept, beside_outgoing, beside_rating, hours_beyond, kept, outgoing
from gateway.dryer_picture import GapBar, svg
from gateway.dryer_trend import COLUMNS, rows, sentence, since, since_refill
from gateway.dryer_unit import NOT_STATED, Test, Unit
from gateway.dryer_words import CAUTION, RULE, figure_rows, limit_words, looked, register, value_words
from gateway.psychrometrics import OutOfRange
from gateway.record_document import Document
from gateway.record_intervals import Section

SAY = {
    Result.PASS: "Pass: every criterion of the owner is met at the inlet stated.",
    Result.FAIL: "Fail: at least one criterion is not met at the inlet stated.",
    Result.INCONCLUSIVE: "Inconclusive: this test does not decide every criterion; what would is said beside it.",
    Result.NOT_TESTED: "Do not pressurise.",
    Result.NO_CRITERIA: "No criteria are set by the owner: figures only, no verdict.",
}


@dataclass(frozen=True, slots=True)
class Recorded:
    """Where a record has a test: jobsite, number of the entry, root over the entries up to it, UTC [ms]."""

    jobsite: str
    entry: int
    root: str
    utc_ms: int

    @property
    def code(self) -> str:
        """The record code, as a climate record has it."""
        return f"{self.entry}-{self.root[:16]}"


@dataclass(frozen=True, slots=True)
class Made:
    """What a certificate was made from: each file's SHA-256, the same as one text, the record that holds it."""

    files: tuple[tuple[str, str], ...] = ()
    words: str = ""
    recorded: Recorded | None = None


@dataclass(frozen=True, slots=True)
class Tongue:
    """The language of a certificate, and how a sentence of the program is said in it."""

    language: str = "en"
    say: Callable[[str], str] = str

    def __call__(self, text: str) -> str:
        """The sentence in the reader's language."""
        return self.say(text)

    def all(self, texts: Sequence[str]) -> tuple[str, ...]:
        """Each of several sentences, surplus blanks left out."""
        return tuple(self.say(each.strip()) for each in texts)


ENGLISH = Tongue()


def document(
    unit: Unit, test: Test, verdict: Verdict, history: Sequence[Kept], record: Test | None = None,
    made: Made = Made(), say: Tongue = ENGLISH,
) -> Document:  # fmt: skip
    """Return the certificate; the same files, entry and language give the same document."""
    facts = test.facts
    day_ms = round(datetime.fromisoformat(facts.day).replace(tzinfo=UTC).timestamp() * 1000)
    return Document(
        say.language, say("Dryer check"), f"{unit.serial}, {unit.label}",
        (
            (say("Test"), f"{say(facts.kind)}, {facts.day}"), (say("By"), facts.person),
            (say("Bench"), facts.bench if facts.bench != NOT_STATED else say(NOT_STATED)),
            *((say(what), say(words)) for what, words in (*register(unit), *looked(facts))),
            *_held(made.recorded, say), (say("Advisory"), say(CAUTION.removeprefix("Advisory: "))),
        ),
        (say(SAY[verdict.result]), *(f"{say(why)}." for why in verdict.against),
         *(_in_short(each, say) for each in verdict.judged)),
        (*_sections(unit, test, verdict, history, record, say), _made_from(made, say)),
        say.all(("Yard", "Customer", "Owner")), say("Sign here: name, day"), _foot(made, say),
        "página {page} de {pages}" if say.language == "es" else "page {page} of {pages}", day_ms,
        _keywords(made), f"{say('Verdict')}: {say(verdict.result.value).upper()}", verdict.result is Result.PASS,
    )  # fmt: skip


def _held(recorded: Recorded | None, say: Tongue) -> list[tuple[str, str]]:
    if recorded is None:
        return [(say("Record"), say("none: not sealed, and no record says since when this test is known"))]
    at = datetime.fromtimestamp(recorded.utc_ms / 1000, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
    where = f"{recorded.jobsite}, {say(f'entry {recorded.entry}')}, {at}"
    return [(say("Record"), where), (say("Record code"), recorded.code)]


def _foot(made: Made, say: Tongue) -> str:
    return f"{say('Record code')} {made.recorded.code}" if made.recorded else say("Not in a record")


def _keywords(made: Made) -> str:
    """Read by `dryer_proof`, so in one language only."""
    said = f"dewgate dryer check; files {made.words or 'not stated'}"
    return f"{said}; entry {made.recorded.entry}; root {made.recorded.root}" if made.recorded else said


def _made_from(made: Made, say: Tongue) -> Section:
    """The proof: hashes of the files, and the root of the record that has them."""
    rows = tuple((say(what), digest) for what, digest in made.files)
    said = [say(f"Made by dewgate {__version__} from these files; changing one of them changes its SHA-256.")]
    if made.recorded is not None:
        number, root = made.recorded.entry, made.recorded.root
        said += [" ".join(say.all((
            f"These hashes are entry {number} of the record.", f"Root over the entries up to it: {root}.",
            f"dewgate verify says of this file whether its seal and its entry hold; dewgate prove {number} proves "
            "the entry under a signed head.",
        )))]  # fmt: skip
    head = say.all(("File", "SHA-256")) if rows else ()
    return Section(say("What this certificate was made from"), tuple(said), head, (1, 4), rows=rows, fine=True)


def _in_short(each: Judged, say: Tongue) -> str:
    found = f"{say(each.result.value)}: {say(JUDGED[each.name].words)} {say(value_words(each))}"
    return f"{found}; {say(limit_words(each))}"


def _sections(
    unit: Unit, test: Test, verdict: Verdict, history: Sequence[Kept], record: Test | None, say: Tongue
) -> list[Section]:
    if verdict.against:
        return []
    today = kept(test, verdict)
    tests = since_refill(unit, [*(each for each in history if each != today), today], test.facts.day)
    beside = [
        *beside_outgoing(test, verdict, history),
        *beside_rating(unit, verdict),
        sentence(tests, unit.rentals),
    ]
    found = [
        Section(say("At this inlet"), say.all(beside), pictures=_picture(test, verdict, history, say)),
        _criteria(verdict, say),
        _figures(verdict, say),
        Section(say("Its tests since the last refill"), (say(since(unit, test.facts.day)),), say.all(COLUMNS),
                (2, 2, 2, 2, 4, 3), rows=tuple(say.all(row) for row in rows(tests))),
    ]  # fmt: skip
    if record is not None:
        found.append(Section(say("Hours beyond the rating"), say.all(hours_beyond(unit, record))))
    return found


def _picture(test: Test, verdict: Verdict, history: Sequence[Kept], say: Tongue) -> tuple[str, ...]:
    """The gaps of inlet and outlet, and of the outlet as the unit went out; nothing where they are not known."""
    found, notch = verdict.figures, _notch(verdict)
    bars = [
        GapBar(say(place), found[point].value, found[gas].value, 2.0 * (found[point].u or 0.0), at, say(words))
        for place, point, gas, at, words in (
            ("Inlet", "inlet_point", "inlet_temperature", None, "dew point to gas, measured"),
            ("Outlet", "pressure_dew_point", "outlet_temperature", notch,
             "measured" if notch is None else "measured; notch: as asked"),
        ) if point in found and gas in found
    ]  # fmt: skip
    return (svg([*bars, *_as_it_went_out(test, verdict, history, say)]),) if bars else ()


def _notch(verdict: Verdict) -> float | None:
    """The hottest dew point that the owner's criteria allow at this inlet [°C]."""
    found = verdict.figures
    below = {"suppression_below_inlet": "inlet_temperature", "suppression_below_outlet": "outlet_temperature"}
    allowed = [
        found[below[each.name]].value - each.limit for each in verdict.judged if below.get(each.name) in found
    ]
    return min(
        [*allowed, *(each.limit for each in verdict.judged if each.name == "pressure_dew_point")], default=None
    )


def _as_it_went_out(test: Test, verdict: Verdict, history: Sequence[Kept], say: Tongue) -> list[GapBar]:
    then, found, rh = outgoing(test, history), verdict.figures, inlet_rh(verdict.figures)
    if (
        test.facts.kind != "return"
        or then is None
        or then.bed_rh is None
        or rh is None
        or "outlet_pa" not in found
    ):
        return []
    try:
        out = expected_outlet(then.bed_rh, found["inlet_temperature"].value, rh, found["outlet_pa"].value)
    except OutOfRange:
        return []
    words = say(f"test of {then.day}, modelled")
    return [GapBar(say("Outlet as it went out"), out.point[0], out.temperature_c, None, None, words)]


def _criteria(verdict: Verdict, say: Tongue) -> Section:
    rows = tuple(
        (
            say(each.result.value), say(JUDGED[each.name].words), say(value_words(each)), say(limit_words(each)),
            each.clause, _why(each, say),
        ) for each in verdict.judged
    )  # fmt: skip
    columns = ("Result", "Criterion", "Found", "Asked", "Where written", "Why, and what would decide it")
    return Section(
        say("Criteria of the owner"), (say(RULE),) if rows else (), say.all(columns) if rows else (),
        (2, 4, 3, 3, 4, 5), rows=rows,
    )  # fmt: skip


def _why(each: Judged, say: Tongue) -> str:
    return f"{say(each.reason)}; {say('conclusive would be:')} {say(each.conclusive)}" if each.reason else ""


def _figures(verdict: Verdict, say: Tongue) -> Section:
    title = say("What was measured")
    if verdict.steady is None:
        return Section(title, (say("No steady stretch was found; nothing was measured."),))
    still = verdict.steady
    said = f"Means of the steady stretch, minute {still.start_min:.0f} to {still.end_min:.0f} of the readings."
    columns = say.all(("Figure", "Mean", "± (k = 2)", "Unit"))
    rows = tuple((say(words), mean, say(sure), unit) for words, mean, sure, unit in figure_rows(verdict))
    return Section(title, (say(said),), columns, (6, 2, 2, 2), (1, 2), rows)
