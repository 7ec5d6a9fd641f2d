"""Set-up: each change is a whole jobsite left for the writer, with who and why; a mistake leaves nothing."""

from __future__ import annotations

import json
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from alerts import delivery_trial
from alerts.channels import Sent as Took
from alerts.delivery_book import Book
from alerts.limits import Limit
from gateway import entry
from gateway.adapters.journal import Journal
from gateway.config import to_toml
from gateway.entry import Kind
from gateway.flow_state import Outcomes
from gateway.jobsite import Jobsite
from gateway.manual import FORMS, NA
from gateway.payload import canonical
from gateway.web import set_up_page
from gateway.web.gate import TurnedAway
from gateway.web.set_up_change import of_text, seen
from tests.sites import margin_limit, site
from tests.web.conftest import Pages, Stage
from tests.web.made import NOW_MS

LIMIT = {
    "id": "margin", "threshold": "4.5", "clause": "test specification 4.2, rev 2", "deadband": "0.5",
    "on_delay_s": "60", "off_delay_s": "600", "unknown_delay_s": "300", "advice": "Stop blasting area A",
    "priority": "high", "decision_rule": "guarded", "why": "revision 2 of the specification",
}  # fmt: skip


def plain_site(*limits: Limit) -> Jobsite:
    """The small jobsite without its train, whose sensors a file would not take."""
    return replace(site(*limits), trains=())


@pytest.fixture
def pages(stage: Stage) -> Pages:
    """The pages of a site with one limit, exactly as its file gives it."""
    stage.site = of_text(to_toml(plain_site(margin_limit())))
    return Pages(stage.app())


def left(stage: Stage) -> list[tuple[Jobsite, str, str]]:
    """What lies in the inbox: jobsite, who and why."""
    found = []
    for path in sorted((stage.home / "inbox").glob("*.config")):
        said = canonical.to_dict(path.read_bytes())
        found.append((canonical.jobsite_of(path.read_bytes()), said["who"], said["why"]))
    return found


def change(stage: Stage, pages: Pages, path: str, form: dict[str, str]) -> tuple[int, str]:
    """Send a form that was filled in for the jobsite in force."""
    assert stage.site
    answer = pages.send(path, **{"seen": seen(stage.site), **form})
    return answer.status_code, answer.text


def test_a_changed_limit_is_left_with_who_and_why(stage: Stage, pages: Pages) -> None:
    """Everything else of the jobsite stays as it was."""
    assert change(stage, pages, "/set-up/limit", LIMIT)[0] == 303
    ((changed, who, why),) = left(stage)
    wanted = margin_limit(threshold=4.5, clause="test specification 4.2, rev 2", decision_rule="guarded")
    assert stage.site
    assert changed == of_text(to_toml(plain_site(wanted)))
    assert (who, why) == ("lead", "revision 2 of the specification")
    assert changed.sensors == stage.site.sensors


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({"threshold": "6,5"}, "is no number; write 6.5 for 6,5"),
        ({"threshold": "nan"}, "is no number"),
        ({"on_delay_s": "-5"}, "on_delay"),
        ({"clause": ""}, "clause"),
        ({"priority": "urgent"}, "priority"),
        ({"id": "no-such"}, "There is no"),
        ({"why": "  "}, "Say why"),
        ({"seen": "0" * 64}, "was changed meanwhile"),
    ],
)
def test_a_mistake_is_said_and_leaves_nothing(
    stage: Stage, pages: Pages, form: dict[str, str], words: str
) -> None:
    """Numbers, words and the jobsite the form was filled in for."""
    status, text = change(stage, pages, "/set-up/limit", LIMIT | form)
    assert status == 409
    assert words in text
    assert left(stage) == []


