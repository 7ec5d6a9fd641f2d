"""On which line of a jobsite file each table and key stands, for messages; tomllib itself keeps no lines."""

from __future__ import annotations

import re

Key = tuple[str | int, ...]
_HEADER = re.compile(r"\s*(\[\[?)\s*([\w.\s-]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"\s*([\w-]+(?:\s*\.\s*[\w-]+)*)\s*=")


def line_map(text: str) -> dict[Key, int]:
    """Return the line of every table and key; tomllib itself keeps none.

    Keys inside inline tables are not followed: their mistakes are told with the line of the whole value.
    """
    lines: dict[Key, int] = {}
    table: Key = ()
    counts: dict[Key, int] = {}
    quoted = False
    for number, line in enumerate(text.splitlines(), 1):
        inside, quoted = quoted, quoted ^ bool((line.count('"""') + line.count("'''")) % 2)
        if inside:
            continue
        if header := _HEADER.match(line):
            table = _table(header[1] == "[[", re.split(r"\s*\.\s*", header[2]), counts)
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            lines.setdefault(table + tuple(re.split(r"\s*\.\s*", key[1])), number)
    return lines


def _table(is_list: bool, names: list[str], counts: dict[Key, int]) -> Key:
    """Return the path of a header, with the number of the list item it belongs to at each level."""
    path: Key = ()
    for depth, name in enumerate(names):
        path += (name,)
        if is_list and depth == len(names) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path += (counts[path],)
    return path


def line_of(key: Key, lines: dict[Key, int]) -> int:
    """Return the line of a key, or of the nearest table around it."""
    around = [key[:end] for end in range(len(key), 0, -1)]
    # A list as a whole has no line of its own: its first table has.
    places = [place for each in around for place in (each, (*each, 0))]
    return next((lines[place] for place in places if place in lines), 1)
