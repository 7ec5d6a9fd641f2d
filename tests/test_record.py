"""The climate record: what it says, that it is the journal's, as pages, as data and under its seal."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path

import pikepdf
import pyarrow.parquet
import pytest

from gateway import (
    proof_command,
    record_command,
    record_document,
    record_files,
    record_manual,
    record_shifts,
    record_words,
)
from gateway.adapters import parquet, record_source, record_zip, report, seal
from gateway.adapters.journal import Journal
from gateway.adapters.record_source import NothingToTell, material
from gateway.adapters.seal_key import fingerprint, seal_key
from gateway.climate_record import Asked, Material, exposures, gaps, times_in_limits, wet_hours
from gateway.entry import Kind, plain
from gateway.flow_state import Outcomes
from gateway.record_alarms import alarms, of_other_instruments, of_the_gateway
from gateway.record_rebuild import same_first_revision
from gateway.record_spanish import SPANISH
from gateway.record_words import Words
from tests.record_story import DAY0, H, journal

WORDS = Words("en", "America/Chicago")
SP = Words("es", "America/Chicago")
ASKED = Asked(DAY0, DAY0 + 47 * H, H)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return journal(tmp_path_factory.mktemp("story") / "home")


@pytest.fixture(scope="module")
def found(home: Path) -> Material:
    return material(home, ASKED, record_source.as_of(home)[0])


@pytest.fixture(scope="module")
def body(found: Material) -> bytes:
    return report.pdf(record_document.document(found, WORDS), WORDS)


@pytest.fixture(scope="module")
def pages(body: bytes, home: Path) -> bytes:
    return seal.sealed(body, home)


@pytest.fixture(scope="module")
def longer(home: Path, found: Material) -> Path:
    """The same journal after another heartbeat and a stop."""
    made = home.parent / "longer"
    shutil.copytree(home, made)
    _go_on(made, found.sequence)
    return made


def section(found: Material, title: str, words: Words = WORDS) -> record_document.Section:
    """Return a section of the document by its title."""
    return next(each for each in record_document.document(found, words).sections if each.title == title)


# -- what it says ------------------------------------------------------------------------------------------


def test_time_in_and_out_of_limits_adds_up(found: Material) -> None:
    """Every activity's time is inside, outside, not running or unknown; blasting went on five hours."""
    times = {(each.activity, each.limit): each for each in times_in_limits(found)}
    blasting = times["blasting", "margin"]
    assert blasting.going_on_ms == pytest.approx(5 * H, abs=121_000)
    for each in times.values():
        assert each.inside_ms + each.outside_ms + each.unknown_ms + each.stopped_ms == each.going_on_ms
    assert times["curing", "margin"].unknown_ms == pytest.approx(
        40 * 60_000, abs=10 * 60_000
    )  # the air was silent
    assert ("curing", "humid") not in times  # that limit is for coating
    assert ("priming", "humid") in times  # which a prime coat is


def test_gaps_are_stated_with_their_length(found: Material) -> None:
    """Two sensors were silent for 40 minutes less their patience; no other was."""
    assert {gap.sensor for gap in gaps(found)} == {"air-t", "air-rh"}
    for gap in gaps(found):
        assert gap.from_ms <= DAY0 + 26 * H + 42 * 60_000 and gap.until_ms >= DAY0 + 26 * H + 30 * 60_000
        assert 25 * 60_000 < gap.missing_ms < 40 * 60_000


def test_the_dawn_is_an_exposure_with_its_disposition(found: Material) -> None:
    """The curing prime coat stood below 3 K; the inspector has said what becomes of it."""
    (made,) = exposures(found)
    assert (made.coat, made.limits, made.disposition) == ("priming 1", ["margin"], "to be tested further")
    (row,) = section(found, "Exposures").rows
    assert row[0] == "E-1" and "to be tested further: pull-off on three spots (inspector" in row[-1]
    in_us = section(found, "Exposures", Words("en", "America/Chicago", "us")).rows[0]
    assert row[-2].endswith(" K") and in_us[-2].endswith(" Δ°F")


