"""The alarms of a climate record: those of limits, of the instruments an area is judged by, and the others.

An alarm of an instrument stands among the alarms where an area needs it, since it bears on what was judged there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from alerts.alarm import Change
from gateway.climate_record import Material, in_force, utc_of
from gateway.flow_faults import areas_of

OF_LIMITS, OF_FAULTS = "A-", "K-"


@dataclass(frozen=True, slots=True)
class AlarmStory:
    """What one alarm did: each change with its UTC time, and the value at its first."""

    number: str
    limit: str
    changes: tuple[tuple[int, str, str], ...]  # UTC ms, change, what the event said besides
    value: float | None
    reason: str
    told: tuple[str, ...] = ()


TELLING = frozenset({Change.TOLD, Change.KEPT_BACK})
"""Events that say who was told, and are no change of the alarm itself."""


def alarms(material: Material) -> list[AlarmStory]:
    """Return the alarms that were raised, or changed, during the record: of limits, of sensors an area needs."""
    needed = _needed(material)
    return [each for each in stories(material) if each.number.startswith(OF_LIMITS) or _about(each) & needed]


def of_other_instruments(material: Material) -> list[AlarmStory]:
    """Return the alarms of instruments that no area needs."""
    needed = _needed(material)
    return [each for each in stories(material) if _about(each) and not _about(each) & needed]


def of_the_gateway(material: Material) -> list[AlarmStory]:
    """Return the alarms of the gateway itself."""
    return [each for each in stories(material) if each.number.startswith(OF_FAULTS) and not _about(each)]


def _needed(material: Material) -> set[str]:
    """The sensors a verdict on an area was made from."""
    return {name for each in in_force(material) for name in areas_of(each.site)}


def _about(story: AlarmStory) -> set[str]:
    """The sensors a fault names; none where it is the gateway's own."""
    what, *names = story.limit.split()
    return set(names) if story.number.startswith(OF_FAULTS) and what in ("sensor", "pair") else set()


def stories(material: Material) -> list[AlarmStory]:
    """Return what every alarm did that was raised, or changed, during the record."""
    asked, by_number = material.asked, dict[str, list[Mapping[str, Any]]]()
    for event in material.events:
        if event["number"].startswith((OF_LIMITS, OF_FAULTS)):
            by_number.setdefault(event["number"], []).append(event)
    found = []
    for number, events in by_number.items():
        timed = [(utc_of(material, event["core_ms"]), event) for event in events]
        if timed[-1][0] < asked.from_ms or timed[0][0] >= asked.until_ms:
            continue
        lived = [(at, e["change"], e["reason"]) for at, e in timed if e["change"] not in TELLING]
        changes = tuple(each for each in lived if each[0] < asked.until_ms)
        told = (e["reason"].partition(" (")[0] for _, e in timed if e["change"] == Change.TOLD)
        first = events[0]
        found.append(
            AlarmStory(
                number, first["limit"], changes, first["value"], first["reason"], tuple(dict.fromkeys(told))
            )
        )
    return found
