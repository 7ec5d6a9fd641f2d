"""The contacts file: what it may say, what is refused, and that no refusal shows an address."""

from __future__ import annotations

from pathlib import Path

import pytest

from alerts.contacts import Contacts, Followed, Refused, read_contacts

PHONE = "json://127.0.0.1/s3cret"


def write(folder: Path, text: str) -> Path:
    path = folder / "contacts.toml"
    path.write_text(text)
    path.chmod(0o600)
    return path


def test_everything_it_may_say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LEAD_MAIL", "mailto://127.0.0.1/?from=a@b.example&to=c@d.example")
    text = f"""
        [channels]
        phone = "{PHONE}"
        mail = "env:LEAD_MAIL"
        [heartbeat]
        address = "json://elsewhere/7"
        every = "90 s"
        [watch]
        silent = "5 min"
    """
    mail = "mailto://127.0.0.1/?from=a@b.example&to=c@d.example"
    expected = Contacts({"phone": PHONE, "mail": mail}, "json://elsewhere/7", 90, 300)
    assert read_contacts(write(tmp_path, text)) == expected


def test_what_is_left_out(tmp_path: Path) -> None:
    """A sign of life every five minutes, if any; silence of 150 s is more than two of the gateway's minutes."""
    assert read_contacts(write(tmp_path, f'[channels]\nphone = "{PHONE}"')) == Contacts({"phone": PHONE})
    known = read_contacts(write(tmp_path, f'[channels]\n[heartbeat]\naddress = "{PHONE}"'))
    assert (known.heartbeat, known.every_s, known.silent_s) == (PHONE, 300, 150)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('phone = "env:NOBODY_SET_THIS"', "channel phone: the environment has no NOBODY_SET_THIS"),
        (
            'm = "mailto://h/?from=a@b.example&to=s3cret@d.example,f@g.example"',
            "channel m: has 2 recipients: one each",
        ),
        ('p = "ntfy://s3cret@host/one/two"', "channel p: has 2 recipients: one each"),
        (f'[heartbeat]\nadress = "{PHONE}"', r"\[heartbeat\] has no adress; it has address, every"),
        ('[heartbeat]\naddress = "nosuch://s3cret"', "heartbeat: the channel's address names no service"),
        ('[heartbeat]\naddress = "syslog://s3cret"', "heartbeat: syslog never answers"),
        ('[heartbeat]\nevery = "soon"', "heartbeat: every is a time from 1 s to 24 h"),
        ('[heartbeat]\nevery = "25 h"', "heartbeat: every is a time from 1 s to 24 h"),
        ("[heartbeat]\nevery = 5", r"\[heartbeat\] needs lines of text"),
        ('[watch]\nsilent = "0 s"', "watch: silent is a time from 1 s to 24 h"),
        (f'[chanels]\nphone = "{PHONE}"', "there is no table chanels; there are channels, heartbeat, watch"),
    ],
)
def test_what_is_refused(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(Refused, match=words) as caught:
        read_contacts(write(tmp_path, f"[channels]\n{text}\n"))
    assert "s3cret" not in str(caught.value)


def test_an_unknown_service_is_noted_and_the_others_work(tmp_path: Path) -> None:
    known = read_contacts(write(tmp_path, f'[channels]\nphone = "{PHONE}"\nodd = "nosuch://s3cret"'))
    assert known.notes == [
        f"{tmp_path}/contacts.toml: channel odd: the channel's address names no service that is known"
    ]


def test_a_file_that_changes_is_read_once_it_stands_still(tmp_path: Path) -> None:
    """One look sees that it changes, the next that it has: what an editor writes in pieces is not read half."""
    path = write(tmp_path, f'[channels]\nphone = "{PHONE}"')
    file = Followed(path)
    assert file.look() == ("", "") and file.now.channels == {"phone": PHONE}
    path.write_text(f'[channels]\nphone = "{PHONE}"\nmail')
    assert file.look() == ("", "")
    path.write_text(f'[channels]\nphone = "{PHONE}"\nmail = "{PHONE}/mail"')
    assert file.look() == ("", "")
    assert file.look() == ("contacts", f"{path}: read again, 2 channels")
    assert file.now.channels == {"phone": PHONE, "mail": f"{PHONE}/mail"} and file.look() == ("", "")


def test_a_file_that_cannot_be_used_leaves_the_old_one_in_force(tmp_path: Path) -> None:
    """Broken, gone, or readable for others: told once, until it changes again."""
    path = write(tmp_path, f'[channels]\nphone = "{PHONE}"')
    file = Followed(path)
    for spoil, why in (
        (lambda: path.write_text("[channels"), "cannot be read (TOMLDecodeError)"),
        (lambda: path.write_text(f'[channels]\nphone = "{PHONE}"\n[horn]\n'), "there is no table horn"),
        (lambda: path.chmod(0o644), "must be mode 0600"),
        (path.unlink, "cannot be read (FileNotFoundError)"),
    ):
        spoil()
        assert file.look() == ("", "")
        event, words = file.look()
        assert (
            event == "contacts-kept" and why in words and words.endswith("the addresses read before stay in use")
        )
        assert file.look() == ("", "") and file.now.channels == {"phone": PHONE}
    write(tmp_path, f'[channels]\nphone = "{PHONE}/2"')
    assert [file.look()[0], file.look()[0], file.now.channels["phone"]] == ["", "contacts", f"{PHONE}/2"]