def test_an_exposure_without_disposition_waits_on_the_first_page(home: Path) -> None:
    """As of an entry before the inspector's word; the same journal, folded again up to there."""
    deeds = record_source.material(home, ASKED, record_source.as_of(home)[0]).deeds
    before = next(deed.sequence for deed in deeds if b'"disposition"' in deed.body) - 1
    then = material(home, Asked(DAY0, DAY0 + 39 * H, H), before)
    answer = record_document.document(then, WORDS).answer
    assert "E-1 needs the inspector's disposition." in answer
    assert section(then, "Exposures").rows[0][-1] == "none yet"


def test_all_that_nobody_has_answered_is_named_on_the_first_page(found: Material) -> None:
    """However many there are: twenty exposures push neither each other nor alarms off the page."""
    many = [replace(found.exposures[0], number=number, disposition="") for number in range(1, 21)]
    answer = record_document.document(replace(found, exposures=many), WORDS).answer
    codes = ", ".join(f"E-{number}" for number in range(1, 21))
    assert f"20 need the inspector's disposition: {codes}." in answer
    assert any(each.startswith("Not acknowledged: A-") for each in answer)


def test_alarms_keep_their_changes_in_order(found: Material) -> None:
    """Raised before it returned, with the time of each, and who was told."""
    stories = [(each, [change for _, change, _ in each.changes]) for each in alarms(found)]
    breached = [each for each, changes in stories if {"outside limits", "limits back"} <= set(changes)]
    assert breached
    for story in breached:
        times = {change: at for at, change, _ in story.changes}
        assert times["outside limits"] < times["limits back"]
    assert {"lead"} == {person for story, _ in stories for person in story.told}
    assert not {change for _, changes in stories for change in changes} & {"told", "kept back"}


def happened(found: Material, number: str, limit: str, change: str, reason: str = "") -> dict[str, object]:
    return {**found.events[0], "number": number, "limit": limit, "change": change, "reason": reason}


def test_what_is_wrong_stands_among_the_alarms_where_an_area_needs_it(found: Material) -> None:
    """A steel sensor and a pair, one of an area: alarms. A spare sensor: instruments; the broker: changes."""
    wrong = [
        happened(found, "K-91", "sensor steel silent", "fault", "nothing heard"),
        happened(found, "K-92", "pair spare-rh air-rh disagreeing", "fault", "check both"),
        happened(found, "K-93", "sensor spare stuck", "fault", "the same value for 9 h"),
        happened(found, "K-94", "gateway broker away", "fault", "not reachable"),
        happened(found, "K-94", "gateway broker away", "fault over"),
    ]
    told = replace(found, events=[*found.events, *wrong])
    assert [each.number for each in alarms(told)][-2:] == ["K-91", "K-92"]
    assert [each.number for each in alarms(told)][:-2] == [each.number for each in alarms(found)]
    assert [each.number for each in of_other_instruments(told)] == ["K-93"]
    assert [each.number for each in of_the_gateway(told)] == ["K-94"]
    (line,) = section(told, "Instruments").text
    assert line.startswith("K-93 sensor spare stuck: fault 2026-") and line.endswith(". the same value for 9 h")
    rows = section(told, "Changes, starts and stops").rows
    assert [row[1:] for row in rows if "K-9" in row[2]] == [
        ("fault", "K-94 gateway broker away: not reachable"),
        ("fault over", "K-94 gateway broker away"),
    ]  # fmt: skip
    assert "avería terminada" in {row[1] for row in section(told, SPANISH["Changes, starts and stops"], SP).rows}


def test_a_calibration_that_ended_before_the_record_does_is_marked(found: Material) -> None:
    """The day before its end, not the day itself."""
    last = WORDS.day(found.asked.until_ms - 1)
    for due, marked in (
        (WORDS.day(found.asked.until_ms - 86_400_001), True),
        (last, False),
        ("not stated", False),
    ):
        deed = next(each for each in found.deeds if each.kind == Kind.CONFIG_SET)
        made = found.jobsite_of(deed.body)
        sensors = tuple(replace(each, calibration=replace(each.calibration, due=due)) for each in made.sensors)
        told = replace(found, jobsite_of=lambda _, sensors=sensors, made=made: replace(made, sensors=sensors))
        cells = [row[4] for row in section(told, "Instruments").rows]
        assert all(("it ended before the end of this record" in cell) == marked for cell in cells)


def test_wet_hours_are_within_the_time_known(found: Material) -> None:
    """RH at steel above 80 % holds longer than RH of the air, since the steel is colder at dawn."""
    wet = wet_hours(found, "A")
    air, steel = wet["wet by ISO 9223 estimate"], wet["RH at steel above 80 %"]
    assert 0 < air.so_ms < steel.so_ms < steel.known_ms < 47 * H


