"""What is done from the pages becomes one act for the journal, in the name of who signed in."""

from __future__ import annotations

from hashlib import sha256

import pytest

from gateway.web import photos
from gateway.web.photos import MOST_BYTES, kind_of
from tests.web.conftest import Pages, Stage
from tests.web.made import NOW_MS

PNG = b"\x89PNG\r\n\x1a\n" + b"surface of frame 12" * 20


@pytest.mark.parametrize(
    ("path", "fields", "act"),
    [
        ("/acknowledge", {"number": "A-7"}, {"act": "acknowledge", "number": "A-7"}),
        ("/reset", {"number": "A-7"}, {"act": "reset", "number": "A-7"}),
        (
            "/shelve",
            {"number": "A-7", "minutes": "30", "reason": "washing"},
            {"act": "shelve", "number": "A-7", "until_ms": NOW_MS + 1_800_000, "reason": "washing"},
        ),
        ("/unshelve", {"number": "A-7", "reason": "done"}, {"act": "unshelve", "number": "A-7", "reason": "done"}),
        ("/out-of-service", {"limit": "m", "reason": "x"}, {"act": "out_of_service", "limit": "m", "reason": "x"}),
        (
            "/back-in-service",
            {"limit": "m", "reason": "x"},
            {"act": "back_in_service", "limit": "m", "reason": "x"},
        ),
        (
            "/work/begin",
            {"area": "A", "activity": "coating", "product": "p1", "hours": "8"},
            {"act": "begin", "area": "A", "activity": "coating", "product": "p1"},
        ),
        (
            "/work/begin",
            {"area": "A", "activity": "idle", "hours": "2", "product": ""},
            {"act": "begin", "area": "A", "activity": "idle", "until_ms": NOW_MS + 7_200_000},
        ),
        ("/work/end", {"area": "A", "activity": "idle"}, {"act": "end", "area": "A", "activity": "idle"}),
        (
            "/hold-head",
            {"code": " H123456-4711-89ab89ab89ab89ab"},
            {"act": "hold_head", "number": 123456, "code": "H123456-4711-89ab89ab89ab89ab"},
        ),
        ("/hold-head", {"code": "17"}, {"act": "hold_head", "number": 0, "code": "17"}),
        ("/note", {"area": "A", "text": "dry"}, {"act": "note", "area": "A", "text": "dry"}),
    ],
)
def test_a_form_becomes_one_act(
    stage: Stage, pages: Pages, path: str, fields: dict[str, str], act: dict[str, str | int]
) -> None:
    """Fields as they are, times from the board's own second, the person from the session."""
    assert pages.send(path, **fields, person="eve", act="something else").status_code == 303
    assert stage.acts == [{**act, "person": "lead"}]


@pytest.mark.parametrize("said", ["", "-5", "1e9", "٣", "999999", "12x"])
def test_no_minutes_is_no_time(stage: Stage, pages: Pages, said: str) -> None:
    """What is no small whole number becomes the present second, which the flow refuses."""
    pages.send("/shelve", number="A-7", minutes=said, reason="x")
    assert stage.acts[0]["until_ms"] == NOW_MS


def test_a_disposition_needs_the_inspector(stage: Stage, pages: Pages) -> None:
    """Not even the keeper may."""
    answer = pages.send("/work/disposition", exposure="E-4", decision="accepted as it is", reason="measured")
    assert (403, []) == (answer.status_code, stage.acts)


def test_a_refused_act_says_why(stage: Stage, pages: Pages) -> None:
    """The flow's sentence reaches the person, with the way back."""
    stage.refusal = "coating in A goes on already, begun by lead."
    answer = pages.send("/work/begin", area="A", activity="coating")
    assert answer.status_code == 409
    assert stage.refusal in answer.text


def _send_note(pages: Pages, picture: bytes, **fields: str) -> int:
    form = {"token": pages.token(), "area": "A", "text": "surface", **fields}
    sent = {"photo": ("steel.jpg", picture, "image/jpeg")}
    answer = pages.ask("POST", "/note", headers={"sec-fetch-site": "same-origin"}, data=form, files=sent)
    return answer.status_code


def test_a_picture_is_kept_by_its_hash_and_shown_as_what_it_is(stage: Stage, pages: Pages) -> None:
    """The journal gets the hash; the bytes stay beside it and can be erased."""
    assert _send_note(pages, PNG) == 303
    digest = sha256(PNG).hexdigest()
    assert stage.acts == [{"act": "note", "person": "lead", "area": "A", "text": "surface", "photo": digest}]
    answer = pages.ask("GET", f"/photo/{digest}")
    assert (PNG, "image/png") == (answer.content, answer.headers["content-type"])
    assert answer.headers["x-content-type-options"] == "nosniff"
    (stage.home / "photos" / digest).unlink()
    assert pages.ask("GET", f"/photo/{digest}").status_code == 404


@pytest.mark.parametrize(
    ("status", "picture"),
    [(415, b"<svg onload='x'/>"), (415, b"GIF89a"), (413, b"\xff\xd8\xff" + bytes(MOST_BYTES + 20_000))],
)
def test_what_is_no_picture_or_too_large_is_refused(
    stage: Stage, pages: Pages, status: int, picture: bytes
) -> None:
    """Nothing is kept and nothing is journalled."""
    assert _send_note(pages, picture) == status
    assert stage.acts == []
    assert not (stage.home / "photos").exists() or not list((stage.home / "photos").iterdir())


def test_a_note_needs_the_token_too(stage: Stage, pages: Pages) -> None:
    """Forms with files go another way, but not past the token."""
    assert _send_note(pages, PNG, token="guessed") == 403
    assert stage.acts == []
    assert not (stage.home / "photos").exists()


def test_a_changed_or_foreign_file_is_not_handed_out(stage: Stage, pages: Pages) -> None:
    """Only a whole picture under its own hash; no path leads out of the folder."""
    _send_note(pages, PNG)
    digest = sha256(PNG).hexdigest()
    (stage.home / "photos" / digest).write_bytes(PNG + b"x")
    for name in (digest, "../accounts.db", "..%2Faccounts.db", "0" * 64, digest.upper()):
        assert pages.ask("GET", f"/photo/{name}").status_code == 404


def test_pictures_cannot_fill_the_disk(stage: Stage, pages: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond so many nothing more is kept, and it is said."""
    monkeypatch.setattr(photos, "MOST_PICTURES", 1)
    assert _send_note(pages, PNG) == 303
    assert _send_note(pages, PNG) == 303  # the same picture takes no room
    assert _send_note(pages, PNG + b"2") == 415


def test_kinds_are_told_by_the_first_bytes() -> None:
    """The name and the type a browser sends say nothing."""
    assert [kind_of(b) for b in (b"\xff\xd8\xff\xe0", PNG, b"RIFF\0\0\0\0WEBPVP8 ", b"RIFF\0\0\0\0WAVE", b"")] == [
        "image/jpeg", "image/png", "image/webp", None, None,
    ]  # fmt: skip
