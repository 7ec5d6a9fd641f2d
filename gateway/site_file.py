"""The shape of a jobsite file: which tables and keys it has, and which words and numbers each may hold.

Every number carries its unit as text ("0.5 K", "10 min"), and every unit comes from a closed list, so that
nothing is guessed. What a key means stands in its description, which is also what a missing key is told with.
"""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from alerts.fault import AUDIENCES, LIMITS
from alerts.limits import PRIORITIES
from alerts.measured import DIMENSION, UNITS, Dimension, Quantity
from gateway.jobsite import ACTIVITIES, PIECE_KINDS
from gateway.pieces import SALTS
from gateway.site_amounts import (
    amount,
    celsius_or_nothing,
    metres,
    seconds,
    seconds_or_nothing,
    split_amount,
    spread,
)
from gateway.site_costs import bar_or_nothing, price, rate
from gateway.site_products import ProductTable
from gateway.site_sensors import NOT_STATED, SensorTable, Table, inside
from gateway.site_sources import EdgeTable, SourceTable
from gateway.site_words import Delay, Id, Said, checked, clock_time, duty, no_breathing_air, one_of, zone

SALT_DRYER = "deliquescent dryer"
# A deadband beyond this (inside units) would hold an alarm long after the air is back.
WIDEST_DEADBAND = {
    Dimension.DIFFERENCE: (5.0, "5 K"),
    Dimension.FRACTION: (0.1, "10 %RH"),
    Dimension.PRESSURE: (1e5, "1 bar"),
    Dimension.RATIO: (0.002, "2 g/kg"),
    Dimension.DENSITY: (0.002, "2 g/m3"),
    Dimension.FLOW: (0.1, "6 m3/min"),
    Dimension.SHARE: (0.2, "20 %FS"),
    Dimension.COUNT: (10.0, "10 count"),
    Dimension.SPEED: (5.0, "5 m/s"),
    Dimension.TIME: (3600.0, "60 min"),
    Dimension.WARMING: (5.0, "5 K/h"),
    Dimension.MOISTENING: (0.1, "10 %RH/h"),
}


class JobsiteTable(Table):
    """[jobsite]."""

    id: Id = Field(description="short name, the second level of every topic")
    label: Said = Field(description="what people call this jobsite")
    time_zone: Annotated[str, checked(zone)] = Field(description="zone of the pages, such as 'America/Chicago'")
    altitude: Annotated[str, checked(metres)] = Field(description="height above sea level, such as '20 m'")
    simulated: bool = Field(False, description="true when no real steel is behind the readings")
    shift_ends: list[Annotated[str, checked(clock_time)]] = Field(
        [], description="when shifts end in site time, such as '17:30': idle ends with its shift"
    )
    false_warnings_a_week: float = Field(
        2.0, ge=0, le=50, description="how many warnings ahead of each limit may be wrong in a week, such as 2"
    )
    calibration_notice: Annotated[str, checked(seconds_or_nothing)] = Field(
        "",
        description="how long before a calibration ends it is told, such as '30 d'; else only when it has ended",
    )


class StationTable(Table):
    """[[stations]]."""

    id: Id = Field(description="name of the station")
    label: Said = Field(description="what people call this station")
    air_temperature: str = Field(description="id of the sensor of air temperature")
    relative_humidity: str = Field(description="id of the sensor of relative humidity, on the same probe")
    station_pressure: str = Field(description="id of the sensor of station pressure")
    wind_speed: str = Field("", description="id of the sensor of wind speed by the work")
    above_site: Annotated[str, checked(metres)] = Field(
        "0 m", description="how much higher its barometer stands than the jobsite, such as '12 m'; '-5 m' is lower"
    )


class SteelTable(Table):
    """[[areas.steel]]."""

    sensor: str = Field(description="id of the sensor on the steel")
    spot: Annotated[str, one_of(("coldest", "warmest"))] = Field(description="coldest or warmest")
    moved_to: Said = Field(NOT_STATED, description="where the sensor was last put")
    moved_by: Said = Field(NOT_STATED, description="who put it there")
    moved_at: Said = Field(NOT_STATED, description="when")


class AreaTable(Table):
    """[[areas]]."""

    id: Id = Field(description="name of the area")
    label: Said = Field(description="what people call this area")
    stations: list[str] = Field(min_length=1, description="ids of the stations whose air the steel stands in")
    air_space: Annotated[str, one_of(("inside containment", "outside", "dehumidified duct"))] = Field(
        "outside", description="inside containment, outside or dehumidified duct"
    )
    prime_within: str = Field("", description="how long blasted steel may stand before it is primed, as '8 h'")
    prime_clause: str = Field("", description="where the specification says so")
    product_temperature: str = Field("", description="id of the sensor in the product that is put on, mixed")
    steel: list[SteelTable] = Field([], description="sensors on the steel")

    @model_validator(mode="after")
    def _time_with_its_clause(self) -> Self:
        if self.prime_within:
            seconds(self.prime_within)
        if bool(self.prime_within) != bool(self.prime_clause.strip()):
            raise ValueError("prime_within and prime_clause belong together: the time, and where it is stated")
        return self