def test_calibration_and_people_change_too(stage: Stage, pages: Pages) -> None:
    """One sensor's dates; one person's channels and hours, and what they hear of."""
    form = {
        "id": "steel",
        "date": "2026-05-01",
        "due": "2027-05-01",
        "certificate": "C-77",
        "why": "back from the lab",
    }
    assert change(stage, pages, "/set-up/calibration", form)[0] == 303
    form = {"id": "lead", "channels": "lead-phone, office", "hours": "06:00-18:00", "why": "day shift"}
    form |= {"of_limits": "on", "of_gateway": "on"}
    assert change(stage, pages, "/set-up/person", form)[0] == 303
    calibrated, peopled = (each[0] for each in left(stage))
    (steel,) = [each for each in calibrated.sensors if each.id == "steel"]
    found = steel.calibration
    assert (found.date, found.due, found.certificate) == ("2026-05-01", "2027-05-01", "C-77")
    assert (peopled.people[0].channels, peopled.people[0].hours) == (("lead-phone", "office"), "06:00-18:00")
    assert peopled.people[0].told_of == ("limits", "gateway")


def test_a_person_hears_of_something(stage: Stage, pages: Pages) -> None:
    """Nothing ticked is refused, since a file that says nothing would mean limits; in Spanish, too."""
    form = {"id": "lead", "channels": "lead-phone", "hours": "", "why": "he has left"}
    status, text = change(stage, pages, "/set-up/person", form)
    assert status == 409 and "Choose what this person hears of: limits, instruments or the gateway." in text
    pages.send("/account/taste", language="es")
    assert "Elija de qué recibe avisos esta persona" in change(stage, pages, "/set-up/person", form)[1]
    assert left(stage) == []


def test_what_each_hears_of_and_what_nobody_hears_of_stands_on_the_page(stage: Stage, pages: Pages) -> None:
    """The lead's box of limits is ticked, the others are not; instruments and gateway are nobody's."""
    text = " ".join(pages.ask("GET", "/set-up").text.split())
    assert "lead, site lead: lead-phone; hears of limits" in text
    assert 'name="of_limits" value="on" checked>' in text and 'name="of_instruments" value="on">' in text
    assert text.count("Nobody hears of:") == 2
    assert stage.site
    everything = tuple(replace(each, told_of=("limits", "instruments", "gateway")) for each in stage.site.people)
    stage.site = replace(stage.site, people=everything)
    text = " ".join(pages.ask("GET", "/set-up").text.split())
    assert "Nobody hears of:" not in text and text.count('value="on" checked>') == 3


def test_the_whole_file_can_be_put_in_force(stage: Stage, pages: Pages) -> None:
    """A file with a mistake is shown again with the line, and nothing that was typed is lost."""
    assert stage.site
    text = to_toml(stage.site)
    assert pages.ask("GET", "/set-up/jobsite.toml").text == text
    form = {"text": text.replace('label = "test site"', 'label = "dry dock"'), "why": "name"}
    assert change(stage, pages, "/set-up/file", form)[0] == 303
    assert [each[0].label for each in left(stage)] == ["dry dock"]
    bad = {"text": text.replace("threshold", "treshold") + "# <mine>", "why": "x"}
    status, shown = change(stage, pages, "/set-up/file", bad)
    assert status == 409
    assert "treshold" in shown
    assert "line " in shown
    assert "# &lt;mine&gt;" in shown
    assert len(left(stage)) == 1


def test_a_file_that_is_too_long_is_refused(stage: Stage, pages: Pages) -> None:
    """Before it is held."""
    assert change(stage, pages, "/set-up/file", {"text": "#" * 500_000, "why": "x"})[0] == 413


def test_a_test_message_is_asked_for_only_for_known_channels(stage: Stage, pages: Pages) -> None:
    """The messenger finds it in the inbox."""
    assert pages.send("/set-up/test", person="lead", channel="lead-phone").status_code == 303
    assert pages.send("/set-up/test", person="lead", channel="evil").status_code == 409
    asked = [json.loads(path.read_text()) for path in (stage.home / "inbox").glob("*.test")]
    assert asked == [{"person": "lead", "channel": "lead-phone"}]


