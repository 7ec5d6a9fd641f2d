"""Every SenML example printed in RFC 8428, sections 5 and 6: its records as they are resolved.

The examples speak of volts and degrees of longitude, which no sensor of ours has: they are followed up to the
door where a value is believed (`reading_of`), which is handed sensor, value, unit and time.
"""

from __future__ import annotations

import json

import pytest

from alerts.measured import Quantity
from gateway.payload import senml
from gateway.payload.senml import Names, decode
from gateway.reading import Reading, Rejected
from tests.sites import T0, sensor

ONE = "urn:dev:ow:10e2073a01080063"
SIX = "urn:dev:ow:10e2073a0108006:"
NAMED = (
    ONE, f"{ONE}:voltage", f"{ONE}:current", f"{SIX}voltage", f"{SIX}current", f"{ONE}:temp", f"{ONE}:label",
    f"{ONE}:open", f"{ONE}:nfv-reader", f"{ONE}:heat", f"{ONE}:fan", "2001:db8::2/temperature",
    "2001:db8::2/humidity", "2001:db8::1/temperature", "2001:db8::1/humidity", "2001:db8::3", "2001:db8::4",
)  # fmt: skip
GATE = {name: sensor(name, Quantity.STEEL_TEMPERATURE, "Cel", 0.5, "contact") for name in NAMED}
NAMES = Names("test", {"dewgate/test/gate": GATE})
Resolved = tuple[str, float, str, int | None]

SINGLE = b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
TWO = b"""[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
  {"n":"current","u":"A","v":1.2}
]"""
CURRENTS = b"""[
     {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,
      "bu":"A","bver":5,
      "n":"voltage","u":"V","v":120.1},
     {"n":"current","t":-5,"v":1.2},
     {"n":"current","t":-4,"v":1.3},
     {"n":"current","t":-3,"v":1.4},
     {"n":"current","t":-2,"v":1.5},
     {"n":"current","t":-1,"v":1.6},
     {"n":"current","v":1.7}
   ]"""
STREAM = b"""[
     {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
      "bu":"%RH","v":21.2},
     {"t":10,"v":21.3},
     {"t":20,"v":21.4},
     {"t":30,"v":21.4},
     {"t":40,"v":21.5},
     {"t":50,"v":21.5},
     {"t":60,"v":21.5},
     {"t":70,"v":21.6},
     {"t":80,"v":21.7}]"""
MOBILE = b"""[
     {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
      "bu":"%RH","v":20},
     {"u":"lon","v":24.30621},
     {"u":"lat","v":60.07965},
     {"t":60,"v":20.3},
     {"u":"lon","t":60,"v":24.30622},
     {"u":"lat","t":60,"v":60.07965},
     {"t":120,"v":20.7},
     {"u":"lon","t":120,"v":24.30623},
     {"u":"lat","t":120,"v":60.07966},
     {"u":"%EL","t":150,"v":98},
     {"t":180,"v":21.2},
     {"u":"lon","t":180,"v":24.30628},
     {"u":"lat","t":180,"v":60.07967}
   ]"""
RESOLVED = b"""[
     {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067464e+09,
      "v":20},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067464e+09,
      "v":24.30621},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067464e+09,
      "v":60.07965},
     {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067524e+09,
      "v":20.3},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067524e+09,
      "v":24.30622},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067524e+09,
      "v":60.07965},
     {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067584e+09,
      "v":20.7},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067584e+09,
      "v":24.30623},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067584e+09,
      "v":60.07966},
     {"n":"urn:dev:ow:10e2073a01080063","u":"%EL","t":1.320067614e+09,
      "v":98},
     {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067644e+09,
      "v":21.2},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067644e+09,
      "v":24.30628},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067644e+09,
      "v":60.07967}
   ]"""
TYPES = b"""[
    {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
    {"n":"label","vs":"Machine Room"},
    {"n":"open","vb":false},
    {"n":"nfv-reader","vd":"aGkgCg"}
  ]"""
