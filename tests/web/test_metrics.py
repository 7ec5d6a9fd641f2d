"""The figures for a watching machine, read with a parser written from the format's description."""

from __future__ import annotations

import re
from dataclasses import replace

from gateway.board import SensorLine
from tests.web.conftest import Pages, Stage
from tests.web.made import BOARD

LINE = re.compile(r"^(dewgate_\w+)(?:\{(.*)\})? (-?[\d.e+]+)$")  # text format 0.0.4: name{label="value",...} value
LABEL = re.compile(r'(\w+)="((?:[^"\\]|\\.)*)"')


def read(text: str) -> dict[tuple[str, ...], float]:
    """Return every sample by its name and label values; each must belong to a declared family."""
    found, declared = {}, set()
    for line in text.splitlines():
        if line.startswith("# TYPE"):
            declared.add(line.split()[2])
        if line.startswith("#"):
            continue
        match = LINE.match(line)
        assert match and match[1] in declared, line
        found[match[1], *(value for _, value in LABEL.findall(match[2] or ""))] = float(match[3])
    return found


def test_the_boards_figures(pages: Pages, stage: Stage) -> None:
    """Counts, sensors, alarms, trouble and the disk."""
    stage.board = replace(BOARD, trouble=("the disk is full",))
    answer = pages.ask("GET", "/metrics")
    assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
    found = read(answer.text)
    assert found["dewgate_messages_total",] == BOARD.counts.messages
    for code, count in BOARD.counts.rejected_by_code:
        assert found["dewgate_refused_total", code] == count
    for each in BOARD.sensors:
        assert found["dewgate_sensor_known", each.sensor] == (each.validity != "unknown")
        if each.age_ms is not None:
            assert found["dewgate_sensor_age_seconds", each.sensor] == each.age_ms / 1000
    assert found["dewgate_troubles",] == 1 and found["dewgate_disk_free_bytes",] > 0
    assert {key[1] for key in found if key[0] == "dewgate_alarm"} == {each.number for each in BOARD.alarms}


def test_a_name_cannot_break_the_text(pages: Pages, stage: Stage) -> None:
    """A sensor's id is a stranger's word."""
    line = SensorLine('a"\\\nb', "", "", 1000, BOARD.sensors[0].validity, "")
    stage.board = replace(BOARD, sensors=(line,))
    assert ("dewgate_sensor_age_seconds", r"a\"\\\nb") in read(pages.ask("GET", "/metrics").text)


def test_before_the_first_board(pages: Pages, stage: Stage) -> None:
    """Only that there is none, and the disk."""
    stage.board = None
    found = read(pages.ask("GET", "/metrics").text)
    assert {key[0] for key in found} == {
        "dewgate_board_age_seconds", "dewgate_disk_free_bytes", "dewgate_journal_bytes"
    }  # fmt: skip
