"""The table of a sensor in a jobsite file, and what every table of it has in common.

Every number carries its unit as text; what a value refers to is stated, so that nothing is guessed.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator

from alerts.measured import DIMENSION, UNITS, Quantity
from gateway.compressed_air import FREE_AIR, REFERENCE_STATES
from gateway.jobsite import RAW_UNITS
from gateway.site_amounts import amount, fitting, scale, split_amount, spread
from gateway.site_words import Id, Said, checked, one_of, plain_id, positive_time

NOT_STATED = "not stated"
_SKIN = ("contact", "infrared", "pipe skin")
# What a sensor may measure, and what its value may refer to. A humidity over ice is refused: no room
# converts it, and taking it for one over water would be silently wrong. Below 0 °C a
# dew point is over water or over ice: nothing tells them apart afterwards.
BASES: dict[Quantity, tuple[str, ...]] = {
    Quantity.AIR_TEMPERATURE: ("shielded air",),
    Quantity.RELATIVE_HUMIDITY: ("water",),
    Quantity.STATION_PRESSURE: ("absolute",),
    Quantity.STEEL_TEMPERATURE: ("contact", "infrared"),
    Quantity.GAS_TEMPERATURE: ("thermowell", "pipe skin"),
    Quantity.WALL_TEMPERATURE: _SKIN,
    Quantity.GAUGE_PRESSURE: ("gauge",),
    Quantity.ABSOLUTE_PRESSURE: ("absolute",),
    Quantity.PRESSURE_DEW_POINT: ("dew", "frost"),
    Quantity.AIR_FLOW: (FREE_AIR, *REFERENCE_STATES),
    Quantity.LIQUID_LEVEL: ("full scale",),
    Quantity.VALVE_POSITION: ("open",),
    Quantity.DRAIN_COUNT: ("since fitted",),
    Quantity.WIND_SPEED: ("mean", "gust"),
    Quantity.PRODUCT_TEMPERATURE: ("immersed", "contact"),
}


class Table(BaseModel):
    """Every table: no key beyond the known, no text taken for a number or the other way round."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


def _read_from_a_sensor(word: str) -> None:
    if word in set(Quantity) - set(BASES):
        raise ValueError(f"is worked out here, not read from a sensor: use {', '.join(BASES)}")


class SensorTable(Table):
    """[[sensors]]."""

    id: Id = Field(description="name of the sensor, its topic level and its SenML name")
    label: Said = Field(description="what people call this sensor")
    quantity: Annotated[str, checked(_read_from_a_sensor), one_of(BASES)] = Field(
        description="what is measured, such as 'air_temperature'"
    )
    scale: str = Field("", description="what a signal means, such as '4 mA = -60 °C, 20 mA = 60 °C'")
    unit: Annotated[str, one_of((*UNITS, *RAW_UNITS))] = Field(description="the unit the sensor publishes in")
    accuracy: str = Field(description="half width on the sensor's sheet, such as '0.3 K', or 'not stated'")
    accuracy_means: str = Field(
        "", validate_default=True, description="'limit', 'k=2' or 'k=1', as the sheet says"
    )
    basis: str = Field(description="what the value refers to: gauge, absolute, water, contact, infrared and so on")
    element: Annotated[str, one_of(("line", "vented cell", "ambient"))] = Field(
        description="where the sensing element is: line, vented cell or ambient"
    )
    interval: Annotated[str, checked(positive_time)] = Field(
        description="time between two readings, such as '10 s'"
    )
    topic: Annotated[str, checked(lambda text: text and plain_id(text))] = Field(
        "", description="topic level when it is not the id"
    )
    calibration_date: Said = Field(NOT_STATED, description="day of the last calibration")
    calibration_due: Said = Field(NOT_STATED, description="day until which the calibration holds")
    calibration_certificate: Said = Field(NOT_STATED, description="number of the calibration certificate")
    calibration_correction: str = Field("", description="added to every reading, such as '-0.1 K'")
    calibration_uncertainty: str = Field("", description="expanded (k=2), from the certificate, such as '0.1 K'")
    calibration_drift: str = Field("", description="half width allowed for since the calibration, such as '0.2 K'")
    classified_area: Annotated[str, one_of(("yes", "no", "unknown"))] = Field(
        "unknown", description="whether the place is a hazardous (classified) location: yes, no or unknown"
    )
    equipment_rating: Said = Field("none", description="rating of the equipment for such a location, or 'none'")

    @field_validator("scale")
    @classmethod
    def _scale_reads(cls, text: str, info: ValidationInfo) -> str:
        if "quantity" in info.data:
            scale(text, DIMENSION[Quantity(info.data["quantity"])])
        return text

    @field_validator("unit")
    @classmethod
    def _unit_fits(cls, unit: str, info: ValidationInfo) -> str:
        if not {"quantity", "scale"} <= set(info.data):
            return unit
        dimension = DIMENSION[Quantity(info.data["quantity"])]
        if info.data["scale"]:
            raw_unit = scale(info.data["scale"], dimension)[0].raw_unit
            if unit != raw_unit:
                raise ValueError(f"the scale begins with {raw_unit}, so the sensor publishes in {raw_unit}")
        elif unit in RAW_UNITS:
            raise ValueError("is a signal; say what it means, such as scale = '4 mA = -60 °C, 20 mA = 60 °C'")
        else:
            fitting(unit, dimension)
        return unit

    @field_validator("accuracy")
    @classmethod
    def _accuracy_reads(cls, text: str, info: ValidationInfo) -> str:
        if text != NOT_STATED and inside(text, info) <= 0:
            raise ValueError("must be more than zero; write 'not stated' when the sheet does not say")
        return text

    @field_validator("calibration_correction")
    @classmethod
    def _correction_reads(cls, text: str, info: ValidationInfo) -> str:
        inside(text, info)
        return text

    @field_validator("calibration_uncertainty", "calibration_drift")
    @classmethod
    def _allowance_reads(cls, text: str, info: ValidationInfo) -> str:
        if inside(text, info) <= 0:
            raise ValueError("must be more than zero; leave the line out when nothing is stated")
        return text

    @field_validator("accuracy_means")
    @classmethod
    def _meaning_said(cls, word: str, info: ValidationInfo) -> str:
        if word not in ("limit", "k=2", "k=1") and (word or info.data.get("accuracy") != NOT_STATED):
            raise ValueError("say what the accuracy means: 'limit', 'k=2' or 'k=1'")
        return word

    @field_validator("basis")
    @classmethod
    def _basis_fits(cls, word: str, info: ValidationInfo) -> str:
        fitting_bases = BASES.get(info.data.get("quantity", ""), (word,))
        if word not in fitting_bases:
            raise ValueError(f"does not fit {info.data['quantity']}: use {' or '.join(fitting_bases)}")
        return word


def inside(text: str, info: ValidationInfo) -> float:
    """Check a half width, a correction or a deadband against the quantity of its table, where known."""
    if "quantity" not in info.data:
        return split_amount(text, UNITS)[0]
    number, unit = amount(text, spread(Quantity(info.data["quantity"])))
    return number * UNITS[unit].factor