COLLECTION = b"""[
     {"bn":"2001:db8::2/","bt":1.320078429e+09,
      "n":"temperature","u":"Cel","v":25.2},
     {"n":"humidity","u":"%RH","v":30},
     {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
     {"n":"humidity","u":"%RH","v":67}
   ]"""
THERMOSTAT = b"""[
     {"bn":"urn:dev:ow:10e2073a01080063:"},
     {"n":"temp","u":"Cel","v":23.1},
     {"n":"heat","u":"/","v":1},
     {"n":"fan","u":"/","v":0}
   ]"""
LIGHTS_ON = b"""[
     {"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":1},
     {"n":"2001:db8::4","v":1}
   ]"""
LIGHTS_OFF = b"""[
     {"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":0.5},
     {"n":"2001:db8::4","v":0.5},
     {"n":"2001:db8::3","t":0.1,"v":0},
     {"n":"2001:db8::4","t":0.1,"v":0}
   ]"""
CBOR = bytes.fromhex("""
 87 a7 21 78 1b 75 72 6e 3a 64 65 76 3a 6f 77 3a 31 30 65 32 30 37 33 61 30 31 30 38 30 30 36 3a
 22 fb 41 d3 03 a1 5b 00 10 62 23 61 41 20 05 00 67 76 6f 6c 74 61 67 65 01 61 56 02 fb 40 5e 06
 66 66 66 66 66 a3 00 67 63 75 72 72 65 6e 74 06 24 02 fb 3f f3 33 33 33 33 33 33 a3 00 67 63 75
 72 72 65 6e 74 06 23 02 fb 3f f4 cc cc cc cc cc cd a3 00 67 63 75 72 72 65 6e 74 06 22 02 fb 3f
 f6 66 66 66 66 66 66 a3 00 67 63 75 72 72 65 6e 74 06 21 02 f9 3e 00 a3 00 67 63 75 72 72 65 6e
 74 06 20 02 fb 3f f9 99 99 99 99 99 9a a3 00 67 63 75 72 72 65 6e 74 06 00 02 fb 3f fb 33 33 33
 33 33 33
""")  # fmt: skip

JUNE = 1_276_020_076_001  # 2010-06-08 18:01:16.001 UTC
NOON = 1_320_067_464_000  # 2011-10-31 13:24:24 UTC, as printed with 5.1.3
GET = 1_320_078_429_000  # 2011-10-31 16:27:09 UTC, as printed with 5.1.6
CURRENT = [(f"{SIX}current", 1.2 + k / 10, "A", JUNE - 5000 + 1000 * k) for k in range(5)]
POSITION = [
    (NOON, 20.0, 24.30621, 60.07965), (NOON + 60_000, 20.3, 24.30622, 60.07965),
    (NOON + 120_000, 20.7, 24.30623, 60.07966), (NOON + 180_000, 21.2, 24.30628, 60.07967),
]  # fmt: skip
PLACES = [
    (ONE, value, unit, at)
    for at, *values in POSITION
    for unit, value in zip(("%RH", "lon", "lat"), values, strict=True)
]  # fmt: skip


@pytest.fixture
def resolved(monkeypatch: pytest.MonkeyPatch) -> list[Resolved]:
    """What is handed to the door where a value is believed."""
    seen: list[Resolved] = []

    def door(of: senml.Sensor, written: float, unit: str, measured_ms: int | None) -> Reading:
        seen.append((of.id, pytest.approx(written, abs=1e-12), unit, measured_ms))
        return Reading(of.id, written, measured_ms)

    monkeypatch.setattr(senml, "reading_of", door)
    return seen


def take(payload: bytes) -> list[Reading] | Rejected:
    return decode("dewgate/test/gate", payload, NAMES, T0)


