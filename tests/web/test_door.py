"""The door as a browser meets it: sign-in, the first code, cookies, log-out, keys, and who is let in unasked."""

from __future__ import annotations

import argparse
import asyncio
import re

import httpx
import pytest
from fastapi import Request

from gateway.web.accounts import IDLE_MS
from gateway.web.arguments import page_arguments
from gateway.web.opening import House, Listening, open_pages
from gateway.web.roles import Role
from tests.sites import site
from tests.web.conftest import Pages, Stage
from tests.web.made import NOW_MS

OWN = {"sec-fetch-site": "same-origin", "accept": "text/html"}
GOOD = "seven dry steel plates"


@pytest.fixture
def closed(stage: Stage) -> Pages:
    """Pages of a site where one must sign in, with one site lead."""
    stage.open = False
    pages = Pages(stage.app())
    accounts = pages.app.state.web.door.accounts
    accounts.begin(accounts.invite("Ann", "lead", Role.SITE_LEAD, NOW_MS), "", GOOD, NOW_MS)
    return pages


def sign_in(pages: Pages, password: str = GOOD, **fields: str) -> httpx.Response:
    """Send the form of the door."""
    form = {"name": "Ann", "password": password, **fields}
    return pages.ask("POST", "/sign-in", headers=OWN, data=form)


def test_a_page_asks_to_sign_in_and_leads_back(closed: Pages) -> None:
    """The way back is kept, and only a path of our own is followed."""
    asked = closed.ask("GET", "/account?x=1", headers=OWN)
    assert (303, "/sign-in?back=%2Faccount%3Fx%3D1") == (asked.status_code, asked.headers["location"])
    answer = sign_in(closed, back="/account?x=1")
    assert (303, "/account?x=1") == (answer.status_code, answer.headers["location"])
    assert closed.ask("GET", "/account").status_code == 200


@pytest.mark.parametrize("back", ["//elsewhere.test", "https://elsewhere.test", "/\\elsewhere.test", "data:1"])
def test_no_sign_in_leads_elsewhere(closed: Pages, back: str) -> None:
    """A forged way back ends at the board."""
    assert sign_in(closed, back=back).headers["location"] == "/"


def test_scripts_and_streams_get_the_bare_word(closed: Pages) -> None:
    """No redirect that a script would follow."""
    for path in ("/live", "/account"):
        assert closed.ask("GET", path, headers={"accept": "application/json"}).json() == {
            "error": "Sign in first."
        }


def test_a_wrong_password_says_neither_which_nor_lets_in(closed: Pages) -> None:
    """The same sentence for a wrong name and a wrong password."""
    wrong = sign_in(closed, "wrong password here")
    nobody = closed.ask("POST", "/sign-in", headers=OWN, data={"name": "Bo", "password": GOOD})
    for answer in (wrong, nobody):
        assert answer.status_code == 403
        assert "Name or password is not right." in answer.text
        assert "set-cookie" not in answer.headers


def test_guessing_is_slowed_down(closed: Pages) -> None:
    """After five mistakes even the right password has to wait."""
    for _ in range(5):
        sign_in(closed, "wrong password here")
    answer = sign_in(closed)
    assert answer.status_code == 429
    assert "Too many tries. Wait 301 s." in answer.text


def test_a_foreign_page_cannot_sign_somebody_in(closed: Pages) -> None:
    """A form of another site is refused before the password is looked at."""
    form = {"name": "Ann", "password": GOOD}
    answer = closed.ask("POST", "/sign-in", headers={"sec-fetch-site": "cross-site"}, data=form)
    assert (403, True) == (answer.status_code, "set-cookie" not in answer.headers)


