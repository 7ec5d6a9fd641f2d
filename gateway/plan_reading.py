"""What is open while a plan file is read: its lines, the mistakes and the assumptions so far."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from gateway import plan_figures as figures
from gateway.plan import Assumption
from gateway.plan_figures import Figure
from gateway.psychrometrics import OutOfRange
from gateway.site_amounts import closest
from gateway.site_lines import Key, line_of


class PlanErrors(Exception):
    """All mistakes of a plan file, in the order of its lines."""


@dataclass(slots=True)
class Reading:
    """A plan file being read. lines: of every table and key."""

    file: str
    lines: dict[Key, int]
    mistakes: list[tuple[int, str]] = field(default_factory=list)
    assumed: list[Assumption] = field(default_factory=list)

    def assume(self, taken: Assumption) -> None:
        """Note what is taken because it was not stated."""
        self.assumed.append(taken)

    def wrong(self, key: Key, text: str) -> None:
        """Note a mistake at a key."""
        self.mistakes.append((line_of(key, self.lines), text))

    def end(self) -> None:
        """Raise PlanErrors when there was a mistake."""
        if self.mistakes:
            raise PlanErrors("\n".join(f"{self.file}:{line}: {text}" for line, text in sorted(self.mistakes)))


def figures_of(
    table: Mapping[str, Any], key: Key, known: Mapping[str, Figure], others: tuple[str, ...], open_: Reading
) -> dict[str, float]:
    """Every figure of a table in the unit used inside; mistakes and assumptions go into open_."""
    place = f"{' '.join(str(part) for part in key[:1])} '{table.get('label', '')}'".replace(" ''", "")
    for name in table.keys() - known.keys() - set(others):
        open_.wrong((*key, name), f"{place}: '{name}' is not known here{closest(name, (*known, *others))}")
    found = {}
    for name, figure in known.items():
        if name in table:
            text = table[name]
        elif figure.assumed:
            text = figure.assumed
            where, what = str(table.get("label", key[0])), f"{name.replace('_', ' ')} {{}} ({figure.why})"
            open_.assume(Assumption(where, what, figure.measures, figures.read(text, figure), name))
        elif figure.optional:
            continue
        else:
            open_.wrong(key, f"{place}: {name} is missing: {figure.measures}, {figure.meaning}")
            continue
        try:
            found[name] = figures.read(text, figure)
        except ValueError as error:
            open_.wrong((*key, name), f"{place}: {name} = {text!r}: {error}")
    return found


def tried(open_: Reading, key: Key, act: Callable[[], float]) -> float | None:
    """What act gives, or None and a mistake at the key where it lies outside the physics."""
    try:
        return act()
    except OutOfRange as error:
        open_.wrong(key, str(error))
        return None
