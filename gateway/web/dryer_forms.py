"""The forms of the yard's pages: which fields each has, and what a sent form changes in a file of the yard.

Fields are texts with their units, as the files have them ("240 kg"); `dryer_file` says what is wrong with one.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from gateway.dryer_brine import DENSITIES
from gateway.dryer_file import FileErrors
from gateway.pieces import SALTS

Raw = dict[str, Any]
Form = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Field:
    """One field. kind: "text", "date", "number" (a number with its unit) or "choice"."""

    name: str
    label: str
    example: str = ""
    kind: str = "text"
    choices: tuple[str, ...] = ()
    required: bool = False


def _amount(name: str, label: str, example: str) -> Field:
    return Field(name, label, example, "number")


UNIT = (
    Field("label", "What it is", "salt dryer on a skid", required=True),
    Field("salt", "Salt", kind="choice", choices=tuple(sorted({*SALTS, *DENSITIES}))),
    _amount("equilibrium_humidity", "Humidity over its brine, as its maker states it", "50 %RH"),
    Field("relief_valve_due", "Relief valve: inspection due", kind="date"),
    Field("vessel_due", "Vessel: inspection due", kind="date"),
)
RATING = (
    _amount("flow", "Rated flow", "750 cfm"), _amount("inlet_temperature", "Rated inlet gas", "38 °C"),
    _amount("pressure", "Rated line pressure", "7 bar(g)"),
    _amount("suppression_below_inlet", "Dew point below the inlet gas", "7.5 K"),
    _amount("loss", "Loss of pressure at the rated flow", "0.2 bar"),
)  # fmt: skip
OUT = (
    Field("contract", "Contract", "R-2206", required=True), Field("customer", "Customer", required=True),
    Field("out", "Day it went out", kind="date", required=True),
    Field("level_out", "Salt level as it went out", "100 %"),
)  # fmt: skip
BACK = (
    Field("back", "Day it came back", kind="date", required=True), Field("hours", "Hours it ran", "212 h"),
    Field("level_in", "Salt level as it came back", "55 %"),
)  # fmt: skip
REFILL = (
    Field("day", "Day", kind="date", required=True), Field("salt", "Salt", "dryer salt", required=True),
    Field("lot", "Lot", "L-1183", required=True),
    Field("mass", "Salt filled in", "40 kg", "number", required=True),
)  # fmt: skip
BRINE = (
    _amount("mass", "Brine weighed", "2.4 kg"), _amount("time", "Over how long", "45 min"),
    _amount("mass_accuracy", "Half width of the scale's accuracy", "0.05 kg"),
    _amount("density", "Its density by hydrometer", "1.21 kg/l"),
    _amount("temperature", "Its temperature in the jar", "24 °C"),
    _amount("salt_share", "Or its salt by mass", "40 %"),
)  # fmt: skip
LEAK = (
    _amount("from", "Pressure when it was shut in", "7.00 bar(g)"),
    _amount("to", "Pressure at the end", "6.96 bar(g)"),
    _amount("time", "Over how long", "10 min"),
    _amount("accuracy", "Half width of the gauge's accuracy", "0.01 bar"),
)  # fmt: skip
ACCURACY = tuple(
    _amount(name, name.replace("_", " ").capitalize(), example) for name, example in (
        ("inlet_temperature", "0.3 K"), ("outlet_temperature", "0.3 K"), ("inlet_humidity", "1.5 %RH"),
        ("outlet_humidity", "1.5 %RH"), ("inlet_pressure", "0.03 bar"), ("pressure_loss", "0.01 bar"),
        ("flow", "15 cfm"), ("ambient_temperature", "0.3 K"), ("station_pressure", "1 hPa"),
    )
)  # fmt: skip
CRITERIA = (
    _amount("suppression_below_inlet", "Dew point below the inlet gas, at least", "6 K"),
    _amount("suppression_below_outlet", "Dew point below the outlet gas, at least", "11 K"),
    _amount("pressure_dew_point", "Dew point at the outlet, at most", "10 °C"),
    _amount("outlet_humidity", "Humidity of the outlet gas, at most", "58 %RH"),
    _amount("loss", "Loss of pressure at the rated flow, at most", "0.3 bar"),
    _amount("approach", "Inlet gas above ambient, at most", "12 K"),
    _amount("drain_balance", "Brine against the water taken, off by at most", "30 %"),
    _amount("leak", "Fall of pressure while shut in, at most", "20 mbar/min"),
    _amount("least_flow", "Least share of the rated flow for a test", "60 %"),
)  # fmt: skip
PASS = "pass"  # noqa: S105  a word of the forms, no secret
LOOKS = ("visual", "relief_valve")
KINDS = ("outgoing", "return")


def taken(form: Form, fields: Sequence[Field]) -> Raw:
    """What a form says of these fields; an empty one says nothing."""
    return {each.name: form[each.name].strip() for each in fields if form.get(each.name, "").strip()}


def new_unit(form: Form) -> Raw:
    """A register from the form of a new unit."""
    return {"unit": {"serial": form.get("serial", "").strip()} | taken(form, UNIT), "rating": {}}


def changed_unit(raw: Raw, form: Form) -> None:
    """Plate and due days."""
    raw["unit"] = {"serial": raw["unit"]["serial"]} | taken(form, UNIT)
    raw["rating"] = taken({name.removeprefix("rated_"): said for name, said in form.items()
                           if name.startswith("rated_")}, RATING)  # fmt: skip


def gone_out(raw: Raw, form: Form) -> None:
    """A new rental. Raises: FileErrors while the one before is not back."""
    if any("back" not in each for each in raw.get("rentals", [])[-1:]):
        contract = raw["rentals"][-1]["contract"]
        raise FileErrors(f"Rental {contract} is still out: enter first that it came back.")
    raw.setdefault("rentals", []).append(taken(form, OUT) | _photos(form, []))


def come_back(raw: Raw, form: Form) -> None:
    """The end of the newest rental."""
    if rentals := raw.get("rentals"):
        rentals[-1] |= taken(form, BACK) | _photos(form, rentals[-1].get("photos", []))


def _photos(form: Form, before: list[str]) -> Raw:
    photos = [*before, *([form["photo"]] if form.get("photo") else [])]
    return {"photos": photos} if photos else {}


def refilled(raw: Raw, form: Form) -> None:
    """Salt filled in: a new trend begins."""
    raw.setdefault("refills", []).append(taken(form, REFILL))


REGISTER: dict[str, Callable[[Raw, Form], None]] = {
    "plate": changed_unit, "out": gone_out, "back": come_back, "refill": refilled,
}  # fmt: skip


def looked(raw: Raw, form: Form) -> None:
    """The look at the unit and its relief valve, the first step of all."""
    for name in LOOKS:
        said = form.get(name, "")
        raw["test"][name] = form.get(f"{name}_words", "").strip() or "not in order" if said == "no" else said


def read_from(raw: Raw, form: Form) -> None:
    """The train of this gateway that the bench's readings come from, from now on."""
    raw["test"] |= {"train": form.get("train", ""), "from": form.get("now", "")}


