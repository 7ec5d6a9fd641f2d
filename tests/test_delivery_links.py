"""Links that acknowledge: bound to event and person, once, for 24 h, kept only as a hash."""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

import pytest

from alerts import delivery_links
from alerts.contacts import Refused
from alerts.delivery import Desk, deliver
from alerts.delivery_book import Book
from alerts.delivery_links import ENDED, LASTS_MS, USED, Link, look, make, use
from tests.test_delivery import NOW, Target, Turns, a_row, target, write_contacts, write_outbox

__all__ = ["target"]
LINK = re.compile(r"http://gateway\.lan:8080/acknowledge/([\w-]{32})$")


class Acts:
    """Takes acts as the gateway would."""

    def __init__(self, refusal: str | None = None) -> None:
        self.taken: list[Mapping[str, str | int]] = []
        self.refusal = refusal

    def __call__(self, body: Mapping[str, str | int]) -> str | None:
        self.taken.append(body)
        return self.refusal


@pytest.fixture
def sent(tmp_path: Path, target: Target) -> tuple[Path, str]:
    """A book, and the token in the message that went out."""
    write_outbox(tmp_path, ("A-7", "phone"))
    book = Book(tmp_path / "delivery.db")
    turns = Turns.__new__(Turns)
    turns.book = book
    turns.desk = Desk(tmp_path / "journal.db", book, {"phone": target.url("ok")}, "http://gateway.lan:8080/")
    turns.at(NOW)
    turns.close()
    found = LINK.search(target.texts[0])
    assert found and target.texts[0].startswith("Margin 2 K.\nAcknowledge in the name of lead: http")
    return tmp_path / "delivery.db", found[1]


def test_looking_changes_nothing_and_using_works_once(sent: tuple[Path, str]) -> None:
    book, token = sent
    acts = Acts()
    for _ in range(3):
        assert look(book, token, NOW) == Link("A-7", "lead", "A-7 Stop blasting.")
    assert acts.taken == []
    assert use(book, token, NOW + 1, acts) == Link("A-7", "lead", "A-7 Stop blasting.")
    assert use(book, token, NOW + 2, acts) == Link("A-7", "lead", "A-7 Stop blasting.", USED)
    assert look(book, token, NOW + 3) == Link("A-7", "lead", "A-7 Stop blasting.", USED)
    assert acts.taken == [{"act": "acknowledge", "number": "A-7", "person": "lead", "door": "link"}]


def test_what_the_gateway_refuses_does_not_use_it_up(sent: tuple[Path, str]) -> None:
    book, token = sent
    refused = use(book, token, NOW, Acts("the disk is full"))
    assert refused is not None and refused.refused == "the disk is full"
    works = use(book, token, NOW, Acts())
    assert works is not None and not works.refused


@pytest.mark.parametrize(("later_ms", "why"), [(LASTS_MS - 1, ""), (LASTS_MS, ENDED), (-LASTS_MS, ENDED)])
def test_it_lasts_24_hours(sent: tuple[Path, str], later_ms: int, why: str) -> None:
    assert LASTS_MS == 24 * 60 * 60 * 1000
    acts = Acts()
    link = use(*sent, NOW + later_ms, acts)
    assert link is not None and link.refused == why
    assert len(acts.taken) == (not why)


def test_an_unknown_token_is_no_link(sent: tuple[Path, str], tmp_path: Path) -> None:
    book, token = sent
    acts = Acts()
    assert look(book, token[:-1], NOW) is use(book, token[:-1], NOW, acts) is None
    assert look(tmp_path / "none.db", token, NOW) is use(tmp_path / "none.db", token, NOW, acts) is None
    assert not acts.taken
    assert not (tmp_path / "none.db").exists()


def test_the_token_is_nowhere_on_disk(sent: tuple[Path, str], tmp_path: Path) -> None:
    kept = b"".join(path.read_bytes() for path in tmp_path.glob("*.db*"))
    assert b"A-7 Stop blasting." in kept
    assert sent[1].encode() not in kept


def test_using_one_leaves_the_reserve(sent: tuple[Path, str], tmp_path: Path) -> None:
    before = (tmp_path / "delivery.db-journal").stat().st_size
    use(*sent, NOW, Acts())
    assert (tmp_path / "delivery.db-journal").stat().st_size == before > 200_000


def test_links_older_than_a_week_are_forgotten(tmp_path: Path) -> None:
    with closing(Book(tmp_path / "delivery.db")) as book:
        for number, at in ((1, NOW), (2, NOW + 8 * 86_400_000)):
            book.lease(a_row(number), at, (bytes([number]), "title"))
        assert book.db.execute("SELECT number FROM links").fetchall() == [("A-2",)]


def test_every_attempt_has_a_link_of_its_own_and_only_alarms_have_one() -> None:
    base = "http://gateway.lan:8080"
    assert make("A-7", base) != make("A-7", base)
    assert make("A-7", "") is make("D-7", base) is make("E-7", base) is None


@pytest.mark.parametrize(
    "base", ["gateway.lan", "ftp://h", "http://h?x=1", "http://u:p@h", "http://", "http://h/#a"]
)
def test_a_base_that_is_no_address_is_refused(tmp_path: Path, base: str) -> None:
    contacts = write_contacts(tmp_path, phone="json://127.0.0.1/")
    with pytest.raises(Refused, match=r"needs an address such as http://gateway\.lan:8080"):
        deliver(tmp_path, contacts, None, base)  # type: ignore[arg-type]
    assert delivery_links.wrong_base("https://gateway.lan/dewgate") == ""
