"""The certificate of a dryer test: PDF/A, sealed, with room for three persons, and held by the record."""

from __future__ import annotations

import re
import shutil
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path

import pikepdf
import pytest

from gateway import dryer_command, dryer_file, proof_command
from gateway.adapters import dryer_proof, seal
from gateway.adapters.seal_key import seal_key
from gateway.dryer_check import check
from gateway.dryer_document import Made, Recorded, Tongue, document
from gateway.dryer_past import Kept, kept
from gateway.dryer_picture import GapBar, svg
from gateway.dryer_trend import below_outlet_k, loss_a_rental, rows, sentence
from gateway.dryer_unit import Test
from gateway.record_document import Document
from gateway.web.tongue import translated
from tests.faults.kill_run import prepare
from tests.make_yard import YARD
from tests.record_story import jobsite
from tests.test_record import signed

CRITERIA = ("--criteria", "criteria.toml")


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A yard with a home beside its files, both tests kept and certified."""
    folder = tmp_path_factory.mktemp("yard")
    for path in YARD.glob("*"):
        shutil.copy(path, folder / path.name)
    prepare(folder / "home", jobsite())
    assert certify(folder, "outgoing") == 0
    assert certify(folder, "return") == 1
    return folder


def certify(folder: Path, test: str, pdf: str = "", *words: str) -> int:
    files = [str(folder / name) for name in ("D-0417.toml", f"{test}.toml")]
    more = [
        "--criteria",
        str(folder / "criteria.toml"),
        "--keep",
        "--home",
        str(folder / "home"),
        "--who",
        "clerk",
    ]
    out = ["--pdf", str(folder / (pdf or f"{test}.pdf"))]
    return dryer_command.run("dryer", ["check", *files, *more, *out, *words], "")


def verified(
    folder: Path, home: Path, capsys: pytest.CaptureFixture[str], name: str = "return.pdf"
) -> tuple[int, str]:
    capsys.readouterr()
    code = proof_command.run("verify", [str(folder / name), "--home", str(home)], "")
    return code, capsys.readouterr().out


def test_it_is_pdf_a_with_all_it_needs(yard: Path) -> None:
    """ISO 19005-2, level B, after the seal too: intent, fonts inside, nothing that runs; two pages."""
    with pikepdf.open(yard / "return.pdf") as pdf:
        with pdf.open_metadata() as said:
            assert (said["pdfaid:part"], said["pdfaid:conformance"]) == ("2", "B")
        assert pdf.Root.OutputIntents[0].S == "/GTS_PDFA1"
        assert len(pdf.pages) == 2
        assert "/OpenAction" not in pdf.Root and "/JavaScript" not in pdf.Root.get("/Names", {})
        fonts = [font for page in pdf.pages for font in page.Resources.Font.values()]
        assert fonts and all(_is_embedded(font) for font in fonts)
        fields = {str(field.T): field for field in pdf.Root.AcroForm.Fields}
    assert fields.keys() == {"yard", "customer", "owner", "gateway-seal"}


def _is_embedded(font: pikepdf.Object) -> bool:
    below = font.DescendantFonts[0] if "/DescendantFonts" in font else font
    return any(name in below.FontDescriptor for name in ("/FontFile", "/FontFile2", "/FontFile3"))


def test_seal_and_record_hold_together(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Verify says both; the entry is proven under a signed head, and holds who, what and the files' hashes."""
    code, said = verified(yard, yard / "home", capsys)
    assert code == 0, said
    assert "sealed by this gateway and unchanged" in said
    number = re.search(r"entry (\d+) of the record is the test of this certificate", said)
    assert number
    assert proof_command.run("prove", [number[1], "--home", str(yard / "home")], "") == 0
    proven = capsys.readouterr().err
    assert "PROVEN: entry" in proven and '"dryer_tested"' in proven and '"fail"' in proven and "clerk" in proven
    files = dryer_proof.hashes({"register": (yard / "D-0417.toml").read_text()})
    assert files[0][1] in proven