def blown_out(raw: Raw, _: Form) -> None:
    """What condensed at the start was blown out."""
    raw["test"]["blown_out"] = True


def weighed(raw: Raw, form: Form) -> None:
    """Brine from the drain's own line."""
    raw["brine"] = taken(form, BRINE)


def shut_in(raw: Raw, form: Form) -> None:
    """The fall of pressure."""
    raw["leak"] = taken(form, LEAK)


def accurate(raw: Raw, form: Form) -> None:
    """What the certificates of the bench's instruments state."""
    raw["accuracy"] = taken(form, ACCURACY)


TEST: dict[str, Callable[[Raw, Form], None]] = {
    "look": looked, "source": read_from, "blown": blown_out, "brine": weighed, "leak": shut_in,
    "accuracy": accurate,
}  # fmt: skip


def criteria(form: Form) -> Raw:
    """The owner's criteria; one without a limit is not asked."""
    asked = [
        {"name": each.name, "limit": form[each.name].strip(),
         "clause": form.get(f"{each.name}_clause", "").strip()}
        for each in CRITERIA if form.get(each.name, "").strip()
    ]  # fmt: skip
    return {"criterion": asked} if asked else {}


def to_toml(raw: Raw) -> str:
    """Return a file of the yard; it reads back to the same."""
    return "\n".join(_parts(raw))


def _parts(raw: Raw) -> Iterator[str]:
    for name, said in raw.items():
        many = said if isinstance(said, list) else [said]
        head = f"[[{name}]]" if isinstance(said, list) else f"[{name}]"
        for table in many:
            yield "\n".join([head, *(f"{key} = {_value(value)}" for key, value in table.items()), ""])


def _value(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    # TOML's basic strings escape as JSON's do, but forbid one character more.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