def test_a_correction_stands_beside_what_it_corrects(found: Material) -> None:
    """Nothing is overwritten; the sling's humidity is beside the sensors of that quarter of an hour."""
    rows = {row[0]: row for row in section(found, "Entries by hand").rows}
    assert "CORRECTED BY M-3" in rows["M-1"][4] and "corrects M-1: misread" in rows["M-3"][4]
    # 20.1/15.0 °C at 1010 hPa, whirled: 58.0 %RH (WMO-No. 8, Annex 4.B, as in tests/test_wet_bulb.py).
    assert "= 58.0 %RH, dew point 11.6 °C" in rows["M-1"][4]
    assert re.search(r"air 16\.\d \(16\.\d to 1[67]\.\d\) °C", rows["M-1"][5])
    assert rows["M-2"][6] == "N/A"  # a blotter needs no instrument


def test_a_products_temperature_stands_beside_its_sensor(found: Material) -> None:
    """Where a probe is named for the area, as here the steel's; else there is none to compare with."""
    body = {"kind": "product temperature", "area": "A", "temperature": "18 °C"}
    entry = record_manual.ByHand(9, DAY0 + 14 * H, DAY0 + 14 * H, body)
    assert record_manual._beside(entry, found, WORDS) == "N/A"
    areas = tuple(replace(each, product_temperature="steel") for each in found.site.areas)
    fitted = replace(found, site=replace(found.site, areas=areas))
    said = record_manual._beside(entry, fitted, WORDS)
    assert re.fullmatch(r"product \d+\.\d \(\d+\.\d to \d+\.\d\) °C", said)
    assert record_manual._beside(entry, fitted, SP).startswith("producto ")


def test_a_failed_check_puts_the_time_before_it_in_question(found: Material) -> None:
    """As found 3.2 %RH off where 2 are allowed: in question since the last good check, here the beginning."""
    (made,) = record_manual.in_question(found)
    assert (made.sensor, made.since_ms, made.check) == ("air-rh", None, "M-4")
    said = "air-rh is in question from the beginning to 2026-06-02 01:00: found out of tolerance (M-4)."
    assert said in record_document.document(found, WORDS).answer


def test_the_tables_never_round_onto_a_limit() -> None:
    """2.96 K below 3 K is not printed as 3.0, nor 0.04 K below nothing as 0.0."""
    kelvin = record_words.Dimension.DIFFERENCE
    assert [WORDS.number(value, kelvin, (3.0,)) for value in (2.94, 2.96, 2.9999, 3.04, 3.0)] == [
        "2.9", "2.96", "2.9999", "3.04", "3.0",
    ]  # fmt: skip
    assert WORDS.number(-0.04, kelvin) == "-0.04" and WORDS.number(None, kelvin) == "–"
    assert Words("en", "UTC", "us").number(3.0, kelvin) == "5.4"


def test_as_of_an_entry_is_the_same_from_tables_and_from_entries(longer: Path, found: Material) -> None:
    """What the writer kept and what is folded again are one record, figure by figure."""
    again = material(longer, ASKED, found.sequence)
    assert again.quarters == found.quarters and again.deeds == found.deeds and again.events == found.events
    assert record_document.document(again, WORDS) == record_document.document(found, WORDS)


def _go_on(home: Path, sequence: int) -> None:
    """Another heartbeat and another act come in."""
    book = Journal(home / "journal.db")
    later = [plain(Kind.HEARTBEAT, DAY0 + 49 * H), plain(Kind.STOPPING, DAY0 + 49 * H, b'{"cause":"asked"}')]
    flow = record_source.Flow()
    reader = record_source.open_reader(home / "journal.db")
    flow.advance(record_source.entries_after(reader, 0), Outcomes())
    reader.close()
    outcomes = Outcomes()
    flow.advance(later, outcomes)
    book.commit(sequence + 1, later, flow.state.events + 1 - len(outcomes.events), outcomes, 0)
    book.close()


@pytest.mark.parametrize(("begin", "until"), [("2027-01-01", None), ("2026-06-01T05:00", "2026-06-01T05:00")])
def test_nothing_to_tell_is_said(begin: str, until: str | None) -> None:
    """Never an empty report."""
    with pytest.raises(NothingToTell, match="the journal has nothing between"):
        record_command.asked_for(begin, until, "America/Chicago", DAY0 + 48 * H, 4)


