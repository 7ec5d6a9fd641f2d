"""The certificate of a dryer test as a document: finished texts, set as a page by `adapters.report`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from gateway import __version__
from gateway.dryer_check import JUDGED, Judged, Result, Verdict
from gateway.dryer_figures import expected_outlet, inlet_rh
from gateway.dryer_past import Kept, beside_outgoing, beside_rating, hours_beyond, kept, outgoing
from gateway.dryer_picture import GapBar, svg
from gateway.dryer_trend import COLUMNS, rows, sentence, since, since_refill
from gateway.dryer_unit import Test, Unit
from gateway.dryer_words import CAUTION, RULE, figure_rows, limit_words, register, value_words
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


def document(
    unit: Unit, test: Test, verdict: Verdict, history: Sequence[Kept], record: Test | None = None,
    made: Made = Made(),
) -> Document:  # fmt: skip
    """Return the certificate; the same files and entry give the same document."""
    facts = test.facts
    day_ms = round(datetime.fromisoformat(facts.day).replace(tzinfo=UTC).timestamp() * 1000)
    return Document(
        "en", "Dryer check", f"{unit.serial}, {unit.label}",
        (
            ("Test", f"{facts.kind}, {facts.day}"), ("By", facts.person), ("Bench", facts.bench),
            *register(unit), *_held(made.recorded), ("Advisory", CAUTION.removeprefix("Advisory: ")),
        ),
        (SAY[verdict.result], *(f"{why}." for why in verdict.against), *map(_in_short, verdict.judged)),
        (*_sections(unit, test, verdict, history, record), _made_from(made)), ("Yard", "Customer", "Owner"),
        "Sign here: name, day", _foot(made), "page {page} of {pages}", day_ms,
        _keywords(made), f"Verdict: {verdict.result.value.upper()}", verdict.result is Result.PASS,
    )  # fmt: skip


def _held(recorded: Recorded | None) -> list[tuple[str, str]]:
    if recorded is None:
        return [("Record", "none: not sealed, and no record says since when this test is known")]
    at = datetime.fromtimestamp(recorded.utc_ms / 1000, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
    return [("Record", f"{recorded.jobsite}, entry {recorded.entry}, {at}"), ("Record code", recorded.code)]


def _foot(made: Made) -> str:
    return f"Record code {made.recorded.code}" if made.recorded else "Not in a record"


def _keywords(made: Made) -> str:
    said = f"dewgate dryer check; files {made.words or 'not stated'}"
    return f"{said}; entry {made.recorded.entry}; root {made.recorded.root}" if made.recorded else said


def _made_from(made: Made) -> Section:
    """The proof: hashes of the files, and the root of the record that has them."""
    rows = tuple(made.files)
    said = [f"Made by dewgate {__version__} from these files; changing one of them changes its SHA-256."]
    if made.recorded is not None:
        said += [
            f"These hashes are entry {made.recorded.entry} of the record. Root over the entries up to it: "
            f"{made.recorded.root}. dewgate verify says of this file whether its seal and its entry hold; "
            f"dewgate prove {made.recorded.entry} proves the entry under a signed head."
        ]
    return Section("What this certificate was made from", tuple(said), ("File", "SHA-256") if rows else (), (1, 4),
                   rows=rows, fine=True)  # fmt: skip


def _in_short(each: Judged) -> str:
    return f"{each.result.value}: {JUDGED[each.name].words} {value_words(each)}; {limit_words(each)}"


def _sections(
    unit: Unit, test: Test, verdict: Verdict, history: Sequence[Kept], record: Test | None
) -> list[Section]:
    if verdict.against:
        return []
    today = kept(test, verdict)
    tests = since_refill(unit, [*(each for each in history if each != today), today], test.facts.day)
    beside = [*beside_outgoing(test, verdict, history), *beside_rating(unit, verdict), sentence(tests)]
    found = [
        Section("At this inlet", tuple(beside), pictures=_picture(test, verdict, history)),
        _criteria(verdict),
        _figures(verdict),
        Section("Its tests since the last refill", (since(unit, test.facts.day),), COLUMNS, (2, 2, 2, 2, 4, 3),
                rows=tuple(rows(tests))),
    ]  # fmt: skip
    if record is not None:
        found.append(_said("Hours beyond the rating", hours_beyond(unit, record)))
    return found


def _picture(test: Test, verdict: Verdict, history: Sequence[Kept]) -> tuple[str, ...]:
    """The gaps of inlet and outlet, and of the outlet as the unit went out; nothing where they are not known."""
    found = verdict.figures
    bars = [
        GapBar(place, found[point].value, found[gas].value, 2.0 * (found[point].u or 0.0), notch, words)
        for place, point, gas, notch, words in (
            ("Inlet", "inlet_point", "inlet_temperature", None, "dew point to gas, measured"),
            ("Outlet", "pressure_dew_point", "outlet_temperature", _notch(verdict), "measured; notch: as asked"),
        ) if point in found and gas in found
    ]  # fmt: skip
    return (svg([*bars, *_as_it_went_out(test, verdict, history)]),) if bars else ()


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


def _as_it_went_out(test: Test, verdict: Verdict, history: Sequence[Kept]) -> list[GapBar]:
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
    return [
        GapBar(
            "Outlet as it went out", out.point[0], out.temperature_c, None, None, f"test of {then.day}, modelled"
        )
    ]


def _said(title: str, sentences: Sequence[str]) -> Section:
    return Section(title, text=tuple(each.strip() for each in sentences))


def _criteria(verdict: Verdict) -> Section:
    rows = tuple(
        (
            each.result.value, JUDGED[each.name].words, value_words(each), limit_words(each), each.clause,
            f"{each.reason}; conclusive would be: {each.conclusive}" if each.reason else "",
        ) for each in verdict.judged
    )  # fmt: skip
    columns = ("Result", "Criterion", "Found", "Asked", "Where written", "Why, and what would decide it")
    return Section(
        "Criteria of the owner", (RULE,) if rows else (), columns if rows else (), (2, 4, 3, 3, 4, 5), rows=rows
    )


def _figures(verdict: Verdict) -> Section:
    if verdict.steady is None:
        return _said("What was measured", ["No steady stretch was found; nothing was measured."])
    still = verdict.steady
    said = f"Means of the steady stretch, minute {still.start_min:.0f} to {still.end_min:.0f} of the readings."
    columns = ("Figure", "Mean", "± (k = 2)", "Unit")
    return Section("What was measured", (said,), columns, (6, 2, 2, 2), (1, 2), tuple(figure_rows(verdict)))