class PieceTable(Table):
    """[[trains.pieces]]."""

    id: Id = Field(description="name of the piece")
    label: Said = Field(description="what people call this piece")
    kind: Annotated[str, checked(no_breathing_air), one_of(PIECE_KINDS)] = Field(
        description="what the piece is, such as 'pot'"
    )
    outlet_temperature: str = Field("", description="id of the sensor of gas temperature at the outlet")
    outlet_relative_humidity: str = Field("", description="id of the sensor of relative humidity at the outlet")
    outlet_pressure: str = Field("", description="id of the sensor of gauge pressure at the outlet")
    outlet_pressure_dew_point: str = Field("", description="id of the sensor of pressure dew point at the outlet")
    wall: str = Field("", description="id of the sensor on the wall")
    wall_station: str = Field(
        "", description="id of the station whose air cools the wall, when no sensor is on it"
    )
    outlet_flow: str = Field("", description="id of the sensor of air flow at the outlet")
    cooling_air: str = Field("", description="id of the air temperature sensor where a cooler draws its air")
    level: str = Field("", description="id of the sensor of the liquid level in this piece")
    drain_count: str = Field("", description="id of the counter of openings of this piece's drain")
    position: str = Field("", description="id of the sensor of how far a bypass is open")
    blast_line: str = Field("", description="id of the pressure sensor in the blast line behind the choke valve")
    rated_inlet: Annotated[str, checked(celsius_or_nothing)] = Field(
        "", description="hottest inlet on a dryer's plate, such as '38 °C'"
    )
    salt: Annotated[str, one_of(SALTS)] = Field("", description="what a deliquescent dryer is filled with")

    @field_validator("salt")
    @classmethod
    def _salt_in_a_dryer(cls, word: str, info: ValidationInfo) -> str:
        if info.data.get("kind", SALT_DRYER) != SALT_DRYER:
            raise ValueError(f"only a {SALT_DRYER} is filled with salt")
        return word


class TrainTable(Table):
    """[[trains]]."""

    id: Id = Field(description="name of the train")
    label: Said = Field(description="what people call this train")
    feeds: list[str] = Field(min_length=1, description="ids of the areas this train feeds")
    station: str = Field(description="id of the station near the intake")
    warm_up: Delay = Field(
        "0 s", description="how long after it came under pressure nothing of it is judged, such as '10 min'"
    )
    pieces: list[PieceTable] = Field(min_length=1, description="the pieces in the order the air flows")
    pot_set_point: Annotated[str, checked(bar_or_nothing)] = Field(
        "", description="gauge pressure the pot is set to, such as '6.9 bar'"
    )
    hour_price: Annotated[str, checked(price)] = Field(
        "", description="your price of an hour of blasting, such as '240 EUR'"
    )
    abrasive_rate: Annotated[str, checked(rate)] = Field(
        "", description="abrasive used while blasting, such as '600 kg/h'"
    )
    abrasive_price: Annotated[str, checked(price)] = Field(
        "", description="your price of a kg of abrasive, such as '0.35 EUR'"
    )

    @field_validator("abrasive_price")
    @classmethod
    def _one_currency(cls, text: str, info: ValidationInfo) -> str:
        one, other = price(info.data.get("hour_price", ""))[1], price(text)[1]
        if one and other and one != other:
            raise ValueError(f"hour_price is in {one}; nothing here changes money, so write both in one currency")
        return text


