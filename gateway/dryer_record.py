"""A dryer's readings out of a rental's own journal: a row a minute, in the columns that a test's file may have."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime

from gateway import entry
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Jobsite, Sensor, Train
from gateway.train_look import DRYER_KINDS, Look

HEAD = (
    "time", "inlet_temperature_C", "inlet_humidity_%", "inlet_pressure_bar", "outlet_temperature_C",
    "outlet_humidity_%", "outlet_pressure_bar", "flow_m3_min", "ambient_temperature_C", "station_pressure_hPa",
)  # fmt: skip
MINUTE = 60_000


class NoDryer(Exception):
    """The jobsite has no such train, or the train no dryer with a sensor at its outlet."""


class Record:
    """The rows of one train's dryer between two UTC times [ms]."""

    def __init__(self, train: str, from_ms: int, until_ms: int) -> None:
        self.train, self.from_ms, self.until_ms = train, from_ms, until_ms
        self.site: Jobsite | None = None

    def lines(self, entries: Iterable[bytes], flow: Flow) -> Iterator[str]:
        """CSV lines, head first; what is not known stays empty. flow: judging no oftener than needed.

        Raises: NoDryer.
        """
        yield ",".join(HEAD)
        outcomes, minute = Outcomes(), -1
        for made in entries:
            _, core_ms = entry.kind_and_time(made)
            flow.advance([made], outcomes)
            outcomes.events.clear()
            outcomes.notices.clear()
            utc_ms = core_ms + flow.state.offset_ms
            self.site = flow.site or self.site
            if utc_ms >= self.until_ms:
                break
            if utc_ms >= self.from_ms and utc_ms // MINUTE != minute and flow.site is not None:
                minute = utc_ms // MINUTE
                yield _row(flow, train_of(flow.site, self.train), utc_ms)

    def accuracies(self) -> list[str]:
        """The lines of a test's [accuracy] table, from what the jobsite states of the sensors. Raises: NoDryer."""
        return accuracies(self.site, self.train)


def train_of(site: Jobsite | None, train_id: str) -> Train:
    """A train with a dryer in it. Raises: NoDryer."""
    if site is None:
        raise NoDryer("no jobsite is in force in this journal")
    train = next((each for each in site.trains if each.id == train_id), None)
    if train is None:
        raise NoDryer(f"there is no train '{train_id}'; there are {', '.join(each.id for each in site.trains)}")
    if not any(each.kind in DRYER_KINDS for each in train.pieces):
        raise NoDryer(f"train '{train_id}' has no dryer")
    return train


def _row(flow: Flow, train: Train, utc_ms: int) -> str:
    assert flow.site is not None
    sensors = {each.id: each for each in flow.site.sensors}
    look = Look(train, next(s for s in flow.site.stations if s.id == train.station), sensors, flow.read)
    flowing = look.value(next((p.outlet.flow for p in train.pieces if p.outlet.flow), ""))
    inlet, outlet, station = look.inlet, look.outlet, look.station_pa or 0.0
    own = inlet is not None and outlet is not None and outlet.p_pa != inlet.p_pa
    cells = (
        *(() if inlet is None else (inlet.t_c, inlet.rh, inlet.p_pa - station)),
        *((None, None, None) if inlet is None else ()),
        *((None, None) if outlet is None else (outlet.t_c, outlet.rh)),
        outlet.p_pa - station if own and outlet is not None else None, flowing, look.air_c, look.station_pa,
    )  # fmt: skip
    factors = (1.0, 100.0, 1e-5, 1.0, 100.0, 1e-5, 60.0, 1.0, 0.01)
    said = ["" if cell is None else f"{cell * factor:.5g}" for cell, factor in zip(cells, factors, strict=True)]
    return ",".join([datetime.fromtimestamp(utc_ms / 1000, UTC).isoformat(), *said])


def accuracies(site: Jobsite | None, train_id: str) -> list[str]:
    """The lines of a test's [accuracy] table, from what the jobsite states of the sensors at both ends."""
    train = train_of(site, train_id)
    assert site is not None
    sensors = {each.id: each for each in site.sensors}
    at = next(i for i, piece in enumerate(train.pieces) if piece.kind in DRYER_KINDS)
    station = next(each for each in site.stations if each.id == train.station)
    before = next((p for p in reversed(train.pieces[:at]) if p.outlet.temperature), None)
    flow = next((p.outlet.flow for p in train.pieces if p.outlet.flow), "")
    pressure = next((p.outlet.pressure for p in reversed(train.pieces[: at + 1]) if p.outlet.pressure), "")
    found = [(f"{end}_{what}", name) for end, piece in (("inlet", before), ("outlet", train.pieces[at])) if piece
             for what, name in (("temperature", piece.outlet.temperature),
                                ("humidity", piece.outlet.relative_humidity))]  # fmt: skip
    found += [("inlet_pressure", pressure), ("flow", flow), ("ambient_temperature", station.air_temperature),
              ("station_pressure", station.station_pressure)]  # fmt: skip
    return [line for name, sensor in found if (line := _accuracy(name, sensors.get(sensor)))]


def _accuracy(name: str, sensor: Sensor | None) -> str:
    """One line; the standard uncertainty as the half width it would come from."""
    if sensor is None or sensor.u is None:
        return ""
    what = name.split("_", 1)[1] if "_" in name else name
    factor, unit = {"temperature": (1.0, "K"), "humidity": (100.0, "%RH"), "flow": (60.0, "m3/min")}.get(
        what, (1e-5, "bar")
    )  # fmt: skip
    if name == "station_pressure":
        factor, unit = 0.01, "hPa"
    return f'{name} = "{3**0.5 * sensor.u * factor:.3g} {unit}"'