def test_a_day_alone_is_a_whole_day_of_the_site() -> None:
    """From its midnight to the next, by the site's clock."""
    asked = record_command.asked_for("2026-06-01", "2026-06-01", "America/Chicago", DAY0 + 48 * H, 16)
    assert (asked.from_ms - DAY0, asked.until_ms - DAY0, len(asked.starts)) == (5 * H, 29 * H, 6)


def test_the_hottest_hour_is_in_the_readers_unit(found: Material) -> None:
    """The same hour in °C and in °F, in English and Spanish."""
    titles = {"en": "Coats", "es": "Capas"}
    said = {
        (language, units): section(found, titles[language], Words(language, "UTC", units)).rows[0][-1]
        for language in titles for units in ("si", "us")
    }  # fmt: skip
    si, us = (re.match(r"([\d.]+) (°[CF]) sustained", said["en", units]) for units in ("si", "us"))
    assert si and us and (si[2], us[2]) == ("°C", "°F")
    assert float(us[1]) == pytest.approx(float(si[1]) * 1.8 + 32, abs=0.15)
    assert said["es", "us"].startswith(f"{us[1]} °F durante una hora: mínimo ")


def test_each_shift_has_its_row(found: Material) -> None:
    """Two days with a shift end at 17:30: cut where the record is; what stands in them adds up to the whole."""
    rows = section(found, "Shifts").rows
    assert [row[:2] for row in rows] == [
        ("2026-05-31 19:00", "2026-06-01 17:30"), ("2026-06-01 17:30", "2026-06-02 17:30"),
        ("2026-06-02 17:30", "2026-06-02 18:00"),
    ]  # fmt: skip
    assert "A: blasting 5 h 00 min" in rows[0][2] and "A: priming" in rows[0][2]
    assert [row[7] for row in rows] == ["none", "E-1", "none"]
    assert rows[0][4] == "1 s" and rows[1][4].endswith("min")  # the air was silent in the second
    outside = [row[3] for row in rows]
    assert outside[2] == "never" and outside[1].startswith("A: margin ")
    least = [float(row[5].removesuffix(" K")) for row in rows]
    assert least[1] == min(least) < 3.0 < least[2]
    every = [each.number for each in alarms(found) if each.number.startswith("A-")]
    cut = every.index(rows[1][6].split(" to ")[0])
    assert [row[6] for row in rows] == [
        f"{every[0]} to {every[cut - 1]}", f"{every[cut]} to {every[-1]}", "none",
    ]  # fmt: skip
    assert section(found, "Turnos", Words("es", "America/Chicago")).rows[0][3] == outside[0].replace(
        "never", "nunca"
    )


def test_a_job_without_shift_ends_is_told_by_days(home: Path, found: Material) -> None:
    """From midnight to midnight of the site, also over the night when clocks change."""
    plain_site = replace(found.site, shift_ends=())
    rows = section(replace(found, site=plain_site), "Days").rows
    assert [row[0] for row in rows] == ["2026-05-31 19:00", "2026-06-01 00:00", "2026-06-02 00:00"]
    spring = DAY0 - 85 * 24 * H + 15 * H  # 8 March 2026: 23 hours in Chicago
    begin, end = record_shifts.shift_at(plain_site, spring)
    assert (end - begin, WORDS.moment(begin)) == (23 * H, "2026-03-08 00:00")


def test_a_shift_is_asked_for_by_a_moment_in_it_or_as_the_last(home: Path, tmp_path: Path) -> None:
    """The last is the newest that has ended."""
    for said, name in (("2026-06-01T10:00", "2026-05-31"), ("last", "2026-06-01")):
        out = tmp_path / said[:4]
        assert record_command.run("record", ["--home", str(home), "--shift", said, "--out", str(out)], "") == 0
        assert {path.name.rsplit("-", 1)[0] for path in out.iterdir()} == {f"record-test-{name}"}


# -- the pages ---------------------------------------------------------------------------------------------


def test_the_same_journal_gives_the_same_bytes(longer: Path, body: bytes, pages: bytes) -> None:
    """Through another process, and from a journal that has grown since."""
    assert seal.first_revision(pages) == body
    assert same_first_revision(pages, longer).same


