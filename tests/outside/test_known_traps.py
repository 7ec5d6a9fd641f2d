"""Known traps of the trade, each with the test that springs it.

T1  libraries call the frost point dew point        test_psychrometrics: test_dew_point_below_zero_is_over_water_and_not_the_frost_point
T2  humidity below 0 C over ice instead of water    test_psychrometrics: test_humidity_below_zero_is_relative_to_water
T3  pure vapour pressure taken for the real one     test_psychrometrics: test_vapour_pressure_holds_the_enhancement_factor
T4  a Magnus pair for water taken for ice           outside/test_known_traps: test_the_cold_magnus_pair_is_supercooled_water_and_not_ice
T5  no enhancement factor at line pressure          test_psychrometrics: test_leaving_out_the_enhancement_factor_would_show_at_line_pressure
T6  an ambient enhancement factor in the line       test_psychrometrics: test_enhancement_factor_depends_on_temperature_at_line_pressure
T7  gauge pressure taken for absolute               test_compressed_air: test_gauge_taken_for_absolute_pressure_would_show
T8  painters' tables print frost points             test_psychrometrics: test_painters_tables_print_frost_points_below_zero
T9  85 %RH taken for 3 K of margin                  test_psychrometrics: test_85_percent_and_3_kelvin_are_different_limits
                                                    outside/test_known_traps: test_3_kelvin_is_not_85_percent
T10 coefficients with typing mistakes               test_psychrometrics: test_ice_coefficients_have_no_typing_mistake
                                                    outside/test_known_traps: test_spread_typing_mistakes_are_far_off
                                                    outside/test_known_traps: test_factor_over_ice_is_not_that_over_water
T11 a Sparkplug host's session loses messages       outside/test_known_traps: test_the_broker_keeps_our_session
T12 a salt dryer has no ISO 7183 rating             outside/test_known_traps: test_no_text_rates_a_deliquescent_dryer_by_iso_7183
"""  # noqa: E501

from __future__ import annotations

import math
import re
import socket
import threading
from pathlib import Path

import pytest

from gateway import psychrometrics as air
from gateway.__main__ import _parser
from gateway.adapters.address import Address
from gateway.adapters.mqtt import Broker
from tests import make_surface

ROOT = Path(__file__).parents[2]
ATMOSPHERE = 101_325.0
ZERO_C = 273.15

# Hardy 1998, over ice: ln e = sum of k_i T^(i-1) + k5 ln T, Pa.
HARDY_ICE = (-5.8666426e3, 2.232870244e1, 1.39387003e-2, -3.4262402e-5, 2.7040955e-8)
HARDY_ICE_LN = 0.67063522
# Sonntag 1994, over ice: ln e = a/T + b + c T + d T^2 + k ln T, Pa.
SONNTAG_ICE = (-6024.5282, 29.32707, 1.0613868e-2, -1.3198825e-5)
SONNTAG_ICE_LN = -0.49382577


def ice_pa(t_c: float, powers: tuple[float, ...], logarithm: float) -> float:
    t = t_c + ZERO_C
    return math.exp(sum(k * t ** (i - 1) for i, k in enumerate(powers)) + logarithm * math.log(t))


def test_every_trap_has_its_test() -> None:
    """Each name in the index is a test of the file it is said to be in."""
    index = re.findall(r"^(T\d+)?.{0,52}?(\S*test_\w+): (test_\w+)$", __doc__, re.MULTILINE)
    assert [number for number, _, _ in index if number] == [f"T{n}" for n in range(1, 13)]
    assert len(index) == 15
    for _, file, name in index:
        assert f"\ndef {name}(" in (ROOT / "tests" / f"{file}.py").read_text(encoding="utf-8"), name


def test_the_cold_magnus_pair_is_supercooled_water_and_not_ice() -> None:
    """17.84362 / 245.425 below 0 C: 125.41 Pa at -20 C, beside our 125.58 over water, far from 103.24 over ice."""
    pair = 610.78 * math.exp(17.84362 * -20.0 / (245.425 - 20.0))
    assert pair == pytest.approx(125.41, abs=0.05)
    assert air.saturation_pressure_water_pa(-20.0) == pytest.approx(pair, rel=2e-3)
    assert air.saturation_pressure_ice_pa(-20.0) == pytest.approx(103.24, abs=0.02)


@pytest.mark.parametrize(("t_c", "percent"), [(5, 80.9), (10, 81.6), (20, 82.9), (30, 84.0), (40, 85.1)])
def test_3_kelvin_is_not_85_percent(t_c: float, percent: float) -> None:
    """Steel at air temperature with 3 K of margin: 81 to 85 %RH (Hardy 1998, computed)."""
    e_pa = air.saturated_vapour_pressure_pa(t_c - 3.0, ATMOSPHERE, frost=False)
    assert 100 * air.relative_humidity(t_c, e_pa, ATMOSPHERE) == pytest.approx(percent, abs=0.1)