def test_the_cookie_is_closed_to_scripts_and_bound_to_the_host_over_tls(stage: Stage, closed: Pages) -> None:
    """HttpOnly and SameSite always; over TLS Secure, `__Host-` and the word to stay with TLS."""
    plain = sign_in(closed).headers["set-cookie"]
    assert plain.startswith("dewgate=")
    assert {"HttpOnly", "Path=/", "SameSite=lax"} == set(plain.split("; ")[1:])
    stage.secure = True
    answer = sign_in(Pages(stage.app()))
    assert answer.headers["set-cookie"].startswith("__Host-dewgate=")
    assert {"HttpOnly", "Path=/", "SameSite=lax", "Secure"} == set(answer.headers["set-cookie"].split("; ")[1:])
    assert answer.headers["strict-transport-security"] == "max-age=31536000"


def test_a_session_of_somebody_else_is_not_taken_over(closed: Pages) -> None:
    """Signing in gives a new secret; a secret that was planted before opens nothing."""
    closed.cookies.set("dewgate", "planted")
    sign_in(closed)
    assert "planted" not in {cookie.value for cookie in closed.cookies.jar if cookie.domain}
    assert closed.app.state.web.door.accounts.session("planted", NOW_MS) is None


def test_signing_out_ends_the_session_and_clears_the_browser(closed: Pages) -> None:
    """The secret that was in the cookie no longer opens, even if somebody kept it."""
    sign_in(closed)
    kept = httpx.Cookies(closed.cookies)
    answer = closed.send("/sign-out")
    assert answer.headers["clear-site-data"] == '"cache", "storage"'
    closed.cookies = kept
    assert closed.ask("GET", "/account").status_code == 401


def test_out_everywhere_reaches_the_other_phone(closed: Pages) -> None:
    """Two browsers, one click."""
    phone = Pages(closed.app)
    sign_in(closed)
    sign_in(phone)
    assert phone.ask("GET", "/account").status_code == 200
    closed.send("/sign-out-everywhere")
    assert phone.ask("GET", "/account").status_code == 401


def test_an_idle_session_asks_again(stage: Stage, closed: Pages) -> None:
    """Twelve hours without a look."""
    sign_in(closed)
    stage.now_s = IDLE_MS / 1000 + 1
    assert closed.ask("GET", "/account").status_code == 401


def test_a_form_of_another_session_is_refused(closed: Pages) -> None:
    """The token belongs to one session."""
    sign_in(closed)
    old = closed.token()
    sign_in(closed)
    answer = closed.ask("POST", "/sign-out", headers=OWN, data={"token": old})
    assert answer.status_code == 403
    assert closed.ask("GET", "/account").status_code == 200


def test_changing_the_password_needs_the_old_one_and_ends_all_sessions(closed: Pages) -> None:
    """Whoever finds an open phone cannot lock its owner out."""
    sign_in(closed)
    assert closed.send("/account/password", old="not this one", password="another long one").status_code == 409
    assert closed.send("/account/password", old=GOOD, password="short").status_code == 409
    assert (
        closed.send("/account/password", old=GOOD, password="another long one").headers["location"] == "/sign-in"
    )
    assert closed.ask("GET", "/account").status_code == 401
    assert sign_in(closed, "another long one").status_code == 303


def test_a_key_reads_without_cookie_and_token_and_acts_only_with_its_scope(stage: Stage, closed: Pages) -> None:
    """A program acts in the name of its owner; one that may read changes nothing."""
    sign_in(closed)
    keys = {
        scope: re.search(
            r"<code>(dewgate_[^<]+)</code>", closed.send("/account/keys", label="x", scope=scope).text
        )
        for scope in ("read", "act")
    }
    program = Pages(closed.app)
    for scope, status in (("read", 403), ("act", 200)):
        found = keys[scope]
        assert found
        bearer = {"authorization": f"Bearer {found[1]}"}
        assert program.ask("GET", "/", headers=bearer).status_code == 200
        answer = program.ask("POST", "/acknowledge", headers=bearer, data={"number": "A-1"})
        assert answer.status_code == status
    assert stage.acts == [{"act": "acknowledge", "number": "A-1", "person": "lead"}]
    assert program.ask("GET", "/", headers={"authorization": "Bearer guessed"}).status_code == 401


