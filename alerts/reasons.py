"""Reasons in a reader's language. The gateway finds them in English; what nobody has translated stays as it is.

A reason is one or more sentences with "; " between them, each perhaps with "sensor: " or a place in front.
"""

from __future__ import annotations

import re
from functools import cache

from alerts.reasons_es import REASONS

TABLES = {"es": REASONS}
SHORT_S = 120  # a silence below it is told in seconds: ours
_SILENT = re.compile(r"silent since (\d+) s\b")


@cache
def _patterns(language: str) -> list[tuple[re.Pattern[str], str]]:
    """Sentences with holes, the longest first, since the most particular is meant."""
    holed = sorted((text for text in TABLES[language] if "{}" in text), key=len, reverse=True)
    return [(re.compile("(.+?)".join(map(re.escape, each.split("{}")))), TABLES[language][each]) for each in holed]


def in_language(reason: str, language: str) -> str:
    """Return a reason in this language, a long silence in minutes."""
    reason = _SILENT.sub(_in_minutes, reason)
    if language not in TABLES:
        return reason
    return "; ".join(_sentence(each, language) for each in reason.split("; "))


def _in_minutes(found: re.Match[str]) -> str:
    seconds = int(found[1])
    return found[0] if seconds < SHORT_S else f"silent {seconds // 60} min"


def _sentence(text: str, language: str) -> str:
    if text in TABLES[language]:
        return TABLES[language][text]
    for pattern, said in _patterns(language):
        if found := pattern.fullmatch(text):
            return said.format(*(_sentence(each, language) for each in found.groups()))
    head, colon, rest = text.partition(": ")
    return f"{TABLES[language].get(head, head)}: {_sentence(rest, language)}" if colon else text
