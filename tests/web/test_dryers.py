"""The yard's pages as a clerk goes them: register, rental, a test led to its verdict, the sealed certificate."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest

from gateway import dryer_command, dryer_file
from gateway.adapters import journal as files
from gateway.adapters import seal
from gateway.adapters.seal_key import seal_key
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.web import dryer_forms as forms
from gateway.web.dryer_bench import Bench
from gateway.web.dryer_shelf import NotThere, Shelf
from tests.faults.kill_run import prepare
from tests.make_yard import YARD
from tests.record_story import jobsite
from tests.sites import T0
from tests.test_flow_findings import journal
from tests.web.conftest import Pages, Stage

UNIT = {
    "serial": "D-0417", "label": "salt dryer (simulated)", "salt": "calcium chloride",
    "equilibrium_humidity": "50 %RH", "relief_valve_due": "2027-03-01", "vessel_due": "2028-03-01",
}  # fmt: skip
PLATE = {
    "rated_flow": "750 cfm", "rated_inlet_temperature": "38 °C", "rated_pressure": "7 bar(g)",
    "rated_suppression_below_inlet": "7.5 K",
}  # fmt: skip
ACCURACY = {
    "inlet_temperature": "0.3 K", "outlet_temperature": "0.3 K", "inlet_humidity": "1.5 %RH",
    "outlet_humidity": "1.5 %RH", "inlet_pressure": "0.03 bar", "pressure_loss": "0.01 bar", "flow": "15 cfm",
    "ambient_temperature": "0.3 K", "station_pressure": "1 hPa",
}  # fmt: skip
BRINE = {"time": "45 min", "mass_accuracy": "0.05 kg", "salt_share": "40 %"}


def upload(pages: Pages, path: str, name: str, content: bytes, **fields: str) -> httpx.Response:
    form = {"token": pages.token(), **fields}
    same = {"sec-fetch-site": "same-origin"}
    return pages.ask("POST", path, headers=same, data=form, files={name: ("x.csv", content)})


def told(answer: httpx.Response) -> str:
    """A page's words, its marks left out."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text))


def entered(pages: Pages) -> None:
    """A unit with its plate, a refill, and two criteria of its owner."""
    assert pages.send("/dryers", **UNIT).headers["location"] == "/dryers/D-0417"
    assert pages.send("/dryers/D-0417/plate", **UNIT, **PLATE).status_code == 303
    refill = {"day": "2026-04-20", "salt": "dryer salt", "lot": "L-1183", "mass": "240 kg"}
    assert pages.send("/dryers/D-0417/refill", **refill).status_code == 303
    asked = {"outlet_humidity": "58 %RH", "outlet_humidity_clause": "3.2", "least_flow": "60 %",
             "least_flow_clause": "2.4", "drain_balance": "30 %", "drain_balance_clause": "3.4"}  # fmt: skip
    assert pages.send("/dryers/criteria", **asked).status_code == 303


def keep_outgoing(register: Path) -> None:
    """Its outgoing test, judged and kept by the command."""
    words = [str(register), str(YARD / "outgoing.toml"), "--criteria", str(register.with_name("criteria.toml"))]
    assert dryer_command.run("dryer", ["check", *words, "--keep"], "") == 0


def walked(pages: Pages, kind: str, file: str, brine: str) -> str:
    """A test from its begin to its certificate; returns its address."""
    at = pages.send("/dryers/D-0417/tests", kind=kind).headers["location"]
    assert "Do not pressurise" in told(pages.ask("GET", at))
    assert pages.send(f"{at}/look", visual="pass", relief_valve="pass").status_code == 303
    assert "Bring bench and unit up to the test&#39;s pressure" in pages.ask("GET", at).text
    assert upload(pages, f"{at}/readings", "file", (YARD / file).read_bytes()).status_code == 303
    assert "Now: blow out." in told(pages.ask("GET", at))
    assert pages.send(f"{at}/blown").status_code == 303
    assert "Now: accuracy." in told(pages.ask("GET", at))
    assert pages.send(f"{at}/brine", mass=brine, **BRINE).status_code == 303
    assert "Inconclusive: this test does not decide" in told(pages.ask("GET", at))  # no accuracy is stated yet
    assert pages.send(f"{at}/accuracy", **ACCURACY).status_code == 303
    assert "Now: verdict." in told(pages.ask("GET", at))
    assert pages.send(f"{at}/certificate").status_code == 303
    return at


