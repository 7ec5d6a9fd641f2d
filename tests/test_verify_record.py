"""The attack table: what the single-file verifier finds, and what it honestly cannot, on real exported files.

The verifier runs as the sceptic would run it: unpacked from the record itself, by an isolated Python, on its own.
"""

from __future__ import annotations

import json
import re
import shutil
import struct
import subprocess
import sys
import zipfile
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from gateway import entry, heads, tree
from gateway.adapters import record_zip
from gateway.adapters.heads import HeadWriter
from gateway.adapters.journal import Journal, pack_oldest
from gateway.adapters.signing import NEXT, Keys, write_new
from gateway.entry import Kind
from gateway.flow_state import Outcomes, State
from gateway.heads import Signed
from tests.sites import T0

ALL = record_zip.Wanted()  # no range
Change = Callable[[dict[str, bytes]], None]
EACH = 100  # entries between two heads


@dataclass
class Made:
    """A journal's home, its export, its heads, and what others kept of them: an earlier one, and the newest."""

    home: Path
    zip: Path
    heads: list[Signed]
    kept: dict[str, list[str]]


def honest(count: int) -> list[bytes]:
    return [entry.plain(Kind.HEARTBEAT, T0 + n, b"%d" % n) for n in range(1, count + 1)]


def make(home: Path, entries: list[bytes], each: int = EACH, wanted: record_zip.Wanted = ALL) -> Made:
    """Write a journal as the writer does, a head after every `each` entries, and export it."""
    state, signed = State(), list[Signed]()
    with closing(Journal(home / "journal.db")) as book:
        writer = HeadWriter(home, None)
        for first in range(0, len(entries), each):
            batch = entries[first : first + each]
            for one in batch:
                tree.append(state.peaks, one)
            whole = len(batch) == each
            head = writer.due(state, T0 + len(signed) * 600_000, None, ending=False) if whole else None
            book.commit(first + 1, batch, 1, Outcomes(), 0, None, head)
            writer.written(head)
            signed += [head] if head else []
        while packed := pack_oldest(book.path):
            book.seal(packed)
    out = home / "record.zip"
    record_zip.write(home / "journal.db", out, wanted, T0, lambda *_: None)
    return Made(home, out, signed, keep(home, signed))


