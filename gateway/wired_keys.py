"""The tables and keys of a file of wired transmitters, each with the words a missing one is told with."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Annotated

from pydantic import AfterValidator, Field

from alerts.measured import UNITS
from gateway.jobsite import RAW_UNITS
from gateway.site_amounts import seconds
from gateway.site_sensors import Table
from gateway.site_words import Id, Said, checked, one_of
from gateway.wired import FORMATS, PARITIES, TABLES, WORD_ORDERS

BAUDS = (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)
KEYS = {"tcp": ("host", "port"), "rtu": ("device", "baud", "parity", "stop_bits")}
_FACTOR = re.compile(r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d{1,2})?")


def _interval(text: str) -> None:
    if not 0.1 <= seconds(text) <= 86_400:
        raise ValueError("between two readings lie 0.1 s to 24 h")


def _timeout(text: str) -> None:
    if not 0.02 <= seconds(text) <= 10:
        raise ValueError("an answer is waited for 0.02 s to 10 s")


def _plain_number(text: str) -> None:
    if not _FACTOR.fullmatch(text):
        raise ValueError("write a number with a point, such as '0.1'; its unit stands under unit")


def _factor(text: str) -> None:
    _plain_number(text)
    if Decimal(text) == 0:
        raise ValueError("with a factor of zero every reading would be the same")


def _between(low: int, high: int) -> AfterValidator:
    def check(number: int) -> int:
        if not low <= number <= high:
            raise ValueError(f"must be {low} to {high}")
        return number

    return AfterValidator(check)


def _known_baud(baud: int) -> int:
    if baud not in BAUDS:
        raise ValueError(f"not one of {', '.join(map(str, BAUDS))}")
    return baud


class PointTable(Table):
    """[[lines.points]]."""

    sensor: Id = Field(description="id of the sensor in the jobsite file")
    device_id: Annotated[int, _between(0, 255)] = Field(
        description="unit address (slave address) of the device, 1 to 247; over tcp also 0 or 255, the host"
    )
    table: Annotated[str, one_of(TABLES)] = Field(description="'holding' or 'input' registers, as the sheet says")
    address: Annotated[int, _between(0, 65_535)] = Field(
        description="first register, counted from 0 as it goes over the line"
    )
    address_as_sent: bool = Field(
        False, description="true when an address that looks like 3xxxx or 4xxxx really goes over the line"
    )
    type: Annotated[str, one_of(FORMATS)] = Field(description="int16, uint16, int32, uint32 or float32")
    word_order: Annotated[str, one_of(WORD_ORDERS)] = Field(
        "", description="which of two registers comes first, as the sheet says: 'high first' or 'low first'"
    )
    factor: Annotated[str, checked(_factor)] = Field(
        description="what the number in the registers is multiplied with, such as '0.1'"
    )
    offset: Annotated[str, checked(_plain_number)] = Field("0", description="added afterwards, in the unit")
    unit: Annotated[str, one_of((*UNITS, *RAW_UNITS))] = Field(
        description="the unit published; the same as in the jobsite file"
    )
    not_valid: list[float] = Field(
        [], description="numbers in the registers that mean a fault, before factor and offset, such as [32767]"
    )
    interval: Annotated[str, checked(_interval)] = Field(description="time between two readings, such as '10 s'")


class LineTable(Table):
    """[[lines]]."""

    id: Id = Field(description="name of the line")
    kind: Annotated[str, one_of(KEYS)] = Field(description="'tcp' or 'rtu' (serial)")
    host: Said = Field("", description="name or address of the Modbus TCP server")
    port: Annotated[int, _between(1, 65_535)] = Field(
        0, description="its port; 502 unless the sheet says otherwise"
    )
    device: Said = Field("", description="the serial port, such as '/dev/serial/by-id/...'")
    baud: Annotated[int, AfterValidator(_known_baud)] = Field(0, description="speed, such as 19200")
    parity: Annotated[str, one_of(PARITIES)] = Field("", description="none, even or odd, as set at the devices")
    stop_bits: Annotated[int, _between(1, 2)] = Field(0, description="1 or 2, as set at the devices")
    timeout: Annotated[str, checked(_timeout)] = Field(
        description="how long an answer is waited for, such as '0.5 s'"
    )
    points: list[PointTable] = Field(min_length=1, description="what is read over this line")


class WiredSite(Table):
    """[jobsite]."""

    id: Id = Field(description="id of the jobsite, the second level of every topic")


class WiredFile(Table):
    """The whole file."""

    jobsite: WiredSite = Field(description="the table [jobsite] with the id")
    lines: list[LineTable] = Field(min_length=1, description="the lines, each with its points")
