"""The file of accounts: what opens, what no longer does, and what is in the file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.web.accounts import CODE_MS, IDLE_MS, MINUTE, WHOLE_MS, Account, Accounts, NotTaken
from gateway.web.roles import Role
from gateway.web.taste import Taste
from tests.web.made import NOW_MS

GOOD = "seven dry steel plates"


@pytest.fixture
def accounts(tmp_path: Path) -> Iterator[Accounts]:
    """An empty file."""
    made = Accounts(tmp_path / "accounts.db")
    yield made
    made.close()


def ann(accounts: Accounts, role: Role = Role.SITE_LEAD) -> Account:
    """An account made by its one-time code."""
    return accounts.begin(accounts.invite("Ann", "lead", role, NOW_MS), "", GOOD, NOW_MS)


def test_a_code_makes_one_account_once(accounts: Accounts) -> None:
    """Name, person and role are the keeper's; the second use of the code is refused."""
    code = accounts.invite("Ann", "lead", Role.SITE_LEAD, NOW_MS)
    assert accounts.begin(f" {code} ", "Eve", GOOD, NOW_MS) == Account("Ann", "lead", Role.SITE_LEAD, Taste())
    with pytest.raises(NotTaken, match="not known, was used"):
        accounts.begin(code, "", GOOD, NOW_MS)


def test_the_first_code_takes_the_name_that_is_typed(accounts: Accounts) -> None:
    """The person of such an account is its own name."""
    code = accounts.invite("", "", Role.KEEPER, NOW_MS)
    assert accounts.begin(code, "  Kim   Low ", GOOD, NOW_MS) == Account(
        "Kim Low", "Kim Low", Role.KEEPER, Taste()
    )


def test_a_code_lasts_a_day_and_a_new_one_replaces_it(accounts: Accounts) -> None:
    """A lost slip of paper opens nothing."""
    old = accounts.invite("Ann", "", Role.VIEWER, NOW_MS)
    new = accounts.invite("Ann", "", Role.VIEWER, NOW_MS)
    assert (accounts.of_code(old, NOW_MS), accounts.of_code(new, NOW_MS + CODE_MS + 1)) == (None, None)
    assert accounts.of_code(new, NOW_MS + CODE_MS)


def test_a_code_for_a_known_name_gives_a_new_password_and_keeps_the_role(accounts: Accounts) -> None:
    """Forgotten passwords: the old one and its sessions are gone."""
    ann(accounts)
    secret = accounts.open("Ann", "10.0.0.7", NOW_MS)
    accounts.begin(accounts.invite("ann", "lead", Role.VIEWER, NOW_MS), "", "another long password", NOW_MS)
    assert accounts.check("Ann", GOOD) is None
    found = accounts.check("ANN", "another long password")
    assert found and found.role is Role.SITE_LEAD
    assert accounts.session(secret, NOW_MS) is None


@pytest.mark.parametrize(
    "password", ["short", "aaaaaaaaaaaaaaaa", "abababababab", "ann is my name", "x" * 201, "Ann123456789"]
)
def test_passwords_that_are_easy_to_guess_are_refused(accounts: Accounts, password: str) -> None:
    """Length, variety and not the name; nothing else is asked, and the code stays good."""
    code = accounts.invite("Ann", "", Role.VIEWER, NOW_MS)
    with pytest.raises(NotTaken, match="password"):
        accounts.begin(code, "", password, NOW_MS)
    assert accounts.of_code(code, NOW_MS)


def test_only_the_right_password_opens(accounts: Accounts) -> None:
    """A name nobody has is refused like a wrong password."""
    ann(accounts)
    assert accounts.check("Ann", GOOD)
    assert accounts.check("Ann", GOOD.upper()) is None
    assert accounts.check("Nobody", GOOD) is None


def test_a_session_ends_by_rest_by_age_and_by_hand(accounts: Accounts) -> None:
    """Twelve hours without a look, a week at the longest, or log-out."""
    ann(accounts)
    rested, old, ended = (accounts.open("Ann", "", NOW_MS) for _ in range(3))
    assert accounts.session(rested, NOW_MS + IDLE_MS)
    for hour in range(1, 24 * 8):
        accounts.session(old, NOW_MS + hour * 60 * MINUTE)
    assert accounts.session(rested, NOW_MS + 3 * IDLE_MS) is None
    assert accounts.session(old, NOW_MS + WHOLE_MS)
    assert accounts.session(old, NOW_MS + WHOLE_MS + 1) is None
    accounts.end(ended)
    assert accounts.session(ended, NOW_MS) is None