def test_a_stream_ends_when_its_key_is_dropped(stage: Stage, closed: Pages) -> None:
    """As a session's does; another key of the same person stays."""
    sign_in(closed)
    door = closed.app.state.web.door
    mine, other = (door.accounts.make_key("Ann", label, "read", NOW_MS) for label in ("mine", "other"))
    scope = {"type": "http", "headers": [(b"authorization", f"Bearer {mine}".encode())]}
    who = door.who(Request(scope))
    assert who is not None
    assert door.still(who)
    (number, _) = (row["id"] for row in door.accounts.keys("Ann"))
    door.accounts.drop_key("Ann", number)
    assert not door.still(who)
    assert door.accounts.of_key(other, NOW_MS) is not None


def test_the_first_code_makes_the_keeper(stage: Stage) -> None:
    """What the start prints is good once; no password comes with the program."""
    stage.open, said = False, list[str]()
    server = open_pages(stage.house(), Listening("127.0.0.1", 8080), said.append)
    (code,) = re.findall(r"one-time code (\S+)$", "\n".join(said))
    pages = Pages(server.config.app)  # type: ignore[arg-type]
    form = {"code": code, "name": "Kim", "password": GOOD}
    assert pages.ask("POST", "/begin", headers=OWN, data=form).status_code == 303
    assert "Accounts" in pages.ask("GET", "/").text
    assert Pages(pages.app).ask("POST", "/begin", headers=OWN, data={**form, "name": "Eve"}).status_code == 409
    said.clear()
    open_pages(stage.house(), Listening("127.0.0.1", 8080), said.append)
    assert said == ["board: http://127.0.0.1:8080/"]


def test_codes_cannot_be_guessed_quickly(closed: Pages) -> None:
    """The page of the code is slowed down like the door."""
    form = {"code": "0000", "name": "Eve", "password": GOOD}
    found = [closed.ask("POST", "/begin", headers=OWN, data=form).status_code for _ in range(6)]
    assert found == [409] * 5 + [429]


def test_only_a_simulated_site_on_this_machine_is_open(stage: Stage) -> None:
    """Not for others, not under another name (a page elsewhere may point its name here), not for a real site."""
    app = stage.app()
    assert Pages(app).ask("GET", "/").status_code == 200
    assert Pages(app, host="[::1]:8080", client="::1").ask("GET", "/").status_code == 200
    assert Pages(app, client="10.0.0.7").ask("GET", "/").status_code == 401
    assert Pages(app, host="elsewhere.test").ask("GET", "/").status_code == 401
    stage.site = None
    assert Pages(app).ask("GET", "/").status_code == 401


