"""The yard's pages: dryers and their rentals, a test led step by step, its verdict and its certificate.

Drawn for a phone beside the bench. Nothing is decided here: `dryer_steps` says what comes next, `dryer_check` what
a test says; every form changes one file of the yard, and what is wrong with it is said above the form.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Annotated, TypeVar

from fastapi import FastAPI, Request
from fastapi import Path as InPath
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from gateway import dryer_past, dryer_trend, dryer_words
from gateway.dryer_check import JUDGED, Judged, check
from gateway.dryer_document import SAY
from gateway.dryer_file import FileErrors
from gateway.dryer_steps import now, stands, steps
from gateway.dryer_unit import Facts, Unit, not_to_be_pressurised
from gateway.record_words import LANGUAGES
from gateway.web import dryer_forms as forms
from gateway.web.dryer_bench import Bench, trains
from gateway.web.dryer_sent import sent
from gateway.web.dryer_shelf import CERTIFICATE, NAME, READINGS, RECORD, NotThere, Raw, Shelf
from gateway.web.gate import HandlesRentals, Signed, TurnedAway
from gateway.web.house import Web, check_token
from gateway.web.photos import NotAPicture, Photos
from gateway.web.words import site_time

T = TypeVar("T")
Named = Annotated[str, InPath(pattern=f"^{NAME.pattern}$")]
Refused = (FileErrors, NotThere, NotAPicture, UnicodeDecodeError)


def dryer_routes(app: FastAPI, web: Web) -> None:
    """Add the routes of the yard."""
    yard = Yard(web)

    @app.get("/dryers")
    def list_page(who: HandlesRentals) -> HTMLResponse:
        return yard.list_page(who)

    @app.post("/dryers")
    async def new(request: Request, who: HandlesRentals) -> Response:
        return await yard.new(request, who)

    @app.post("/dryers/criteria")
    async def criteria(request: Request, who: HandlesRentals) -> Response:
        return await yard.criteria(request, who)

    @app.get("/dryers/{serial}")
    def unit_page(serial: Named, who: HandlesRentals) -> HTMLResponse:
        return yard.unit_page(who, serial)

    @app.post("/dryers/{serial}/{part}")
    async def changed(serial: Named, part: Named, request: Request, who: HandlesRentals) -> Response:
        return await yard.changed(request, who, serial, part)

    @app.get("/dryers/{serial}/tests/{name}")
    def test_page(serial: Named, name: Named, who: HandlesRentals) -> HTMLResponse:
        return yard.test_page(who, serial, name)

    @app.post("/dryers/{serial}/tests/{name}/{part}")
    async def stepped(serial: Named, name: Named, part: Named, request: Request, who: HandlesRentals) -> Response:
        return await yard.stepped(request, who, serial, name, part)

    @app.get("/dryers/{serial}/tests/{name}/certificate.pdf")
    def certificate(serial: Named, name: Named, who: HandlesRentals) -> Response:  # noqa: ARG001  asked for
        return yard.certificate(serial, name)


class Yard:
    """What the yard's routes do."""

    def __init__(self, web: Web) -> None:
        """Args: web: what the routes share."""
        self.web = web
        self.shelf = Shelf(web.house.home / "dryers")
        self.bench = Bench(web.house.home, self.shelf)

    # -- pages ---------------------------------------------------------------------------------------------

    def list_page(self, who: Signed, filled: Mapping[str, str] | None = None, error: str = "") -> HTMLResponse:
        """Every dryer in a line, the form of a new one, the owner's criteria."""
        asked = {each["name"]: each for each in self.shelf.criteria_raw().get("criterion", [])}
        return self.web.draw(
            "dryers.html", who, 409 if error else 200, lines=[self._line(each) for each in self.shelf.serials()],
            fields=forms.UNIT, criteria=forms.CRITERIA, asked=asked, error=error,
            filled=defaultdict(str, filled or {}),
        )  # fmt: skip

    def _line(self, serial: str) -> dict[str, object]:
        """What the list says of a unit; a register that cannot be read is said, not left out."""
        try:
            unit, history = self.shelf.unit(serial), self.shelf.history(serial)
        except FileErrors as error:
            return {"serial": serial, "label": str(error), "where": "", "last": None, "against": (), "stands": ""}
        last = history[-1] if history else None
        out = unit.rentals[-1] if unit.rentals and unit.rentals[-1].back == "not stated" else None
        return {
            "serial": serial, "label": unit.label, "where": f"{out.customer}, {out.contract}" if out else "",
            "last": last, "against": self._overdue(unit), "stands": stands(unit, history),
        }  # fmt: skip

    def _overdue(self, unit: Unit) -> list[str]:
        """What of its inspections forbids pressure, whoever looked at it."""
        facts = Facts("", self._today(), "", "", "pass", "pass")
        return not_to_be_pressurised(unit, facts)

    def unit_page(self, who: Signed, serial: str, filled: Mapping[str, str] | None = None, error: str = "",
                  part: str = "") -> HTMLResponse:  # fmt: skip
        """One unit: plate, rentals, refills, tests, and how it changes."""
        unit, raw = self._read(serial)
        history = self.shelf.history(serial)
        tests = [
            (name, (self.shelf.test_folder(serial, name) / CERTIFICATE).exists())
            for name in self.shelf.tests(serial)
        ]
        since = dryer_trend.since_refill(unit, history, "9999-12-31")
        return self.web.draw(
            "dryer.html", who, 409 if error else 200, unit=unit, raw=raw, register=dryer_words.register(unit),
            tests=tests, trend=dryer_trend.bars(since), at=dryer_trend.AT_WORDS, stands=stands(unit, history),
            sentence=dryer_trend.sentence(since, unit.rentals), since=dryer_trend.since(unit, "9999-12-31"),
            bench=self.shelf.bench(), overdue=self._overdue(unit), today=self._today(), forms=forms,
            filled=defaultdict(str, filled or {}), error=error, part=part,
        )  # fmt: skip

    def test_page(self, who: Signed, serial: str, name: str, filled: Mapping[str, str] | None = None,
                  error: str = "", part: str = "") -> HTMLResponse:  # fmt: skip
        """One test: what is done, what comes now, what it says so far."""
        unit, _ = self._read(serial)
        folder = self._found(lambda: self.shelf.test_folder(serial, name))
        trouble = self._found(lambda: self.bench.look(serial, name))
        test, asked, raw = self.shelf.test(serial, name), self.shelf.criteria(), self.shelf.raw_test(serial, name)
        verdict, led = check(unit, asked, test), steps(unit, asked, test)
        history = self.shelf.history(serial)
        return self.web.draw(
            "dryer_test.html", who, 409 if error else 200, unit=unit, name=name, raw=raw, test=test, led=led,
            now=now(led), verdict=verdict, say=SAY[verdict.result],
            judged=[_said(each) for each in verdict.judged], compared=[
                *dryer_past.beside_outgoing(test, verdict, history), *dryer_past.beside_rating(unit, verdict),
            ],
            figures=dryer_words.figure_rows(verdict), benches=trains(self.web.house.site()),
            certified=(folder / CERTIFICATE).exists(), record=(folder / RECORD).exists(), forms=forms,
            bench=self.shelf.bench(), filled=defaultdict(str, filled or {}), error=error or trouble, part=part,
        )  # fmt: skip

    def certificate(self, serial: str, name: str) -> Response:
        """The sealed pages."""
        path = self._found(lambda: self.shelf.test_folder(serial, name)) / CERTIFICATE
        if not path.exists():
            raise TurnedAway(404, "This test has no certificate yet.")
        headers = {"Content-Disposition": f'attachment; filename="{serial}-{name}.pdf"'}
        return Response(path.read_bytes(), media_type="application/pdf", headers=headers)

    # -- forms ---------------------------------------------------------------------------------------------

    async def new(self, request: Request, who: Signed) -> Response:
        """Enter a new unit."""
        form = await self.web.form(request, who)
        try:
            self.shelf.put_new(forms.new_unit(form))
        except Refused as error:
            return self.list_page(who, form, str(error))
        return RedirectResponse(f"/dryers/{form['serial'].strip()}", 303)

    async def criteria(self, request: Request, who: Signed) -> Response:
        """Change the owner's criteria."""
        form = await self.web.form(request, who, 16_384)
        try:
            self.shelf.put_criteria(forms.criteria(form))
        except Refused as error:
            return self.list_page(who, form, str(error))
        return RedirectResponse("/dryers#criteria", 303)

    async def changed(self, request: Request, who: Signed, serial: str, part: str) -> Response:
        """Change a unit's register, or begin a test of it."""
        form, files = await sent(request)
        check_token(who, form.get("token", ""))
        try:
            if part == "tests":
                return self._begin(who, serial, form)
            if files.get("photo"):
                photos = Photos(self.web.house.home / "photos")
                form = {**form, "photo": await run_in_threadpool(photos.keep, files["photo"])}
            raw = self._read(serial)[1]
            _of(forms.REGISTER, part)(raw, form)
            self.shelf.put(raw)
        except Refused as error:
            return self.unit_page(who, serial, form, str(error), part)
        return RedirectResponse(f"/dryers/{serial}#{part}", 303)

    def _begin(self, who: Signed, serial: str, form: Mapping[str, str]) -> Response:
        kind = form.get("kind", "")
        if kind not in forms.KINDS:
            raise NotThere("A test is an outgoing or a return test.")
        facts: Raw = {"kind": kind, "day": self._today(), "person": who.person or who.account.name}
        bench = form.get("bench", "").strip()
        name = self.shelf.begin(serial, facts | ({"bench": bench} if bench else {}))
        if bench:
            self.shelf.put_bench(bench={"name": bench})
        return RedirectResponse(f"/dryers/{serial}/tests/{name}", 303)

    async def stepped(self, request: Request, who: Signed, serial: str, name: str, part: str) -> Response:
        """Take in what a step of a test asked for."""
        form, files = await sent(request)
        check_token(who, form.get("token", ""))
        try:
            if why := await run_in_threadpool(self._step, who, serial, name, part, form, files):
                return self.test_page(who, serial, name, form, why, part)
        except Refused as error:
            return self.test_page(who, serial, name, form, str(error), part)
        return RedirectResponse(f"/dryers/{serial}/tests/{name}", 303)

    def _step(self, who: Signed, serial: str, name: str, part: str, form: Mapping[str, str],
              files: Mapping[str, bytes]) -> str:  # fmt: skip
        if part == "certificate":
            said = form.get("language", "")
            language = said if said in LANGUAGES else who.taste.language
            return self.bench.certify(serial, name, who.person or who.account.name, language)
        for what, file in (("readings", READINGS), ("record", RECORD)):
            if part == what:
                return self._rows(serial, name, file, files.get("file", b""))
        raw = self.shelf.raw_test(serial, name)
        at = datetime.fromtimestamp(self.web.house.wall_ms() / 1000, UTC).isoformat(timespec="seconds")
        _of(forms.TEST, part)(raw, {**form, "now": at})
        self.shelf.put_test(serial, name, raw)
        if part == "accuracy":
            self.shelf.put_bench(accuracy=raw[part])
        return ""

    def _rows(self, serial: str, name: str, file: str, content: bytes) -> str:
        if not content:
            return "No file was chosen."
        self.shelf.put_rows(serial, name, file, content.decode("utf-8-sig"))
        raw = self.shelf.raw_test(serial, name)
        if file == RECORD:
            raw["test"]["record"] = RECORD
        else:
            raw["test"].pop("train", None)
        self.shelf.put_test(serial, name, raw)
        return ""

    # -- what both need ------------------------------------------------------------------------------------

    def _read(self, serial: str) -> tuple[Unit, Raw]:
        return self._found(lambda: (self.shelf.unit(serial), self.shelf.raw(serial)))

    def _found(self, ask: Callable[[], T]) -> T:
        """Turn what is not there, or cannot be read, into an answer."""
        try:
            return ask()
        except NotThere as error:
            raise TurnedAway(404, str(error)) from None
        except (FileErrors, ValueError) as error:
            raise TurnedAway(409, str(error)) from None

    def _today(self) -> str:
        """The day at the site, in whose zone the yard works."""
        site = self.web.house.site()
        return site_time(self.web.house.wall_ms(), site.time_zone if site else "UTC").date().isoformat()


def _of(
    known: Mapping[str, Callable[[Raw, Mapping[str, str]], None]], part: str
) -> Callable[[Raw, Mapping[str, str]], None]:
    if part not in known:
        raise NotThere("There is no such form.")
    return known[part]


def _said(each: Judged) -> dict[str, str]:
    """One criterion's say, ready to be read."""
    return {
        "result": each.result.value, "words": JUDGED[each.name].words, "value": dryer_words.value_words(each),
        "limit": dryer_words.limit_words(each), "clause": each.clause, "reason": each.reason,
        "conclusive": each.conclusive,
    }  # fmt: skip