def test_what_became_of_a_test_message_stands_beside_its_button(stage: Stage, pages: Pages) -> None:
    """Waiting until the messenger takes it, then the outcome of each attempt, the newest first."""
    assert "No test message was sent yet." in pages.ask("GET", "/set-up").text
    pages.send("/set-up/test", person="lead", channel="lead-phone")
    assert "Waiting to be sent: 1." in pages.ask("GET", "/set-up").text
    with closing(Book(stage.home / "delivery.db")) as book:
        delivery_trial.take_in(stage.home, book, NOW_MS)
        (row,) = book.own_after(0)
        book.settle(book.lease(row, NOW_MS), Took.ACCEPTED, NOW_MS + 400)
    page = pages.ask("GET", "/set-up").text
    assert "Waiting to be sent" not in page
    assert "<b>D-1</b> to lead by lead-phone: <b>delivered</b>, the server took it" in page


def test_limits_in_force_at_a_past_minute(stage: Stage, pages: Pages) -> None:
    """The jobsite of then, who set it and why; times are site time."""
    hour = 3_600_000
    started = canonical.to_bytes({"core_version": "x", "offset_ms": 0})
    first = canonical.config_set(site(margin_limit(threshold=2.0)), "ann", "start of job")
    second = canonical.config_set(site(margin_limit(threshold=3.0)), "bo", "revision 1")
    entries = [
        entry.plain(Kind.STARTED, NOW_MS - 3 * hour, started),
        entry.plain(Kind.CONFIG_SET, NOW_MS - 3 * hour, first),
        entry.plain(Kind.CONFIG_SET, NOW_MS - hour, second),
    ]
    with closing(Journal(stage.home / "journal.db")) as journal:
        journal.commit(1, entries, 1, Outcomes(), NOW_MS)
    for at, words in (("2026-07-13T10:40", "at least 2 K"), ("2026-07-13T11:41", "at least 3 K")):
        text = pages.ask("GET", f"/limits?at={at}").text
        assert words in " ".join(text.split())
    assert "Set by bo: revision 1" in text
    assert "at least 3 K" in " ".join(pages.ask("GET", "/limits").text.split())
    assert pages.ask("GET", "/limits?at=yesterday").status_code == 409


def test_every_form_by_hand_is_drawn_and_becomes_an_act(stage: Stage, pages: Pages) -> None:
    """All fields the flow asks for, nothing else."""
    for kind, fields in FORMS.items():
        text = pages.ask("GET", f"/entries?kind={kind}").text
        assert [f'name="{field.name}"' in text for field in fields] == [True] * len(fields)
        form = {field.name: "N/A" for field in fields}
        assert pages.send("/entries", kind=kind, area=NA, **form, extra="x").status_code == 303
        assert stage.acts[-1] == {"act": "manual", "person": "lead", "kind": kind, "area": NA, **form}
    assert pages.ask("GET", "/entries?kind=nothing").status_code == 404


def test_who_speaks_is_asked_of_the_program_itself(stage: Stage, pages: Pages) -> None:
    """Over a real journal with one message of an unknown sensor; without a journal it says so."""
    assert pages.ask("GET", "/set-up/heard").status_code == 503
    from gateway.flow import Flow

    flow, out = Flow(), Outcomes()
    assert stage.site
    made = [
        entry.plain(Kind.STARTED, NOW_MS, canonical.to_bytes({"core_version": "x", "offset_ms": 0})),
        entry.plain(Kind.CONFIG_SET, NOW_MS, canonical.config_set(stage.site, "ann", "start")),
    ]
    flow.advance(made, out)
    arrival = entry.Arrival("dewgate/test/new-probe", b'[{"n":"new-probe","u":"Cel","v":21.5}]')
    made.append(flow.receive(arrival, NOW_MS + 1000, out))
    with closing(Journal(stage.home / "journal.db")) as journal:
        journal.commit(1, made, 1, Outcomes(), NOW_MS)
    text = pages.ask("GET", "/set-up/heard").text
    assert "new-probe" in text
    assert "[[sensors]]" in text
    assert "21.5" in text
    assert text.count("heard once") == 3, "twice in its table, and among the refused"
    assert "makes a gap only where it is named" in text


def test_without_a_jobsite_set_up_says_so(stage: Stage) -> None:
    """The command that puts one in force."""
    stage.site, stage.open = None, False
    with pytest.raises(TurnedAway, match="dewgate apply"):
        set_up_page._site(stage.app().state.web)
    assert isinstance(stage.home, Path)
