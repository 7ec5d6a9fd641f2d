"""The page of a train's water: its findings, what its sensors cannot tell, work done entered as an act."""

from __future__ import annotations

import re
from dataclasses import replace

from gateway.board import FindingLine
from gateway.finding_service import SERVICES
from tests.web.conftest import Pages, Stage
from tests.web.made import BOARD, NOW_MS

FOUND = FindingLine(
    "F-3", "T1", "dryer", "bed or bypass", "dryer: takes out less", "outlet at 71% RH, was 50%", "medium",
    "Look at the position of the bypass.", "a probe at the outlet that reads high", NOW_MS - 600_000,
)  # fmt: skip


def test_a_finding_stands_with_all_that_a_crew_needs(stage: Stage, pages: Pages) -> None:
    """Evidence, how sure, what first, what else; then what this train's sensors cannot tell."""
    stage.board = replace(BOARD, findings=(FOUND,))
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", pages.ask("GET", "/water").text))
    for said in (
        "F-3: dryer: takes out less", "outlet at 71% RH, was 50%", "medium", "Look at the position of the bypass.",
        "a probe at the outlet that reads high", "looks the same with these sensors: spent salt",
        "cannot be seen with these sensors:",
    ):  # fmt: skip
        assert said in text


def test_work_done_is_entered_from_the_page(stage: Stage, pages: Pages) -> None:
    """The piece of the finding is chosen already; empty words are no part of the act."""
    stage.board = replace(BOARD, findings=(FOUND,))
    page = pages.ask("GET", "/water").text
    assert '<option value="dryer" selected>' in page
    assert all(f'<option value="{each}">' in page for each in SERVICES)
    form = {"train": "T1", "piece": "dryer", "what": "salt refilled", "words": "", "ref": "r1"}
    answer = pages.send("/water/serviced", **form)
    assert (answer.status_code, answer.headers["location"]) == (303, "/water")
    pages.send("/water/serviced", **form | {"words": "40 kg, lot L-7"})
    first, second = stage.acts
    assert {name: first[name] for name in first if name != "person"} == {
        "act": "serviced", "train": "T1", "piece": "dryer", "what": "salt refilled", "ref": "r1",
    }  # fmt: skip
    assert second["words"] == "40 kg, lot L-7"
