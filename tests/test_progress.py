"""The bar: on a terminal only, in steps, and the last one ends its line."""

import io
import sys

import pytest

from gateway import progress


class Terminal(io.StringIO):
    """A stderr that a person looks at."""

    def isatty(self) -> bool:
        """It is one."""
        return True


def test_a_terminal_sees_steps_and_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half is half a bar; between the steps nothing is drawn; the end is drawn and ends the line."""
    monkeypatch.setattr(sys, "stderr", Terminal())
    for done in range(1, 8):
        progress.bar("hours", done, 7, each=3)
    drawn = sys.stderr.getvalue().split("\r")  # type: ignore[attr-defined]
    assert [each.split(" ")[1] for each in drawn[1:]] == ["3/7", "6/7", "7/7"]
    assert drawn[1].count("█") == 17 and drawn[-1].endswith("7/7 hours\n")


def test_a_file_sees_none(capsys: pytest.CaptureFixture[str]) -> None:
    """What is written to a log stays readable."""
    progress.bar("hours", 1, 1)
    assert capsys.readouterr().err == ""
