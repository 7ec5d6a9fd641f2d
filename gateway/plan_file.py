"""The plan file: TOML in, a Plan out, or every mistake with its line and what to write instead."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import Any

from gateway import plan_figures as figures
from gateway.compressed_air import standard_atmosphere_pa
from gateway.pieces import DRIEST_SALT_RH, salt_equilibrium_rh
from gateway.plan import Assumption, Load, Need, Nozzle, Plan, Recipe, Source, Weather
from gateway.plan_figures import INSIDE, PIECES
from gateway.plan_reading import PlanErrors, Reading, figures_of, tried
from gateway.psychrometrics import dew_point_c, relative_humidity, saturated_vapour_pressure_pa
from gateway.site_amounts import closest
from gateway.site_lines import Key, line_map

_LISTS = ("nozzle", "hood", "piece")
_HEAD = ("label", "simulated")
KINDS = ("oil-flooded screw", "one-stage reciprocating")
_BREATHING = re.compile("hood|respirator|breath|helmet", re.IGNORECASE)
_TABLES = ("plan", "weather", "compressor", "nozzle", "hood", "blow_down", "piece", "need")
SALT_C = 40.0  # taken and printed; over magnesium chloride it is 34 %RH at 0 °C and 29 at 60 (Greenspan 1977)


def load(text: str, file: str = "plan") -> Plan:
    """Return the plan of a file's text. Raises: PlanErrors with every mistake."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PlanErrors(f"{file}: {error}") from None
    open_ = Reading(file, line_map(text))
    for name in data.keys() - set(_TABLES):
        open_.wrong((name,), f"table '{name}' is not known here{closest(name, _TABLES)}")
    for name in ("weather", "compressor", "nozzle", "piece"):
        if not data.get(name):
            open_.wrong((name,), f"[{name}] is missing")
    _check_shapes(data, open_)
    open_.end()
    return _plan(data, open_)


def _check_shapes(data: dict[str, Any], open_: Reading) -> None:
    """A table in the wrong brackets would vanish, and with it its air or its piece."""
    for name in data.keys() & set(_TABLES):
        listed = name in _LISTS
        found = data[name]
        good = (
            isinstance(found, list) and all(isinstance(each, dict) for each in found)
            if listed
            else isinstance(found, dict)
        )
        if not good:
            wanted = f"[[{name}]], once for each" if listed else f"[{name}], once"
            open_.wrong((name,), f"'{name}' is written {wanted}")


def _plan(data: dict[str, Any], open_: Reading) -> Plan:
    head = _head(data, open_)
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
        tuple(dict.fromkeys(open_.assumed)), head.get("simulated", False),
    )  # fmt: skip


def _head(data: dict[str, Any], open_: Reading) -> dict[str, Any]:
    head = _table(data, "plan")
    for name in head.keys() - set(_HEAD):
        open_.wrong(("plan", name), f"plan: '{name}' is not known here{closest(name, _HEAD)}")
    if not isinstance(head.get("simulated", False), bool):
        open_.wrong(("plan", "simulated"), "plan: simulated is true or false")
    return head


