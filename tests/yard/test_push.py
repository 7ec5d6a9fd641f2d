"""`push` against the real yard: resumable, over TLS, and a rewound journal is told at both ends."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from gateway import entry, push_command, tree, yard_command
from gateway.adapters import yard_link
from gateway.adapters.journal import Journal, pack_oldest
from gateway.adapters.yard_db import YardDb
from gateway.adapters.yard_link import Pusher, Refused, Unreachable, WrongAddress, Yard, push
from gateway.entry import Kind
from gateway.flow_state import Outcomes
from tests.flow.test_network_broker import certify
from tests.yard.served import ServedYard, held, token_file
from tests.yard_site import Site, grown, heads_of


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("certificates")
    certify(folder)
    return folder


@pytest.fixture
def yard(tmp_path: Path, certificates: Path) -> Iterator[ServedYard]:
    """A yard over TLS, with the certificate the shipped script makes."""
    (tmp_path / "yard").mkdir()
    made = ServedYard(
        tmp_path / "yard",
        "--tls-cert",
        str(certificates / "broker.crt"),
        "--tls-key",
        str(certificates / "broker.key"),
    )
    yield made
    made.kill()


def linked(yard: ServedYard, home: Path, token: Path, ca: Path) -> Pusher:
    return Pusher(home, Yard(yard.url, "north", token.read_text().strip(), str(ca / "ca.crt")))


def all_steps(push: Pusher) -> None:
    for _ in range(200):
        try:
            if not push.step():
                return
        except Unreachable:  # it is still starting
            time.sleep(0.2)
    raise AssertionError("the yard never had it all")


def test_a_journal_arrives_over_tls_sealed_blocks_and_all(
    tmp_path: Path, yard: ServedYard, certificates: Path
) -> None:
    """Everything once; then what is new; a rewound journal is refused at the yard and said at the site."""
    site = Site(tmp_path / "home")
    site.grow(site.readings(tree.SEAL + 1000), head=True)
    packed = pack_oldest(site.home / "journal.db")
    assert packed
    site.book.seal(packed)
    token = token_file(yard.folder, "north", tmp_path / "token")
    with_token = linked(yard, site.home, token, certificates)
    all_steps(with_token)
    shutil.copytree(site.home, tmp_path / "backup")
    site.grow(site.readings(50), head=True)
    all_steps(with_token)
    assert held(yard.folder, "north") == site.entries
    assert heads_of(yard.folder / "sites" / "north") == site.heads()
    waits: list[float] = []
    with pytest.raises(Refused, match=f"ends at entry {len(site.entries) - 50}; {len(site.entries)} are held"):
        linked(yard, tmp_path / "backup", token, certificates).step(waits.append)
    with closing(Journal(tmp_path / "backup" / "journal.db")) as book:  # restored, and gone on
        first = len(site.entries) - 49
        book.commit(first, [entry.plain(Kind.HEARTBEAT, n) for n in range(60)], 1, Outcomes(), 0)
    with pytest.raises(Refused, match=f"entry {len(site.entries)} is held with other content"):
        linked(yard, tmp_path / "backup", token, certificates).step()
    with closing(YardDb(yard.folder / "yard.db")) as db:
        assert [each.kind for each in db.refusals("north")] == ["rewritten", "rewound"]
    with pytest.raises(
        Unreachable, match=r"CERTIFICATE_VERIFY_FAILED.*give that CA"
    ):  # not a word to whom the CA does not know
        Pusher(site.home, Yard(yard.url, "north", token.read_text().strip())).step()
    with pytest.raises(Refused, match="not the token"):
        Pusher(site.home, Yard(yard.url, "south", token.read_text().strip(), str(certificates / "ca.crt"))).step()


@pytest.mark.parametrize(
    ("url", "why"),
    [
        ("yard.example:8443", "https://host:port"),
        ("http://192.0.2.7:8443", "across a network"),
        ("ftp://x", "https"),
    ],
)
def test_an_address_that_cannot_be_used_is_refused(url: str, why: str) -> None:
    with pytest.raises(WrongAddress, match=why):
        Yard(url, "north", "token")


def test_a_token_that_others_can_read_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The message says what to do."""
    token = tmp_path / "token"
    token.touch(mode=0o644)
    words = ["--yard", "http://127.0.0.1:1", "--site", "north", "--token-file", str(token)]
    assert push_command.run("push", words, "") == 2
    assert "chmod 600" in capsys.readouterr().err


def test_a_large_entry_travels_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A stretch is cut by bytes as well; an entry above the cut still goes."""
    monkeypatch.setattr(yard_link, "MOST_PLAIN", 250)
    assert [len(list(yard_link._at_most(iter(each)))) for each in ([b"x" * 100] * 5, [b"x" * 900] * 2)] == [2, 1]


def test_the_yard_listens_across_a_network_over_tls_only(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And beside another yard in the same folder not at all."""
    folder = tmp_path / "yard"
    assert yard_command.run("yard", ["--folder", str(folder), "run", "--listen", "0.0.0.0:8443"], "") == 2
    assert "over TLS only" in capsys.readouterr().err
    with yard_command._the_only_one(folder):
        assert yard_command.run("yard", ["--folder", str(folder), "run"], "") == 2
    assert "already at work" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("status", "body", "kind", "why"),
    [
        (200, b'{"next": 2}', Unreachable, "another program"), (200, b"[]", Unreachable, "another program"),
        (200, b"<html>", Unreachable, "does not answer"), (503, b'{"error": "full"}', Unreachable, "full"),
        (429, b"[]", Unreachable, "status 429"), (409, b'{"error": "rewritten"}', Refused, "rewritten"),
    ],
)  # fmt: skip
def test_whatever_answers_is_not_taken_for_the_yard(
    status: int, body: bytes, kind: type[Exception], why: str
) -> None:
    """Another program at the address, a full disk: tried again; a refusal: a person has to settle it."""
    yard = Yard("http://127.0.0.1:1", "north", "token")
    yard._http = httpx.Client(
        transport=httpx.MockTransport(lambda _: httpx.Response(status, content=iter([body])))
    )
    with pytest.raises(kind, match=why):
        yard.wanted()


class Once(threading.Event):
    """Told to stop as soon as there is nothing more to do."""

    def wait(self, timeout: float | None = None) -> bool:
        if timeout:
            self.set()
        return True


def test_push_says_that_the_yard_takes_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Once, with how many entries the yard holds: a keeper must see that it works, not only that it does not."""
    site = grown(tmp_path / "home")
    many = len(site.entries)
    yard = Yard("http://127.0.0.1:1", "north", "token")
    held_there = b'{"next": %d, "head": %d}' % (many + 1, len(site.heads()))
    yard._http = httpx.Client(
        transport=httpx.MockTransport(lambda _: httpx.Response(200, content=iter([held_there])))
    )
    push(site.home, yard, 1.0, Once())
    said = capsys.readouterr().err
    assert said.count("event=started") == 1 and f"the yard takes entries; it holds {many} of this site" in said