@pytest.mark.timeout(120)
def test_a_clerk_settles_a_return_on_the_pages(stage: Stage, pages: Pages, tmp_path: Path) -> None:
    """Out, back, its test led step by step; the certificate is sealed and nothing of the test changes after."""
    prepare(tmp_path / "home", jobsite())
    for path in (tmp_path / "home").iterdir():
        path.rename(tmp_path / path.name)
    entered(pages)
    out = {"contract": "R-2206", "customer": "customer 14", "out": "2026-05-04", "level_out": "100 %"}
    assert pages.send("/dryers/D-0417/out", **out).status_code == 303
    assert "customer 14, R-2206" in told(pages.ask("GET", "/dryers"))
    keep_outgoing(stage.home / "dryers" / "D-0417.toml")
    photo = b"\xff\xd8\xff made for a test"
    back = {"back": "2026-06-15", "hours": "212 h", "level_in": "55 %"}
    assert upload(pages, "/dryers/D-0417/back", "photo", photo, **back).status_code == 303
    second = walked(pages, "return", "return.csv", "2.71 kg")
    said = told(pages.ask("GET", second))
    assert "Fail: at least one criterion is not met" in said
    assert "humidity of the outlet gas: 61.4 ± 1.7 %RH , at most 58 %RH (3.2)" in said
    assert "the bed left 49% RH in its outlet gas, now 61%" in said and "ISO 7183 does not cover" in said
    pdf = pages.ask("GET", f"{second}/certificate.pdf")
    assert pdf.headers["content-type"] == "application/pdf"
    assert seal.look(pdf.content, seal_key(stage.home).authority).holds
    refused = pages.send(f"{second}/look", visual="no", relief_valve="pass")
    assert refused.status_code == 409 and "nothing of it changes any more" in refused.text
    unit = told(pages.ask("GET", "/dryers/D-0417"))
    assert "This dryer loses 3.7 ± 0.8 K below outlet a rental, over 1 rental" in unit
    assert "customer 14, 2026-05-04 to 2026-06-15, 212 h; salt level out 100 %, in 55 %; 1 photos" in unit
    assert pages.ask("GET", "/dryers/D-0417").text.count('class="bar unsure"') == 2  # the gaps of both tests
    assert "Last test: return, 2026-07-13: fail" in told(pages.ask("GET", "/dryers"))


def test_what_is_wrong_is_said_above_the_form(stage: Stage, pages: Pages) -> None:
    """With what was typed still in it; nothing is kept."""
    entered(pages)
    again = pages.send("/dryers", **UNIT)
    assert again.status_code == 409 and "Dryer D-0417 is in the register already." in told(again)
    wrong = pages.send("/dryers", **UNIT | {"serial": "../x"})
    assert wrong.status_code == 409 and "begins with a letter or digit" in told(wrong)
    refill = {"day": "2026-05-20", "salt": "dryer salt", "lot": "L-7", "mass": "forty"}
    answer = pages.send("/dryers/D-0417/refill", **refill)
    assert answer.status_code == 409 and "forty" in told(answer) and 'value="L-7"' in answer.text
    assert [each.lot for each in Shelf(stage.home / "dryers").unit("D-0417").refills] == ["L-1183"]
    at = pages.send("/dryers/D-0417/tests", kind="return").headers["location"]
    answer = upload(pages, f"{at}/readings", "file", b"time,colour\n0,1\n")
    assert answer.status_code == 409 and "column &#39;colour&#39; is not known here" in answer.text
    assert pages.send(f"{at}/leak", **{"from": "7 bar(g)", "to": "6.9 bar", "time": "10 min"}).status_code == 409
    assert pages.send("/dryers/D-0417/tests", kind="other").status_code == 409
    assert pages.send("/dryers/D-0417/other").status_code == 409


def test_no_name_leads_out_of_the_yard(stage: Stage, pages: Pages) -> None:
    """Of a unit or a test; the criteria are no unit."""
    entered(pages)
    (stage.home / "x.toml").write_text("[unit]\n")
    for path in ("/dryers/..%2Fx", "/dryers/criteria", "/dryers/D-9", "/dryers/D-0417/tests/..%2F..%2Fx"):
        assert pages.ask("GET", path).status_code in (404, 405, 422), path
    for serial in ("..", "../x", ".x", "criteria", "a/b"):
        with pytest.raises(NotThere):
            Shelf(stage.home / "dryers").register(serial)


