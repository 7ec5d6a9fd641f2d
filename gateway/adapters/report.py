"""A climate record set as PDF/A-2b, by `typeset` in a child process with bounds on memory and time.

The same document gives the same bytes: the time in the file is the record's as-of, fonts come with the program and
never from the machine. Under PDF/A a character that no font has stops the whole report, so such characters are
replaced beforehand, and the report says so.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from dataclasses import asdict
from typing import Any, cast

from gateway.adapters.typeset import LONGEST_S
from gateway.record_document import Document
from gateway.record_words import Words

REPLACED = "□"
# What Libertinus Serif and DejaVu Sans Mono both have, of what people write; the rest is replaced.
SHOWN = (
    (0x20, 0x7E), (0xA0, 0xFF), (0x100, 0x17F), (0x391, 0x3A1), (0x3A3, 0x3C9), (0x400, 0x45F), (0x2010, 0x2014),
    (0x2018, 0x201E), (0x2026, 0x2026), (0x2030, 0x2030), (0x20AC, 0x20AC), (0x2103, 0x2103), (0x2190, 0x2193),
    (0x2212, 0x2212), (0x2248, 0x2248), (0x2260, 0x2260), (0x2264, 0x2265), (0x25A1, 0x25A1), (0x0A, 0x0A),
)  # fmt: skip


class NotSet(Exception):
    """The pages could not be set; nothing was written."""


def pdf(document: Document, words: Words) -> bytes:
    """Return the pages as PDF/A-2b, unsigned, ending with a newline. Raises NotSet."""
    told = _printable(document, words)
    child = [sys.executable, "-m", "gateway.adapters.typeset"]
    try:
        done = subprocess.run(  # noqa: S603  our own module
            child, input=json.dumps(told).encode(), capture_output=True, timeout=LONGEST_S, check=False
        )
    except subprocess.TimeoutExpired:
        raise NotSet(f"the pages were not set within {LONGEST_S} s; ask for a shorter record") from None
    if done.returncode:
        said = done.stderr.decode(errors="replace").strip().splitlines()
        raise NotSet(f"the pages could not be set: {said[-1] if said else done.returncode}")
    # A signature is appended as an object of its own, which PDF/A wants on a line of its own (ISO 19005-2, 6.1.9).
    return done.stdout.removesuffix(b"\n") + b"\n"


def _printable(document: Document, words: Words) -> dict[str, Any]:
    lost: set[str] = set()
    told = cast("dict[str, Any]", _each(asdict(document), lambda text: _shown(text, lost)))
    waiting = words("Nothing waits for an answer.")
    told |= {
        "answer_title": document.answer_title or words("What waits for an answer"),
        "waits": not document.calm and document.answer != (waiting,),
        "span": dict(document.facts).get(words("Period, site time"), ""),
    }  # fmt: skip
    if lost:
        said = words("Characters that the fonts of this report lack are replaced by {mark}.", mark=REPLACED)
        told["sections"][-1]["text"].append(f"{said} ({', '.join(f'U+{ord(each):04X}' for each in sorted(lost))})")
    return told


def _each(value: object, change: Callable[[str], str]) -> object:
    match value:
        case str():
            return value if value.startswith("<svg") else change(value)
        case dict():
            return {name: _each(part, change) for name, part in value.items()}
        case list() | tuple():
            return [_each(part, change) for part in value]
    return value


def _shown(text: str, lost: set[str]) -> str:
    missing = {each for each in set(text) if not any(low <= ord(each) <= high for low, high in SHOWN)}
    lost |= missing
    return "".join(REPLACED if each in missing else each for each in text) if missing else text
