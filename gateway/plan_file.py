"""The plan file: TOML in, a Plan out, or every mistake with its line and what to write instead."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from gateway import plan_figures as figures
from gateway.compressed_air import standard_atmosphere_pa
from gateway.pieces import salt_equilibrium_rh
from gateway.plan import Assumption, Load, Need, Nozzle, Plan, Recipe, Source, Weather
from gateway.plan_figures import INSIDE, PIECES, Figure
from gateway.psychrometrics import OutOfRange, dew_point_c, relative_humidity, saturated_vapour_pressure_pa
from gateway.site_amounts import closest
from gateway.site_lines import Key, line_map, line_of

KINDS = ("oil-flooded screw", "one-stage reciprocating")
_BREATHING = re.compile("hood|respirator|breath|helmet", re.IGNORECASE)
_TABLES = ("plan", "weather", "compressor", "nozzle", "hood", "blow_down", "piece", "need")
SALT_C = 40.0  # a bed's gas is warm; the humidity over these salts moves by less than 1 %RH around it


class PlanErrors(Exception):
    """All mistakes of a plan file, in the order of its lines."""


@dataclass(slots=True)
class _Reading:
    """What is open while a file is read: mistakes and assumptions so far."""

    file: str
    lines: dict[Key, int]
    mistakes: list[tuple[int, str]] = field(default_factory=list)
    assumed: list[Assumption] = field(default_factory=list)

    def assume(self, where: str, what: str) -> None:
        self.assumed.append(Assumption(where, what))

    def wrong(self, key: Key, text: str) -> None:
        self.mistakes.append((line_of(key, self.lines), text))

    def end(self) -> None:
        if self.mistakes:
            raise PlanErrors("\n".join(f"{self.file}:{line}: {text}" for line, text in sorted(self.mistakes)))


def load(text: str, file: str = "plan") -> Plan:
    """Return the plan of a file's text. Raises: PlanErrors with every mistake."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PlanErrors(f"{file}: {error}") from None
    open_ = _Reading(file, line_map(text))
    for name in data.keys() - set(_TABLES):
        open_.wrong((name,), f"table '{name}' is not known here{closest(name, _TABLES)}")
    for name in ("weather", "compressor", "nozzle", "piece"):
        if not data.get(name):
            open_.wrong((name,), f"[{name}] is missing")
    open_.end()
    return _plan(data, open_)


def _plan(data: dict[str, Any], open_: _Reading) -> Plan:
    head = _table(data, "plan")
    weather = _weather(_table(data, "weather"), open_)
    source = _source(_table(data, "compressor"), open_)
    nozzles = tuple(_nozzle(each, i, open_) for i, each in enumerate(_tables(data, "nozzle")))
    loads = (*_hoods(data, open_), *_blow_down(data, open_))
    recipes = _recipes(_tables(data, "piece"), open_)
    need = _need(data, open_)
    open_.end()
    assert weather is not None
    return Plan(
        str(head.get("label", "plan")), weather, source, nozzles, tuple(loads), recipes, need,
        tuple(dict.fromkeys(open_.assumed)), bool(head.get("simulated", False)),
    )  # fmt: skip


def _table(data: Mapping[str, Any], name: str) -> dict[str, Any]:
    found = data.get(name, {})
    return found if isinstance(found, dict) else {}