def _table(data: Mapping[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = data.get(name, {})
    return found


def _tables(data: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = data.get(name, [])
    return found


def _weather(table: dict[str, Any], open_: Reading) -> Weather | None:
    key: Key = ("weather",)
    found = figures_of(table, key, figures.WEATHER, (), open_)
    if "air_temperature" not in found or "pot_wall_below_air" not in found:
        return None
    station = _station_pa(found, open_)
    rh = _rh(found, station, open_)
    if rh is None or station is None:
        return None
    t_c = found["air_temperature"]
    if tried(open_, key, lambda: dew_point_c(t_c, rh, station)) is None:
        return None
    return Weather(t_c, rh, station, found["pot_wall_below_air"])


def _station_pa(found: dict[str, float], open_: Reading) -> float | None:
    if ("station_pressure" in found) == ("altitude" in found):
        open_.wrong(("weather",), "weather: state either station_pressure or altitude")
        return None
    if "station_pressure" in found:
        return found["station_pressure"]
    open_.assume(
        Assumption("weather", "station pressure of the standard atmosphere at {}", "altitude", found["altitude"])
    )
    return tried(open_, ("weather", "altitude"), lambda: standard_atmosphere_pa(found["altitude"]))


def _rh(found: dict[str, float], station: float | None, open_: Reading) -> float | None:
    if ("relative_humidity" in found) == ("dew_point" in found):
        open_.wrong(("weather",), "weather: state either relative_humidity or dew_point")
        return None
    if "relative_humidity" in found:
        return found["relative_humidity"]
    if station is None:
        return None
    e_pa = tried(
        open_, ("weather", "dew_point"), lambda: saturated_vapour_pressure_pa(found["dew_point"], station, False)
    )
    if e_pa is None:
        return None
    rh = relative_humidity(found["air_temperature"], e_pa, station)
    if rh > 1.0:
        open_.wrong(("weather", "dew_point"), "weather: the dew point lies above the air temperature")
        return None
    return rh


def _source(table: dict[str, Any], open_: Reading) -> Source:
    key: Key = ("compressor",)
    found = figures_of(table, key, figures.COMPRESSOR, ("kind",), open_)
    kind = table.get("kind")
    if kind not in KINDS:
        open_.wrong((*key, "kind"), f"compressor: kind is one of {', '.join(KINDS)}")
    if kind == KINDS[0] and "discharge_temperature" not in found:
        open_.wrong(key, "compressor: discharge_temperature is missing: the oil circuit sets it, so it is entered")
    if kind == KINDS[1] and "isentropic_efficiency" not in found:
        open_.wrong(key, "compressor: isentropic_efficiency is missing: the discharge is worked out with it")
    for name, other in (("isentropic_efficiency", KINDS[0]), ("discharge_temperature", KINDS[1])):
        if kind == other and name in found:
            open_.wrong((*key, name), f"compressor: {name} does not belong to kind '{kind}'; leave it out")
    return Source(
        found.get("free_air_delivery", 0.0), found.get("pressure", 0.0), found.get("discharge_temperature"),
        found.get("isentropic_efficiency", 1.0), found.get("altitude_derating", 0.0),
    )  # fmt: skip


def _count(table: dict[str, Any], key: Key, open_: Reading) -> int:
    number = table.get("number", 1)
    if not isinstance(number, int) or isinstance(number, bool) or not 1 <= number <= 100:
        open_.wrong((*key, "number"), f"{key[0]}: number is a whole number from 1 to 100")
        return 1
    return number


def _nozzle(table: dict[str, Any], at: int, open_: Reading) -> Nozzle:
    key: Key = ("nozzle", at)
    found = figures_of(table, key, figures.NOZZLE, ("number", "label"), open_)
    return Nozzle(
        _count(table, key, open_), found.get("bore", 0.01), found.get("wear", 0.0), found.get("pressure", 0.0)
    )


def _hoods(data: dict[str, Any], open_: Reading) -> list[Load]:
    made = []
    for at, table in enumerate(_tables(data, "hood")):
        key: Key = ("hood", at)
        found = figures_of(table, key, figures.HOOD, ("number", "label"), open_)
        number = _count(table, key, open_)
        made.append(Load(str(table.get("label", "hoods")), number * found.get("flow", 0.0)))
    if made:
        open_.assume(Assumption("hoods", "their air passes the whole train; counted as a load, nothing more"))
    return made


def _blow_down(data: dict[str, Any], open_: Reading) -> list[Load]:
    if "blow_down" not in data:
        return []
    found = figures_of(_table(data, "blow_down"), ("blow_down",), figures.BLOW_DOWN, (), open_)
    return [Load("blow-down", found.get("flow", 0.0))]


def _need(data: dict[str, Any], open_: Reading) -> Need | None:
    if "need" not in data:
        return None
    table = _table(data, "need")
    found = figures_of(table, ("need",), figures.NEED, ("clause",), open_)
    if not str(table.get("clause", "")).strip():
        open_.wrong(("need",), "need: clause is missing: where is this margin written?")
    return Need(found.get("pot_margin", 0.0), str(table.get("clause", "")))


def _recipes(tables: list[dict[str, Any]], open_: Reading) -> tuple[Recipe, ...]:
    made = [each for at, table in enumerate(tables) if (each := _recipe(table, at, open_)) is not None]
    labels = [recipe.label for recipe in made]
    for twice in {label for label in labels if labels.count(label) > 1}:
        open_.wrong(("piece",), f"piece: two pieces are called '{twice}'; give each a label of its own")
    return _nested(made, tables, open_)


def _recipe(table: dict[str, Any], at: int, open_: Reading) -> Recipe | None:
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
    found = figures_of({**table, "label": label}, key, PIECES[kind], others, open_)
    if kind == "hose":
        open_.assume(Assumption(label, "wall as far below the air as the pot's (ours: under the same sky)"))
    if kind == "deliquescent dryer":
        _brine(table, key, found, open_)
    return Recipe(label, kind, {INSIDE.get(name, name): value for name, value in found.items()})


def _brine(table: dict[str, Any], key: Key, found: dict[str, float], open_: Reading) -> None:
    """The humidity over the brine, entered or by the name of the salt."""
    if ("salt" in table) == ("equilibrium_humidity" in found):
        open_.wrong(key, "piece: a deliquescent dryer states either equilibrium_humidity or salt")
    elif found.get("equilibrium_humidity", 1.0) < DRIEST_SALT_RH:
        least = f"{100.0 * DRIEST_SALT_RH:g} %RH"
        why = f"no salt that is known holds air below {least} over its brine (lithium chloride, Greenspan 1977)"
        open_.wrong(key, f"piece: {why}")
    elif "salt" in table:
        try:
            name = figures.salt(table["salt"])
            found["equilibrium_humidity"] = salt_equilibrium_rh(name, SALT_C)
            share = 100.0 * found["equilibrium_humidity"]
            words = f"{share:.1f} %RH over its brine (Greenspan 1977, at {{}})"
            open_.assume(Assumption(name, words, "temperature", SALT_C))
        except ValueError as error:
            open_.wrong((*key, "salt"), f"piece: {error}")


def _nested(made: list[Recipe], tables: list[dict[str, Any]], open_: Reading) -> tuple[Recipe, ...]:
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
