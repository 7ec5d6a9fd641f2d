"""The readings of one train at one minute, in the order the air flows: gases, flow, what the intake brought."""

from __future__ import annotations

from collections.abc import Mapping
from math import hypot, sqrt
from typing import NamedTuple

from alerts.measured import Measured, Validity
from gateway.compressed_air import FREE_AIR, dry_air_from_flow_kg_per_s
from gateway.jobsite import Piece, Sensor, Station, Train
from gateway.psychrometrics import (
    ZERO_C,
    humidity_ratio,
    relative_humidity,
    saturated_vapour_pressure_pa,
    vapour_pressure_pa,
)
from gateway.said import Read
from gateway.train_state import OPEN_END, Doing, seen

DRYER_KINDS = ("deliquescent dryer", "refrigerated dryer", "adsorption dryer")
DISCHARGE_K = 60.0  # of an oil-flooded screw above its cooling air: ours


class Gas(NamedTuple):
    """Gas at one outlet: temperature [°C], absolute pressure [Pa], relative humidity 0..1 (None: no probe)."""

    piece: Piece
    t_c: float
    p_pa: float
    rh: float | None

    @property
    def ratio(self) -> float | None:
        """Humidity ratio [kg/kg], None without a probe."""
        return (
            None
            if self.rh is None
            else humidity_ratio(vapour_pressure_pa(self.t_c, self.rh, self.p_pa), self.p_pa)
        )


class Look:
    """The readings of one train at one minute."""

    def __init__(self, train: Train, station: Station, sensors: Mapping[str, Sensor], read: Read) -> None:
        self.train, self.station, self.sensors, self._read = train, station, sensors, read
        self.station_pa = self.value(station.station_pressure)
        self.air_c = self.value(station.air_temperature)
        self.dryer_at = next((i for i, p in enumerate(train.pieces) if p.kind in DRYER_KINDS), len(train.pieces))
        self.gases = self._gases()
        before = [gas for at, gas in self.gases if at < self.dryer_at]
        self.inlet = before[-1] if before else None
        self.outlet = next((gas for at, gas in self.gases if at == self.dryer_at), None)

    def value(self, name: str) -> float | None:
        """The newest value of a sensor that may be used, or None."""
        if not name:
            return None
        said: Measured = self._read(name)
        return None if said.validity is Validity.BOUND else said.value

    def flowing(self) -> bool | None:
        """Whether air flows through, as `train_state` sees it; None where nothing tells.

        Where the pot's gauge is silent and nothing behind it shows pressure, the pot may be vented: not known. A
        limit is judged then all the same, but a finding must not be learnt from a machine that stands.
        """
        doing = seen(self.train, self._read)
        if doing is Doing.UNKNOWN or (doing is Doing.FLOWING and not self._pot_is_known()):
            return None
        return doing is Doing.FLOWING

    def _pot_is_known(self) -> bool:
        gauges = [p for p in self.train.pieces if p.outlet.pressure]
        before = [p for p in gauges if p.kind not in OPEN_END]
        telling = [*before[-1:], *(p for p in gauges if p.kind in OPEN_END)]
        return any(self.value(p.outlet.pressure) is not None for p in telling)

    def _gases(self) -> list[tuple[int, Gas]]:
        """The gas at every outlet with a temperature and a pressure, in the order of the flow."""
        found, gauge_pa = [], None
        for at, piece in enumerate(self.train.pieces):
            out = piece.outlet
            gauge_pa = self.value(out.pressure) if out.pressure else gauge_pa
            t_c = self.value(out.temperature)
            if t_c is None or gauge_pa is None or self.station_pa is None or piece.kind == "compressor":
                continue
            p_pa = gauge_pa + self.station_pa
            found.append((at, Gas(piece, t_c, p_pa, self._rh(piece, t_c, p_pa))))
        return found

    def _rh(self, piece: Piece, t_c: float, p_pa: float) -> float | None:
        rh = self.value(piece.outlet.relative_humidity)
        point_c = self.value(piece.outlet.pressure_dew_point)
        if rh is None and point_c is not None:
            frost = self.sensors[piece.outlet.pressure_dew_point].basis == "frost" and point_c < 0.0
            rh = min(relative_humidity(t_c, saturated_vapour_pressure_pa(point_c, p_pa, frost), p_pa), 1.0)
        return rh

    def first(self, at: int) -> Gas | None:
        """The first gas with a temperature at or after a place, before the dryer."""
        return next((gas for here, gas in self.gases if at <= here < self.dryer_at), None)

    def discharge_c(self, cooling_c: float) -> float:
        """Where no sensor is at the compressor, a usual one: only what changes of it matters."""
        hot = [self.value(p.outlet.temperature) for p in self.train.pieces if p.kind == "compressor"]
        return next((t_c for t_c in hot if t_c is not None), cooling_c + DISCHARGE_K)

    def u_of_intake(self) -> float:
        """How well the intake's vapour is known, as a share of it; 0 where the accuracy is not stated."""
        rh, u = self.value(self.station.relative_humidity), self.sensors[self.station.relative_humidity].u
        return u / rh if rh and u else 0.0

    def u_of_difference(self, one: str, other: str) -> float | None:
        """Standard uncertainty of the difference of two sensors, as stated; None where one is not."""
        first, second = self.sensors[one].u, self.sensors[other].u
        return None if first is None or second is None or one == other else hypot(first, second)

    def intake_share(self) -> float | None:
        """Vapour in the air of the intake, over its pressure."""
        rh = self.value(self.station.relative_humidity)
        if rh is None or self.air_c is None or self.station_pa is None:
            return None
        return vapour_pressure_pa(self.air_c, min(rh, 1.0), self.station_pa) / self.station_pa

    def has_meter(self) -> bool:
        """Whether a flow meter is fitted, whatever it says."""
        return any(p.outlet.flow for p in self.train.pieces)

    def metered_flow(self) -> float | None:
        """Dry air [kg/s] by the train's flow meter; None where there is none or it cannot be used."""
        name = next((p.outlet.flow for p in self.train.pieces if p.outlet.flow), "")
        share, flow = self.intake_share(), self.value(name)
        if flow is None or share is None or self.air_c is None or self.station_pa is None:
            return None
        basis = self.sensors[name].basis or FREE_AIR
        return dry_air_from_flow_kg_per_s(flow, basis, self.air_c, share * self.station_pa, self.station_pa)

    def relative_flow(self) -> float | None:
        """Dry air [kg/s] where the flow is measured; else what a choked nozzle draws, to a constant."""
        if self.has_meter():
            return self.metered_flow()
        pot = next((p.outlet.pressure for p in reversed(self.train.pieces) if p.outlet.pressure), "")
        gauge_pa, gas = self.value(pot), self.outlet or self.inlet
        if gauge_pa is None or gas is None or self.station_pa is None:
            return None
        return (gauge_pa + self.station_pa) / sqrt(gas.t_c + ZERO_C) * 1e-5