@pytest.mark.parametrize(
    ("payload", "expected"),
    [
        pytest.param(SINGLE, [(ONE, 23.1, "Cel", None)], id="5.1.1"),
        pytest.param(
            TWO, [(f"{ONE}:voltage", 120.1, "V", None), (f"{ONE}:current", 1.2, "A", None)], id="5.1.2 now"
        ),
        pytest.param(
            CURRENTS,
            [(f"{SIX}voltage", 120.1, "V", JUNE), *CURRENT, (f"{SIX}current", 1.7, "A", JUNE)],
            id="5.1.2 five seconds",
        ),
        pytest.param(
            CBOR, [(f"{SIX}voltage", 120.1, "V", JUNE), *CURRENT, (f"{SIX}current", 1.7, "A", JUNE)], id="6"
        ),
        pytest.param(
            STREAM,
            [
                (ONE, value, "%RH", NOON + 10_000 * k)
                for k, value in enumerate((21.2, 21.3, 21.4, 21.4, 21.5, 21.5, 21.5, 21.6, 21.7))
            ],
            id="5.1.2 stream, closed",
        ),
        pytest.param(MOBILE, [*PLACES[:9], (ONE, 98.0, "%EL", NOON + 150_000), *PLACES[9:]], id="5.1.3"),
        pytest.param(RESOLVED, [*PLACES[:9], (ONE, 98.0, "%EL", NOON + 150_000), *PLACES[9:]], id="5.1.4"),
        pytest.param(
            COLLECTION,
            [
                ("2001:db8::2/temperature", 25.2, "Cel", GET), ("2001:db8::2/humidity", 30.0, "%RH", GET),
                ("2001:db8::1/temperature", 12.3, "Cel", GET), ("2001:db8::1/humidity", 67.0, "%RH", GET),
            ],
            id="5.1.6",
        ),
        pytest.param(
            THERMOSTAT,
            [(f"{ONE}:temp", 23.1, "Cel", None), (f"{ONE}:heat", 1.0, "/", None), (f"{ONE}:fan", 0.0, "/", None)],
            id="5.1.7 thermostat",
        ),
        pytest.param(
            LIGHTS_ON, [("2001:db8::3", 1.0, "/", GET), ("2001:db8::4", 1.0, "/", GET)], id="5.1.7 lights on"
        ),
        pytest.param(
            LIGHTS_OFF,
            [(f"2001:db8::{k}", value, "/", GET + ms) for value, ms in ((0.5, 0), (0.0, 100)) for k in (3, 4)],
            id="5.1.7 lights off",
        ),
    ],
)  # fmt: skip
def test_the_examples_resolve_as_printed(
    payload: bytes, expected: list[Resolved], resolved: list[Resolved]
) -> None:
    """Name, value, unit and time of every record, in the order sent."""
    assert isinstance(take(payload), list)
    assert resolved == expected


def test_readings_come_in_the_order_of_their_times(resolved: list[Resolved]) -> None:
    """Section 4.6: of 5.1.2 the voltage was sent first and is as old as the last current."""
    readings = take(CURRENTS)
    assert [r.measured_ms for r in readings] == [JUNE - 5000 + 1000 * k for k in range(5)] + [JUNE, JUNE]  # type: ignore[union-attr]
    assert [r.value for r in readings][-2:] == [120.1, 1.7]  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("record", "said"),
    [(1, "label carries a text, not a number"), (2, "open carries true or false, not a number"),
     (3, "nfv-reader carries data, not a number")],
)  # fmt: skip
def test_the_example_of_other_data_types_is_refused_in_words(record: int, said: str) -> None:
    """Section 5.1.5: the temperature is a number, the others are not; a pack is believed whole or not at all."""
    whole = take(TYPES)
    assert isinstance(whole, Rejected) and "label carries a text" in whole.detail
    first, *others = json.loads(TYPES)
    alone = take(json.dumps([first, others[record - 1]]).encode())
    assert isinstance(alone, Rejected) and alone.code == "no number" and said in alone.detail
    assert take(json.dumps([first]).encode()) == [Reading(f"{ONE}:temp", 23.1, None, relative=True)]
