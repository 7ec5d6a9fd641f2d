"""What is packed beside the writer: blocks, and the states that stay."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, wait
from pathlib import Path

import pytest

from gateway import history_command
from gateway.adapters import states
from gateway.adapters.journal import Journal
from gateway.adapters.sealing import Sealer
from gateway.entry import Arrival, Kind, plain
from gateway.flow import CORE_VERSION, Flow
from gateway.flow_state import Outcomes
from gateway.payload import canonical
from gateway.service import Service
from gateway.tree import SEAL
from tests.faults.kill_run import prepare
from tests.sites import T0, pack
from tests.test_flow import a_shift
from tests.test_service import Door


class Writer:
    """A journal that grows by whole blocks of heartbeats."""

    def __init__(self, path: Path) -> None:
        self.book, self.flow = Journal(path), Flow()
        self.thread = ThreadPoolExecutor(1)
        self.sealer = Sealer(self.book, self.thread)

    def write_block(self) -> int:
        first = self.flow.state.sequence + 1
        beats = [plain(Kind.HEARTBEAT, T0 + first + at) for at in range(SEAL)]
        self.flow.advance(beats, Outcomes())
        self.book.commit(first, beats, 1, Outcomes(), 0)
        self.sealer.block_is_whole(self.flow.state.sequence, CORE_VERSION, self.flow.checkpoint())
        return self.flow.state.sequence

    def put_in(self) -> None:
        """What is packed, and then what there is to pack after it: nothing."""
        for _ in range(2):
            waiting = [each for each in (self.sealer._block, self.sealer._state) if each]
            assert not wait(waiting, 20).not_done
            self.sealer.put_in()

    def kept(self) -> list[tuple[int, str]]:
        return list(self.book.db.execute("SELECT seq, core_version FROM states ORDER BY seq"))

    def start_again(self) -> None:
        """As after a kill: what was packed and not put in is gone."""
        self.sealer = Sealer(self.book, self.thread)


@pytest.fixture
def writer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Writer]:
    monkeypatch.setattr(states, "EVERY", 2 * SEAL)
    made = Writer(tmp_path / "journal.db")
    yield made
    made.thread.shutdown()
    made.book.close()


def test_a_state_stays_after_so_many_entries_and_blocks_are_sealed(writer: Writer) -> None:
    """Every second block here; the checkpoint is the newest all the same, and what stays is what was."""
    bodies = {}
    for _ in range(5):
        at = writer.write_block()
        bodies[at] = writer.flow.checkpoint()
        writer.put_in()
    assert writer.kept() == [(2 * SEAL, CORE_VERSION), (4 * SEAL, CORE_VERSION)]
    for kept in states.between(writer.book.db, 0, 9 * SEAL):
        assert states.unpack(kept.body) == bodies[kept.seq]
    assert [kept.seq for kept in states.between(writer.book.db, 2 * SEAL, 4 * SEAL)] == []
    assert writer.book.db.execute("SELECT seq FROM checkpoint").fetchone() == (5 * SEAL,)
    assert writer.book.db.execute("SELECT count(*) FROM sealed").fetchone() == (5,)


def test_what_a_kill_took_is_kept_at_the_next_block(writer: Writer) -> None:
    """None is kept twice, none is waited for that is gone; a full disk puts it off in the same way."""
    writer.write_block()
    writer.write_block()
    writer.start_again()
    assert writer.kept() == []
    writer.write_block()
    writer.put_in()
    assert writer.kept() == [(3 * SEAL, CORE_VERSION)]
    for _ in range(3):
        writer.start_again()
        writer.write_block()
        writer.put_in()
    assert writer.kept() == [(3 * SEAL, CORE_VERSION), (5 * SEAL, CORE_VERSION)]


def test_a_state_that_remembers_a_backlog_is_left_and_the_next_one_stays(
    writer: Writer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Packing takes many times the size: the memory of the gateway counts, and not how finely a replay divides."""
    usual = states.LONGEST
    for longest in (usual, 100, usual):
        monkeypatch.setattr(states, "LONGEST", longest)
        writer.write_block()
        writer.put_in()
    assert writer.kept() == [(3 * SEAL, CORE_VERSION)]


def test_a_state_comes_back_byte_for_byte() -> None:
    """A state of a shift, by steps in half the bytes; bytes that steps do not give back are packed as they are."""
    made = a_shift(5).flow.checkpoint()
    assert states.packed(1, "x", made).body[:1] == states.STEPS
    assert states.unpack(states.packed(1, "x", made).body) == made
    rows = {"row": list(range(10**15, 10**15 + 2000)), "short": [1, 2], "mixed": [1, 2.0, True] * 20, "none": []}
    far = {"far": [-(2**63), 2**64 - 1] * 20}
    for value in (rows, {"rows": [rows, rows]}, {"\0": [1, 2, 3]}, {"\0": "word"}, far):
        checkpoint = canonical.checkpoint(value)
        assert states.unpack(states.packed(1, "x", checkpoint).body) == checkpoint
    assert len(states.packed(1, "x", canonical.checkpoint(rows)).body) < 400
    reals = {"reals": [float(each) for each in range(100)], "signs": [True, False] * 20}
    assert states.packed(1, "x", canonical.checkpoint(reals)).body[:1] == states.STEPS


@pytest.mark.parametrize("body", [b"", b"\x09", b"\x01", b"\x02no", b"\x01" + b"\x00" * 90], ids=len)
def test_bytes_that_are_no_state_are_refused(body: bytes) -> None:
    """By one kind of error, whatever is wrong."""
    with pytest.raises(ValueError, match="a kept state"):
        states.unpack(body)


def test_a_state_that_would_fill_the_memory_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A few bytes may unpack to gigabytes."""
    body = states.packed(1, "x", canonical.checkpoint({"zeros": bytes(1_000_000)})).body
    assert len(states.unpack(body)) > 1_000_000
    assert len(body) < 1000
    monkeypatch.setattr(states, "LARGEST", 1_000_000)
    with pytest.raises(ValueError, match="cut off or too large"):
        states.unpack(body)


def test_the_writer_keeps_what_a_replay_ends_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Live, with a second judged before a batch: the state kept is the one the entries before it give."""
    monkeypatch.setattr(states, "EVERY", 1)
    prepare(tmp_path)
    service = Service(tmp_path)
    service.broker = Door()  # type: ignore[assignment]
    for turn in range(5):
        said = [Arrival("dewgate/test/steel", pack("steel", 20.0 + at / 1000, None)) for at in range(1000)]
        service.broker.arrivals.extend(said)  # type: ignore[union-attr]
        service.turn()
        assert service.flow.state.sequence > 1000 * turn
    assert service._sealer._state is not None
    assert not wait([service._sealer._state], 20).not_done
    service.broker.arrivals.append(said[0])
    service.turn()
    service.close()
    with sqlite3.connect(tmp_path / "journal.db") as db:
        assert db.execute("SELECT count(*) FROM states WHERE seq >= ?", (SEAL,)).fetchone() == (1,)
    for command in (["replay"], ["rebuild", "--check"]):
        assert history_command.run(command[0], ["--home", str(tmp_path), "--cores", "2", *command[1:]], "") == 0
        told = capsys.readouterr().out
        assert told.startswith("folded in 2 parts"), "a state that is refused would be named first"
