"""The certificate of a dryer test as a document: finished texts, set as a page by `adapters.report`."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

from gateway import __version__
from gateway.dryer_check import JUDGED, Judged, Result, Verdict
from gateway.dryer_past import Kept, beside_outgoing, beside_rating, hours_beyond, kept, trend
from gateway.dryer_unit import Test, Unit
from gateway.dryer_words import CAUTION, RULE, SHOWN, limit_words, register, value_words
from gateway.record_document import Document
from gateway.record_intervals import Section

SAY = {
    Result.PASS: "Pass: every criterion of the owner is met at the inlet stated.",
    Result.FAIL: "Fail: at least one criterion is not met at the inlet stated.",
    Result.INCONCLUSIVE: "Inconclusive: this test does not decide every criterion; what would is said beside it.",
    Result.NOT_TESTED: "Do not pressurise.",
    Result.NO_CRITERIA: "No criteria are set by the owner: figures only, no verdict.",
}


def document(
    unit: Unit, test: Test, verdict: Verdict, history: Sequence[Kept], record: Test | None = None
) -> Document:
    """Return the certificate; the same files give the same document."""
    facts = test.facts
    day_ms = round(datetime.fromisoformat(facts.day).replace(tzinfo=UTC).timestamp() * 1000)
    return Document(
        "en", "Dryer check", f"{unit.serial}, {unit.label}",
        (
            ("Test", f"{facts.kind}, {facts.day}"), ("By", facts.person), ("Bench", facts.bench),
            *register(unit),
        ),
        (SAY[verdict.result], *(f"{why}." for why in verdict.against), *map(_in_short, verdict.judged)),
        tuple(_sections(unit, test, verdict, history, record)), ("Yard", "Customer", "Owner"),
        "Sign here: name, day", CAUTION, "page {page} of {pages}", day_ms,
        f"dewgate {__version__}; dryer check of {unit.serial}, {facts.kind} {facts.day}", "Verdict",
    )  # fmt: skip


def _in_short(each: Judged) -> str:
    return f"{each.result.value}: {JUDGED[each.name].words} {value_words(each)}; {limit_words(each)}"


def _sections(
    unit: Unit, test: Test, verdict: Verdict, history: Sequence[Kept], record: Test | None
) -> list[Section]:
    if verdict.against:
        return []
    today = kept(test, verdict)
    past = trend(unit, [*(each for each in history if each != today), today], test.facts.day)
    found = [
        _criteria(verdict),
        _figures(verdict),
        _said("Beside its outgoing test and its rating", [*beside_outgoing(test, verdict, history),
                                                           *beside_rating(unit, verdict)]),
        _said("Its tests since the last refill", past),
    ]  # fmt: skip
    if record is not None:
        found.append(_said("Hours beyond the rating", hours_beyond(unit, record)))
    return found


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
    rows = []
    for name, (words, unit, factor, digits) in SHOWN.items():
        at = verdict.figures.get(name)
        if at is not None:
            sure = "not stated" if at.u is None else f"{2 * at.u * factor:.{digits}f}"
            rows.append((words, f"{at.value * factor:.{digits}f}", sure, unit))
    still = verdict.steady
    said = f"Means of the steady stretch, minute {still.start_min:.0f} to {still.end_min:.0f} of the readings."
    columns = ("Figure", "Mean", "± (k = 2)", "Unit")
    return Section("What was measured", (said,), columns, (6, 2, 2, 2), (1, 2), tuple(rows))
