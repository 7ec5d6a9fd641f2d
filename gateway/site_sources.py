"""The tables of devices that do not speak SenML, and the sources they make."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, ValidationInfo, field_validator

from gateway.jobsite import Edge, EdgeValue, Source, SourceValue
from gateway.payload.paths import path
from gateway.site_sensors import Table
from gateway.site_words import Id, checked, device_topic, one_of, plain_level

TIME_FORMS = ("s", "ms", "ISO 8601")
Path = Annotated[str, checked(path)]


class SourceValueTable(Table):
    """[[sources.values]]."""

    sensor: str = Field(description="id of the sensor the value is of; {1} stands for the text at the first +")
    value: Path = Field(description="path to the number, such as 'air.temperature'")
    unit: Path = Field("", description="path to the unit, when the message states one")


class SourceTable(Table):
    """[[sources]]. What a message says of its time and its quality is used only where these lines say so."""

    id: Id = Field(description="name of the source")
    topic: Annotated[str, checked(device_topic)] = Field(description="the device's topic in full; + is one level")
    form: Annotated[str, one_of(("number", "json"))] = Field(description="'number' or 'json'")
    sensor: str = Field("", validate_default=True, description="id of the sensor, when the payload is one number")
    values: list[SourceValueTable] = Field([], validate_default=True, description="the values of a JSON message")
    time: Path = Field("", description="path to the time of measurement")
    time_form: str = Field("", validate_default=True, description="'s', 'ms' or 'ISO 8601'")
    quality: Path = Field("", description="path to what the device says of its values")
    good: list[Any] = Field([], validate_default=True, description="what quality is when the values are good")
    numbers_as_text: bool = Field(False, description="true when the device sends numbers in quotes")

    @field_validator("sensor")
    @classmethod
    def _sensor_of_a_number(cls, name: str, info: ValidationInfo) -> str:
        if info.data.get("form") == "number" and not name:
            raise ValueError("sensor is missing: id of the sensor that the number is of")
        if info.data.get("form") == "json" and name:
            raise ValueError("the sensors of a JSON message stand in tables [[sources.values]]")
        return name

    @field_validator("values")
    @classmethod
    def _values_of_json(cls, values: list[SourceValueTable], info: ValidationInfo) -> list[SourceValueTable]:
        if info.data.get("form") == "json" and not values:
            raise ValueError("values are missing: a table [[sources.values]] for each value that is used")
        _json_only(values, info)
        return values

    @field_validator("time", "quality", "numbers_as_text")
    @classmethod
    def _said_in_json(cls, said: Any, info: ValidationInfo) -> Any:
        _json_only(said, info)
        return said

    @field_validator("time_form")
    @classmethod
    def _time_form_said(cls, word: str, info: ValidationInfo) -> str:
        if "time" in info.data and bool(word) is not bool(info.data["time"]):
            raise ValueError("time and time_form go together: 's', 'ms' or 'ISO 8601'")
        if word and word not in TIME_FORMS:
            raise ValueError(f"not one of {', '.join(TIME_FORMS)}")
        return word

    @field_validator("good")
    @classmethod
    def _good_said(cls, good: list[Any], info: ValidationInfo) -> list[Any]:
        if "quality" in info.data and bool(good) is not bool(info.data["quality"]):
            raise ValueError("quality and good go together: good lists what quality says of good values")
        if not all(isinstance(each, str) or (isinstance(each, int | float) and abs(each) < 1e15) for each in good):
            raise ValueError("good lists words, numbers, true or false")
        return good


class EdgeValueTable(Table):
    """[[edges.values]]."""

    sensor: str = Field(description="id of the sensor the metric is of")
    metric: str = Field(
        min_length=1, max_length=200, description="name of the metric, as the node's birth says it"
    )
    device: Annotated[str, checked(lambda text: text and plain_level(text))] = Field(
        "", description="id of the device; left out for the node's own metrics"
    )


class EdgeTable(Table):
    """[[edges]]."""

    group: Annotated[str, checked(plain_level)] = Field(description="the Sparkplug B group id of the edge node")
    node: Annotated[str, checked(plain_level)] = Field(description="the edge node's id")
    values: list[EdgeValueTable] = Field(
        min_length=1, description="the metrics that are used, each with its sensor"
    )


def _json_only(said: object, info: ValidationInfo) -> None:
    if said and info.data.get("form") == "number":
        raise ValueError("a plain number says no more than itself: this line needs form = 'json'")


def source(table: SourceTable) -> Source:
    """Return the source of a checked table."""
    values = [SourceValue(each.sensor, each.value, each.unit) for each in table.values]
    if table.form == "number":
        values = [SourceValue(table.sensor)]
    return Source(
        table.id,
        table.topic,
        table.form,
        tuple(values),
        table.time,
        table.time_form,
        table.quality,
        tuple(table.good),
        table.numbers_as_text,
    )


def edge(table: EdgeTable) -> Edge:
    """Return the edge node of a checked table."""
    values = tuple(EdgeValue(each.sensor, each.metric, each.device) for each in table.values)
    return Edge(table.group, table.node, values)
