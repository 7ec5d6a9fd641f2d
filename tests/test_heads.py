"""Signed heads: when one is due, that it is written with its entries, who gets it, and how the key changes."""

from __future__ import annotations

import hashlib
import json
import stat
import time
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from alerts.notification import Notice
from gateway import acts, entry, heads, key_command, tree
from gateway.adapters import heads as table
from gateway.adapters.heads import HeadWriter
from gateway.adapters.journal import Journal, entries_after, open_reader
from gateway.adapters.signing import Keys
from gateway.entry import Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes, State
from gateway.heads import Head, Signed
from gateway.payload import canonical
from gateway.service import Service
from tests.faults.kill_run import prepare
from tests.sites import T0, site

DAY_MS = 86_400_000
HOLDER = replace(site().people[0], id="owner", channels=("owner-mail",), holds_heads=True)
HELD = replace(site(), time_zone="America/Denver", people=(*site().people, HOLDER))


def grown(size: int) -> State:
    state = State(sequence=size)
    for number in range(size):
        tree.append(state.peaks, entry.plain(Kind.HEARTBEAT, number))
    return state


def kept(home: Path) -> list[Signed]:
    with closing(open_reader(home / "journal.db")) as reader:
        return list(table.every(reader))


def check_chain(found: list[Signed], entries: list[bytes]) -> None:
    """Check by hand: numbers, hashes, signatures by the key that must sign, and the roots."""
    key, previous = found[0].head.key, ""
    for number, each in enumerate(found, 1):
        head, statement = each.head, each.head.statement()
        assert (head.number, head.previous, head.key) == (number, previous, key)
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(
            each.signature, b"dewgate head 1\n" + statement
        )
        assert head.root == tree.root_of(entries[: head.size]).hex()
        assert head.gateway == hashlib.sha256(bytes.fromhex(found[0].head.key)).hexdigest()[:32]
        key, previous = head.next_key or head.key, hashlib.sha256(statement).hexdigest()


def all_entries(home: Path) -> list[bytes]:
    with closing(open_reader(home / "journal.db")) as reader:
        return list(entries_after(reader, 0))


def test_the_bytes_of_a_head_are_for_ever() -> None:
    """What is signed never changes its form, or no old head could be checked."""
    head = Head("ab", "cd", "", 2, "ef", "01", 7, 1_800_000_000_000)
    assert head.statement() == (
        b'{"gateway":"ab","key":"cd","next_key":"","number":2,"previous":"ef","root":"01","size":7,'
        b'"time_ms":1800000000000}'
    )
    assert heads.head_of(head.statement()) == head
    assert heads.record_code(17, 4711, "0123456789abcdef0123") == "H17-4711-0123456789abcdef"


@pytest.mark.parametrize(
    ("utc_ms", "day_ended", "ending", "due"),
    [(599_999, False, False, False), (600_000, False, False, True), (599_999, True, False, True),
     (1, False, True, True), (-1, False, False, True)],
)  # fmt: skip
def test_when_a_head_is_due(utc_ms: int, day_ended: bool, ending: bool, due: bool) -> None:
    """Each ten minutes of UTC, also where the clock was set back, at day end and at stop; the first at once."""
    last = Head("", "", "", 1, "", "", 1, 0)
    assert heads.is_due(last, utc_ms, day_ended=day_ended, ending=ending) is due
    assert heads.is_due(None, utc_ms, day_ended=False, ending=False)


