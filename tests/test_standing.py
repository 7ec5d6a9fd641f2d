"""What a jobsite says of itself for those who hold a copy of its journal: when, and which words."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

from alerts.limits import SEVERITY, Verdict
from gateway import entry
from gateway.adapters.journal import entries_after, open_reader
from gateway.board import AreaWork, Board, GoingOn
from gateway.entry import Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.payload import canonical
from gateway.service import Service
from gateway.standing import MOST, Saying, body
from tests.faults.kill_run import prepare
from tests.web.made import BOARD


def said(board: Board) -> dict[str, Any]:
    return canonical.to_dict(body(board, {}))


def test_a_word_a_minute_and_sooner_where_a_verdict_changes() -> None:
    """The first after a minute; a change within ten seconds; another number is no change."""
    saying, first = Saying(), BOARD
    changed = replace(first, verdicts=(replace(first.verdicts[0], verdict=Verdict.NO_LIMIT), *first.verdicts[1:]))
    assert [saying.due(first, {}, at) is not None for at in (5_000, 64_999, 65_000)] == [False, False, True]
    assert saying.due(replace(first, utc_ms=first.utc_ms + 1), {}, 124_000) is None
    assert saying.due(changed, {}, 74_999) is None
    assert saying.due(changed, {}, 75_000) == body(changed, {})
    assert saying.due(None, {}, 999_000) is None, "without a board there is no word"
    assert saying.due(changed, {}, 1_058_000) is None and saying.due(changed, {}, 1_059_000) is not None


def test_the_worst_of_each_area_in_the_words_of_the_board() -> None:
    """What goes on there is what counts; where nothing was begun, everything that is limited."""
    areas = said(BOARD)["areas"]
    assert isinstance(areas, list)
    order = [SEVERITY.index(Verdict(each["verdict"])) for each in areas]
    assert order == sorted(order) and len(areas) == len({each.area for each in BOARD.verdicts})
    assert (areas[0]["area"], areas[0]["verdict"]) == ("Hull frames 12 to 18", "outside limits")
    assert areas[0]["why"].startswith("1.2 K ± 0.9 K; limit at least 3.0 K; Steel at the keel")
    first = BOARD.verdicts[0]
    other = replace(first, activity="curing", verdict=Verdict.INSIDE)
    going = AreaWork(first.area, first.area_label, "", 0, (GoingOn("curing", 0, "lead", None),), (), ())
    only = replace(BOARD, verdicts=(replace(first, verdict=Verdict.OUTSIDE), other), works=(going,))
    assert [(each["activity"], each["verdict"]) for each in said(only)["areas"]] == [("curing", "inside limits")]
    unset = replace(only, works=())
    assert [(each["activity"], each["verdict"]) for each in said(unset)["areas"]] == [("", "outside limits")]


def test_alarms_deliveries_and_trouble_are_said_and_bounded() -> None:
    """Of very many alarms the first, and how many there are."""
    assert BOARD.alarms
    many = replace(BOARD, alarms=BOARD.alarms[:1] * 100, trouble=("the broker is away",))
    word = canonical.to_dict(body(many, {"message": 9, "delivery delivered": 3, "delivery try again": 1}))
    assert (len(word["alarms"]), word["alarm_count"]) == (MOST, 100)
    assert word["sent"] == {"delivered": 3, "try again": 1} and word["trouble"] == ["the broker is away"]
    assert word["alarms"][0]["number"] == BOARD.alarms[0].number


def test_the_writer_journals_it_and_the_fold_passes_it_over(tmp_path: Path) -> None:
    """A minute after its start the running writer says how the site stands; folded again it changes nothing."""
    prepare(tmp_path)
    service = Service(tmp_path)
    service.turn()
    service._saying._at_ms -= 60_000
    service.turn()
    state = service.flow.checkpoint()
    service.close()
    with closing(open_reader(tmp_path / "journal.db")) as reader:
        entries = list(entries_after(reader, 0))
    words = [entry.body_of(each) for each in entries if each[0] == Kind.STANDING]
    assert len(words) == 1 and canonical.to_dict(words[0])["jobsite"] == "test site"
    flow = Flow()
    flow.advance(entries, Outcomes())
    assert flow.checkpoint() == state
