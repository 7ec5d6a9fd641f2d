"""`dewgate air`: a typed state of air in, everything else out."""

from __future__ import annotations

import argparse
import re
import sys

from gateway import air_words
from gateway.air_state import Answer, answers
from gateway.air_typed import INCH_OF_MERCURY_PA, NotUnderstood, Typed, number_of, read
from gateway.compressed_air import PSI_PA, standard_atmosphere_pa
from gateway.psychrometrics import OutOfRange
from gateway.site_amounts import LENGTH_M

_PRESSURES = {"hpa": 100.0, "mbar": 100.0, "kpa": 1e3, "inhg": INCH_OF_MERCURY_PA, "psia": PSI_PA}


def run(command: str, words: list[str], caution: str) -> int:
    """Answer on standard output; 2 when the words are not understood."""
    from gateway.adapters.real_gas import NotInstalled

    args = _parser(command, caution).parse_intermixed_args([_protected(word) for word in words])
    try:
        air = read(" ".join(args.words), _station_pa(args.altitude, args.station), _whence(args.altitude))
        found = answers(air)
        beside = _coolprop(air, found) if args.against_coolprop else None
    except (NotUnderstood, OutOfRange, NotInstalled) as error:
        print(f"dewgate air: {error}", file=sys.stderr)
        return 2
    if args.json:
        print(air_words.as_json(air, found, beside))
    else:
        print(f"{air_words.text(air, found, beside)}\n\n{caution}")
    return 0


def _parser(command: str, caution: str) -> argparse.ArgumentParser:
    air = argparse.ArgumentParser(f"dewgate {command}", description=__doc__, epilog=caution)
    air.add_argument(
        "words", nargs="+", metavar="WORD",
        help="one air temperature, one of: %%RH, dp, fp, wb or sling with a temperature, g/m3, g/kg, e with Pa; "
        "if wanted a pressure with (g) or (a), and steel with a temperature",
    )  # fmt: skip
    air.add_argument("--altitude", help="of the site, 1600m or 5249ft: its standard atmosphere is taken")
    air.add_argument("--station", help="station pressure, 840hPa or 24.9inHg: not the sea-level value")
    air.add_argument("--json", action="store_true", help="SI units in the keys, for a machine")
    air.add_argument("--against-coolprop", action="store_true", help="CoolProp's values beside ours")
    return air


def _protected(word: str) -> str:
    """Let argparse take `-5C` for a word and not for an option."""
    return f" {word}" if re.match(r"-[\d.,]", word) else word


def _coolprop(air: Typed, found: list[Answer]) -> dict[str, float]:
    """CoolProp's values for what is answered here."""
    from gateway.adapters.real_gas import humid_air

    asked = {answer.key for answer in found}
    return {key: value for key, value in humid_air(air.t_c, air.e_pa, air.p_pa).items() if key in asked}


def _station_pa(altitude: str | None, station: str | None) -> float | None:
    if altitude and station:
        raise NotUnderstood("--altitude and --station both say the station pressure; leave one out")
    if altitude:
        return standard_atmosphere_pa(_number("--altitude", altitude, LENGTH_M))
    if station is None:
        return None
    found = _number("--station", station, _PRESSURES)
    if not 50_000.0 <= found <= 110_000.0:
        raise NotUnderstood(f"--station {station}: a barometer reads 500 to 1100 hPa")
    return found


def _whence(altitude: str | None) -> str:
    if altitude is None:
        return "as given"
    return f"the standard atmosphere at {altitude}, not measured; weather moves it by some 40 hPa"


def _number(option: str, typed: str, units: dict[str, float]) -> float:
    match = re.fullmatch(r"\s*(-?\d+(?:[.,]\d+)?)\s*([a-z]+)\s*", typed.lower())
    if match is None or match[2] not in units:
        raise NotUnderstood(f"{option} {typed}: a number with one of {', '.join(units)} is wanted")
    return number_of(match[1]) * units[match[2]]