def test_a_day_ends_at_midnight_of_the_site_and_its_head_goes_to_those_who_hold_heads(tmp_path: Path) -> None:
    """Denver's midnight is 06:00 or 07:00 UTC; nobody else gets it, and no other head is sent."""
    writer, state = HeadWriter(tmp_path, None), grown(3)
    before_midnight = T0 // DAY_MS * DAY_MS + DAY_MS + 5 * 3_600_000 + 3_540_000  # 05:59 UTC, 22:59 or 23:59
    moments = [before_midnight + minutes * 60_000 for minutes in range(0, 150, 10)]
    sent: list[Notice] = []
    for moment in moments:
        signed = writer.due(state, moment, HELD, ending=False)
        assert signed is not None
        sent += writer.for_holders(signed, HELD)
        writer.written(signed)
    assert [(n.person, n.channel, n.priority) for n in sent] == [("owner", "owner-mail", "low")]
    line = json.loads(next(each for each in sent[0].body.splitlines() if each.startswith("{")))
    head = heads.head_of(line["statement"].encode())
    assert f"Record code of the day: {heads.record_code(head.number, head.size, head.root)}" == sent[0].title
    assert (head.time_ms // 3_600_000 % 24) in (6, 7) and head.time_ms // 60_000 % 60 < 10


def test_head_and_entries_are_written_together_or_not_at_all(tmp_path: Path) -> None:
    """A commit that fails leaves no head; messages end with the code of a head that is on disk with them."""
    made = entry.plain(Kind.HEARTBEAT, 1)
    state = State()
    tree.append(state.peaks, made)
    with closing(Journal(tmp_path / "journal.db")) as book:
        signed = HeadWriter(tmp_path, None).due(state, T0, None, ending=False)
        assert signed is not None
        notice = Notice("A-1", "lead", "lead-phone", "high", "title", "body")
        book.commit(1, [made], 1, Outcomes([b"event"], [notice]), 0, None, signed, signed.code)
        with pytest.raises(Exception, match="UNIQUE"):
            book.commit(
                2, [made], 1, Outcomes([b"again"]), 0, None, replace(signed, head=replace(signed.head, number=2))
            )
        assert [each.head.number for each in table.every(book.db)] == [1]
        assert book.db.execute("SELECT body FROM outbox").fetchall() == [(f"body\nRecord {signed.code}",)]


def test_starts_and_stops_are_a_chain_over_everything(tmp_path: Path) -> None:
    """The first at the first start, one at each stop; the board shows the newest, the key is this user's only."""
    prepare(tmp_path)
    for _ in range(2):
        service = Service(tmp_path)
        service.stopping.set()
        service.loop()
        service._shown = -9.0
        service._show(service.clock.core_ms())
        assert service.board is not None
        assert service.board.record_code == kept(tmp_path)[-1].code
        service.close()
    found = kept(tmp_path)
    assert len(found) >= 3
    assert found[-1].head.size == len(all_entries(tmp_path))
    check_chain(found, all_entries(tmp_path))
    assert stat.S_IMODE((tmp_path / "keys" / "signing.pem").stat().st_mode) == 0o600


def test_another_key_is_named_by_the_old_one_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A rotation is a head of its own; also where the power goes between the head and the change of the files."""
    prepare(tmp_path)
    before = Keys(tmp_path).public
    assert key_command.run("key", ["rotate", "--home", str(tmp_path)], "") == 0
    after = Keys(tmp_path).public
    assert f"key {heads.fingerprint(after)}" in capsys.readouterr().out
    assert after != before and not (tmp_path / "keys" / "next.pem").exists()
    check_chain(kept(tmp_path), all_entries(tmp_path))
    assert [each.head.next_key for each in kept(tmp_path) if each.head.next_key] == [after.hex()]
    # The same again, with the old file back as a power cut leaves it.
    old = (tmp_path / "keys" / "signing.pem").read_bytes()
    assert key_command.run("key", ["rotate", "--home", str(tmp_path)], "") == 0
    last_named = next(i for i, each in reversed(list(enumerate(kept(tmp_path)))) if each.head.next_key)
    (tmp_path / "keys" / "signing.pem").replace(tmp_path / "keys" / "next.pem")
    (tmp_path / "keys" / "signing.pem").write_bytes(old)
    writer = HeadWriter(tmp_path, kept(tmp_path)[last_named])
    assert writer.trouble == () and writer.keys.public.hex() == kept(tmp_path)[last_named].head.next_key


def test_a_lost_key_is_said_and_never_made_up_for_in_silence(tmp_path: Path) -> None:
    """Entries go on without heads and the board says why; a key nobody introduced needs the keeper's own word."""
    prepare(tmp_path)
    count = len(kept(tmp_path))
    (tmp_path / "keys" / "signing.pem").write_text("not a key")
    service = Service(tmp_path)
    service.stopping.set()
    service.loop()
    service.close()
    assert len(kept(tmp_path)) == count
    assert "no head is signed" in service.heads.trouble[0]
    assert service.board is None or service.heads.trouble[0] in service.board.trouble
    assert key_command.run("key", ["rotate", "--old-key-lost", "--home", str(tmp_path)], "") == 0
    again = Service(tmp_path)
    again.stopping.set()
    again.loop()
    again.close()
    assert kept(tmp_path)[-1].head.key == Keys(tmp_path).public.hex() != kept(tmp_path)[count - 1].head.key
    assert not (tmp_path / "keys" / "old-key-lost").exists()


def flow_with(jobsite: object) -> Flow:
    flow = Flow()
    begun = [entry.plain(Kind.STARTED, T0, b'{"offset_ms":0}'),
             entry.plain(Kind.CONFIG_SET, T0, canonical.config_set(jobsite, "t", "t"))]  # type: ignore[arg-type]  # fmt: skip
    flow.advance(begun, Outcomes())
    return flow


def test_who_holds_a_head_says_so_by_its_code(tmp_path: Path) -> None:
    """Only a holder, only a head of this record, only with its code, and never an older one than before."""
    flow = flow_with(HELD)
    with closing(Journal(tmp_path / "journal.db")) as book:
        signed = HeadWriter(tmp_path, None).due(grown(5), T0, None, ending=False)
        assert signed is not None
        table.keep(book.db, signed)
        act = {"act": "hold_head", "person": "owner", "number": 1, "code": signed.code}
        done = table.completed(book.path, act)
        refused = [
            (done | {"person": "lead"}, "lead is not among the people with holds_heads"),
            (table.completed(book.path, act | {"number": 2, "size": 9, "root": "00"}), "There is no head 2"),
            (done | {"code": "H1-5-0000000000000000"}, "has another code"),
        ]
    for body, why in refused:
        assert why in str(acts.refusal(flow.state, flow.site, body))
    assert acts.refusal(flow.state, flow.site, done) is None
    made = entry.plain(Kind.ACTION, T0, canonical.to_bytes(done))
    flow.advance([made], Outcomes())
    assert flow.state.held_heads == {"owner": (1, 5)}
    assert "as new as that" in str(acts.refusal(flow.state, flow.site, done))


def test_a_look_for_the_next_key_costs_nothing_between_seconds(tmp_path: Path) -> None:
    """A commit that needs no head takes microseconds: a thousand of them stay below 20 ms."""
    writer, state = HeadWriter(tmp_path, None), grown(5)
    writer.written(writer.due(state, T0, HELD, ending=False))
    began = time.process_time()
    assert all(writer.due(state, T0 + 1, HELD, ending=False) is None for _ in range(1000))
    assert time.process_time() - began < 0.05


def test_the_writer_sends_the_first_head_of_a_day(tmp_path: Path) -> None:
    """In the transaction of that head, to the holder's channel, with the head that is on disk."""
    prepare(tmp_path)
    service = Service(tmp_path)
    service.flow.site = HELD
    last = service.heads.last
    assert last is not None
    service.heads.last = replace(last, head=replace(last.head, time_ms=last.head.time_ms - DAY_MS))
    service.actions.append((Kind.HEARTBEAT, b""))
    service.turn()
    service.close()
    newest = kept(tmp_path)[-1]
    with closing(open_reader(tmp_path / "journal.db")) as reader:
        sent = reader.execute("SELECT event_number, person, channel, body FROM outbox").fetchall()
    assert [row[:3] for row in sent] == [(f"H{newest.head.number}", "owner", "owner-mail")]
    assert newest.as_text() in sent[0][3]
