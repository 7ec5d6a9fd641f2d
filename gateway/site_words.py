"""Which words a jobsite file may hold: closed lists, plain ids, and what is refused with its reason."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Annotated
from zoneinfo import available_timezones

from pydantic import AfterValidator

from gateway.site_amounts import closest, seconds

_BREATHING = re.compile("hood|respirator|breath|helmet", re.IGNORECASE)


def one_of(choices: Iterable[str]) -> AfterValidator:
    """Return the check that a word is one of a closed list."""
    choices = tuple(choices)

    def check(word: str) -> str:
        if word not in choices:
            near = closest(word, choices)
            raise ValueError(f"not known here{near}" if near else f"not one of {', '.join(choices)}")
        return word

    return AfterValidator(check)


def checked(read: Callable[[str], object]) -> AfterValidator:
    """Return the check that a reader takes the text; the text itself is kept as written."""

    def check(text: str) -> str:
        read(text)
        return text

    return AfterValidator(check)


def positive_time(text: str) -> None:
    """Refuse a time between readings that is not more than zero."""
    if seconds(text) <= 0:
        raise ValueError("the time between two readings must be more than zero")


def zone(name: str) -> None:
    """Refuse an unknown time zone."""
    if name not in available_timezones():
        raise ValueError(f"unknown time zone{closest(name, available_timezones())}")


def clock_time(text: str) -> None:
    """Refuse what is no time of day."""
    if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
        raise ValueError("a time of day is written as '17:30', from 00:00 to 23:59")


def duty(text: str) -> None:
    """Refuse hours of duty that are not two different times of day."""
    found = re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d-([01]\d|2[0-3]):[0-5]\d", text) if text else None
    if text and (not found or text[:5] == text[6:]):
        raise ValueError("write two times of day, such as '06:00-18:00'; leave it out for day and night")


def plain_id(text: str) -> None:
    """Refuse an id that a topic or a page address could not carry."""
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_.:-]{0,63}", text):
        raise ValueError("an id has letters, digits and - _ . : only, no blank, and is not empty")


def no_breathing_air(word: str) -> None:
    """Refuse a branch for a hood or respirator."""
    if _BREATHING.search(word):
        raise ValueError(
            "refused: the program says nothing about breathing air, so no such branch is described here"
        )


def said(text: str) -> None:
    """Refuse an empty text."""
    if not text.strip():
        raise ValueError("is empty; say it")


def device_topic(text: str) -> None:
    """Refuse a topic of a device that MQTT does not allow, or that reaches into the program's own."""
    levels = text.split("/")
    if not text or len(text) > 250 or any(ord(each) < 32 or each == "\x7f" for each in text):
        raise ValueError("a topic has 1 to 250 characters and no control characters")
    if "#" in text or any("+" in level and level != "+" for level in levels):
        raise ValueError("a + stands for one whole level, such as 'yard/+/air'; # is not taken")
    if levels.count("+") > 3:
        raise ValueError("has more than three +")
    if levels[0] == "+":
        raise ValueError("the first level is written out; a + there would take the program's own topics as well")
    if levels[0] in ("dewgate", "spBv1.0") or text.startswith("$"):
        raise ValueError("topics under dewgate/, spBv1.0/ and $ are not a device's own")


def plain_level(text: str) -> None:
    """Refuse a name that is not one level of a topic."""
    if not text or len(text) > 120 or re.search(r"[/+#\x00-\x1f\x7f]", text):
        raise ValueError("has 1 to 120 characters, none of them / + # or a control character")


Id = Annotated[str, checked(plain_id)]
Said = Annotated[str, checked(said)]
Delay = Annotated[str, checked(seconds)]
