"""Changes of the jobsite from forms: the whole changed jobsite, checked as its file would be, left for the writer.

Input: the jobsite in force and a form. Output: another jobsite, or `NotChanged` with every mistake. Each change
becomes one ConfigSet entry with who and why; nothing here touches the journal.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from hashlib import sha256
from math import isfinite
from pathlib import Path
from typing import TypeVar

from alerts.fault import AUDIENCES
from gateway.config import ConfigErrors, load, to_toml
from gateway.jobsite import Jobsite, Sensor
from gateway.payload.canonical import config_set

Form = Mapping[str, str]
T = TypeVar("T")
LONGEST_FILE = 400_000
_NUMBERS = ("threshold", "deadband", "on_delay_s", "off_delay_s", "unknown_delay_s")
_WORDS = ("clause", "advice", "advice_es", "priority", "decision_rule")


class NotChanged(ValueError):
    """A change that cannot be; the message names every mistake."""


def seen(site: Jobsite) -> str:
    """Return by what a form knows the jobsite it was filled in for."""
    return sha256(to_toml(site).encode()).hexdigest()


def with_limit(site: Jobsite, form: Form) -> Jobsite:
    """Return the jobsite with one limit's figures and words changed."""
    changes: dict[str, object] = {name: _number(form, name) for name in _NUMBERS}
    changes |= {name: form.get(name, "").strip() for name in _WORDS}
    limits = _changed(site.limits, form.get("id", ""), lambda each: replace(each, **changes))  # type: ignore[arg-type]
    return replace(site, limits=limits)


def with_calibration(site: Jobsite, form: Form) -> Jobsite:
    """Return the jobsite with one sensor's calibration dates and certificate changed."""
    said = (form.get(name, "").strip() or "not stated" for name in ("date", "due", "certificate"))
    date, due, certificate = said

    def calibrated(each: Sensor) -> Sensor:
        found = replace(each.calibration, date=date, due=due, certificate=certificate)
        return replace(each, calibration=found)

    return replace(site, sensors=_changed(site.sensors, form.get("id", ""), calibrated))


def with_person(site: Jobsite, form: Form) -> Jobsite:
    """Return the jobsite with one person's channels, hours and what they hear of changed."""
    channels = tuple(each.strip() for each in form.get("channels", "").split(",") if each.strip())
    hours = form.get("hours", "").strip()
    told_of = tuple(each for each in AUDIENCES if form.get(f"of_{each}"))
    if not told_of:  # a file that leaves it out means limits, which nobody has asked for here
        raise NotChanged("Choose what this person hears of: limits, instruments or the gateway.")
    changes = {"channels": channels, "hours": hours, "told_of": told_of}
    people = _changed(site.people, form.get("id", ""), lambda each: replace(each, **changes))  # type: ignore[arg-type]
    return replace(site, people=people)


def unheard(site: Jobsite) -> tuple[str, ...]:
    """Return what nobody on the jobsite hears of."""
    heard = {each for person in site.people for each in person.told_of}
    return tuple(each for each in AUDIENCES if each not in heard)


def _changed(all_of_it: tuple[T, ...], name: str, change: Callable[[T], T]) -> tuple[T, ...]:
    if name not in {getattr(each, "id", "") for each in all_of_it}:
        raise NotChanged(f"There is no {name!r} in the jobsite in force.")
    return tuple(change(each) if getattr(each, "id", "") == name else each for each in all_of_it)


def _number(form: Form, name: str) -> float:
    said = form.get(name, "").strip().replace("\N{MINUS SIGN}", "-")
    try:
        value = float(said)
    except ValueError:
        value = float("nan")
    if not isfinite(value):
        raise NotChanged(f"{name.removesuffix('_s').replace('_', ' ')}: {said!r} is no number; write 6.5 for 6,5.")
    return value


def of_text(text: str) -> Jobsite:
    """Return the jobsite a file's text holds. Raises NotChanged with every mistake and its line."""
    with tempfile.NamedTemporaryFile("w", suffix=".toml", prefix="jobsite-", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        try:
            return load(Path(file.name))
        except ConfigErrors as errors:
            raise NotChanged("\n".join(f"line {each.line}: {each.text}" for each in errors.errors)) from None


def leave(home: Path, changed: Jobsite, who: str, why: str) -> None:
    """Leave a checked jobsite for the writer, who takes it in within a second. Raises NotChanged."""
    if not why.strip():
        raise NotChanged("Say why: the journal keeps it.")
    site = of_text(to_toml(changed))
    left = home / "inbox" / f"{time.time_ns()}.config"
    left.parent.mkdir(parents=True, exist_ok=True)
    left.with_suffix(".part").write_bytes(config_set(site, who, why.strip()[:500]))
    left.with_suffix(".part").rename(left)
