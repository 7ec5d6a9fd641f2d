"""Mistakes in who feeds which sensor: names no sensor has, topics that overlap, sensors with two ways in.

Works on the raw tables, as `site_references` does.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from gateway.feeds import means
from gateway.site_amounts import closest
from gateway.site_lines import Key
from gateway.site_references import Mistake, ids, items

Feed = tuple[Key, str, str]  # of the key at which a sensor is named, the name, the source


def mistakes(data: dict[str, Any]) -> Iterator[Mistake]:
    """Yield what is wrong between sources, and between sources and sensors."""
    sensors = ids(items(data, "sensors"))
    feeds = list(_feeds(data))
    for key, name, _ in feeds:
        if not any(means(name, each) for each in sensors):
            near = closest(name, sensors) if "{" not in name else ""
            yield Mistake(key, f"there is no sensor '{name}'{near}")
    yield from _places(data)
    yield from _two_ways(feeds, sensors)
    yield from _own_topics(data, feeds)
    yield from _overlaps(data)
    yield from _twice_bound(data)


def _feeds(data: dict[str, Any]) -> Iterator[Feed]:
    for key, source in [*items(data, "sources"), *items(data, "edges")]:
        of = str(source.get("id") or f"{source.get('group')}/{source.get('node')}")
        for table_key, table in [(key, source), *items(source, "values", key)]:
            if isinstance(table.get("sensor"), str) and table["sensor"]:
                yield (*table_key, "sensor"), table["sensor"], of


def _places(data: dict[str, Any]) -> Iterator[Mistake]:
    """Yield names that do not name every + of the topic: two devices would feed one sensor."""
    for key, source in items(data, "sources"):
        topic = source.get("topic")
        wanted = topic.split("/").count("+") if isinstance(topic, str) else 0
        for named, name, _ in _feeds({"sources": [source]}):
            place = (*key, *named[2:])
            found = {int(each) for each in re.findall(r"\{([1-3])\}", name)}
            if re.search(r"[{}]", re.sub(r"\{[1-3]\}", "", name)) or found - set(range(1, wanted + 1)):
                yield Mistake(place, f"braces hold the number of a + of the topic, which has {wanted}")
            elif missing := set(range(1, wanted + 1)) - found:
                yield Mistake(
                    place, f"'{{{min(missing)}}}' is missing: else several devices would feed one sensor"
                )


def _two_ways(feeds: list[Feed], sensors: list[str]) -> Iterator[Mistake]:
    taken: dict[str, str] = {}
    for key, name, source in feeds:
        for sensor in (each for each in sensors if means(name, each)):
            if sensor in taken:
                yield Mistake(
                    key, f"sensor '{sensor}' is fed by source '{taken[sensor]}' already; one way in only"
                )
            taken.setdefault(sensor, source)


def _own_topics(data: dict[str, Any], feeds: list[Feed]) -> Iterator[Mistake]:
    """A sensor that a source feeds is not heard on a topic of its own, so stating one is a mistake."""
    for key, sensor in items(data, "sensors"):
        own, name = sensor.get("topic"), sensor.get("id")
        if not isinstance(name, str) or own in (None, name):
            continue
        for source in [source for _, template, source in feeds if means(template, name)][:1]:
            yield Mistake((*key, "topic"), f"source '{source}' feeds this sensor; it has no topic of its own then")


def _overlaps(data: dict[str, Any]) -> Iterator[Mistake]:
    before: list[tuple[list[str], str]] = []
    for key, source in items(data, "sources"):
        topic = source.get("topic")
        if not isinstance(topic, str):
            continue
        levels = topic.split("/")
        for other in [name for each, name in before if _meet(each, levels)][:1]:
            yield Mistake((*key, "topic"), f"the same message would belong to source '{other}' as well")
        before.append((levels, str(source.get("id"))))


def _twice_bound(data: dict[str, Any]) -> Iterator[Mistake]:
    """A metric that feeds two sensors, or an edge node with two tables."""
    seen: set[tuple[str, ...]] = set()
    for key, edge in items(data, "edges"):
        name = (str(edge.get("group")), str(edge.get("node")))
        if name in seen:
            yield Mistake((*key, "node"), "this edge node has a table above; list all its metrics there")
        seen.add(name)
        for value_key, value in items(edge, "values", key):
            metric = (*name, str(value.get("device", "")), str(value.get("metric")))
            if metric in seen:
                yield Mistake((*value_key, "metric"), "this metric feeds another sensor already")
            seen.add(metric)


def _meet(one: list[str], other: list[str]) -> bool:
    return len(one) == len(other) and all(a == b or "+" in (a, b) for a, b in zip(one, other, strict=True))