def test_a_simulated_jobsite_s_certificate_says_so(yard: Path, tmp_path: Path) -> None:
    """Beside the jobsite's name, where the certificate says which record holds it; a real one is named alone."""
    for simulated in (True, False):
        home = tmp_path / f"home-{simulated}"
        prepare(home, replace(jobsite(), simulated=simulated))
        words = ["check", *(str(yard / name) for name in ("D-0417.toml", "return.toml")), "--home", str(home)]
        assert dryer_command.run("dryer", [*words, "--who", "clerk"], "") == 3  # without criteria
        files = {"register": "D-0417.toml", "test": "return.toml", "readings": "return.csv"}
        found = dryer_proof.hashes({what: written_in(yard, name) for what, name in files.items()})
        recorded = dryer_proof.find(home, dryer_proof.as_words(found))
        assert recorded is not None
        assert recorded.jobsite == jobsite().label + ", SIMULATED" * simulated


def written_in(folder: Path, name: str) -> str:
    return (folder / name).read_text()


def test_the_same_files_are_entered_once(yard: Path) -> None:
    """Made again, the certificate names the same entry, and its history keeps one line of it."""
    first = seal.first_revision((yard / "return.pdf").read_bytes())
    assert certify(yard, "return", "again.pdf") == 1
    assert seal.first_revision((yard / "again.pdf").read_bytes()) == first
    assert len((yard / "D-0417.tests.jsonl").read_text().splitlines()) == 2