def test_spread_typing_mistakes_are_far_off() -> None:
    """-10 C over ice is 259.87 Pa; k0 x 10*3 for 10**3 and a stray +1 in the exponent, both public, are not."""
    ours = air.saturation_pressure_ice_pa(-10.0)
    assert ours == pytest.approx(ice_pa(-10.0, HARDY_ICE, HARDY_ICE_LN), rel=1e-4)
    assert ours == pytest.approx(ice_pa(-10.0, SONNTAG_ICE, SONNTAG_ICE_LN), rel=2e-4)
    first = ice_pa(-10.0, (-5.8666426 * 10 * 3, *HARDY_ICE[1:]), HARDY_ICE_LN)
    second = math.e * ice_pa(-10.0, SONNTAG_ICE, SONNTAG_ICE_LN)
    assert first == pytest.approx(6.4e11, rel=0.02)
    assert second == pytest.approx(706.5, abs=0.2)


@pytest.mark.parametrize("t_c", [-40.0, -20.0, -5.0])
def test_factor_over_ice_is_not_that_over_water(t_c: float) -> None:
    """Coefficients for supercooled water are met in public code as those of ice; at 8 bar the two differ."""
    water, ice = air.enhancement_factor_water(t_c, 8e5), air.enhancement_factor_ice(t_c, 8e5)
    assert water == pytest.approx(math.exp(make_surface.hardy_ln_factor(t_c, 8e5)), rel=1e-5)
    saturated = make_surface.coolprop_saturated_pa(t_c, 8e5)
    assert ice == pytest.approx(saturated / make_surface.r14_ice_pa(t_c), rel=5e-5)
    assert abs(ice - water) > 1e-3


def connect_packet(client_id: str) -> bytes:
    """What the gateway says first to a broker."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(10)
        broker = Broker(
            Address("127.0.0.1", server.getsockname()[1]), client_id, ["dewgate/x/#"], threading.Event()
        )
        broker.start()
        try:
            door, _ = server.accept()
            with door:
                door.settimeout(10)
                return door.recv(1000)
        finally:
            broker.stop()


def test_the_broker_keeps_our_session() -> None:
    """MQTT 3.1.1 with clean session off and a client id that is the same at every start.

    Sparkplug 3.0.0, chapter 5 (message-flow-phid-sparkplug-clean-session-311) asks a host for a clean session:
    then what arrives while the gateway is down is lost. So on this connection the gateway is no Sparkplug host.
    """
    fixed = [_parser().parse_args(["run"]).client_id for _ in range(2)]
    assert fixed == ["dewgate-run", "dewgate-run"]
    packet = connect_packet(fixed[0])
    assert packet == connect_packet(fixed[1])
    assert packet[0] == 0x10  # CONNECT
    assert packet[2:9] == b"\x00\x04MQTT\x04"
    assert packet[9] & 0x02 == 0  # clean session
    assert packet.endswith(b"\x00\x0bdewgate-run")


def test_no_text_rates_a_deliquescent_dryer_by_iso_7183() -> None:
    """ISO 7183 leaves absorption dryers out of its scope: no sentence may join the two but to say so."""
    files = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "deploy" / "guide").glob("*.md")]
    files += [p for p in (ROOT / "gateway").rglob("*") if p.suffix in {".py", ".html", ".js", ".css", ".json"}]
    assert len(files) > 30
    assert [hit for path in files for hit in claims(path.read_text(encoding="utf-8"))] == []


def claims(text: str) -> list[str]:
    """Paragraphs that name the standard and such a dryer without saying that it leaves it out."""
    dryer = re.compile(r"deliquescent|salt (?:bed|dryer)|absorption dryer", re.IGNORECASE)
    excluded = re.compile(r"exclud|outside|not cover|leaves? .{0,40}out|no rating", re.IGNORECASE)
    paragraphs = [" ".join(each.split()) for each in re.split(r"\n\s*\n", text)]
    return [p for p in paragraphs if "7183" in p and dryer.search(p) and not excluded.search(p)]


def test_such_a_claim_would_be_found() -> None:
    """The search above is no decoration."""
    assert claims("Fine.\n\nA deliquescent dryer rated\nby ISO 7183.")
    assert not claims("ISO 7183 excludes the deliquescent dryer.\n\nISO 7183 rates refrigerated dryers.")