def keep(home: Path, signed: list[Signed]) -> dict[str, list[str]]:
    """Keep two heads as the mails they came in, their long line broken as mail programs do."""
    kept: dict[str, list[str]] = {"nothing": []}
    for name, each in (("an earlier head", signed[len(signed) // 2 - 1]), ("the newest head", signed[-1])):
        path = home / f"{name}.txt"
        line = each.as_text()
        path.write_text(f"> Keep this message.\n{line[:90]}\r\n{line[90:400]}\n{line[400:]}\nRecord {each.code}\n")
        kept[name] = ["--head", str(path)]
    return kept


def big_record(folder: Path, count: int, each: int) -> Path:
    """Write a record of many small entries without a journal, a head after every `each` and after the last."""
    writer, state, lines = HeadWriter(folder, None), State(), list[str]()
    blocks, block = list[record_zip.Block](), list[bytes]()
    with zipfile.ZipFile(folder / "big.zip", "w", zipfile.ZIP_DEFLATED, compresslevel=1) as to:
        for number, made in enumerate((entry.plain(Kind.HEARTBEAT, T0 + n) for n in range(count)), 1):
            tree.append(state.peaks, made)
            block.append(made)
            if (number % each == 0 or number == count) and (head := writer.due(state, T0, None, ending=True)):
                writer.written(head)
                lines.append(head.as_text() + "\n")
            if number % tree.SEAL == 0 or number == count:
                blocks.append(record_zip.put(to, len(blocks), block))
                block = []
        to.writestr("heads.jsonl", "".join(lines))
        to.writestr("record.json", json.dumps({"blocks": blocks}))
        to.write(record_zip.verify_record.__file__, "verify_record.py")
    (folder / "last.txt").write_text(lines[-1])
    return folder / "big.zip"


def check(file: Path, *words: str) -> tuple[int, str]:
    """Unpack the verifier from the record and run it: no dewgate on its path."""
    program = file.parent / "verify_record.py"
    with zipfile.ZipFile(file) as record:
        program.write_bytes(record.read("verify_record.py"))
    done = subprocess.run(
        [sys.executable, "-I", program, file, *words], capture_output=True, text=True, cwd="/", check=False
    )
    assert done.stderr == "", done.stderr
    return done.returncode, done.stdout


def rewritten(made: Made, change: Change) -> Path:
    """Return a copy of the record as an outsider changes it, who has no key."""
    with zipfile.ZipFile(made.zip) as record:
        files = {name: record.read(name) for name in record.namelist()}
    change(files)
    out = made.zip.with_name("changed.zip")
    with zipfile.ZipFile(out, "w") as record:
        for name, body in files.items():
            record.writestr(name, body)
    return out


def of_entries(act: Callable[[list[bytes]], None], heads_left: int | None = None) -> Change:
    """An outsider's change of the (one) file of entries, everything that counts them made to fit."""

    def change(files: dict[str, bytes]) -> None:
        name = next(each for each in files if each.startswith("entries/"))
        (count,) = struct.unpack_from(">I", files[name])
        lengths = struct.unpack_from(f">{count}I", files[name], 4)
        at, entries = 4 + 4 * count, []
        for length in lengths:
            entries.append(files[name][at : at + length])
            at += length
        act(entries)
        files[name] = struct.pack(f">{len(entries) + 1}I", len(entries), *map(len, entries)) + b"".join(entries)
        about = json.loads(files["record.json"])
        about["blocks"][0]["count"] = len(entries)
        files["record.json"] = json.dumps(about).encode()
        files["heads.jsonl"] = b"".join(files["heads.jsonl"].splitlines(keepends=True)[:heads_left])

    return change


def of_heads(act: Callable[[list[bytes]], None]) -> Change:
    def change(files: dict[str, bytes]) -> None:
        lines = files["heads.jsonl"].splitlines(keepends=True)
        act(lines)
        files["heads.jsonl"] = b"".join(lines)

    return change


def swap(entries: list[bytes]) -> None:
    entries[549], entries[550] = entries[550], entries[549]


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """Six heads over 600 entries, and 30 entries after them."""
    return make(tmp_path_factory.mktemp("honest"), honest(630))


MISMATCH = "entries 501 to 600 do not match head H6"
OUTSIDER = [
    ("changes an entry", of_entries(lambda e: e.__setitem__(549, e[549] + b"!")), MISMATCH),
    ("removes an entry", of_entries(lambda e: e.pop(549)), MISMATCH),
    ("inserts an entry", of_entries(lambda e: e.insert(549, b"new entry.")), MISMATCH),
    ("swaps two entries", of_entries(swap), MISMATCH),
    (
        "cuts the beginning",
        of_entries(lambda e: e.__delitem__(slice(100))),
        "entries 1 to 100 do not match head H1",
    ),
    ("cuts the end", of_entries(lambda e: e.__delitem__(slice(550, None))), "entries 551 to 600 are missing"),
    ("removes a head", of_heads(lambda h: h.__delitem__(3)), "head 4 is missing, after it comes head 5"),
    ("removes the first head", of_heads(lambda h: h.__delitem__(0)), "head 1 is missing, after it comes head 2"),
    ("swaps two heads", of_heads(lambda h: h.insert(2, h.pop(3))), "head 3 is missing, after it comes head 4"),
]


@pytest.mark.parametrize(("change", "found"), [each[1:] for each in OUTSIDER], ids=[each[0] for each in OUTSIDER])
def test_what_an_outsider_changes_is_found_with_nothing_kept(record: Made, change: Change, found: str) -> None:
    """The record alone tells, by the first bad range."""
    code, said = check(rewritten(record, change))
    assert code == 1 and f"WRONG: {found}" in said
    assert "\nPROVEN" not in said


def test_an_untouched_record_is_proven_up_to_what_is_held(record: Made) -> None:
    """With nothing kept, it agrees with itself; with a head, up to that head; and what is not proven is said."""
    key = heads.fingerprint(Keys(record.home).public)
    code, said = check(record.zip)
    assert code == 0
    assert "PROVEN: entries 1 to 600 agree with all heads up to head H6-600-" in said
    assert "NOT PROVEN: that who has the key did not rewrite entries 1 to 600" in said
    assert "NOT PROVEN: entries 601 to 630: no head covers them" in said
    assert "NOT PROVEN: whose key it is" in said and "removed since" not in said
    code, said = check(record.zip, "--key", key, *record.kept["an earlier head"])
    assert code == 0
    assert (
        "PROVEN: entries 1 to 300: nothing was changed, added or removed since the head or code that you hold"
        in said
    )
    assert "did not rewrite entries 301 to 600" in said and "whose key" not in said
    hours = re.search(r"the newest head is ([\d.]+) h older than the clock here", said)
    assert hours and float(hours[1]) > 24  # of 2026 at the latest: the clock shows that something is missing
    code, said = check(record.zip, "--code", record.heads[5].code, "--show", "150")
    assert code == 0 and "PROVEN: entries 1 to 600: nothing" in said
    assert f"entry 150: heartbeat at {T0 + 150} ms: 150" in said
    # The code at the foot of a report is that of an entry, not of a head.
    code, said = check(record.zip, "--code", "620-" + root_at(620)[:16])
    assert code == 0 and "PROVEN: entries 1 to 620: nothing" in said
    code, said = check(record.zip, "--code", "620-" + "0" * 16)
    assert code == 1 and "are not those of the code 620-0" in said


def root_at(size: int) -> str:
    """The root over the first entries of the honest record."""
    peaks: list[tuple[int, bytes]] = []
    for each in honest(size):
        tree.append(peaks, each)
    return tree.root(peaks).hex()


def resigned(made: Made, path: Path, entries: list[bytes]) -> Path:
    """Return what the holder of the key exports after writing all of it anew."""
    shutil.copytree(made.home / "keys", path / "keys")
    return make(path, entries).zip


def changed(number: int) -> list[bytes]:
    entries = honest(630)
    entries[number - 1] = entry.plain(Kind.HEARTBEAT, T0 + number, b"a better value")
    return entries


KEY_HOLDER = [
    ("rewrites before the earlier head", changed(150), {"an earlier head", "the newest head"}),
    ("rewrites after the earlier head", changed(450), {"the newest head"}),
    ("cuts the tail and its heads", honest(500), {"the newest head"}),
]


@pytest.mark.parametrize("kept", ["nothing", "an earlier head", "the newest head"])
@pytest.mark.parametrize(("entries", "finders"), [e[1:] for e in KEY_HOLDER], ids=[e[0] for e in KEY_HOLDER])
def test_what_the_key_holder_rewrites_is_found_by_who_holds_a_later_head(
    record: Made, tmp_path: Path, entries: list[bytes], finders: set[str], kept: str
) -> None:
    """The honest table: without a head from after the change nobody can tell, nor does the verifier say so."""
    out = resigned(record, tmp_path, entries)
    code, said = check(out, *record.kept[kept])
    assert code == (1 if kept in finders else 0), said
    if code == 0:
        assert "NOT PROVEN: that who has the key did not rewrite entries" in said
    elif len(entries) < 630:
        assert "this record ends at entry 500: its end was cut off" in said
    else:
        assert re.search(r"WRONG: entries \d+ to \d+ are not those of head H\d", said)


@pytest.mark.parametrize(("kept", "code"), [("nothing", 0), ("an earlier head", 0), ("the newest head", 1)])
def test_an_outsider_who_cuts_tail_and_head_is_found_by_the_newest_head_only(
    record: Made, kept: str, code: int
) -> None:
    """Nothing in the rest points to what is gone; a newer head somebody holds does, and so does its code."""
    out = rewritten(record, of_entries(lambda e: e.__delitem__(slice(500, None)), heads_left=5))
    assert check(out, *record.kept[kept])[0] == code
    held, said = check(out, "--code", record.heads[5].code)
    assert held == 1 and "you hold the code H6-600-" in said and "its end was cut off" in said


def test_heads_alone_cut_off_are_found_by_the_newest_head(record: Made) -> None:
    """All entries are there, but the head that somebody holds is not."""
    out = rewritten(record, of_heads(lambda h: h.pop()))
    assert check(out)[0] == 0
    code, said = check(out, *record.kept["the newest head"])
    assert code == 1 and "which is not in this record: heads were cut off" in said


def test_what_no_head_covers_can_be_cut_unseen_and_that_is_said(record: Made) -> None:
    """Up to ten minutes before a sudden end: no head, no proof."""
    out = rewritten(record, of_entries(lambda e: e.__delitem__(slice(600, None))))
    code, said = check(out, *record.kept["the newest head"])
    assert code == 0 and "NOT PROVEN: that nothing came later" in said


def test_false_from_the_start_is_never_found_and_that_is_said(tmp_path: Path) -> None:
    """A record is no better than what was written first."""
    made = make(tmp_path, changed(150))
    code, said = check(made.zip, *made.kept["the newest head"])
    assert code == 0
    assert "NOT PROVEN: that sensors told the truth, that what was written first was true" in said


def test_another_key_is_found(record: Made, tmp_path: Path) -> None:
    """All signed anew by another key: found by the fingerprint written down, or by a head somebody holds."""
    other = make(tmp_path, honest(630)).zip
    assert check(other)[0] == 0
    code, said = check(other, "--key", heads.fingerprint(Keys(record.home).public))
    assert code == 1 and "no head is signed by the key" in said
    code, said = check(other, *record.kept["the newest head"])
    assert code == 2 and "was not signed by a key of this record" in said


def test_a_head_signed_by_another_key_in_the_middle_is_found(record: Made, tmp_path: Path) -> None:
    """A forger without the key: the statement is right, the signature is not; or the key is nobody's."""
    stranger = HeadWriter(tmp_path, None).keys
    real = record.heads[3].head

    def forged(key: str) -> Change:
        head = replace(real, key=key)
        line = Signed(head, stranger.sign(heads.SIGNED_AS + head.statement())).as_text().encode() + b"\n"
        return of_heads(lambda lines: lines.__setitem__(3, line))

    code, said = check(rewritten(record, forged(real.key)))
    assert code == 1 and "head 4 was not signed by its key" in said
    code, said = check(rewritten(record, forged(stranger.public.hex())))
    assert code == 1 and "head 4 has a key that no head before it names" in said


AFTER = entry.plain(Kind.HEARTBEAT, T0 + 301)


def test_a_key_that_was_changed_is_followed(tmp_path: Path) -> None:
    """The old key names the new one; the fingerprint of either will do."""
    made = make(tmp_path, honest(300))
    old = heads.fingerprint(Keys(tmp_path).public)
    write_new(tmp_path / "keys" / NEXT)
    with closing(Journal(tmp_path / "journal.db")) as book:
        writer, state = HeadWriter(tmp_path, made.heads[-1]), State()
        for number, each in enumerate([*honest(300), AFTER], 1):
            tree.append(state.peaks, each)
            if number == 301:
                head = writer.due(state, T0 + 9_000_000, None, ending=False)
        book.commit(301, [AFTER], 1, Outcomes(), 0, None, head)
        writer.written(head)
        last = writer.due(state, T0 + 9_900_000, None, ending=False)
        with book._whole() as db:
            record_zip.table.keep(db, last)  # type: ignore[arg-type]
    record_zip.write(tmp_path / "journal.db", made.zip, record_zip.Wanted(), T0, lambda *_: None)
    new = heads.fingerprint(Keys(tmp_path).public)
    for key in (old, new):
        code, said = check(made.zip, "--key", key)
        assert code == 0 and f"key {old}, then {new}" in said
    with zipfile.ZipFile(made.zip) as record:
        assert [each["fingerprint"] for each in json.loads(record.read("keys.json"))] == [old, new]


def test_a_range_keeps_the_roots_of_what_is_left_out(tmp_path: Path) -> None:
    """Three sealed blocks and a rest: only the middle one is given, and every head that can be checked is."""
    entries = honest(3 * tree.SEAL + 50)
    entries[0] = entry.plain(Kind.STARTED, T0, b'{"offset_ms":0}')
    middle = record_zip.Wanted(T0 + tree.SEAL + 10, T0 + 2 * tree.SEAL - 10)
    made = make(tmp_path, entries, each=tree.SEAL // 2, wanted=middle)
    with zipfile.ZipFile(made.zip) as record:
        names = [name for name in record.namelist() if name.startswith("entries/")]
    assert names == ["entries/0000004097.bin", "entries/0000012289.bin"]
    code, said = check(made.zip, *made.kept["the newest head"])
    assert code == 0, said
    assert f"PROVEN: entries 1 to {3 * tree.SEAL}: nothing was changed" in said
    assert f"what {2 * tree.SEAL} entries said that are left out here" in said

    def change(files: dict[str, bytes]) -> None:
        body = bytearray(files[names[0]])
        body[-1] ^= 1
        files[names[0]] = bytes(body)

    code, said = check(rewritten(made, change))
    assert code == 1 and f"entries {3 * tree.SEAL // 2 + 1} to {2 * tree.SEAL} do not match head H4" in said


@pytest.mark.parametrize(
    "change",
    [
        lambda files: files.__setitem__("record.json", b"{}"),
        lambda files: files.__setitem__("heads.jsonl", b"{}\n"),
        lambda files: files.__setitem__("entries/0000000001.bin", b"\xff\xff\xff\xff"),
        lambda files: files.__setitem__("entries/0000000001.bin", b""),
        lambda files: files.pop("entries/0000000001.bin"),
        lambda files: files.pop("heads.jsonl"),
    ],
)
def test_what_is_no_record_is_said_in_a_sentence(record: Made, change: Change) -> None:
    """Broken files end with a sentence and code 2, never with a traceback, never with a good word."""
    code, said = check(rewritten(record, change))
    assert code == 2 and said.splitlines()[-1].startswith("CANNOT BE CHECKED: ")


def test_many_files_go_through_two_processes_to_the_same_roots(tmp_path: Path) -> None:
    """33 files, so that two processes share them: the roots are those of one tree, and a changed bit is found."""
    made = big_record(tmp_path, 33 * tree.SEAL + 3, 40_000)
    code, said = check(made, "--head", str(tmp_path / "last.txt"))
    assert code == 0 and f"PROVEN: entries 1 to {33 * tree.SEAL + 3}: nothing" in said
    with zipfile.ZipFile(made, "a") as to, pytest.warns(UserWarning, match="Duplicate name"):
        record_zip.put(to, 20, [b"x"] * tree.SEAL)
    code, said = check(made)
    assert code == 1 and "entries 80001 to 120000 do not match head H3" in said


def test_a_head_made_anew_by_the_key_itself_breaks_the_chain(record: Made) -> None:
    """Its signature is right; the hash in the head after it is that of the one it replaced."""
    keys, head = Keys(record.home), replace(record.heads[2].head, time_ms=1)
    line = Signed(head, keys.sign(heads.SIGNED_AS + head.statement())).as_text().encode() + b"\n"
    code, said = check(rewritten(record, of_heads(lambda lines: lines.__setitem__(2, line))))
    assert code == 1 and "head 3 was replaced" not in said
    assert "head 4 does not follow from head 3: one of them was replaced" in said


def test_a_file_that_holds_another_number_of_entries_than_it_should_is_said(record: Made) -> None:
    """Entries nobody counts could hide behind those that are checked."""

    def change(files: dict[str, bytes]) -> None:
        about = json.loads(files["record.json"])
        about["blocks"][0]["count"] -= 1
        files["record.json"] = json.dumps(about).encode()

    code, said = check(rewritten(record, change))
    assert code == 2 and "holds 630 entries where 629 belong" in said


def test_a_stretch_without_a_heartbeat_is_stated(tmp_path: Path) -> None:
    """Killed for an hour, then stopped for two, across the border of two files; 130 s is no hole."""
    minute, quick, at = 60_000, list[bytes](), T0
    for number in range(1, tree.SEAL + 40):
        kind = Kind.HEARTBEAT
        if number == 100:
            at += 60 * minute
        if number == tree.SEAL + 1:
            at += 120 * minute
        if number == tree.SEAL:
            kind = Kind.STOPPING
        at += minute if number % 10 else 130_000
        quick.append(entry.plain(kind, at))
    code, said = check(make(tmp_path, quick).zip)
    found = [line for line in said.splitlines() if line.startswith("HOLE: ")]
    assert code == 0 and len(found) == 2
    assert "between entries 99 and 100 for 62 min" in found[0] and "without a word that it stops" in found[0]
    assert f"between entries {tree.SEAL} and {tree.SEAL + 1} for 121 min" in found[1]
    assert "after it said that it stops" in found[1] and re.search(r"2026-\d\d-\d\d \d\d:\d\d to 2026-", found[1])


def test_of_many_holes_the_longest_are_named_and_the_rest_counted(tmp_path: Path) -> None:
    """A thousand lines would hide what was proven."""
    entries = [entry.plain(Kind.HEARTBEAT, T0 + n * n * 180_000) for n in range(1, 21)]
    out = make(tmp_path, entries, each=20).zip
    said = [line for line in check(out)[1].splitlines() if line.startswith("HOLE: ")]
    assert len(said) == 11 and "between entries 10 and 11 for 63 min" in said[0]
    assert said[-1] == "HOLE: 9 shorter ones, 297 min together; --holes prints them all"
    whole = [line for line in check(out, "--holes")[1].splitlines() if line.startswith("HOLE: ")]
    assert len(whole) == 19 and "between entries 1 and 2" in whole[0]
