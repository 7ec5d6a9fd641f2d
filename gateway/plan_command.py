"""`dewgate plan`: will this air treatment cope with that weather, compressor and nozzles? Needs no gateway."""

from __future__ import annotations

import argparse
import sys

from gateway import plan_hours, plan_picture, plan_weather, plan_words
from gateway.plan import Plan
from gateway.plan import run as walk_plan
from gateway.plan_file import load
from gateway.plan_reading import PlanErrors
from gateway.plan_times import WeatherErrors
from gateway.plan_units import UNITS, restated
from gateway.psychrometrics import OutOfRange


def run(args: argparse.Namespace, caution: str) -> int:
    """Print the plan; 2 when the file is wrong or leads outside the physics."""
    try:
        plan = load(args.file.read_text(encoding="utf-8"), args.file.name)
        said = _said(plan, args)
    except (OSError, UnicodeDecodeError, PlanErrors, WeatherErrors, OutOfRange) as error:
        print(f"dewgate plan: {restated(str(error), UNITS[args.units])}", file=sys.stderr)
        return 2
    print(said if args.json else f"{said}\n\n{caution}")
    return 0


def _said(plan: Plan, args: argparse.Namespace) -> str:
    units = UNITS[args.units]
    if args.hours and args.svg:
        raise PlanErrors("--svg draws one hour and --hours walks many: leave one out")
    if args.hours:
        hours = plan_weather.read(
            args.hours.read_text(encoding="utf-8-sig"), args.hours.name, plan.weather.pot_wall_below_air_k
        )
        year = plan_hours.work_out(plan, hours, _progress)
        return plan_hours.as_json(year) if args.json else plan_hours.text(year, units)
    result = walk_plan(plan)
    if args.svg:
        args.svg.write_text(plan_picture.picture(plan, result, units), encoding="utf-8")
    return plan_words.as_json(plan, result) if args.json else plan_words.text(plan, result, units)


def _progress(done: int, total: int) -> None:
    """A bar on the terminal that a person looks at, nowhere else."""
    if sys.stderr.isatty() and (done % 50 == 0 or done == total):
        filled = 40 * done // total
        print(f"\r{'█' * filled}{'·' * (40 - filled)} {done}/{total} hours", end="", file=sys.stderr, flush=True)
        if done == total:
            print(file=sys.stderr)
