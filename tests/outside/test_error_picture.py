"""The picture of the error surface shows what is there now, and what it shows is what is promised."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest

from tests import make_error_picture as maker

PICTURE = maker.TARGET.read_text(encoding="utf-8")


@pytest.mark.parametrize("branch", maker.BRANCHES, ids=lambda branch: branch.title)
def test_the_picture_names_the_worst_of_today(branch: maker.Branch) -> None:
    """Computed again: under 2 mK, and the text of the committed picture, which is made by hand, agrees."""
    rows = maker.surface(branch)
    found = maker.worst(rows)
    assert found.error_mk is not None
    assert 0.0 < found.error_mk < 2.0
    assert maker.in_words(found) in PICTURE
    filled = sum(cell.error_mk is not None for row in rows for cell in row)
    assert filled > 0.97 * maker.ACROSS * maker.UP


def test_the_scale_reaches_the_worst_value() -> None:
    """No colour stands for more than the bar says."""
    shown = [float(each) for each in re.findall(r"worst ([\d.]+) mK", PICTURE)]
    assert len(shown) == 5  # the title, the heading and three maps
    assert max(shown) <= maker.STEP_MK * len(maker.COLOURS)


def test_the_picture_is_well_formed_and_small() -> None:
    """Every cell is drawn once, and the file is below 200 kB."""
    assert len(PICTURE.encode()) < 200_000
    drawn = ET.fromstring(PICTURE).iter("{http://www.w3.org/2000/svg}rect")  # noqa: S314 (our own file)
    high, wide = maker.PANEL_H / maker.UP, maker.PANEL_W / maker.ACROSS
    cells = [float(each.get("width", "0")) / wide for each in drawn if each.get("height") == f"{high:g}"]
    assert sum(cells) == pytest.approx(3 * maker.ACROSS * maker.UP)
