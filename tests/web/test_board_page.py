"""The board as a page: what it says, what it draws, and what it never lets in."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape

import pytest

from alerts.limits import Verdict
from alerts.measured import Validity
from gateway.board import FindingLine
from gateway.web.gaps import groups, scale_for, side_of
from gateway.web.words import number_beside, offset, since
from tests.web.conftest import Pages, Stage
from tests.web.made import BOARD, GAPS, NOW_MS, gap, judged

CLIMATE = "climate only: salts, cleanliness and profile are not judged"
ADVISORY = (
    "Advisory only. Not a safety interlock and never permission: the specification, data sheets, local codes "
    "and licensed practice decide."
)


@pytest.fixture
def html(pages: Pages) -> str:
    """The whole page."""
    return pages.ask("GET", "/").text


def test_every_answer_carries_the_strict_policy(pages: Pages) -> None:
    """Pages, assets and errors alike allow nothing from elsewhere."""
    for path in ("/", "/static/board.css", "/static/board.js", "/health", "/nowhere"):
        headers = pages.ask("GET", path).headers
        assert headers["content-security-policy"].startswith("default-src 'none'; script-src 'self';")
        assert "unsafe" not in headers["content-security-policy"]
        assert ("no-referrer", "nosniff") == (headers["referrer-policy"], headers["x-content-type-options"])


def test_nothing_is_inline(html: str) -> None:
    """There is no style attribute, style element, event attribute or script text."""
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", html)
    assert re.findall(r"<script[^>]*>[^<]*", html) == ['<script src="/static/board.js" defer>']


def test_every_verdict_is_said_in_words(html: str) -> None:
    """Each of the verdicts stands on the board as text, with a shape beside it."""
    words = re.findall(r'<h3 class="word[^>]*>.*?<span>([^<]*)', html, re.DOTALL)
    assert sorted(words) == sorted(str(verdict) for verdict in Verdict)
    assert html.count('class="shape"') >= len(words)


def test_the_two_lines_about_the_board_itself_are_there(html: str) -> None:
    """The board says what it does not judge and that it decides nothing."""
    assert CLIMATE in html
    assert ADVISORY in html


def test_a_limit_shows_number_clause_reason_and_since(html: str) -> None:
    """The reader sees the value with its uncertainty, the limit with its clause, why and since when."""
    shown = " ".join(re.sub(r"<[^>]+>", " ", html).split())
    for part in (
        "Steel at the keel is 1.8 K short", "1.2 K ± 0.9 K", "at least 3.0 K (clause 3.2.1)", "Since 12:40:00"
    ):  # fmt: skip
        assert part in shown


def test_the_decision_rule_stands_beside_the_limit(stage: Stage, pages: Pages) -> None:
    """Rule and four-state note as they come, once for each limit that has one."""
    (limit, *rest), first = BOARD.verdicts[0].limits, BOARD.verdicts[0]
    ruled = replace(limit, rule="simple acceptance; does not conform")
    stage.board = replace(BOARD, verdicts=(replace(first, limits=(ruled, *rest)), *BOARD.verdicts[1:]))
    html = pages.ask("GET", "/").text
    assert html.count("<p>Rule: ") == html.count("<p>Rule: simple acceptance; does not conform.</p>") == 1


def test_simulated_values_are_marked(stage: Stage, pages: Pages) -> None:
    """The band stands on a simulated board and on no other."""
    assert "SIMULATED" in pages.ask("GET", "/").text
    stage.board = replace(BOARD, simulated=False)
    assert "SIMULATED" not in pages.ask("GET", "/").text


def test_stored_text_is_escaped(stage: Stage, pages: Pages) -> None:
    """Names and reasons come from people and sensors and never become markup."""
    bad = "<img src=x onerror=alert(1)>\"'"
    verdict = replace(BOARD.verdicts[0], area_label=bad, activity=bad)
    alarm = replace(BOARD.alarms[0], title=bad, body=bad, number=bad, state=f"unacknowledged {bad}")
    gaps = (replace(GAPS[0], place=bad, reason=bad, group=bad),)
    stage.board = replace(
        BOARD, jobsite=bad, verdicts=(verdict,), alarms=(alarm,), gaps=gaps, people=(bad,), record_code=bad
    )
    html = pages.ask("GET", "/").text
    assert "<img" not in html
    assert bad in unescape(html)


def test_an_unknown_gap_is_hatched_with_its_reason(stage: Stage, pages: Pages) -> None:
    """Nothing known is drawn as hatching, never as a bar, and the reason stands in words."""
    silent = gap("steel", "Keel", 11.0, 15.0, validity=Validity.UNKNOWN, reason="No reading for 12 min.")
    stage.board = replace(BOARD, gaps=(silent,))
    html = pages.ask("GET", "/").text
    assert 'class="hatched"' in html
    assert 'class="bar' not in html
    assert "No reading for 12 min." in html


def test_a_negative_margin_is_drawn_on_the_wet_side(html: str) -> None:
    """The separator outlet says wet side, and its colder end is named first."""
    part = html[html.index("<span>Separator outlet") :]
    assert part.index("wet side") < part.index("</article>")
    assert part.index("temperature 22.5 °C") < part.index("dew point 24.0 °C")


def test_frost_points_are_named(html: str) -> None:
    """Below 0 °C the lower end is a frost point, and in a train ice may block."""
    assert "frost point −3.0 °C, ice may block" in html


def test_gaps_keep_the_order_of_the_air_after_the_steel() -> None:
    """Groups come steel first; inside each the given order stays."""
    shuffled = (*GAPS[4:], *GAPS[:4])
    drawn = groups(shuffled, scale_for(shuffled))
    assert ["Steel", "Train 1, in the order the air flows"] == [group.title for group in drawn]
    assert [g.place for g in GAPS[4:]] == [bar.place for bar in drawn[1].bars]


@pytest.mark.parametrize(
    ("expected", "low", "high", "u", "limit"),
    [
        ("wet", 10.0, 10.0, 0.5, 3.0),  # a margin of 0: water is there already
        ("short", 10.0, 12.9, 0.1, 3.0),
        ("near", 10.0, 13.0, 0.1, 3.0),  # at the limit is inside, but not beyond the uncertainty
        ("clear", 10.0, 13.1, 0.1, 3.0),
        ("clear", 10.0, 13.0, None, 3.0),
        ("plain", 10.0, 13.0, 0.1, None),
        ("unknown", None, 13.0, 0.1, 3.0),
    ],
)
def test_side(expected: str, low: float | None, high: float, u: float | None, limit: float | None) -> None:
    """The words under a bar follow the margin against zero and the notch."""
    assert expected == side_of(gap("steel", "Keel", low, high, u=u, limit=limit))


def test_a_margin_of_a_later_wall_is_told_apart_from_the_bar(stage: Stage, pages: Pages) -> None:
    """A piece shows the worst margin from it on; where the bar is longer, the words say so."""
    stage.board = replace(BOARD, gaps=(replace(gap("Train 1", "Hose", 10.0, 18.2), margin_k=-1.5),))
    html = pages.ask("GET", "/").text
    assert "wet side; the worst wall is further on, the gap here is 8.2 K" in html
    assert "dew point 10.0 °C" in html[: html.index("temperature 18.2 °C")]


def test_steel_of_each_area_comes_before_the_trains() -> None:
    """A group for each area is steel too: no ice blocks there, and it is drawn first."""
    mixed = (GAPS[4], gap("steel, area A", "Keel", -2.0, 3.0, frost=True))
    first, second = groups(mixed, scale_for(mixed))
    assert (first.title, second.title) == ("Steel, area A", "Train 1, in the order the air flows")
    assert first.bars[0].ends == ("frost point −2.0 °C", "temperature 3.0 °C")


def test_an_end_that_is_not_known_is_hatched_though_the_margin_is_known(stage: Stage, pages: Pages) -> None:
    """The number stands, but no bar is drawn from nowhere."""
    stage.board = replace(BOARD, gaps=(replace(gap("Train 1", "Hose", None, 18.2), margin_k=4.0),))
    html = pages.ask("GET", "/").text
    assert "4.0 K" in html
    assert 'class="hatched"' in html


def test_a_limit_that_names_its_clause_names_it_once(stage: Stage, pages: Pages) -> None:
    """Some limits are written with their clause; one not judged yet has no since."""
    limit = replace(judged(Verdict.UNKNOWN, limit="at least 3 K (clause 3.2.1)"), since_utc_ms=0)
    stage.board = replace(BOARD, verdicts=(replace(BOARD.verdicts[0], limits=(limit,)),))
    html = pages.ask("GET", "/").text
    assert html.count("clause 3.2.1") == 1
    assert "1970" not in html


def test_a_bound_is_never_drawn_as_above_the_limit() -> None:
    """What a sensor cannot resolve gets no normal colour."""
    assert side_of(gap("Train 1", "Nozzle", -30.0, 20.0, validity=Validity.BOUND)) == "bound"


def test_every_position_lies_on_the_drawing() -> None:
    """Bars, notches and soft edges of all places fit one scale."""
    for group in groups(GAPS, scale_for(GAPS)):
        for bar in group.bars:
            spans = [span for span in (bar.solid, bar.soft) if span]
            assert all(left >= 0 and width >= 0 and left + width <= 100.01 for left, width in spans)


def test_a_number_never_rounds_across_its_limit() -> None:
    """2.96 is not shown as 3.0 beside a limit of 3."""
    written = [number_beside(value, 3.0, 0.0) for value in (2.96, 3.0, 3.2, -0.04, 0.0)]
    assert ["2.96", "3.0", "3.2", "−0.04", "0.0"] == written


def test_times_are_site_times_with_their_offset() -> None:
    """Summer in Lisbon is one hour ahead of UTC; another day shows its date."""
    assert offset(NOW_MS, "Europe/Lisbon") == "UTC+01:00"
    assert since(NOW_MS - 86_400_000, NOW_MS, "Europe/Lisbon") == "2026-07-12 13:40:00"
    assert offset(NOW_MS, "No/Such") == "UTC+00:00"


def test_without_a_board_everything_is_unknown(stage: Stage, pages: Pages) -> None:
    """Before the first second the page says so."""
    stage.board = None
    assert "All verdicts are unknown." in pages.ask("GET", "/").text


def test_an_empty_board_is_drawn(stage: Stage, pages: Pages) -> None:
    """A jobsite without areas, places, alarms and people says that nothing is judged."""
    stage.board = replace(BOARD, verdicts=(), gaps=(), alarms=(), sensors=(), people=(), works=())
    assert "Nothing is judged." in pages.ask("GET", "/").text


def test_only_unacknowledged_alarms_flash_and_ask(html: str) -> None:
    """Two of three made alarms wait for a person."""
    assert html.count("waits") == 2
    assert html.count('action="/acknowledge"') == 2


def test_a_finding_stands_above_the_gaps_with_its_evidence(stage: Stage, pages: Pages) -> None:
    """Which piece, how sure, and the way to what to look at first."""
    found = FindingLine(
        "F-3", "T1", "dryer", "spent", "Salt dryer is spent", "2.1 K below inlet", "medium", "level", "", NOW_MS
    )
    stage.board = replace(BOARD, findings=(found,))
    shown = " ".join(re.sub(r"<[^>]+>", " ", pages.ask("GET", "/").text).split())
    assert "F-3 Finding, confidence medium: Salt dryer is spent. 2.1 K below inlet." in shown


def test_the_last_label_but_one_does_not_run_into_the_last(stage: Stage, pages: Pages) -> None:
    """On a scale of seven labels, the last of which carries the unit."""
    scale = scale_for(GAPS)
    assert len(scale.ticks) >= 6
    texts = re.findall(r'text-anchor="[a-z]+">([^<]*)</text>', pages.ask("GET", "/").text)[: len(scale.ticks)]
    assert texts[-2] == ""
    assert texts[-1] == f"{scale.ticks[-1][1]} °C"


def test_an_alarm_that_was_put_aside_has_no_colour_of_danger(stage: Stage, pages: Pages) -> None:
    """Shelved, suppressed or out of service: grey, and the state in words."""
    stage.board = replace(BOARD, alarms=(replace(BOARD.alarms[0], state="suppressed by design"),))
    part = pages.ask("GET", "/").text.split('<article class="alarm ')[1].split("</article>")[0]
    assert part.startswith("edge-grey")
    assert "tone-red" not in part
    assert "suppressed by design" in part
