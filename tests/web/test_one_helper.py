"""One process works for the pages at a time; one that nobody reads does not stand in the way for ever."""

from __future__ import annotations

import subprocess
import sys

import pytest

from gateway.adapters.history_out import Question
from gateway.web import one_helper
from gateway.web.gate import TurnedAway
from gateway.web.one_helper import OLD_S, OneHelper, end, passed_on

ASKED = Question("", "csv", (), 0, 1)


def saying(code: str) -> OneHelper:
    def begin(_: Question) -> subprocess.Popen[bytes]:
        return subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE)

    return OneHelper(begin)


def test_a_second_one_is_turned_away_until_the_first_has_ended() -> None:
    """And what the first says is passed on whole."""
    helper = saying("import sys; sys.stdout.write('x' * 200_000)")
    first = helper.start(ASKED)
    with pytest.raises(TurnedAway, match="Somebody else"):
        helper.start(ASKED)
    assert b"".join(passed_on(first)) == b"x" * 200_000
    end(helper.start(ASKED))


def test_one_that_nobody_reads_is_ended_when_it_is_old() -> None:
    """Its pipe is full, so it would wait for ever."""
    now = [0.0]
    helper = saying("import sys; sys.stdout.write('x' * 2_000_000)")
    helper.monotonic = lambda: now[0]
    left = helper.start(ASKED)
    now[0] = OLD_S - 1
    with pytest.raises(TurnedAway):
        helper.start(ASKED)
    now[0] = OLD_S + 1
    end(helper.start(ASKED))
    assert left.poll() is not None


def test_a_reader_who_leaves_ends_it() -> None:
    """In the middle of a file."""
    process = saying("import sys; sys.stdout.write('x' * 2_000_000)").start(ASKED)
    reading = passed_on(process)
    next(reading)
    reading.close()
    assert process.poll() is not None


def test_an_answer_that_fails_or_takes_too_long_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither is taken for an empty drawing."""
    assert saying("print('{}', end='')").answer(ASKED) == b"{}"
    with pytest.raises(TurnedAway, match="could not be worked out"):
        saying("raise SystemExit(1)").answer(ASKED)
    monkeypatch.setattr(one_helper, "PATIENCE_S", 0.2)
    with pytest.raises(TurnedAway, match="takes too long"):
        saying("import time; time.sleep(60)").answer(ASKED)
