"""The pages' words in the reader's language. English is the language of the source; what is not translated stays.

Fixed words are those of the climate record; `es.json` holds the pages' own, `es_views.json` history, water
path, plan and forms, `es_dryer.json` those of trains and dryers, `es_certificate.json` those of a dryer's
certificate; each `{}` stands for a piece that is put into the translation, itself translated where it is known (a
number, a name, the words of a limit).
"""

from __future__ import annotations

import json
import re
from functools import cache, lru_cache
from pathlib import Path

from alerts import texts_en, texts_es
from alerts.reasons import in_language
from gateway.record_spanish import SPANISH

_HERE = Path(__file__).parent
_CALLED = re.compile(r't\("([^"]+)"')
_HOLE = re.compile(r"\{\w+\}")
_END = re.compile(r"(?<=\.) (?=[A-Z])")
_AMOUNT = re.compile(r"([a-z][a-z ()-]*) ((?:under )?[\d.]+ \S+)")


@cache
def _known(language: str) -> dict[str, str]:
    """Return every text that is translated, those with a hole too."""
    own: dict[str, str] = {}
    for path in sorted(_HERE.glob(f"{language}*.json")):
        own |= json.loads(path.read_text("utf-8"))
    if language == "es":
        own |= _of_faults()
    return {text: said for text, said in SPANISH.items() if "{" not in text} | own if language == "es" else own


def _of_faults() -> dict[str, str]:
    """The titles of what can be wrong with instruments and gateway, whose verdict needs it, as messages say it."""
    pairs = [(title, texts_es.FAULTS[kind][0]) for kind, (title, _) in texts_en.FAULTS.items()]
    pairs += [(texts_en.FAULT_WORDS[key], texts_es.FAULT_WORDS[key]) for key in ("needed", "not needed")]
    return {_bare(english): _bare(spanish) for english, spanish in pairs}


def _bare(text: str) -> str:
    return _HOLE.sub("{}", text)


@cache
def _words(language: str) -> tuple[dict[str, str], list[tuple[re.Pattern[str], str]]]:
    """Return whole sentences, and those with a hole as patterns, the most particular first."""
    known = _known(language)
    holed = sorted((text for text in known if "{}" in text), key=lambda text: -len(text))
    patterns = [(re.compile(_pattern(text), re.DOTALL), known[text]) for text in holed]
    return {text: said for text, said in known.items() if "{}" not in text}, patterns


def _pattern(text: str) -> str:
    return "(.+?)".join(re.escape(part) for part in text.split("{}"))


@lru_cache(maxsize=4096)
def translated(text: str, language: str) -> str:
    """Return the text in this language, or as it is where nobody has translated it.

    Several sentences in a row, and a list of pieces with an amount each, are translated one by one.
    """
    if language == "en" or not text:
        return text
    known, patterns = _words(language)
    if text in known:
        return known[text]
    sentences = _END.split(text)
    said = [translated(each, language) for each in sentences] if len(sentences) > 1 else []
    if said and all(after != before for after, before in zip(said, sentences, strict=True)):
        return " ".join(said)
    found = _with_holes(text, language, patterns)
    if found == text:
        return " ".join(said) if said else in_language(_each_amount(text, language), language)
    return found


def _each_amount(text: str, language: str) -> str:
    found = [_AMOUNT.fullmatch(each) for each in text.split(", ")]
    if all(found):
        return ", ".join(f"{translated(each[1], language)} {each[2]}" for each in found if each)
    return text


@cache
def of_script(name: str, language: str) -> str:
    """Return the texts of a script of ours, `t("...")`, with their translations, as a JSON object."""
    texts = _CALLED.findall((_HERE / "static" / name).read_text("utf-8")) if language != "en" else []
    known = _known(language)
    return json.dumps({text: known[text] for text in texts if text in known}, ensure_ascii=False)


def whole(text: str, language: str) -> str:
    """Return a fixed text with {named} holes, which stay, in this language."""
    return _words(language)[0].get(text) or SPANISH.get(text, text) if language == "es" else text


def _with_holes(text: str, language: str, patterns: list[tuple[re.Pattern[str], str]]) -> str:
    for pattern, said in patterns:
        if found := pattern.fullmatch(text):
            return said.format(*(translated(each, language) for each in found.groups()))
    return text
