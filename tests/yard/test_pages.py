"""The clerk's path: a code, all sites worst first, a key compared, a refusal looked at, a record begun again."""

from __future__ import annotations

import asyncio
import re

import httpx
import pytest

from gateway import entry
from gateway.adapters.yard_db import Checked
from gateway.adapters.yard_room import Dropped, keep, note_drop
from gateway.entry import Kind
from gateway.vouching import Refused
from gateway.web.roles import Role
from gateway.yard.watch import YardWatch
from gateway.yard_batch import Stretch
from tests.yard.conftest import Stage, part
from tests.yard_site import Site


class Visitor:
    """A browser without a screen: keeps cookies, sends forms with the token of the page it read."""

    def __init__(self, stage: Stage) -> None:
        self.stage, self.cookies = stage, httpx.Cookies()

    def ask(self, method: str, path: str, **more: object) -> httpx.Response:
        async def once() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.stage.app, client=("127.0.0.1", 5000))
            base = "http://127.0.0.1:8443"
            headers = {"Origin": base, "Accept": "text/html"}
            async with httpx.AsyncClient(
                transport=transport, base_url=base, cookies=self.cookies, headers=headers
            ) as client:
                answer = await client.request(method, path, **more)  # type: ignore[arg-type]
                self.cookies = client.cookies
                return answer

        return asyncio.run(once())

    def sign_in(self, role: Role) -> Visitor:
        accounts = self.stage.app.state.web.door.accounts
        code = accounts.invite(role.value, "", role, self.stage.now_ms)
        form = {"code": code, "name": role.value, "password": "correct horse battery"}
        assert self.ask("POST", "/begin", data=form).status_code == 303
        return self

    def read(self, path: str = "/") -> str:
        answer = self.ask("GET", path)
        assert answer.status_code == 200, answer.text
        return re.sub(r"\s+", " ", answer.text)

    def send(self, path: str, **form: str) -> httpx.Response:
        page = self.read(path.rpartition("/")[0])
        token = re.search(r'name="token" value="([^"]+)"', page)
        assert token
        return self.ask("POST", path, data={"token": token[1], **form})


@pytest.fixture
def clerk(stage: Stage) -> Visitor:
    return Visitor(stage).sign_in(Role.YARD)


def test_without_signing_in_there_is_nothing_to_see(stage: Stage, site: Site) -> None:
    """Every page of the yard leads to the door."""
    stage.take(1, part(site, 1, 50))
    for path in ("/", "/site/north", "/people"):
        answer = Visitor(stage).ask("GET", path)
        assert answer.status_code == 303 and answer.headers["location"].startswith("/sign-in")


def test_the_clerks_path_from_an_unknown_key_to_a_verdict(stage: Stage, site: Site, clerk: Visitor) -> None:
    """First contact: unknown until the key was compared; a slip is caught; then the site's own word."""
    assert "nothing has come from it yet" in clerk.read()
    site.grow([site.standing()], head=True)
    stage.now_ms = site.now_ms
    stage.take(1, part(site, 1, len(site.entries)))
    assert "nobody has compared its key yet" in clerk.read() and "inside limits" not in clerk.read()
    wrong = clerk.send("/site/north/key", fingerprint="ab" * 16)
    assert wrong.status_code == 409 and site.gateway in wrong.text
    assert clerk.send("/site/north/key", fingerprint=site.gateway.upper()).status_code == 303
    page = clerk.read()
    assert "inside limits" in page and "north tower" in page and "SIMULATED" in page
    stage.now_ms += 301_000
    assert "silent since" in clerk.read() and "inside limits" not in clerk.read()
    page = clerk.read("/site/north")
    assert "unknown now, then inside limits" in page and "tone-green" not in page


def test_the_worst_comes_first(stage: Stage, site: Site, clerk: Visitor) -> None:
    """A refused record, then outside limits, then unknown, then inside."""
    site.grow([site.standing()], head=True)
    stage.now_ms = site.now_ms
    for name in ("a-inside", "b-unknown", "c-refused"):
        stage.db.add(name, "", 300, stage.now_ms)
        stage.take(1, part(site, 1, len(site.entries)), name=name)
        if name != "b-unknown":
            stage.db.confirm(name, site.gateway)
    stage.now_ms += 1
    with pytest.raises(Refused):
        stage.take(50, Stretch([entry.plain(Kind.HEARTBEAT, 1)], []), name="c-refused")
    stage.db.drop("north")
    assert re.findall(r'<h2><a href="/site/([^"]+)"', clerk.read()) == ["c-refused", "b-unknown", "a-inside"]
    page = clerk.read("/site/c-refused")
    assert "entry 50 is held with other content" in page and "Nobody has looked at it" in page
    assert clerk.send("/site/c-refused/looked-at").status_code == 303
    assert "Looked at by yard" in clerk.read("/site/c-refused")


