"""Test messages: asked for by a file in the home's inbox, sent as any other message, so that the journal has the
outcome.
"""

from __future__ import annotations

import json
import time
from pathlib import Path

from alerts.delivery_book import Book, Row
from alerts.notification import CAUTION

TITLE, TEXT = "{}Test message: nothing is wrong.", "The way to {} works if this is read. {}"


def ask(home: Path, person: str, channel: str) -> str:
    """Ask the running `deliver` for a test message; return the name by which the inbox holds it until then."""
    left = home / "inbox" / f"{time.time_ns()}.test"
    left.parent.mkdir(parents=True, exist_ok=True)
    left.with_suffix(".part").write_text(json.dumps({"person": person, "channel": channel}), "utf-8")
    left.with_suffix(".part").rename(left)
    return left.name


def words(number: str, channel: str) -> tuple[str, str]:
    """Return title and text of a test message."""
    return TITLE.format(f"{number} " if number else ""), TEXT.format(channel, CAUTION)


def take_in(home: Path, book: Book, now_ms: int) -> None:
    """Turn what was asked for into messages; a file that cannot be read is taken away all the same."""
    for path in sorted((home / "inbox").glob("*.test")):
        try:
            said = json.loads(path.read_text("utf-8"))
            person, channel = str(said["person"]), str(said["channel"])
        except (ValueError, KeyError, TypeError):
            person = channel = ""
        if channel:
            number = book.next_number()
            book.say(Row(0, now_ms, number, person, channel, "high", *words(number, channel)))
        path.unlink()
