"""`dewgate plan`: will this air treatment cope with that weather, compressor and nozzles? Needs no gateway."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from gateway import plan_words
from gateway.plan import run as walk_plan
from gateway.plan_file import PlanErrors, load
from gateway.psychrometrics import OutOfRange


def arguments(command: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    command.add_argument("file", type=Path, help="a plan file; deploy/plans has three to begin with")
    command.add_argument("--units", choices=sorted(plan_words.UNITS), default="si")
    command.add_argument("--json", action="store_true", help="SI units in the keys, for a machine")


def run(args: argparse.Namespace, caution: str) -> int:
    """Print the plan; 2 when the file is wrong or leads outside the physics."""
    try:
        plan = load(args.file.read_text(encoding="utf-8"), args.file.name)
        result = walk_plan(plan)
        if args.json:
            print(plan_words.as_json(plan, result))
        else:
            print(f"{plan_words.text(plan, result, plan_words.UNITS[args.units])}\n\n{caution}")
    except (OSError, UnicodeDecodeError, PlanErrors, OutOfRange) as error:
        print(f"dewgate plan: {error}", file=sys.stderr)
        return 2
    return 0
