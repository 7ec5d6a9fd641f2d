"""Signals of transmitters: what a current, a voltage or a pulse rate means, and which of them are faults."""

from __future__ import annotations

from dataclasses import replace

import pytest

from alerts.measured import Dimension, Quantity
from gateway.jobsite import Scale, Sensor
from gateway.payload.scale import ends, fault, has_dead_zero, scaled
from gateway.payload.value import Refused, reading_of
from gateway.reading import Reading
from gateway.site_amounts import scale
from tests.sites import sensor

LOOP = Scale("mA", (4.0, -60.0), (20.0, 60.0))
DEW_POINT = replace(sensor("pdp", Quantity.PRESSURE_DEW_POINT, "°C", 2.0, "frost"), scale=LOOP)
PRESSURE = sensor("p", Quantity.GAUGE_PRESSURE, "bar", 5000.0, "gauge")
PULSES = replace(PRESSURE, scale=Scale("Hz", (0.0, 0.0), (100.0, 10.0)))
HUMIDITY = replace(
    sensor("rh", Quantity.RELATIVE_HUMIDITY, "%RH", 0.02, "water"), scale=Scale("V", (0.0, 0.0), (10.0, 100.0))
)


def refusal(of: Sensor, written: float, unit: str = "") -> str:
    """Why a value is not believed."""
    with pytest.raises(Refused) as caught:
        reading_of(of, written, unit, None)
    return f"{caught.value.why.code}: {caught.value.why.detail}"


@pytest.mark.parametrize(
    ("of", "signal", "value"),
    [
        (DEW_POINT, 4.0, -60.0),
        (DEW_POINT, 12.0, 0.0),
        (DEW_POINT, 20.0, 60.0),
        (DEW_POINT, 3.8, -61.5),  # 0.2 of 16 mA below the end: 1.25 % of 120 K
        (DEW_POINT, 20.5, 63.75),
        (PULSES, 50.0, 500_000.0),  # 5 bar
        (HUMIDITY, 4.5, 0.45),
    ],
)
def test_a_signal_is_read_on_the_straight_line_in_the_unit_used_inside(
    of: Sensor, signal: float, value: float
) -> None:
    """Linear between the two points, and a little beyond them."""
    assert of.scale is not None
    assert reading_of(of, signal, of.scale.raw_unit, 7) == Reading(of.id, pytest.approx(value), 7)
    assert reading_of(of, signal, "", None).value == pytest.approx(value)


def test_a_falling_line_and_fahrenheit_are_read_too() -> None:
    """20 mA may be the cold end; 14 °F is -10 °C."""
    falling = replace(DEW_POINT, unit="°F", scale=Scale("mA", (4.0, 212.0), (20.0, 14.0)))
    assert reading_of(falling, 20.0, "mA", None).value == pytest.approx(-10.0)
    assert reading_of(falling, 12.0, "mA", None).value == pytest.approx(45.0)  # (100 - 10) / 2


@pytest.mark.parametrize(
    ("signal", "said"),
    [
        (0.0, "broken wire or transmitter fault"),
        (3.59, "broken wire or transmitter fault"),
        (3.6, "the transmitter is beyond its range"),
        (3.79, "the transmitter is beyond its range"),
        (3.8, None),
        (20.5, None),
        (20.51, "the transmitter is beyond its range"),
        (21.0, "the transmitter is beyond its range"),
        (21.01, "fault signal"),
        (-4.0, "broken wire or transmitter fault"),
    ],
)
def test_the_bands_of_a_current_loop(signal: float, said: str | None) -> None:
    """NAMUR NE 43: 3.8 to 20.5 mA is measurement, below 3.6 and above 21.0 mA is a fault (from memory)."""
    found = fault(LOOP, signal)
    assert (found and found[1]) == said
    part = Scale("mA", (8.0, 0.0), (12.0, 1.0))  # two points within the loop do not narrow it
    assert fault(part, signal) == found


@pytest.mark.parametrize("of", [DEW_POINT, PULSES, HUMIDITY])
def test_a_broken_wire_is_never_a_value(of: Sensor) -> None:
    """No current, no voltage, no pulses: none of them is -60 °C, 0 bar or 0 %RH, and none is called dry."""
    assert refusal(of, 0.0).startswith("signal fault: ")


def test_a_range_that_begins_at_zero_refuses_next_to_nothing() -> None:
    """Half a percent of the upper end counts as none; just above it is a value."""
    assert refusal(HUMIDITY, 0.05) == "signal fault: rh: 0.05 V: no signal; a broken wire gives the same"
    assert reading_of(HUMIDITY, 0.3, "V", None).value == pytest.approx(0.03)
    assert refusal(HUMIDITY, 10.4) == "beyond range: rh: 10.4 V: the transmitter is beyond its range"
    assert refusal(HUMIDITY, 10.7) == "signal fault: rh: 10.7 V: fault signal"
    assert fault(Scale("V", (-10.0, 0.0), (10.0, 1.0)), 0.04) is not None
    loop = Scale("mA", (0.0, 0.0), (20.0, 1.0))
    assert (has_dead_zero(loop), has_dead_zero(LOOP)) == (True, False)
    assert (ends(loop), ends(LOOP)) == ((0.0, 20.0), (4.0, 20.0))
    assert ends(Scale("V", (1.0, 0.0), (5.0, 1.0))) == (1.0, 5.0)


