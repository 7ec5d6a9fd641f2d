"""What the board says of messages that reach nobody."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

from alerts.channels import Sent
from alerts.delivery_book import Book
from gateway.adapters.undelivered import Undelivered
from gateway.service import Service
from tests.faults.kill_run import prepare
from tests.test_delivery import NOW, a_row, write_outbox


def test_nothing_is_said_while_all_goes_well(tmp_path: Path) -> None:
    write_outbox(tmp_path, ("A-1", "phone"))
    with closing(Book(tmp_path / "delivery.db")) as book:
        book.settle(book.lease(a_row(1), NOW), Sent.ACCEPTED, NOW + 1_000_000)
    seen = Undelivered(tmp_path)
    assert [seen.lines(s) for s in (0, 100)] == [(), ()]


def test_messages_that_nobody_sends(tmp_path: Path) -> None:
    write_outbox(tmp_path, ("A-1", "phone"))
    seen = Undelivered(tmp_path)
    assert [seen.lines(s) for s in (0, 59)] == [(), ()]
    assert seen.lines(64) == ("1 message waits and nobody sends: is dewgate deliver running?",)
    write_outbox(tmp_path, ("A-2", "phone"))
    assert seen.lines(69) == ("2 messages wait and nobody sends: is dewgate deliver running?",)
    with closing(Book(tmp_path / "delivery.db")) as book:
        book.lease(a_row(1), NOW)
        assert seen.lines(74) == ()
        book.lease(a_row(2), NOW)
    assert seen.lines(200) == ()


def test_a_message_that_fails_for_long_and_then_arrives(tmp_path: Path) -> None:
    write_outbox(tmp_path, ("A-1", "phone"))
    seen = Undelivered(tmp_path)
    with closing(Book(tmp_path / "delivery.db")) as book:
        row = book.lease(a_row(1), NOW)
        book.settle(row, Sent.NOT_ACCEPTED, NOW + 299_999)
        assert seen.lines(0) == ()
        row = book.lease(row, NOW + 299_999)
        book.settle(row, Sent.NOT_ACCEPTED, NOW + 300_000)
        expected = "A-1 has not reached lead by phone for 5 min: the server did not take it; still trying"
        assert seen.lines(5) == (expected,)
        book.settle(book.lease(row, NOW + 400_000), Sent.ACCEPTED, NOW + 400_000)
    assert seen.lines(100) == ()


def test_a_channel_that_leads_nowhere_until_it_works(tmp_path: Path) -> None:
    write_outbox(tmp_path, ("A-1", "phone"), ("A-2", "phone"))
    seen = Undelivered(tmp_path)
    with closing(Book(tmp_path / "delivery.db")) as book:
        book.settle(book.lease(a_row(1), NOW), Sent.NO_CHANNEL, NOW)
        book.settle(book.lease(a_row(2), NOW), Sent.NO_CHANNEL, NOW)
        assert seen.lines(0) == ("nothing reaches anybody by phone: no such channel in the contacts file",)
        book.settle(book.lease(a_row(3), NOW), Sent.ACCEPTED, NOW)
    assert seen.lines(4.9) != ()
    assert seen.lines(5) == ()


def test_a_book_that_cannot_be_read_stops_nothing(tmp_path: Path) -> None:
    (tmp_path / "delivery.db").write_bytes(b"no database" * 100)
    assert Undelivered(tmp_path).lines(0) == ()


def test_the_board_says_it(tmp_path: Path) -> None:
    prepare(tmp_path)
    with closing(Book(tmp_path / "delivery.db")) as book:
        book.settle(book.lease(a_row(1), NOW), Sent.NO_SERVICE, NOW)
    service = Service(tmp_path)
    service.turn()
    board = service.board
    service.close()
    assert board is not None
    assert (
        "nothing reaches anybody by phone: the channel's address names no service that is known" in board.trouble
    )