def _tables(data: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    found = data.get(name, [])
    return [each for each in found if isinstance(each, dict)] if isinstance(found, list) else []


def _figures(
    table: Mapping[str, Any], key: Key, known: Mapping[str, Figure], others: tuple[str, ...], open_: _Reading
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
            open_.assume(str(table.get("label", key[0])), f"{name.replace('_', ' ')} {text} ({figure.why})")
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


def _tried(open_: _Reading, key: Key, act: Callable[[], float]) -> float | None:
    try:
        return act()
    except OutOfRange as error:
        open_.wrong(key, str(error))
        return None


def _weather(table: dict[str, Any], open_: _Reading) -> Weather | None:
    key: Key = ("weather",)
    found = _figures(table, key, figures.WEATHER, (), open_)
    if "air_temperature" not in found or "pot_wall_below_air" not in found:
        return None
    station = _station_pa(found, open_)
    rh = _rh(found, station, open_)
    if rh is None or station is None:
        return None
    t_c = found["air_temperature"]
    if _tried(open_, key, lambda: dew_point_c(t_c, rh, station)) is None:
        return None
    return Weather(t_c, rh, station, found["pot_wall_below_air"])


def _station_pa(found: dict[str, float], open_: _Reading) -> float | None:
    if ("station_pressure" in found) == ("altitude" in found):
        open_.wrong(("weather",), "weather: state either station_pressure or altitude")
        return None
    if "station_pressure" in found:
        return found["station_pressure"]
    open_.assume("weather", "station pressure of the standard atmosphere at the altitude")
    return _tried(open_, ("weather", "altitude"), lambda: standard_atmosphere_pa(found["altitude"]))


def _rh(found: dict[str, float], station: float | None, open_: _Reading) -> float | None:
    if ("relative_humidity" in found) == ("dew_point" in found):
        open_.wrong(("weather",), "weather: state either relative_humidity or dew_point")
        return None
    if "relative_humidity" in found:
        return found["relative_humidity"]
    if station is None:
        return None
    e_pa = _tried(
        open_, ("weather", "dew_point"), lambda: saturated_vapour_pressure_pa(found["dew_point"], station, False)
    )
    if e_pa is None:
        return None
    rh = relative_humidity(found["air_temperature"], e_pa, station)
    if rh > 1.0:
        open_.wrong(("weather", "dew_point"), "weather: the dew point lies above the air temperature")
        return None
    return rh


def _source(table: dict[str, Any], open_: _Reading) -> Source:
    key: Key = ("compressor",)
    found = _figures(table, key, figures.COMPRESSOR, ("kind",), open_)
    kind = table.get("kind")
    if kind not in KINDS:
        open_.wrong((*key, "kind"), f"compressor: kind is one of {', '.join(KINDS)}")
    if kind == KINDS[0] and "discharge_temperature" not in found:
        open_.wrong(key, "compressor: discharge_temperature is missing: the oil circuit sets it, so it is entered")
    if kind == KINDS[1] and "isentropic_efficiency" not in found:
        open_.wrong(key, "compressor: isentropic_efficiency is missing: the discharge is worked out with it")
    return Source(
        found.get("free_air_delivery", 0.0), found.get("pressure", 0.0), found.get("discharge_temperature"),
        found.get("isentropic_efficiency", 1.0), found.get("altitude_derating", 0.0),
    )  # fmt: skip


def _count(table: dict[str, Any], key: Key, open_: _Reading) -> int:
    number = table.get("number", 1)
    if not isinstance(number, int) or isinstance(number, bool) or not 1 <= number <= 100:
        open_.wrong((*key, "number"), f"{key[0]}: number is a whole number from 1 to 100")
        return 1
    return number


def _nozzle(table: dict[str, Any], at: int, open_: _Reading) -> Nozzle:
    key: Key = ("nozzle", at)
    found = _figures(table, key, figures.NOZZLE, ("number", "label"), open_)
    return Nozzle(
        _count(table, key, open_), found.get("bore", 0.01), found.get("wear", 0.0), found.get("pressure", 0.0)
    )


def _hoods(data: dict[str, Any], open_: _Reading) -> list[Load]:
    made = []
    for at, table in enumerate(_tables(data, "hood")):
        key: Key = ("hood", at)
        found = _figures(table, key, figures.HOOD, ("number", "label"), open_)
        number = _count(table, key, open_)
        made.append(Load(str(table.get("label", "hoods")), number * found.get("flow", 0.0)))
    if made:
        open_.assume("hoods", "their air passes the whole train; counted as a load, nothing more")
    return made


def _blow_down(data: dict[str, Any], open_: _Reading) -> list[Load]:
    if "blow_down" not in data:
        return []
    found = _figures(_table(data, "blow_down"), ("blow_down",), figures.BLOW_DOWN, (), open_)
    return [Load("blow-down", found.get("flow", 0.0))]


def _need(data: dict[str, Any], open_: _Reading) -> Need | None:
    if "need" not in data:
        return None
    table = _table(data, "need")
    found = _figures(table, ("need",), figures.NEED, ("clause",), open_)
    if not str(table.get("clause", "")).strip():
        open_.wrong(("need",), "need: clause is missing: where is this margin written?")
    return Need(found.get("pot_margin", 0.0), str(table.get("clause", "")))


def _recipes(tables: list[dict[str, Any]], open_: _Reading) -> tuple[Recipe, ...]:
    made = [each for at, table in enumerate(tables) if (each := _recipe(table, at, open_)) is not None]
    labels = [recipe.label for recipe in made]
    for twice in {label for label in labels if labels.count(label) > 1}:
        open_.wrong(("piece",), f"piece: two pieces are called '{twice}'; give each a label of its own")
    return _nested(made, tables, open_)


def _recipe(table: dict[str, Any], at: int, open_: _Reading) -> Recipe | None:
    key: Key = ("piece", at)
    kind, label = str(table.get("kind", "")), str(table.get("label", table.get("kind", "")))
    if _BREATHING.search(f"{kind} {label}"):
        open_.wrong(key, "piece: refused: the program says nothing about breathing air; count hoods as [[hood]]")
        return None
    try:
        figures.known(kind, PIECES, "piece: kind")
    except ValueError as error:
        open_.wrong((*key, "kind"), str(error))
        return None
    others = ("kind", "label", *{"bypass": ("around",), "deliquescent dryer": ("salt",)}.get(kind, ()))
    found = _figures({**table, "label": label}, key, PIECES[kind], others, open_)
    if kind == "deliquescent dryer":
        _brine(table, key, found, open_)
    return Recipe(label, kind, {INSIDE.get(name, name): value for name, value in found.items()})


def _brine(table: dict[str, Any], key: Key, found: dict[str, float], open_: _Reading) -> None:
    """The humidity over the brine, entered or by the name of the salt."""
    if ("salt" in table) == ("equilibrium_humidity" in found):
        open_.wrong(key, "piece: a deliquescent dryer states either equilibrium_humidity or salt")
    elif "salt" in table:
        try:
            name = figures.salt(table["salt"])
            found["equilibrium_humidity"] = salt_equilibrium_rh(name, SALT_C)
            share = 100.0 * found["equilibrium_humidity"]
            open_.assume(name, f"{share:.1f} %RH over its brine (Greenspan 1977, at {SALT_C:.0f} °C)")
        except ValueError as error:
            open_.wrong((*key, "salt"), f"piece: {error}")


def _nested(made: list[Recipe], tables: list[dict[str, Any]], open_: _Reading) -> tuple[Recipe, ...]:
    """Put the pieces a bypass goes around inside it; they must follow it at once, in order."""
    around = {
        str(t.get("label", t.get("kind", ""))): t.get("around", []) for t in tables if t.get("kind") == "bypass"
    }
    found: list[Recipe] = []
    rest = list(made)
    while rest:
        recipe = rest.pop(0)
        if recipe.kind != "bypass":
            found.append(recipe)
            continue
        wanted = around[recipe.label] if isinstance(around[recipe.label], list) else []
        inner, rest = rest[: len(wanted)], rest[len(wanted) :]
        if not wanted or [each.label for each in inner] != wanted:
            open_.wrong(
                ("piece",), f"piece '{recipe.label}': around names the labels of the pieces right after it"
            )
        found.append(Recipe(recipe.label, recipe.kind, recipe.figures, tuple(inner)))
    return tuple(found)
