"""What tells of a failing piece, as a jobsite file states it: level, drain, bypass, flow, choke, rated inlet."""

from __future__ import annotations

from pathlib import Path

import pytest

from alerts.measured import UNITS, Quantity
from gateway.config import ConfigErrors, load, to_toml
from gateway.jobsite import Jobsite
from gateway.payload.value import Refused, reading_of

DEMO = (Path(__file__).parent.parent / "deploy" / "demo.toml").read_text()
SENSORS = {
    "flow": ("air_flow", "m3/min", "0.5 m3/min", "free air"),
    "level": ("liquid_level", "%FS", "2 %FS", "full scale"),
    "count": ("drain_count", "count", "not stated", "since fitted"),
    "open": ("valve_position", "share", "0.02 share", "open"),
    "blast-p": ("gauge_pressure", "bar", "0.05 bar", "gauge"),
    "drawn-t": ("air_temperature", "Cel", "0.3 K", "shielded air"),
}
NEW = "".join(
    f'\n[[sensors]]\nid = "{name}"\nlabel = "{name}"\nquantity = "{quantity}"\nunit = "{unit}"\n'
    f'accuracy = "{accuracy}"\naccuracy_means = "limit"\n'
    f'basis = "{basis}"\nelement = "line"\ninterval = "60 s"\nclassified_area = "no"\n'
    for name, (quantity, unit, accuracy, basis) in SENSORS.items()
)
PIECES = {
    'kind = "aftercooler"\n': 'cooling_air = "drawn-t"\noutlet_flow = "flow"\n',
    'kind = "separator"\n': 'drain_count = "count"\n',
    'kind = "receiver"\n': 'level = "level"\n',
    'kind = "deliquescent dryer"\n': 'rated_inlet = "100 °F"\n',
    'kind = "pot"\n': 'blast_line = "blast-p"\nposition = "open"\n',
}


def written(**changes: str) -> str:
    text = DEMO.replace("\n[[stations]]", f"{NEW}\n[[stations]]", 1)
    for kind, keys in PIECES.items():
        text = text.replace(kind, kind + keys)
    for one, other in changes.items():
        text = text.replace(one, other)
    return text


def read(folder: Path, text: str) -> Jobsite:
    (folder / "site.toml").write_text(text)
    return load(folder / "site.toml")


def test_every_key_is_read_and_written_back(tmp_path: Path) -> None:
    """Inside units: 100 °F are 37.8 °C; the export reads back to the same jobsite."""
    site = read(tmp_path, written())
    pieces = {piece.kind: piece for piece in site.trains[0].pieces}
    assert (pieces["aftercooler"].cooling_air, pieces["aftercooler"].outlet.flow) == ("drawn-t", "flow")
    assert pieces["separator"].drain_count == "count"
    assert pieces["receiver"].level == "level"
    assert pieces["deliquescent dryer"].rated_inlet_c == pytest.approx(37.78, abs=0.01)
    assert (pieces["pot"].blast_line, pieces["pot"].position) == ("blast-p", "open")
    flow = next(each for each in site.sensors if each.id == "flow")
    assert flow.accuracy.half_width == pytest.approx(0.5 / 60.0)
    assert read(tmp_path, to_toml(site)) == site


@pytest.mark.parametrize(
    ("one", "other", "told"),
    [
        ('level = "level"', 'level = "flow"', "sensor 'flow' measures air_flow, but liquid_level is needed here"),
        ('position = "open"', 'position = "opem"', "there is no sensor 'opem', did you mean 'open'?"),
        ('rated_inlet = "100 °F"', 'rated_inlet = "100"', "write a number, a blank and a unit"),
        ('basis = "free air"', 'basis = "gauge"', "does not fit air_flow: use free air or ISO 8573-1"),
        ('unit = "%FS"', 'unit = "%"', "'%' is not a unit of share of full scale: use %FS, share"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_told(tmp_path: Path, one: str, other: str, told: str) -> None:
    """The line's own words and what to write instead."""
    with pytest.raises(ConfigErrors) as error:
        read(tmp_path, written(**{one: other}))
    assert told in str(error.value)


def test_readings_of_the_new_kinds_are_believed_or_refused(tmp_path: Path) -> None:
    """In the unit inside; what cannot be is refused with its sensor."""
    sensors = {each.id: each for each in read(tmp_path, written()).sensors}
    assert reading_of(sensors["level"], 40.0, "%FS", None).value == pytest.approx(0.4)
    assert reading_of(sensors["flow"], 21.0, "m3/min", None).value == pytest.approx(0.35)
    assert reading_of(sensors["count"], 1234.0, "count", None).value == 1234.0
    for name, value, unit in (("level", 140.0, "%FS"), ("flow", -1.0, "m3/min"), ("open", 2.0, "share")):
        with pytest.raises(Refused, match="outside its range"):
            reading_of(sensors[name], value, unit, None)
    assert UNITS["cfm"].inside(750.0) == pytest.approx(0.35396, abs=1e-5)  # 0.3048 m a foot
    assert Quantity.DRAIN_COUNT in {each.quantity for each in sensors.values()}
