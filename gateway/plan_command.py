"""`dewgate plan`: will this air treatment cope with that weather, compressor and nozzles? Needs no gateway."""

from __future__ import annotations

import argparse
import sys
from functools import partial
from pathlib import Path

from gateway import plan_hours, plan_picture, plan_weather, plan_words, progress
from gateway.plan import Plan
from gateway.plan import run as walk_plan
from gateway.plan_file import load
from gateway.plan_reading import PlanErrors
from gateway.plan_times import WeatherErrors
from gateway.plan_units import UNITS, restated
from gateway.psychrometrics import OutOfRange


def run(command: str, words: list[str], caution: str) -> int:
    """Print the plan; 2 when the file is wrong or leads outside the physics."""
    args = _parser(command, caution).parse_args(words)
    try:
        plan = load(args.file.read_text(encoding="utf-8"), args.file.name)
        said = _said(plan, args)
    except (OSError, UnicodeDecodeError, PlanErrors, WeatherErrors, OutOfRange) as error:
        print(f"dewgate plan: {restated(str(error), UNITS[args.units])}", file=sys.stderr)
        return 2
    print(said if args.json else f"{said}\n\n{caution}")
    return 0


def _parser(command: str, caution: str) -> argparse.ArgumentParser:
    plan = argparse.ArgumentParser(f"dewgate {command}", description=__doc__, epilog=caution)
    plan.add_argument("file", type=Path, help="a plan file; deploy/plans has four to begin with")
    plan.add_argument("--units", choices=("si", "us"), default="si")
    plan.add_argument("--hours", type=Path, help="hours of weather, .csv or .epw: which of them break it?")
    plan.add_argument("--svg", type=Path, help="write the picture of the gaps to this file")
    plan.add_argument("--json", action="store_true", help="SI units in the keys, for a machine")
    return plan


def _said(plan: Plan, args: argparse.Namespace) -> str:
    units = UNITS[args.units]
    if args.hours and args.svg:
        raise PlanErrors("--svg draws one hour and --hours walks many: leave one out")
    if args.hours:
        hours = plan_weather.read(
            args.hours.read_text(encoding="utf-8-sig"), args.hours.name, plan.weather.pot_wall_below_air_k
        )
        year = plan_hours.work_out(plan, hours, partial(progress.bar, "hours", each=50))
        return plan_hours.as_json(year) if args.json else plan_hours.text(year, units)
    result = walk_plan(plan)
    if args.svg:
        args.svg.write_text(plan_picture.picture(plan, result, units), encoding="utf-8")
    return plan_words.as_json(plan, result) if args.json else plan_words.text(plan, result, units)