class LimitTable(Table):
    """[[limits]]. Nothing here that decides has a default: a limit is what the specification says."""

    id: Id = Field(description="name of the limit")
    quantity: Annotated[str, one_of(Quantity)] = Field(description="what is judged, such as 'dew_point_margin'")
    relation: Annotated[str, one_of(("at least", "at most"))] = Field(description="'at least' or 'at most'")
    threshold: str = Field(description="the number in the specification's own unit, such as '3 K'")
    clause: Said = Field(
        description="where the specification says so; a limit without its clause cannot be checked"
    )
    area: str = Field("", description="id of the area it holds for")
    train: str = Field("", description="id of the train it holds for")
    piece: str = Field("", description="id of the piece of that train")
    activities: list[Annotated[str, one_of(ACTIVITIES)]] = Field(
        min_length=1, description="for which activities it holds"
    )
    deadband: str = Field(description="how far beyond the limit an alarm begins to return, such as '0.5 K'")
    on_delay: Delay = Field(description="how long a breach lasts before it is an alarm, such as '1 min'")
    off_delay: Delay = Field(description="how long the return lasts before it counts, such as '15 min'")
    unknown_delay: Delay = Field(description="how long a value may be unknown before that is an alarm; no default")
    advice: Said = Field(description="what to stop on a breach")
    advice_es: str = Field("", description="the same in Spanish, for readers of it")
    decision_rule: Annotated[str, one_of(("simple", "guarded"))] = Field(
        "simple", description="'guarded' when the specification takes the uncertainty off, else 'simple'"
    )
    priority: Annotated[str, one_of(PRIORITIES)] = Field("high", description="high, medium or low")
    group: str = Field("", description="limits of one place with the same group are a breach only together")
    latching: bool = Field(False, description="true when a person must reset the alarm after limits are back")

    @field_validator("threshold")
    @classmethod
    def _threshold_fits(cls, text: str, info: ValidationInfo) -> str:
        if "quantity" not in info.data:
            split_amount(text, UNITS)
            return text
        dimension = DIMENSION[Quantity(info.data["quantity"])]
        number, unit = amount(text, dimension)
        if dimension is Dimension.FRACTION and not 0 <= UNITS[unit].inside(number) <= 1:
            raise ValueError("a relative humidity lies between 0 and 100 %RH")
        return text

    @field_validator("deadband")
    @classmethod
    def _deadband_sensible(cls, text: str, info: ValidationInfo) -> str:
        width = inside(text, info)
        widest, words = WIDEST_DEADBAND[spread(Quantity(info.data.get("quantity", Quantity.DEW_POINT_MARGIN)))]
        if "quantity" in info.data and not 0 <= width <= widest:
            raise ValueError(f"a deadband lies between zero and {words}; a wider one holds the alarm without need")
        return text

    @model_validator(mode="after")
    def _of_its_kind(self) -> Self:
        if self.quantity not in (Quantity.RAIN_OR_FOG, Quantity.TIME_INSIDE):
            return self
        if self.group:
            raise ValueError(f"a limit of {self.quantity} stands alone, in no group")
        if self.quantity == Quantity.TIME_INSIDE and self.relation != "at least":
            raise ValueError("time_inside is 'at least' so long, such as '30 min'")
        asked = (self.relation, split_amount(self.threshold, UNITS)[0])
        if self.quantity == Quantity.RAIN_OR_FOG and asked != ("at most", 0.0):
            raise ValueError("rain_or_fog is 'at most' '0 count': it rains, or it does not")
        return self


class PersonTable(Table):
    """[[people]]."""

    id: Id = Field(description="name of the person's role on this job; real names stay in the contacts file")
    role: Said = Field(description="such as 'site lead'")
    channels: list[str] = Field(min_length=1, description="names of channels in the contacts file")
    priorities: list[Annotated[str, one_of(PRIORITIES)]] = Field(
        list(PRIORITIES), min_length=1, description="which priorities this person is told of"
    )
    holds_heads: bool = Field(False, description="keeps the record code of each day, outside the gateway")
    after: Delay = Field("0 s", description="told only if nobody has acknowledged for so long, such as '10 min'")
    repeat: Delay = Field("0 s", description="told again every so often while nobody acknowledges, '0 s' for once")
    hours: Annotated[str, checked(duty)] = Field("", description="on duty, site time, such as '06:00-18:00'")
    language: Annotated[str, one_of(("en", "es"))] = Field("en", description="en or es")
    told_of: list[Annotated[str, one_of(AUDIENCES)]] = Field(
        [LIMITS],
        min_length=1,
        description="limits, instruments (sensors), gateway (its own health): a keeper's two",
    )
    units: Annotated[str, one_of(("", "si", "us"))] = Field(
        "", description="si or us; else as the limit is written"
    )


class SiteFile(Table):
    """The whole file."""

    jobsite: JobsiteTable = Field(description="the table [jobsite] with id, label, time_zone and altitude")
    sensors: list[SensorTable] = Field([], description="measuring channels")
    stations: list[StationTable] = Field([], description="air near the work")
    areas: list[AreaTable] = Field([], description="pieces of the job")
    trains: list[TrainTable] = Field([], description="air trains")
    limits: list[LimitTable] = Field([], description="limits of the specification")
    people: list[PersonTable] = Field([], description="who is told")
    sources: list[SourceTable] = Field([], description="devices that do not speak SenML")
    edges: list[EdgeTable] = Field([], description="Sparkplug B edge nodes")
    products: list[ProductTable] = Field([], description="coatings, with the recoat times of their data sheets")