def test_a_message_names_the_unit_of_the_signal_or_none() -> None:
    """The unit of the value would be a message that was scaled before."""
    assert refusal(DEW_POINT, 12.0, "V") == "wrong unit: pdp states mA, the message says V"
    assert refusal(DEW_POINT, 12.0, "°C") == "wrong unit: pdp states mA, the message says °C"
    assert refusal(PRESSURE, 12.0, "mA") == "wrong unit: p states bar, the message says mA"
    assert refusal(DEW_POINT, float("nan"), "mA") == "not finite: pdp: the value is not a finite number"


def test_what_a_scale_leads_to_must_still_be_possible() -> None:
    """A scale with a wrong end is found out by the value."""
    wrong = replace(DEW_POINT, scale=Scale("mA", (4.0, -600.0), (20.0, 600.0)))
    assert refusal(wrong, 20.0) == "impossible value: pdp: 600 °C is outside its range"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("4 mA = -60 °C, 20 mA = +60 °C", (Scale("mA", (4.0, -60.0), (20.0, 60.0)), "°C")),
        ("20mA=60°C,4mA=-60°C", (Scale("mA", (4.0, -60.0), (20.0, 60.0)), "°C")),
        ("0 V = 100.5 degC, 10 V = 0 degC", (Scale("V", (0.0, 100.5), (10.0, 0.0)), "degC")),
    ],
)
def test_a_scale_is_read_in_either_order(text: str, expected: tuple[Scale, str]) -> None:
    """The smaller signal comes first inside."""
    assert scale(text, Dimension.TEMPERATURE) == expected


@pytest.mark.parametrize(
    ("text", "dimension", "said"),
    [
        ("", Dimension.TEMPERATURE, "write two points"),
        ("4 mA = -60 °C", Dimension.TEMPERATURE, "write two points"),
        ("4 mA = 1 °C, 8 mA = 2 °C, 9 mA = 3 °C", Dimension.TEMPERATURE, "write two points"),
        ("4 mA = -60 °C = 3, 20 mA = 60 °C", Dimension.TEMPERATURE, "write two points"),
        ("4 mA, 20 mA", Dimension.TEMPERATURE, "write two points"),
        ("4,0 mA = -60 °C, 20 mA = 60 °C", Dimension.TEMPERATURE, "a decimal is written with a point"),
        ("4 = -60 °C, 20 mA = 60 °C", Dimension.TEMPERATURE, "write a number, a blank and a unit"),
        ("4 mA = -60, 20 mA = 60 °C", Dimension.TEMPERATURE, "write a number, a blank and a unit"),
        ("4 mA = -60 °C, 4 mA = 60 °C", Dimension.TEMPERATURE, "both points have the same signal"),
        ("4 mA = 60 °C, 20 mA = 60 °C", Dimension.TEMPERATURE, "both points have the same value"),
        ("4 mA = -60 °C, 20 V = 60 °C", Dimension.TEMPERATURE, "both points are written in the same two units"),
        ("4 mA = -60 °C, 20 mA = 60 °F", Dimension.TEMPERATURE, "both points are written in the same two units"),
        ("4 A = -60 °C, 20 mA = 60 °C", Dimension.TEMPERATURE, "unknown unit 'A'"),
        ("4 mA = 0 bar, 20 mA = 10 bar", Dimension.TEMPERATURE, "'bar' is not a unit of temperature"),
        ("4 mA = 0 K, 20 mA = 10 K", Dimension.TEMPERATURE, "'K' is not a unit of temperature"),
        ("0 V = -1 %RH, 10 V = 100 %RH", Dimension.FRACTION, "a relative humidity lies between 0 and 100 %RH"),
        ("4 mA = 0 bar, 20.1 mA = 10 bar", Dimension.PRESSURE, "a current loop goes from 4 mA, or from 0 mA"),
        ("3.98 mA = 0 bar, 20 mA = 10 bar", Dimension.PRESSURE, "a current loop goes from 4 mA, or from 0 mA"),
        ("-5 Hz = 0 bar, 20 Hz = 10 bar", Dimension.PRESSURE, "a signal in Hz cannot be below zero"),
    ],
)
def test_a_wrong_scale_is_refused_in_words(text: str, dimension: Dimension, said: str) -> None:
    """Each mistake with what to write instead."""
    with pytest.raises(ValueError, match=said.replace("+", r"\+")):
        scale(text, dimension)


def test_the_line_goes_through_both_points() -> None:
    """Exactly at both ends."""
    assert (scaled(LOOP, 4.0), scaled(LOOP, 20.0)) == (-60.0, 60.0)
