"""The files of a dryer check: the unit's register, the owner's criteria, a test with its readings. Text in.

Every mistake is told at once, with its line and what to write instead.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date
from typing import Any

from gateway import dryer_tables as tables
from gateway.dryer_brine import DENSITIES, U_SHARE, salt_share
from gateway.dryer_rows import rows_of
from gateway.dryer_unit import (
    NOT_STATED,
    Brine,
    Criteria,
    Criterion,
    Facts,
    Rating,
    Refill,
    Rental,
    Test,
    Unit,
)
from gateway.pieces import SALTS
from gateway.plan_reading import PlanErrors, Reading, figures_of
from gateway.psychrometrics import OutOfRange
from gateway.site_amounts import closest
from gateway.site_lines import Key, line_map

RECTANGULAR = 3**0.5  # half width over standard uncertainty (JCGM 100:2008, 4.3.7)
FileErrors = PlanErrors


def _open(text: str, file: str, known: tuple[str, ...]) -> tuple[dict[str, Any], Reading]:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FileErrors(f"{file}: {error}") from None
    open_ = Reading(file, line_map(text))
    for name in data.keys() - set(known):
        open_.wrong((name,), f"'{name}' is not known here{closest(name, known)}")
    return data, open_


def _table(data: Mapping[str, Any], name: str, open_: Reading) -> dict[str, Any]:
    found = data.get(name, {})
    if not isinstance(found, dict):
        open_.wrong((name,), f"'{name}' is written [{name}], once")
        return {}
    return found


def _tables(data: Mapping[str, Any], name: str, open_: Reading) -> list[dict[str, Any]]:
    found = data.get(name, [])
    if not isinstance(found, list) or not all(isinstance(each, dict) for each in found):
        open_.wrong((name,), f"'{name}' is written [[{name}]], once for each")
        return []
    return found


def _said(table: Mapping[str, Any], key: Key, name: str, open_: Reading, default: str | None = NOT_STATED) -> str:
    """A text of a table; where default is None it must be there."""
    found = table.get(name, default)
    if isinstance(found, date):  # TOML has days of its own
        return found.isoformat()
    if not isinstance(found, str) or not found.strip():
        open_.wrong((*key, name), f"{name} is {'missing' if found is None else 'not a text'}")
        return ""
    return found


def _day(table: Mapping[str, Any], key: Key, name: str, open_: Reading, default: str | None = NOT_STATED) -> str:
    found = _said(table, key, name, open_, default)
    if found not in ("", NOT_STATED):
        try:
            date.fromisoformat(found)
        except ValueError:
            open_.wrong((*key, name), f"{name} = '{found}': write a day as 2026-03-31")
    return found


# -- the unit -----------------------------------------------------------------------------------------------

_UNIT = ("serial", "label", "salt", "relief_valve_due", "vessel_due")
_RENTAL = ("contract", "customer", "out", "back", "hours", "level_out", "level_in", "photos")


def unit(text: str, file: str = "unit") -> Unit:
    """The unit of a register file. Raises: FileErrors."""
    data, open_ = _open(text, file, ("unit", "rating", "rentals", "refills"))
    about, key = _table(data, "unit", open_), ("unit",)
    figures = figures_of(about, key, tables.UNIT, _UNIT, open_)
    rated = figures_of(_table(data, "rating", open_), ("rating",), tables.RATING, (), open_)
    salt = _salt(about, open_) if "salt" in about else ""
    made = Unit(
        _said(about, key, "serial", open_, None), _said(about, key, "label", open_, "dryer"), salt,
        figures.get("equilibrium_humidity"), _day(about, key, "relief_valve_due", open_),
        _day(about, key, "vessel_due", open_),
        Rating(rated.get("flow"), rated.get("inlet_temperature"), rated.get("pressure"),
               rated.get("suppression_below_inlet"), rated.get("loss")),
        tuple(_rental(each, i, open_) for i, each in enumerate(_tables(data, "rentals", open_))),
        tuple(_refill(each, i, open_) for i, each in enumerate(_tables(data, "refills", open_))),
    )  # fmt: skip
    open_.end()
    return made


def _salt(about: Mapping[str, Any], open_: Reading) -> str:
    found = about["salt"]
    names = {*SALTS, *DENSITIES}
    if found not in names:
        open_.wrong(("unit", "salt"), f"salt '{found}' is not known here{closest(str(found), names)}; known: "
                    f"{', '.join(sorted(names))}; or state equilibrium_humidity")  # fmt: skip
    return str(found)


def _rental(table: dict[str, Any], at: int, open_: Reading) -> Rental:
    key: Key = ("rentals", at)
    for name in table.keys() - set(_RENTAL):
        open_.wrong((*key, name), f"rental: '{name}' is not known here{closest(name, _RENTAL)}")
    photos = table.get("photos", [])
    if not isinstance(photos, list):
        open_.wrong((*key, "photos"), "photos is a list of file names")
        photos = []
    return Rental(
        _said(table, key, "contract", open_, None), _said(table, key, "customer", open_, None),
        _day(table, key, "out", open_, None), _day(table, key, "back", open_), _said(table, key, "hours", open_),
        _said(table, key, "level_out", open_), _said(table, key, "level_in", open_),
        tuple(str(each) for each in photos),
    )  # fmt: skip


def _refill(table: dict[str, Any], at: int, open_: Reading) -> Refill:
    key: Key = ("refills", at)
    mass = figures_of(table, key, tables.REFILL, ("day", "salt", "lot"), open_).get("mass", 0.0)
    return Refill(
        _day(table, key, "day", open_, None),
        _said(table, key, "salt", open_),
        _said(table, key, "lot", open_),
        mass,
    )


# -- the criteria -------------------------------------------------------------------------------------------


def criteria(text: str, file: str = "criteria") -> Criteria:
    """The owner's criteria. Raises: FileErrors."""
    data, open_ = _open(text, file, ("criterion",))
    found: dict[str, Criterion] = {}
    for at, table in enumerate(_tables(data, "criterion", open_)):
        key: Key = ("criterion", at)
        name = _said(table, key, "name", open_, None)
        if name not in tables.LIMITS:
            open_.wrong((*key, "name"), f"criterion '{name}' is not known here{closest(name, tables.LIMITS)}")
            continue
        limit = figures_of(table, key, {"limit": tables.LIMITS[name]}, ("name", "clause"), open_)
        clause = _said(table, key, "clause", open_, None)
        if name in found:
            open_.wrong((*key, "name"), f"criterion '{name}' is said twice")
        found[name] = Criterion(limit.get("limit", 0.0), clause)
    open_.end()
    return found