def test_another_journal_does_not_give_the_same(home: Path, pages: bytes, tmp_path: Path) -> None:
    """Fewer entries, a changed page, and a file of another kind, each said as it is."""
    fewer = journal(tmp_path / "fewer", hours=1)
    assert re.fullmatch(r"the journal has \d+ entries, the report \d+", same_first_revision(pages, fewer).words)
    place = pages.index(b"stream\n") + 100
    other = pages[:place] + bytes([pages[place] ^ 1]) + pages[place + 1 :]
    assert "and not the same" in same_first_revision(other, home).words
    assert same_first_revision(b"%PDF-1.7\n%%EOF\n", home).words == "this file does not say which record it is"


def test_pdf_a_is_marked_and_whole(pages: bytes, tmp_path: Path) -> None:
    """PDF/A-2b: identification, output intent, every font embedded, no encryption; qpdf finds no fault."""
    (tmp_path / "r.pdf").write_bytes(pages)
    subprocess.run(["qpdf", "--check", tmp_path / "r.pdf"], check=True, capture_output=True)
    with pikepdf.open(tmp_path / "r.pdf") as pdf:
        xmp = pdf.open_metadata()
        assert (xmp["pdfaid:part"], xmp["pdfaid:conformance"]) == ("2", "B")
        assert pdf.Root.OutputIntents[0].S == "/GTS_PDFA1" and not pdf.is_encrypted
        fonts = [f for page in pdf.pages for f in page.get("/Resources", {}).get("/Font", {}).values()]
        assert fonts and all(_is_embedded(font) for font in fonts)
        assert [str(f.T) for f in pdf.Root.AcroForm.Fields] == ["contractor", "inspector", "owner", "gateway-seal"]


def _is_embedded(font: pikepdf.Object) -> bool:
    below = font.DescendantFonts[0] if "/DescendantFonts" in font else font
    return any(name in below.FontDescriptor for name in ("/FontFile", "/FontFile2", "/FontFile3"))


def test_the_seal_begins_on_a_line_of_its_own(body: bytes, pages: bytes) -> None:
    """ISO 19005-2, 6.1.9: the byte before the first new object is a line end."""
    assert body.endswith(b"%%EOF\n") and pages.startswith(body)
    assert re.match(rb"\d+ 0 obj", pages[len(body) :])


def test_characters_no_font_has_are_replaced_and_declared(found: Material) -> None:
    """A site's name in another script must not cost the report."""
    told = report._printable(record_document.document(found, WORDS), WORDS)
    note = next(row for part in told["sections"] for row in part["rows"] if "north face" in str(row[4:5]))
    assert note[4] == "Dew on the north face, wiped. □"
    assert "replaced by □. (U+6771)" in told["sections"][-1]["text"][-1]


def test_a_table_stops_at_two_thousand_rows(found: Material) -> None:
    """The rest is counted, and is in the CSV file."""
    few = record_document.record_intervals
    many = few.tables(found, WORDS, few_sheets := record_document.sheets(found.site, found.quarters) * 60)
    assert sum(len(each.rows) for each in many) == few.MOST_ROWS
    assert len(few_sheets) * len(ASKED.starts) > few.MOST_ROWS
    assert any("further rows are in the CSV file" in said for each in many for said in each.text)