def test_a_record_begins_again_only_when_the_name_is_typed(stage: Stage, site: Site, clerk: Visitor) -> None:
    """Laid aside, not erased."""
    stage.take(1, part(site, 1, 50))
    assert clerk.send("/site/north/begin-again", sure="yes").status_code == 409
    assert (stage.folder / "sites" / "north").exists()
    assert clerk.send("/site/north/begin-again", sure="north").status_code == 303
    assert not (stage.folder / "sites" / "north").exists() and len(list((stage.folder / "aside").iterdir())) == 1


@pytest.mark.parametrize("role", [Role.VIEWER, Role.SITE_LEAD, Role.INSPECTOR])
def test_only_who_handles_rentals_may_confirm(stage: Stage, site: Site, role: Role) -> None:
    """Others read."""
    stage.take(1, part(site, 1, 50))
    visitor = Visitor(stage).sign_in(role)
    for act in ("key", "looked-at", "begin-again"):
        assert visitor.send(f"/site/north/{act}", sure="north", fingerprint=site.gateway).status_code == 403
    known = stage.db.site("north")
    assert known and not known.confirmed


def test_a_form_from_another_page_does_nothing(stage: Stage, site: Site, clerk: Visitor) -> None:
    """Without the token of the session."""
    stage.take(1, part(site, 1, 50))
    form = {"fingerprint": site.gateway, "token": "x"}
    assert clerk.ask("POST", "/site/north/key", data=form).status_code == 403
    assert clerk.ask("GET", "/site/nowhere").status_code == 404


def test_what_a_site_says_is_text(stage: Stage, site: Site, clerk: Visitor) -> None:
    """A site's words cannot become part of the page."""
    site.grow([site.standing(jobsite="<script>alert(1)</script>", trouble=["<b>x</b>"])], head=True)
    stage.now_ms = site.now_ms
    stage.take(1, part(site, 1, len(site.entries)))
    for path in ("/", "/site/north"):
        page = clerk.read(path)
        assert "<script>" not in page and "<b>x</b>" not in page and "&lt;script&gt;" in page


def test_the_pages_in_spanish(stage: Stage, site: Site, clerk: Visitor) -> None:
    """Whatever the yard itself says of a site, of its record and of the disk; nothing of it stays English."""
    keep(stage.db, "", 400)
    site.grow([site.standing(areas=[outside("shell")], alarms=[ALARM], alarm_count=1)], head=True)
    stage.now_ms = site.now_ms
    stage.take(1, part(site, 1, len(site.entries)))
    stage.db.keep_check(Checked("north", 1, 90, stage.now_ms, stage.now_ms, 7, 2, 1, 60, "shell: it said inside "
                                "limits, its entries say outside limits"))  # fmt: skip
    note_drop(stage.db, Dropped("north", stage.now_ms, 4096, "week.pdf"))
    with pytest.raises(Refused):
        stage.take(50, Stretch([entry.plain(Kind.HEARTBEAT, 1)], []))
    watch = YardWatch(stage.db, stage.intake, [], stage.now_ms)
    watch.turn(stage.now_ms + 400_000)
    stage.intake.full_since_ms = stage.now_ms
    clerk.ask("GET", "/account")
    assert clerk.send("/account/taste", language="es").status_code == 303
    page, one = clerk.read(), clerk.read("/site/north")
    assert "ninguna alarma" not in page
    assert [said for said in ON_THE_LIST if said not in page] == []
    assert [said for said in ON_ITS_PAGE if said not in one] == []
    stage.db.looked_at("north", "ann")
    stage.db.confirm("north", site.gateway)
    stage.intake.full_since_ms = 0
    stage.now_ms += 400_000
    for text in (page, one, clerk.read(), clerk.read("/site/north")):
        assert set(re.findall(r'lang="en">([^<]*)', text)) <= {ALARM["title"], ALARM["body"]}


ALARM = {"number": "A-1", "priority": "high", "since_ms": 1_780_000_000_000, "state": "unacknowledged",
         "title": "Stop blasting area A.", "body": "Words of its jobsite file"}  # fmt: skip
ON_THE_LIST = (
    "Primero lo peor", "lo que dice no se deduce de su diario: entrada 60", "El disco de este patio está lleno",
    "1 alarma", "las entradas se guardan 400 días", "callado", "GB libres",
)  # fmt: skip
ON_ITS_PAGE = (
    "Lo último que dijo la obra", "margen al punto de rocío 1.2 K; límite al menos 3.0 K",
    "Empezar de nuevo", "no se deduce de sus entradas (1 de 7 veces)",
    "aquí se borraron las entradas hasta la 4096", "Nadie lo ha mirado",
)  # fmt: skip


def outside(area: str) -> dict[str, str]:
    return {"area": area, "activity": "blasting", "verdict": "outside limits", "quantity": "dew point margin",
            "why": "1.2 K; limit at least 3.0 K; steel"}  # fmt: skip
