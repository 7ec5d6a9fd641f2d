"""A small jobsite for tests, built in Python; and the messages its sensors send."""

from __future__ import annotations

import json

from alerts.limits import Limit
from alerts.measured import Quantity
from gateway.jobsite import (
    Accuracy,
    Area,
    Jobsite,
    Person,
    Piece,
    Point,
    Sensor,
    Station,
    SteelSpot,
    Train,
)

T0 = 1_780_000_000_000  # a core time to start at, ms


def sensor(name: str, quantity: Quantity, unit: str, half_width: float | None, basis: str) -> Sensor:
    """Return a sensor that speaks on its own topic every 10 s."""
    return Sensor(name, name, quantity, unit, Accuracy(half_width), basis, "ambient", 10.0, name)


SENSORS = (
    sensor("air-t", Quantity.AIR_TEMPERATURE, "Cel", 0.3, "shielded air"),
    sensor("air-rh", Quantity.RELATIVE_HUMIDITY, "%RH", 0.02, "water"),
    sensor("baro", Quantity.STATION_PRESSURE, "hPa", 100.0, "absolute"),
    sensor("steel", Quantity.STEEL_TEMPERATURE, "Cel", 0.5, "contact"),
)
TRAIN_SENSORS = (
    sensor("dryer-t", Quantity.GAS_TEMPERATURE, "Cel", 0.3, "thermowell"),
    sensor("dryer-rh", Quantity.RELATIVE_HUMIDITY, "%RH", 0.02, "water"),
    sensor("line-p", Quantity.GAUGE_PRESSURE, "bar", 5000.0, "gauge"),
    sensor("pot-skin", Quantity.WALL_TEMPERATURE, "Cel", 0.5, "pipe skin"),
)


def margin_limit(**changes: object) -> Limit:
    """Return the limit of the test specification: at least 3 K above the dew point."""
    stated: dict[str, object] = {
        "id": "margin", "quantity": Quantity.DEW_POINT_MARGIN, "relation": "at least", "threshold": 3.0,
        "unit": "K", "clause": "test specification 4.2", "activities": ("blasting", "coating"),
        "deadband": 0.5, "deadband_unit": "K", "on_delay_s": 60.0, "off_delay_s": 600.0,
        "unknown_delay_s": 300.0, "advice": "Stop blasting area A", "area": "A",
    }  # fmt: skip
    return Limit(**{**stated, **changes})  # type: ignore[arg-type]


def site(*limits: Limit) -> Jobsite:
    """Return one area, one station and one short air train."""
    train = Train(
        "T1", "air train 1", ("A",), "deck",
        (
            Piece("dryer", "salt dryer", "deliquescent dryer", Point("dryer-t", "dryer-rh", "line-p")),
            Piece("pot", "pot", "pot", wall="pot-skin"),
        ),
    )  # fmt: skip
    return Jobsite(
        "test", "test site", "UTC", 20.0, True, SENSORS + TRAIN_SENSORS,
        (Station("deck", "deck", "air-t", "air-rh", "baro"),),
        (Area("A", "shell", ("deck",), (SteelSpot("steel", "coldest"),)),),
        (train,), limits, (Person("lead", "site lead", ("lead-phone",)),),
    )  # fmt: skip


def pack(name: str, value: float | str, t_ms: int | None = None, unit: str | None = None) -> bytes:
    """Return one SenML record as a sensor would send it."""
    record: dict[str, object] = {"n": name, "v": value}
    if t_ms is not None:
        record["t"] = t_ms / 1000
    if unit:
        record["u"] = unit
    return json.dumps([record]).encode()
