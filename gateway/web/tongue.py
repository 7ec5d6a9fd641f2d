"""The pages' words in the reader's language. English is the language of the source; what is not translated stays.

Fixed words are those of the climate record; `es.json` holds the pages' own, `es_dryer.json` those of trains and
dryers, English to Spanish; each `{}` stands for a piece that is put into the translation, itself translated where
it is known (a number, a name, the words of a limit).
"""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path

from gateway.record_spanish import SPANISH

_HERE = Path(__file__).parent


@cache
def _words(language: str) -> tuple[dict[str, str], list[tuple[re.Pattern[str], str]]]:
    """Return whole sentences, and those with a hole as patterns, the most particular first."""
    own: dict[str, str] = {}
    for path in sorted(_HERE.glob(f"{language}*.json")):
        own |= json.loads(path.read_text("utf-8"))
    known = {text: said for text, said in SPANISH.items() if "{" not in text} | own if language == "es" else own
    holed = sorted((text for text in known if "{}" in text), key=lambda text: -len(text))
    patterns = [(re.compile(_pattern(text), re.DOTALL), known[text]) for text in holed]
    return {text: said for text, said in known.items() if "{}" not in text}, patterns


def _pattern(text: str) -> str:
    return "(.+?)".join(re.escape(part) for part in text.split("{}"))


def translated(text: str, language: str) -> str:
    """Return the text in this language, or as it is where nobody has translated it."""
    if language == "en" or not text:
        return text
    known, patterns = _words(language)
    if text in known:
        return known[text]
    return _with_holes(text, language, patterns)


def whole(text: str, language: str) -> str:
    """Return a fixed text with {named} holes, which stay, in this language."""
    return SPANISH.get(text, text) if language == "es" else text


def _with_holes(text: str, language: str, patterns: list[tuple[re.Pattern[str], str]]) -> str:
    for pattern, said in patterns:
        if found := pattern.fullmatch(text):
            return said.format(*(translated(each, language) for each in found.groups()))
    return text