def test_a_dryer_that_is_out_does_not_go_out_again(pages: Pages) -> None:
    """Its return comes first; what was entered of a return can be mended afterwards."""
    entered(pages)
    out = {"contract": "R-1", "customer": "customer 14", "out": "2026-05-04"}
    assert pages.send("/dryers/D-0417/out", **out).status_code == 303
    assert "Out since 2026-05-04 on rental R-1. Enter its return" in told(pages.ask("GET", "/dryers/D-0417"))
    again = pages.send("/dryers/D-0417/out", **out | {"contract": "R-2"})
    assert again.status_code == 409 and "Rental R-1 is still out: enter first that it came back." in told(again)
    assert pages.send("/dryers/D-0417/back", back="2026-06-15", level_in="55 %").status_code == 303
    page = pages.ask("GET", "/dryers/D-0417")
    assert "What was entered of the return from rental R-1" in told(page) and 'value="55 %"' in page.text
    assert pages.send("/dryers/D-0417/out", **out | {"contract": "R-2"}).status_code == 303


def test_the_bench_is_proposed_to_the_next_test_and_no_dryer(pages: Pages) -> None:
    """Its name and its instruments' accuracy are filled in, and count only once they are entered."""
    entered(pages)
    first = pages.send("/dryers/D-0417/tests", kind="outgoing", bench="bench 2").headers["location"]
    pages.send(f"{first}/look", visual="pass", relief_valve="pass")
    assert pages.send(f"{first}/accuracy", **ACCURACY).status_code == 303
    assert 'value="bench 2"' in pages.ask("GET", "/dryers/D-0417").text
    second = pages.send("/dryers/D-0417/tests", kind="return").headers["location"]
    pages.send(f"{second}/look", visual="pass", relief_valve="pass")
    said = pages.ask("GET", second)
    assert "Filled in from the last test at this yard" in said.text and 'value="15 cfm"' in said.text
    assert "Without it nothing" not in told(said) and "✓ accuracy" not in told(said)
    assert "Filled in from the last test" not in pages.ask("GET", first).text
    assert "_bench" not in pages.ask("GET", "/dryers").text


def test_an_overdue_inspection_forbids_pressure_everywhere(pages: Pages) -> None:
    """On the list, on the unit and as the first step of a test, whoever looked at it."""
    assert pages.send("/dryers", **UNIT | {"relief_valve_due": "2026-01-31"}).status_code == 303
    due = "relief valve inspection was due on 2026-01-31"
    assert due in told(pages.ask("GET", "/dryers")) and due in told(pages.ask("GET", "/dryers/D-0417"))
    at = pages.send("/dryers/D-0417/tests", kind="outgoing").headers["location"]
    pages.send(f"{at}/look", visual="pass", relief_valve="pass")
    said = told(pages.ask("GET", at))
    assert f"Do not pressurise: {due}." in said and "Warm" not in said


def test_what_is_not_in_order_is_kept_in_words(stage: Stage, pages: Pages) -> None:
    """A look that found something is not a pass."""
    entered(pages)
    at = pages.send("/dryers/D-0417/tests", kind="return").headers["location"]
    pages.send(f"{at}/look", visual="no", visual_words="dented shell", relief_valve="no")
    facts = Shelf(stage.home / "dryers").test("D-0417", at.rsplit("/", 1)[1]).facts
    assert (facts.visual, facts.relief_valve) == ("dented shell", "not in order")


def test_the_bench_of_this_gateway_gives_the_readings(stage: Stage, pages: Pages) -> None:
    """From the moment it was asked for, with the accuracies the jobsite states; taken anew once they are old."""
    book = files.Journal(stage.home / "journal.db")
    entries, outcomes = list(journal(45)), Outcomes()
    Flow().advance(entries, outcomes)
    book.commit(1, entries, 1, outcomes, T0, None)
    book.close()
    entered(pages)
    shelf = Shelf(stage.home / "dryers")
    at = pages.send("/dryers/D-0417/tests", kind="return").headers["location"]
    name = at.rsplit("/", 1)[1]
    pages.send(f"{at}/look", visual="pass", relief_valve="pass")
    raw = shelf.raw_test("D-0417", name)
    begun = datetime.fromtimestamp(T0 / 1000 + 600, UTC).isoformat(timespec="seconds")
    forms.TEST["source"](raw, {"train": "T1", "now": begun})
    shelf.put_test("D-0417", name, raw)
    bench = Bench(stage.home, shelf)
    assert bench.look("D-0417", name) == ""
    test = shelf.test("D-0417", name)
    assert 30 < test.rows[-1].minute < 40  # of the 45 minutes in the journal the last 35
    assert {"inlet_temperature", "outlet_humidity", "flow"} <= test.u.keys()
    readings = shelf.test_folder("D-0417", name) / "readings.csv"
    before = readings.stat().st_mtime_ns
    assert bench.look("D-0417", name) == "" and readings.stat().st_mtime_ns == before  # fresh: not asked again
    raw["test"]["train"] = "T9"
    readings.unlink()
    shelf.put_test("D-0417", name, raw)
    assert "there is no train" in told(pages.ask("GET", at))