@pytest.mark.parametrize(
    ("host", "certificate", "words"),
    [
        ("127.0.0.1", None, ["SIMULATED jobsite"]),
        ("0.0.0.0", None, ["passwords cross the network", "one-time code"]),  # noqa: S104  what is warned of
        ("0.0.0.0", "cert.pem", ["one-time code"]),  # noqa: S104
    ],
)
def test_the_start_says_how_to_get_in(
    stage: Stage, host: str, certificate: str | None, words: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Simulated and local: nobody need sign in. Reachable by others: a code, and a warning without TLS."""
    said: list[str] = []
    monkeypatch.setattr("gateway.web.opening.PageServer", lambda *_: None)
    open_pages(stage.house(), Listening(host, 8080, certificate, certificate), said.append)
    assert len(said) == 1 + len(words)
    assert all(word in line for word, line in zip(words, said[1:], strict=True))


@pytest.mark.parametrize("proxy", ["127.0.0.1", "172.31.253.1"])
def test_behind_a_proxy_nobody_is_let_in_by_itself_and_each_visitor_counts(stage: Stage, proxy: str) -> None:
    """A visitor's address is the one the proxy names, believed of that proxy only; cookies are for HTTPS."""
    server = open_pages(stage.house(), Listening("127.0.0.1", 8080, proxy=proxy), lambda _: None)
    server.config.load()
    assert server.config.app.state.web.house.secure  # type: ignore[union-attr]

    async def asked(client: str, *addresses: str) -> list[int]:
        transport = httpx.ASGITransport(app=server.config.loaded_app, client=(client, 5000))
        async with httpx.AsyncClient(transport=transport, base_url="http://gateway.example") as visitor:
            form = {"name": "Kim", "password": "wrong steel plates"}
            found = [
                await visitor.post("/sign-in", headers={**OWN, "x-forwarded-for": address}, data=form)
                for address in addresses
            ]
            home = await visitor.get("/", headers={"x-forwarded-for": addresses[0], "host": "127.0.0.1:8080"})
            return [each.status_code for each in (*found, home)]

    of_proxy, of_stranger = ["198.51.100.7"] * 6 + ["198.51.100.8"], [f"198.51.100.{n}" for n in range(20, 26)]
    wrong = asyncio.run(asked(proxy, *of_proxy))
    assert wrong == [403] * 5 + [429, 403, 401]
    assert asyncio.run(asked("10.0.0.5", *of_stranger)) == [403] * 5 + [429, 401]


def test_a_proxy_is_one_machine_named_by_number(capsys: pytest.CaptureFixture[str]) -> None:
    """Of this machine unless said otherwise; a name or "everybody" is refused with what to write."""
    parser = argparse.ArgumentParser()
    page_arguments(parser)
    told = ([], ["--behind-proxy"], ["--behind-proxy=10.0.0.1"])
    said = [parser.parse_args(words).behind_proxy for words in told]
    assert said == [None, "127.0.0.1", "10.0.0.1"]
    for wrong in ("*", "gateway.lan", "10.0.0.0/8"):
        with pytest.raises(SystemExit):
            parser.parse_args([f"--behind-proxy={wrong}"])
        assert f"{wrong!r}: the proxy's address in numbers" in capsys.readouterr().err


def test_the_keeper_invites_changes_and_takes_away(stage: Stage, pages: Pages) -> None:
    """Every step is noted with who did it and from where."""
    answer = pages.send("/people/invite", name="Bo", role="viewer", person="lead")
    code = re.search(r"<code>([0-9a-f-]+)</code>", answer.text)
    assert code
    bo = Pages(pages.app, client="10.0.0.9")
    assert bo.ask("POST", "/begin", headers=OWN, data={"code": code[1], "password": GOOD}).status_code == 303
    assert bo.ask("GET", "/people").status_code == 403
    assert pages.send("/people/role", name="Bo", role="keeper").status_code == 303
    assert bo.ask("GET", "/people").status_code == 200
    assert pages.send("/people/remove", name="Bo").status_code == 409  # the only one
    lines = [(row["name"], row["what"], row["client"]) for row in pages.app.state.web.door.accounts.noted()]
    assert lines[::-1] == [
        ("demo", "made a one-time code for Bo", "127.0.0.1"),
        ("Bo", "used a one-time code", "10.0.0.9"),
        ("demo", "makes Bo a keeper", "127.0.0.1"),
        ("demo", "takes the account Bo away", "127.0.0.1"),
    ]
    assert "makes Bo a keeper" in pages.ask("GET", "/people").text


def test_who_is_let_in_by_itself_is_told_so(pages: Pages) -> None:
    """A simulated site says on every page why nobody had to sign in."""
    assert "no sign-in: simulated" in pages.ask("GET", "/").text


def test_a_house_of_a_real_site_is_closed(stage: Stage) -> None:
    """The switch alone opens nothing."""
    import dataclasses

    stage.site = dataclasses.replace(site(), simulated=False)
    assert isinstance(stage.house(), House)
    assert Pages(stage.app()).ask("GET", "/").status_code == 401
