"""Every line that a service says has the name of an event, every event is used and stands in DEVELOPERS.md."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from alerts import log
from gateway.adapters.trouble import Told

ROOT = Path(__file__).parent.parent
SERVICES = {"gateway/service.py", "gateway/yard/watch.py", "gateway/clock.py", "gateway/wired_command.py"} | {
    str(path.relative_to(ROOT)) for room in ("alerts", "gateway/adapters") for path in ROOT.glob(f"{room}/*.py")
}
"""What runs for months; commands speak to the person who typed them."""


@cache
def every_call() -> list[tuple[Path, ast.Call]]:
    """Every call in the program, read once."""
    files = [path for room in ("gateway", "alerts") for path in (ROOT / room).rglob("*.py")]
    return [
        (path, node)
        for path in files
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call)
    ]


def calls(*names: str) -> Iterator[tuple[Path, ast.Call]]:
    """Every call of a function or method by its last name."""
    for path, node in every_call():
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in names:
            yield path, node


def said() -> set[str]:
    """Every event named where a line is said: the words of `tell`, and the names under which troubles stand."""
    found = {word.value for _, call in calls("tell") for word in call.args[1:2] if isinstance(word, ast.Constant)}
    of_deliver = [call for path, call in calls("_tell") if path.name == "delivery.py"]
    found |= {call.args[0].value for call in of_deliver if isinstance(call.args[0], ast.Constant)}
    standing = [call for path, call in calls("say") if path.name == "service.py"]
    names = {word.arg.replace("_", "-") for call in standing for word in call.keywords if word.arg}
    answered = (ROOT / "alerts" / "contacts.py").read_text()
    found |= {call.args[1].value for path, call in calls("_say") if path.name == "trouble.py"}
    found |= {event for event in ("contacts", "contacts-kept") if f'return "{event}", f"' in answered}
    return found | names | {f"{name}-over" for name in names}


def test_every_event_that_is_said_is_known_and_every_known_one_is_said() -> None:
    assert said() == set(log.EVENTS)


def test_the_table_is_todays() -> None:
    assert log.table() in (ROOT / "DEVELOPERS.md").read_text(), "print(alerts.log.table()) says what it must be"


def test_a_service_says_nothing_without_an_event() -> None:
    """Only the log writes to stderr there; `trouble` also answers who typed a command."""
    speaks = {str(path.relative_to(ROOT)) for path, call in calls("print") if _to_stderr(call)}
    assert speaks & SERVICES == {"alerts/log.py", "gateway/adapters/trouble.py", "gateway/wired_command.py"}


def _to_stderr(call: ast.Call) -> bool:
    return any(word.arg == "file" and ast.unparse(word.value) == "sys.stderr" for word in call.keywords)


def test_a_line_and_its_level_under_systemd(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The event stands last; the level of sd-daemon(3) only where a journal takes it."""
    monkeypatch.delenv("JOURNAL_STREAM", raising=False)
    log.tell("run", "broker", "broker x: not reachable")
    monkeypatch.setenv("JOURNAL_STREAM", "8:1")
    log.tell("deliver", "book", "refused")
    said = capsys.readouterr().err
    assert said == "dewgate run: broker x: not reachable event=broker\n<3>dewgate deliver: refused event=book\n"
    with pytest.raises(KeyError):
        log.tell("run", "no such event", "")


def test_what_stands_is_said_once_and_its_end_once(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("JOURNAL_STREAM", raising=False)
    told = Told()
    told.say(broker=("away",), head=())
    told.say(broker=("away",), head=("no key",))
    assert told.lines == ("away", "no key")
    told.say(disk_full=("full",))
    told.say()
    assert capsys.readouterr().err.splitlines() == [
        "dewgate run: away event=broker",
        "dewgate run: no key event=head",
        "dewgate run: full event=disk-full",
        "dewgate run: over: away event=broker-over",
        "dewgate run: over: no key event=head-over",
        "dewgate run: over: full event=disk-full-over",
    ]