# -- a test -------------------------------------------------------------------------------------------------

_TEST = (
    "kind",
    "day",
    "person",
    "bench",
    "visual",
    "relief_valve",
    "blown_out",
    "readings",
    "record",
    "train",
    "from",
)  # fmt: skip  the last two: which train of a gateway the readings are taken from, since when


def read_test(text: str, of: Unit, readings: str, file: str = "test") -> Test:
    """A test: facts and accuracies of its file, rows of its readings (CSV, "" = none yet). Raises: FileErrors."""
    data, open_ = _open(text, file, ("test", "brine", "leak", "accuracy"))
    about, key = _table(data, "test", open_), ("test",)
    for name in about.keys() - set(_TEST):
        open_.wrong((*key, name), f"test: '{name}' is not known here{closest(name, _TEST)}")
    kind = _said(about, key, "kind", open_, None)
    if kind not in ("outgoing", "return", ""):
        open_.wrong((*key, "kind"), f"kind = '{kind}': outgoing or return")
    half = figures_of(_table(data, "accuracy", open_), ("accuracy",), tables.ACCURACY, (), open_)
    leak, u_leak = _leak(_table(data, "leak", open_), open_)
    facts = Facts(
        kind, _day(about, key, "day", open_, None), _said(about, key, "person", open_, None),
        _said(about, key, "bench", open_), str(about.get("visual", "")), str(about.get("relief_valve", "")),
        about.get("blown_out", False) is True, _brine(_table(data, "brine", open_), of, open_), leak, u_leak,
    )  # fmt: skip
    open_.end()
    rows = rows_of(readings, str(about.get("readings", "readings"))) if readings else ()
    return Test(facts, rows, {name: width / RECTANGULAR for name, width in half.items()})


def file_named(text: str, what: str) -> str:
    """The name of the file of readings or of the rental's record that a test names, "" where it names none."""
    try:
        found = tomllib.loads(text).get("test", {}).get(what, "")
    except tomllib.TOMLDecodeError:
        return ""
    return found if isinstance(found, str) else ""


def _leak(table: dict[str, Any], open_: Reading) -> tuple[float | None, float | None]:
    if not table:
        return None, None
    found = figures_of(table, ("leak",), tables.LEAK, (), open_)
    if not {"from", "to", "time"} <= found.keys() or not found["time"]:
        return None, None
    half = found.get("accuracy")
    u = None if half is None else half / RECTANGULAR * 2**0.5 / (found["time"] / 60.0)
    return (found["from"] - found["to"]) / (found["time"] / 60.0), u


def _brine(table: dict[str, Any], of: Unit, open_: Reading) -> Brine | None:
    if not table:
        return None
    found = figures_of(table, ("brine",), tables.BRINE, (), open_)
    if not {"mass", "time"} <= found.keys() or not found["time"]:
        return None
    share, u = found.get("salt_share"), U_SHARE
    if share is None and {"density", "temperature"} <= found.keys():
        try:
            share = salt_share(of.salt, found["density"], found["temperature"])
        except KeyError:
            open_.wrong(("brine",), f"brine: no table of densities for '{of.salt}'; state salt_share")
        except OutOfRange as error:
            open_.wrong(("brine", "density"), f"brine: {error}")
    half = found.get("mass_accuracy", 0.0)
    return Brine(found["mass"], found["time"] / 60.0, share, u, half / RECTANGULAR)
