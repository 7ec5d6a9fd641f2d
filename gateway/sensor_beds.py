"""What cannot be at the outlet of a salt dryer: air drier than its salt can make it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from alerts.measured import Quantity
from gateway import psychrometrics
from gateway.jobsite import Piece, Sensor, Station, Train
from gateway.pieces import DRIEST_SALT_RH, salt_equilibrium_rh

Value = Callable[[str], float | None]
"""The newest value of a sensor as it came, or None."""
WARMED_K = 3.0  # from a bed to the probe at its outlet, as far as is allowed for: ours, no source
AS_IT_CAME = 0.9  # share of the intake air's vapour above which a dryer has taken out nothing worth the name
ATMOSPHERE_PA = 101_325.0


@dataclass(frozen=True, slots=True)
class Bed:
    """The outlet of a salt dryer that is the first dryer of its train, the station whose air goes in, its salt.

    humidity: the sensor of the outlet's relative humidity, or of its pressure dew point.
    """

    temperature: str
    humidity: str
    pressure: str
    station: Station
    salt: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """Every sensor that `beyond_salt` asks."""
        at = self.station
        own = (self.temperature, self.humidity, self.pressure)
        return (*own, at.air_temperature, at.relative_humidity, at.station_pressure)

    def driest_rh(self, t_c: float) -> float:
        """The lowest humidity its salt can bring about at the outlet gas [C]; not stated, the driest salt's.

        Over the stated salt the gas may have warmed by WARMED_K from the bed to the probe.
        """
        saturation = psychrometrics.saturation_pressure_water_pa
        try:
            warmed = saturation(t_c - WARMED_K) / saturation(t_c)
            return salt_equilibrium_rh(self.salt, t_c) * warmed if self.salt else DRIEST_SALT_RH
        except psychrometrics.OutOfRange:
            return DRIEST_SALT_RH


def beds_of(train: Train, stations: Mapping[str, Station]) -> list[Bed]:
    """The salt dryer whose outlet is measured, unless another dryer stands before it: then its inlet is dry.

    By a humidity, by a dew-point transmitter, or by both: each is held to what the salt can do.
    """
    pressure = ""
    for piece in train.pieces:
        out = piece.outlet
        pressure = out.pressure or pressure
        if piece.kind == "deliquescent dryer":
            sources = filter(None, (out.relative_humidity, out.pressure_dew_point))
            station = stations[train.station]
            return [
                Bed(out.temperature, source, pressure, station, piece.salt)
                for source in sources
                if out.temperature and pressure
            ]
        if _dries(piece):
            return []
    return []


def _dries(piece: Piece) -> bool:
    return piece.kind in ("refrigerated dryer", "adsorption dryer")


def beyond_salt(sensor: Sensor, bed: Bed, value: Value) -> str:
    """Whether the outlet is drier than any salt can make it, unless the air came in that dry."""
    t_c, said, gauge_pa = (value(name) for name in (bed.temperature, bed.humidity, bed.pressure))
    if t_c is None or said is None:
        return ""
    rh, at_most = (_outlet_rh(sensor, each, t_c, gauge_pa) for each in (said, said + 2.0 * (sensor.u or 0.0)))
    if rh is None or at_most is None or at_most >= bed.driest_rh(t_c):
        return ""
    try:
        if gauge_pa is not None and _came_dry(bed, t_c, rh, gauge_pa, value):
            return ""
        depth = t_c - psychrometrics.dew_point_c(t_c, rh, 101_325.0)  # hardly depends on the pressure
    except psychrometrics.OutOfRange:
        depth = None
    by = "drier" if depth is None else f"{depth:.0f} K below the outlet gas, drier"
    return (
        f"dew point {by} than a salt bed can make it: check the sensor and the pressure entry;"
        " brine on a chip looks like a perfect dryer"
    )


def _outlet_rh(sensor: Sensor, said: float, t_c: float, gauge_pa: float | None) -> float | None:
    """The humidity of the outlet gas by either kind of sensor; None where its physics has no answer."""
    if sensor.quantity is Quantity.RELATIVE_HUMIDITY:
        return said
    p_pa = ATMOSPHERE_PA + (gauge_pa or 0.0)  # the station's own pressure hardly matters here
    try:
        ice = sensor.basis == "frost" and said < 0.0
        e_pa = psychrometrics.saturated_vapour_pressure_pa(said, p_pa, frost=ice)
        return e_pa / psychrometrics.saturated_vapour_pressure_pa(t_c, p_pa, frost=False)
    except psychrometrics.OutOfRange:
        return None


def _came_dry(bed: Bed, t_c: float, rh: float, gauge_pa: float, value: Value) -> bool:
    """Whether the intake air holds hardly more vapour for its pressure than the outlet: hot gas, nothing dried."""
    at = bed.station
    air_c, air_rh, air_pa = (value(n) for n in (at.air_temperature, at.relative_humidity, at.station_pressure))
    if air_c is None or air_rh is None or air_pa is None or air_pa <= 0.0 or gauge_pa + air_pa <= 0.0:
        return False
    saturation = psychrometrics.saturation_pressure_water_pa
    outlet = rh * saturation(t_c) / (gauge_pa + air_pa)
    return outlet >= AS_IT_CAME * air_rh * saturation(air_c) / air_pa
