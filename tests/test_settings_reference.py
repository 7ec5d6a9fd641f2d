"""The settings reference says what the program takes; that it is up to date is asked in `test_docs`."""

from __future__ import annotations

import re

from gateway.site_file import SiteFile
from tests import make_settings

PAGE = make_settings.TARGET.read_text()


def test_the_page_says_what_decides() -> None:
    """Read by eye from the tables: a key without default, a closed list, a default, a bound."""
    assert re.search(r"^\| `clause` \| .* \| text \| \*\*an error\*\* \|$", PAGE, re.MULTILINE)
    assert "| `relation` | 'at least' or 'at most' | `at least`, `at most` | **an error** |" in PAGE
    assert re.search(r"^\| `decision_rule` \| .* \| `simple`, `guarded` \| `simple` \|$", PAGE, re.MULTILINE)
    assert re.search(r"^\| `priorities` \| .* \| some of `high`, `medium`, `low` \|", PAGE, re.MULTILINE)
    assert re.search(
        r"^\| `false_warnings_a_week` \| .* \| a number, at least 0.*, at most 50.* \| `2.0` \|$",
        PAGE,
        re.MULTILINE,
    )
    assert "## `[[products.recoat]]`" in PAGE


def test_every_table_has_its_section() -> None:
    """Walked by hand through the first level: [jobsite] is one table, all others are lists."""
    headings = set(re.findall(r"^## `\[+(\w+)\]+`$", PAGE, re.MULTILINE))
    assert headings == set(SiteFile.model_fields)