def test_every_fixed_text_has_its_spanish(found: Material, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is the same in both languages stands in the table all the same."""
    asked: set[str] = set()
    real = Words.__call__

    def heard(self: Words, text: str, **parts: object) -> str:
        asked.add(text)
        return real(self, text, **parts)

    monkeypatch.setattr(Words, "__call__", heard)
    words = Words("es", "America/Chicago")
    report._printable(record_document.document(found, words), words)
    data = {"salt dryer", "pot", "", "N/A"}
    assert sorted(asked - SPANISH.keys() - data) == []
    assert section(found, "Exposiciones", words).rows[0][3] == "curado"


# -- the seal ----------------------------------------------------------------------------------------------


def looked(pdf: bytes, home: Path) -> seal.Sealing:
    return seal.look(pdf, seal_key(home).authority)


def test_an_untouched_report_holds(pages: bytes, home: Path, tmp_path: Path) -> None:
    """By our check, and by poppler's."""
    assert looked(pages, home) == seal.Sealing(True, "sealed by this gateway and unchanged")
    (tmp_path / "r.pdf").write_bytes(pages)
    said = subprocess.run(["pdfsig", tmp_path / "r.pdf"], capture_output=True, text=True, check=False).stdout
    assert "Signature is Valid." in said and "Total document signed" in said


def pdfsig(pages: bytes, tmp_path: Path) -> str:
    """What poppler says of the signatures."""
    (tmp_path / "signed.pdf").write_bytes(pages)
    done = subprocess.run(["pdfsig", tmp_path / "signed.pdf"], capture_output=True, text=True, check=False)
    return done.stdout


def test_one_changed_byte_breaks_it(pages: bytes, home: Path, tmp_path: Path) -> None:
    """Anywhere in the report; poppler says so as well."""
    for place in (len(pages) // 3, len(pages) // 2):
        broken = bytearray(pages)
        broken[place] ^= 1
        assert not looked(bytes(broken), home).holds
        assert "Signature is Valid." not in pdfsig(bytes(broken), tmp_path)


def test_what_follows_the_seal_breaks_it(pages: bytes, home: Path) -> None:
    """Bytes after the end, a turned page, and a seal that was cut off."""
    assert "bytes follow" in looked(pages + b"\n% more\n", home).words
    assert looked(seal.first_revision(pages), home).words.startswith("not sealed")
    assert "changed after sealing" in looked(turned(pages), home).words


def turned(pages: bytes) -> bytes:
    from pyhanko.pdf_utils import generic
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

    writer = IncrementalPdfFileWriter(io.BytesIO(pages))
    page = writer.root["/Pages"]["/Kids"][0].get_object()
    page["/Rotate"] = generic.NumberObject(90)
    writer.update_container(page)
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def signed(pages: bytes, field: str, home: Path, placed: tuple[str, ...] = seal.SIGNERS) -> bytes:
    """Sign as a person with a key of their own. placed: the fields that are there already."""
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import fields, signers

    files = seal_key(home)
    signer = signers.SimpleSigner.load(str(files.key), str(files.certificate))
    writer = IncrementalPdfFileWriter(io.BytesIO(pages))
    spec = None if field in placed else fields.SigFieldSpec(field, on_page=0, box=(0, 0, 10, 10))
    how = signers.PdfSignatureMetadata(field_name=field, md_algorithm="sha256")
    return signers.sign_pdf(writer, how, signer, new_field_spec=spec).getvalue()


def test_countersignatures_in_their_fields_are_permitted(pages: bytes, home: Path, tmp_path: Path) -> None:
    """Two persons sign; the seal still holds and says who; a byte more and it does not."""
    (tmp_path / "anna").mkdir()
    twice = signed(signed(pages, "inspector", tmp_path / "anna"), "owner", tmp_path / "anna")
    said = looked(twice, home)
    assert said.holds and [where for where, _ in said.persons] == ["inspector", "owner"]
    assert "anna in the field inspector" in said.words
    assert seal.first_revision(twice) == seal.first_revision(pages)
    assert pdfsig(twice, tmp_path).count("Signature is Valid.") == 3
    subprocess.run(["qpdf", "--check", tmp_path / "signed.pdf"], check=True, capture_output=True)
    broken = twice[: len(pages) // 2] + b"!" + twice[len(pages) // 2 + 1 :]
    assert not looked(broken, home).holds and "Signature is Valid." not in pdfsig(broken, tmp_path)
    assert not looked(twice + b" ", home).holds


def test_signing_elsewhere_is_a_change(pages: bytes, home: Path, tmp_path: Path) -> None:
    """A new field was not placed beforehand."""
    (tmp_path / "eve").mkdir()
    assert not looked(signed(pages, "approval", tmp_path / "eve"), home).holds


def test_another_gateways_seal_is_told_apart(pages: bytes, tmp_path: Path) -> None:
    """Whole, but not by the authority that was handed over."""
    (tmp_path / "other").mkdir()
    said = looked(pages, tmp_path / "other")
    assert not said.holds and said.words.startswith("sealed by another gateway")


def test_verify_says_seal_authority_and_journal(
    pages: bytes, home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """0 when all holds, 1 when the file or the journal says otherwise, 2 when it cannot be told."""
    file = tmp_path / "r.pdf"
    file.write_bytes(pages)
    assert proof_command.run("verify", [str(file), "--home", str(home), "--rebuild"], "") == 0
    said = capsys.readouterr().out
    assert "sealed by this gateway and unchanged" in said and fingerprint(seal_key(home).authority) in said
    assert re.search(r"made again from \d+ entries: the same to the last byte", said)
    file.write_bytes(pages + b" ")
    assert proof_command.run("verify", [str(file), "--home", str(home)], "") == 1
    assert "not proven by this seal" in capsys.readouterr().out
    assert proof_command.run("verify", [str(tmp_path / "none.pdf"), "--home", str(home)], "") == 2


def test_from_a_sealed_report_to_one_reading(home: Path, pages: bytes, tmp_path: Path) -> None:
    """As READ-ME.txt in the zip says it: the code at the foot, a line of readings.csv, its entry."""
    (tmp_path / "r.pdf").write_bytes(pages)
    text = subprocess.run(
        ["pdftotext", tmp_path / "r.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    codes = set(re.findall(r"Record code (\d+-[0-9a-f]{16})", text))
    assert len(codes) == 1 and len(re.findall(r"Record code \d", text)) == text.count("page 1 of") * _pages(pages)
    out = tmp_path / "record.zip"
    record_zip.write(home / "journal.db", out, record_zip.Wanted(), DAY0, lambda *_: None)
    with zipfile.ZipFile(out) as record:
        record.extract("verify_record.py", tmp_path)
        lines = list(csv.DictReader(io.StringIO(record.read("readings.csv").decode())))
        assert "--code CODE-OF-THE-REPORT --show NUMBER" in record.read("READ-ME.txt").decode()
    line = next(each for each in lines if each["sensor"] == "steel" and "T13:00" in each["measured_utc"])
    words = [tmp_path / "verify_record.py", out, "--code", codes.pop(), "--show", line["entry"]]
    done = subprocess.run([sys.executable, "-I", *words], capture_output=True, text=True, check=True, cwd="/")
    assert f"PROVEN: entries 1 to {record_source.as_of(home)[0]}: nothing was changed" in done.stdout
    last = done.stdout.splitlines()[-1]
    assert last.startswith(f"entry {line['entry']}: message at ") and f'"v": {float(line["value"])}' in last


def _pages(pdf: bytes) -> int:
    with pikepdf.open(io.BytesIO(pdf)) as found:
        return len(found.pages)


# -- the data ----------------------------------------------------------------------------------------------


def test_csv_senml_and_parquet_hold_the_same_figures(found: Material) -> None:
    """One row for each place and interval; what was not known is empty, absent, null."""
    every = list(record_files.rows(found))
    table = list(csv.DictReader(io.StringIO(record_files.as_csv(every))))
    places = {(row["subject"], row["quantity"], row["place"]) for row in table}
    assert len(table) == len(places) * len(ASKED.starts)
    (dew,) = [r for r in table if r["quantity"] == "dew_point_margin" and "coldest" in r["place"]
              and r["from_utc"] == "2026-06-01T13:00:00Z"]  # fmt: skip
    pack = json.loads(record_files.as_senml(found, every))
    (same,) = [
        r for r in pack if r.get("t") == 13 * 3600.0 and "dew_point_margin" in r["n"] and "coldest" in r["n"]
    ]
    assert float(dew["mean"]) == same["v"] and (dew["unit"], same["u"]) == ("K", "K")
    assert float(dew["low"]) <= float(dew["mean"]) <= float(dew["high"])
    rows = pyarrow.parquet.read_table(io.BytesIO(parquet.table(every))).to_pylist()
    assert [("" if r["mean"] is None else str(r["mean"])) for r in rows] == [r["mean"] for r in table]


def test_the_command_writes_four_files(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Pages and data beside each other, named after the record."""
    words = ["--home", str(home), "--from", "2026-06-01", "--until", "2026-06-01", "--out", str(tmp_path / "out")]
    assert record_command.run("record", words, "Advisory only") == 0
    names = sorted(path.suffix for path in (tmp_path / "out").iterdir())
    assert names == [".csv", ".parquet", ".pdf", ".senml"]
    assert len(capsys.readouterr().out.splitlines()) == 4
    assert record_command.run("record", [*words[:3], "2031-01-01", "--out", str(tmp_path)], "") == 1
    assert "the journal has nothing between 2031-01-01" in capsys.readouterr().err