def test_a_certificate_that_cannot_be_made_leaves_the_test_open(stage: Stage, pages: Pages) -> None:
    """Without a journal there is no record to hold it: said, and nothing is there to download."""
    entered(pages)
    at = pages.send("/dryers/D-0417/tests", kind="return").headers["location"]
    answer = pages.send(f"{at}/certificate")
    assert answer.status_code == 409 and "no journal here" in told(answer)
    assert pages.ask("GET", f"{at}/certificate.pdf").status_code == 404
    assert pages.send(f"{at}/look", visual="pass", relief_valve="pass").status_code == 303
    assert (stage.home / "dryers" / "D-0417.tests.jsonl").exists() is False


def test_what_the_pages_write_the_command_reads() -> None:
    """Every field of every form is one its file knows, and a file reads back to the same."""
    example = {each.name: each.example or "2027-01-31" for many in (forms.UNIT, forms.REFILL) for each in many}
    raw = forms.new_unit({**example, "serial": "A", "salt": "calcium chloride"})
    forms.changed_unit(raw, {**example, "salt": "calcium chloride",
                             **{f"rated_{each.name}": each.example for each in forms.RATING}})  # fmt: skip
    forms.gone_out(raw, {each.name: each.example or "2026-01-02" for each in forms.OUT} | {"photo": "a" * 64})
    forms.come_back(raw, {each.name: each.example or "2026-02-03" for each in forms.BACK} | {"photo": "b" * 64})
    forms.refilled(raw, {"day": "2026-02-04", "salt": 'a "quoted" name', "lot": "L\\1", "mass": "40 kg"})
    unit = dryer_file.unit(forms.to_toml(raw))
    assert unit.rating.loss_pa == pytest.approx(0.2e5) and unit.rentals[0].photos == ("a" * 64, "b" * 64)
    assert unit.refills[0].salt == 'a "quoted" name' and unit.refills[0].lot == "L\\1"
    asked = forms.criteria({each.name: each.example for each in forms.CRITERIA}
                           | {f"{each.name}_clause": "3.1" for each in forms.CRITERIA})  # fmt: skip
    assert len(dryer_file.criteria(forms.to_toml(asked))) == len(forms.CRITERIA)
    test: forms.Raw = {"test": {"kind": "return", "day": "2026-02-05", "person": "jo", "readings": "readings.csv"}}
    brine = {each.name: each.example for each in forms.BRINE}
    forms.weighed(test, brine)
    forms.shut_in(test, {each.name: each.example for each in forms.LEAK})
    forms.accurate(test, {each.name: each.example for each in forms.ACCURACY})
    read = dryer_file.read_test(forms.to_toml(test), unit, "")
    assert read.facts.brine is not None and read.facts.brine.mass_kg == pytest.approx(2.4)
    assert read.facts.leak_pa_per_min == pytest.approx(400.0)
    assert len(read.u) == len(forms.ACCURACY)


def test_a_test_begun_twice_a_day_has_two_names(stage: Stage, pages: Pages) -> None:
    """Neither overwrites the other; the newest stands first."""
    entered(pages)
    for _ in range(3):
        pages.send("/dryers/D-0417/tests", kind="return")
    assert Shelf(stage.home / "dryers").tests("D-0417") == [
        "2026-07-13-return-3", "2026-07-13-return-2", "2026-07-13-return",
    ]  # fmt: skip


def test_a_register_written_by_hand_wrongly_is_said_on_the_list(stage: Stage, pages: Pages) -> None:
    """With its line, and the other units stay in reach."""
    entered(pages)
    (stage.home / "dryers" / "D-2.toml").write_text('[unit]\nserial = "D-2"\nlable = "x"\n')
    said = told(pages.ask("GET", "/dryers"))
    assert "D-2.toml:3" in said and "D-0417" in said
    assert pages.ask("GET", "/dryers/D-2").status_code == 409


def test_spanish_reaches_the_steps(stage: Stage, pages: Pages) -> None:
    """Words of the steps with their figures, too."""
    entered(pages)
    stage.site = replace(stage.site, time_zone="Europe/Lisbon") if stage.site else None
    at = pages.send("/dryers/D-0417/tests", kind="return").headers["location"]
    pages.send("/account/taste", language="es", temperature="°C", pressure="bar", volume="L", flow="m³/min")
    assert "No poner a presión: inspección visual: aún no anotada" in told(pages.ask("GET", at))