def test_a_stream_does_not_keep_a_session_alive(accounts: Accounts) -> None:
    """An open board that nobody looks at asks every second, and still ends."""
    ann(accounts)
    secret = accounts.open("Ann", "", NOW_MS)
    assert accounts.session(secret, NOW_MS + IDLE_MS, seen=False)
    assert accounts.session(secret, NOW_MS + IDLE_MS + 1, seen=False) is None


def test_out_everywhere_ends_only_ones_own_sessions(accounts: Accounts) -> None:
    """Every session of a name goes, no other."""
    ann(accounts)
    accounts.begin(accounts.invite("Bo", "", Role.VIEWER, NOW_MS), "", GOOD, NOW_MS)
    mine = [accounts.open("Ann", "", NOW_MS) for _ in range(2)]
    other = accounts.open("Bo", "", NOW_MS)
    accounts.end_all("Ann")
    assert [accounts.session(each, NOW_MS) for each in mine] == [None, None]
    assert accounts.session(other, NOW_MS)


def test_a_new_role_holds_at_once_for_open_sessions(accounts: Accounts) -> None:
    """The role is read with every request."""
    ann(accounts)
    secret = accounts.open("Ann", "", NOW_MS)
    accounts.set_role("Ann", Role.KEEPER)
    found = accounts.session(secret, NOW_MS)
    assert found and found.role is Role.KEEPER


def test_the_last_keeper_stays(accounts: Accounts) -> None:
    """Neither taken away nor made anything else, until there is another."""
    ann(accounts, Role.KEEPER)
    for act in (lambda: accounts.remove("Ann"), lambda: accounts.set_role("ann", Role.VIEWER)):
        with pytest.raises(NotTaken, match="last keeper"):
            act()
    accounts.begin(accounts.invite("Bo", "", Role.KEEPER, NOW_MS), "", GOOD, NOW_MS)
    accounts.remove("Ann")
    assert [each.name for each in accounts.everyone()] == ["Bo"]


def test_an_account_that_is_gone_opens_nothing(accounts: Accounts) -> None:
    """Its sessions, keys and codes go with it."""
    ann(accounts, Role.VIEWER)
    accounts.begin(accounts.invite("Kim", "", Role.KEEPER, NOW_MS), "", GOOD, NOW_MS)
    secret, key = accounts.open("Ann", "", NOW_MS), accounts.make_key("Ann", "wall", "read", NOW_MS)
    code = accounts.invite("Ann", "", Role.VIEWER, NOW_MS)
    accounts.remove("Ann")
    assert (accounts.session(secret, NOW_MS), accounts.of_key(key, NOW_MS)) == (None, None)
    assert accounts.of_code(code, NOW_MS) is None


def test_a_key_has_a_scope_and_can_be_dropped(accounts: Accounts) -> None:
    """Only its owner's number drops it."""
    ann(accounts)
    key = accounts.make_key("Ann", "wall screen", "read", NOW_MS)
    found = accounts.of_key(key, NOW_MS)
    assert found and (found[0].name, found[1]) == ("Ann", "read")
    (line,) = accounts.keys("Ann")
    assert (line["label"], line["used_ms"]) == ("wall screen", NOW_MS)
    accounts.drop_key("Bo", line["id"])
    assert accounts.of_key(key, NOW_MS)
    accounts.drop_key("Ann", line["id"])
    assert accounts.of_key(key, NOW_MS) is None
    with pytest.raises(NotTaken):
        accounts.make_key("Ann", "all", "everything", NOW_MS)


def test_the_file_holds_nothing_that_opens(accounts: Accounts, tmp_path: Path) -> None:
    """Neither password nor session, key or code can be read out of the file."""
    code = accounts.invite("Ann", "lead", Role.KEEPER, NOW_MS)
    accounts.begin(code, "", GOOD, NOW_MS)
    waiting = accounts.invite("Bo", "", Role.VIEWER, NOW_MS)
    secrets = [accounts.open("Ann", "", NOW_MS), accounts.make_key("Ann", "x", "act", NOW_MS), code, waiting, GOOD]
    accounts.close()
    kept = b"".join(path.read_bytes() for path in tmp_path.iterdir())
    assert b"$argon2id$" in kept
    assert [each for each in secrets if each.encode() in kept] == []
    assert (tmp_path / "accounts.db").stat().st_mode & 0o077 == 0