def test_another_record_does_not_hold_it(yard: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A record with other entries at that place, or none: 1, and in words."""
    prepare(tmp_path / "home", jobsite())
    shutil.copytree(yard / "home" / "seal", tmp_path / "home" / "seal")
    code, said = verified(yard, tmp_path / "home", capsys)
    assert code == 1 and "of this record is not the test of this certificate" in said
    assert "sealed by this gateway and unchanged" in said  # the seal alone would have passed


def test_a_record_changed_before_its_entry_does_not_hold_it(
    yard: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The entry itself is there, word for word; the root over what came before it is another."""
    shutil.copytree(yard / "home", tmp_path / "home")
    with closing(sqlite3.connect(tmp_path / "home" / "journal.db")) as db, db:
        assert db.execute("UPDATE entries SET entry = CAST(entry || x'20' AS BLOB) WHERE seq = 1").rowcount == 1
    code, said = verified(yard, tmp_path / "home", capsys)
    assert code == 1 and "are not those the certificate was made from" in said


def test_a_changed_certificate_is_told(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One byte in the middle."""
    broken = bytearray((yard / "return.pdf").read_bytes())
    broken[len(broken) // 3] ^= 1
    (yard / "broken.pdf").write_bytes(bytes(broken))
    code, said = verified(yard, yard / "home", capsys, "broken.pdf")
    assert code != 0 and "not proven by this seal" in said


def test_yard_and_customer_sign_in_their_fields_only(yard: Path, tmp_path: Path) -> None:
    """Permitted where a field was placed, a change anywhere else."""
    (tmp_path / "jo").mkdir()
    person = partial(signed, home=tmp_path / "jo", placed=seal.OF_A_DRYER)
    pages, authority = (yard / "return.pdf").read_bytes(), seal_key(yard / "home").authority
    twice = person(person(pages, "yard"), "customer")
    said = seal.look(twice, authority)
    assert said.holds and [where for where, _ in said.persons] == ["yard", "customer"]
    assert not seal.look(person(pages, "approval"), authority).holds


def test_without_a_home_it_says_that_nothing_holds_it(yard: Path) -> None:
    """Plain PDF/A for those who run no gateway: not sealed, and it says so on its face."""
    names = [str(yard / name) for name in ("D-0417.toml", "return.toml")]
    more = ["--criteria", str(yard / "criteria.toml"), "--pdf", str(yard / "plain.pdf")]
    assert dryer_command.run("dryer", ["check", *names, *more], "") == 1
    keywords = seal.keywords((yard / "plain.pdf").read_bytes())
    assert "entry" not in keywords and "register=" in keywords
    assert not seal.look((yard / "plain.pdf").read_bytes(), seal_key(yard / "home").authority).holds
    assert dryer_proof.checked((yard / "plain.pdf").read_bytes(), yard / "home") is None


def test_a_home_that_is_none_is_refused(yard: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And no certificate is written."""
    names = [str(yard / name) for name in ("D-0417.toml", "return.toml")]
    more = ["--home", str(tmp_path), "--pdf", str(tmp_path / "no.pdf")]
    assert dryer_command.run("dryer", ["check", *names, *more], "") == 2
    assert "no journal here" in capsys.readouterr().err
    assert not (tmp_path / "no.pdf").exists()


# -- trend -------------------------------------------------------------------------------------------------


def kept_of(*beds: tuple[str, float | None], u: float | None) -> list[Kept]:
    return [Kept(f"2026-05-{n + 1:02}", kind, "pass", bed, u, None) for n, (kind, bed) in enumerate(beds)]


def test_what_is_lost_a_rental_is_the_slope_over_the_returns() -> None:
    """An outgoing test after a return belongs to the same count of rentals. CoolProp: 50 % is 12.00 K below."""
    assert below_outlet_k(0.5) == pytest.approx(12.00, abs=0.01)
    beds = (("outgoing", 0.50), ("return", 0.52), ("outgoing", 0.52), ("return", 0.54), ("return", 0.56))
    loss = loss_a_rental(kept_of(*beds, u=0.005))
    assert loss is not None and loss.rentals == 3
    assert loss.k == pytest.approx((12.00 - 10.11) / 3, abs=0.02)
    # 1 %RH is about 0.32 K there: 2 * hypot(0.005 * 33, 0.005 * 31) / 3
    assert loss.expanded_u == pytest.approx(0.15, abs=0.02)
    assert sentence(kept_of(*beds, u=0.005)).startswith(
        "This dryer loses 0.6 ± 0.1 K below outlet a rental, over 3 rentals"
    )


@pytest.mark.parametrize(
    ("beds", "u", "said"),
    [
        ((("outgoing", 0.50), ("return", 0.505)), 0.005, "No change beyond the uncertainty: less by 0.2 ± 0.5 K"),
        ((("outgoing", 0.60), ("return", 0.50)), 0.005, "gained 3.1 ± 0.4 K below outlet a rental, over 1 rental"),
        (
            (("outgoing", 0.50), ("return", 0.60)),
            None,
            "loses 3.1 K below outlet a rental, uncertainty not stated",
        ),
        ((("outgoing", 0.50), ("outgoing", 0.60)), 0.005, "No rental lies between"),
        ((("outgoing", None), ("return", 0.60)), 0.005, "No rental lies between"),
        ((), 0.005, "No rental lies between"),
    ],
)
def test_the_trend_says_no_more_than_it_knows(
    beds: tuple[tuple[str, float | None], ...], u: float | None, said: str
) -> None:
    """Within the uncertainty it is no change; better than before asks whether it was refilled."""
    assert said in sentence(kept_of(*beds, u=u))


def test_a_row_says_what_is_not_known() -> None:
    """A test without a bed's humidity stays in the table."""
    assert rows(kept_of(("return", None), u=None)) == [
        ("2026-05-01", "return", "pass", "not known", "not known", "not known")
    ]


# -- picture -----------------------------------------------------------------------------------------------


def test_the_gap_is_drawn_to_scale() -> None:
    """From 30 to 40 °C on whole fives: the bar's ends, its soft edge and its notch in their places."""
    drawn = svg([GapBar("Outlet", 32.0, 37.0, 0.5, 33.0, "a < b")])
    at = {30.0: 150.0, 40.0: 492.0}
    wide = (at[40.0] - at[30.0]) / 10.0
    x = {c: f"{150.0 + (c - 30.0) * wide:.1f}" for c in (31.5, 32.0, 33.0, 37.0)}
    assert f'<rect x="{x[32.0]}" y="17.0" width="{5.0 * wide:.1f}"' in drawn
    assert f'<rect x="{x[31.5]}" y="17.0" width="{wide:.1f}"' in drawn
    assert f'<line x1="{x[33.0]}" x2="{x[33.0]}"' in drawn
    assert [f">{c} °C<" in drawn for c in (30, 35, 40, 45)] == [True, True, True, False]
    assert "a &lt; b" in drawn


def test_the_picture_has_the_dryer_as_it_went_out(yard: Path) -> None:
    """On the return's certificate three bars, on the outgoing one two."""
    from gateway.dryer_check import check
    from gateway.dryer_command import _history
    from gateway.dryer_document import _notch, document

    unit = dryer_file.unit((yard / "D-0417.toml").read_text())
    asked = dryer_file.criteria((yard / "criteria.toml").read_text())
    for name, bars in (("outgoing", 2), ("return", 3)):
        said = (yard / f"{name}.toml").read_text()
        test = dryer_file.read_test(said, unit, (yard / f"{name}.csv").read_text())
        verdict = check(unit, asked, test)
        made = document(unit, test, verdict, _history(yard / "D-0417.toml"))
        assert _notch(verdict) == pytest.approx(verdict.figures["inlet_temperature"].value - 6.0)
        (picture,) = made.sections[0].pictures
        assert picture.count('font-weight="bold"') == bars
        assert picture.count("polygon") == 1  # the notch: what the owner asks below the inlet
        assert made.calm is (name == "outgoing")


def written(file: str) -> str:
    return (YARD / file).read_text()


def spanish(test: Test, history: Sequence[Kept] = (), recorded: Recorded | None = None) -> Document:
    unit, asked = dryer_file.unit(written("D-0417.toml")), dryer_file.criteria(written("criteria.toml"))
    made = Made((("register", "a"), ("rental's record", "b")), "words", recorded)
    say = Tongue("es", partial(translated, language="es"))
    return document(unit, test, check(unit, asked, test), history, Test(test.facts, test.rows), made, say)


def texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for each in value.values():
            yield from texts(each)
    elif isinstance(value, list | tuple):
        for each in value:
            yield from texts(each)


ENGLISH = re.compile(r"\b(the|of|is|was|were|not|with|and|at|below|above|test|what|which|each|hours|signed)\b")


def test_in_spanish_nothing_of_the_programs_own_stays_english() -> None:
    """All sections, the sentences with their figures, and what persons wrote as they wrote it."""
    unit = dryer_file.unit(written("D-0417.toml"))
    then, now = (dryer_file.read_test(written(f"{name}.toml"), unit, written(f"{name}.csv"))
                 for name in ("outgoing", "return"))  # fmt: skip
    asked = dryer_file.criteria(written("criteria.toml"))
    history = [kept(then, check(unit, asked, then))]
    bare = replace(now, u={})
    forbidden = replace(now, facts=replace(now.facts, relief_valve="dented"))
    entered = Recorded("Tank 7", 9, "ff" * 32, 0)
    for test, past, recorded in (
        (now, history, entered),
        (then, (), None),
        (bare, history, None),
        (forbidden, (), None),
    ):
        found = spanish(test, past, recorded)
        said = [
            each for each in texts(asdict(found)) if not each.startswith(("<svg", "dewgate dryer check; files"))
        ]
        said = [each for each in said if "invented" not in each and "simulated" not in each]  # a clause, a name
        assert [each for each in said if ENGLISH.search(each)] == []
    whole = spanish(now, history, entered)
    assert (whole.title, whole.answer_title) == ("Comprobación de secador", "Veredicto: NO APTO")
    assert ("Alquiler R-2206", "customer 14 (simulated), 2026-05-04 a 2026-06-15, 212 h; nivel de sal a la salida "
            "100 %, a la vuelta 55 %; 2 fotos") in whole.facts  # fmt: skip
    assert "no apto: humedad del gas de salida 61.4 ± 1.7 %RH; como máximo 58 %RH" in whole.answer
    assert "Salida cuando salió" in whole.sections[0].pictures[0]
    assert (
        "Este secador pierde 3.7 ± 0.8 K bajo la salida por alquiler, sobre 1 alquiler"
        in whole.sections[0].text[-1]
    )
    assert spanish(forbidden).answer[1] == "válvula de alivio: dented."


def test_a_spanish_certificate_is_the_same_test_of_the_record(
    yard: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same files are entered once; its seal holds, and what `verify` looks for is not translated."""
    assert certify(yard, "return", "es.pdf", "--language", "es") == 1
    code, said = verified(yard, yard / "home", capsys, "es.pdf")
    assert code == 0, said
    with pikepdf.open(yard / "es.pdf") as pdf, pikepdf.open(yard / "return.pdf") as other:
        assert pdf.Root.Lang == "es"
        with pdf.open_metadata() as one, other.open_metadata() as two:
            assert one["pdf:Keywords"] == two["pdf:Keywords"]
