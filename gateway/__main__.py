"""The command `dewgate`: one word for each thing it does."""

from __future__ import annotations

import argparse
import gc
import getpass
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from gateway import __version__, stopping
from gateway.adapters import address
from gateway.web.arguments import page_arguments

if TYPE_CHECKING:
    from gateway.clock import TimeLapse
    from gateway.jobsite import Jobsite
    from gateway.service import Service
    from gateway.web.server import PageServer

PASSED_ON = {
    "air": ("air_command", "the pocket calculator: 20C 50%% 7bar(g) gives everything else"),
    "plan": ("plan_command", "where water will fall out: weather, compressor, nozzles and train"),
    "sensors": ("heard_command", "who speaks, who is silent or unknown"),
    "watch": ("heard_command", "what comes in, live"),
    "replay": ("history_command", "fold the journal again and compare the events"),
    "note": ("note_command", "what a person does or reads at the steel: notes, entries by hand, activities"),
    "record": ("record_command", "the climate record of a job: signed pages, CSV, SenML, Parquet"),
    "why": ("why_command", "why somebody was told of an alarm, or not; how many were told"),
    "rebuild": ("history_command", "make history again from the journal, or compare it"),
    "export": ("proof_command", "the record in one file, for somebody who need not trust the gateway"),
    "prove": ("proof_command", "prove that an entry is in the record"),
    "verify": ("proof_command", "check an exported record, or a proof"),
    "stamp": ("stamp_command", "ask a time-stamp authority for its word on the newest head"),
    "key": ("key_command", "show the key that signs the record, or change it"),
    "dryer": ("dryer_command", "a dryer on the yard's bench: what to do next, pass or fail at its real inlet"),
    "yard": ("yard_command", "the yard's own process: takes in the journals of many sites, shows how they stand"),
    "push": ("push_command", "send this site's journal to the yard as it grows"),
    "follow": ("follow_command", "copy readings to a time-series server, or count what it has"),
    "backup": ("backup_command", "copy the home while it is in use, checked and whole"),
    "retention": ("retention_command", "what of the journal may be dropped when the disk fills, and drop it"),
    "restore": ("backup_command", "make a new home of a backup, once everything in it was checked"),
    "doctor": ("doctor_command", "look at disk, clock, keys, broker, channels, sensors; say what to do"),
    "wired": ("wired_command", "read wired transmitters (Modbus) and publish them"),
}
CAUTION = "Advisory only, never a safety interlock; the specification, data sheets and local codes decide."


def main(arguments: list[str] | None = None) -> int:
    """Run one command; return the exit code."""
    parser = _parser()
    args, rest = parser.parse_known_args(arguments)
    args.rest = rest
    if rest and not hasattr(args, "passes_on"):
        parser.error(f"unknown arguments: {' '.join(rest)}")
    act: Callable[[argparse.Namespace], int] = args.act
    return act(args)


def _time_lapse(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--time-lapse", default="", help="FACTOR,EPOCH,ANCHOR: live in simulated time")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("dewgate", description=__doc__, epilog=CAUTION)
    parser.add_argument("--version", action="version", version=__version__)
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    _run_arguments(commands.add_parser("run", help="receive, judge and keep the journal; serve the board"))
    told = commands.add_parser("deliver", help="send what the journal's outbox holds")
    _home(told)
    told.add_argument("--contacts", type=Path, required=True, help="channel addresses, mode 0600")
    told.add_argument("--link", default="", help="address of the board as phones see it, to acknowledge from them")
    told.add_argument(
        "--test", metavar="PERSON", help="send this person a test message now, and say what came of it"
    )
    told.set_defaults(act=_deliver)
    checked = commands.add_parser("check", help="say what is wrong with a jobsite file")
    checked.add_argument("file", type=Path)
    checked.set_defaults(act=_check)
    applied = commands.add_parser("apply", help="put a jobsite file in force")
    applied.add_argument("file", type=Path)
    _home(applied)
    applied.add_argument("--who", default=getpass.getuser(), help="person id that the journal keeps")
    applied.add_argument("--why", default="not stated", help="reason that the journal keeps")
    _time_lapse(applied)
    applied.set_defaults(act=_apply)
    for name, (_, what) in PASSED_ON.items():
        commands.add_parser(name, add_help=False, help=what).set_defaults(act=_pass_on, passes_on=True, name=name)
    _module(
        commands.add_parser("feed", add_help=False, help="play a recorded month of weather through the broker"),
        "simulators.feed",
    )
    _module(
        commands.add_parser("demo", add_help=False, help="a simulated jobsite, everything on this machine"),
        "simulators.demo",
    )
    return parser


def _home(command: argparse.ArgumentParser) -> None:
    command.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")


def _run_arguments(run: argparse.ArgumentParser) -> None:
    _home(run)
    address.add_arguments(run)
    run.add_argument("--client-id", default="dewgate-run", help="fixed, so that the broker keeps the session")
    page_arguments(run)
    _time_lapse(run)
    run.set_defaults(act=_run)


def _module(parser: argparse.ArgumentParser, module: str) -> None:
    def run(args: argparse.Namespace) -> int:
        os.execv(sys.executable, [sys.executable, "-m", module, *args.rest])  # noqa: S606  our own module, no shell

    parser.set_defaults(act=run, passes_on=True)


def _pass_on(args: argparse.Namespace) -> int:
    """A command with a file of its own, loaded only when it is asked for."""
    module = import_module(f"gateway.{PASSED_ON[args.name][0]}")
    code: int = module.run(args.name, args.rest, CAUTION)
    return code


def _run(args: argparse.Namespace) -> int:
    from alerts import log
    from gateway.adapters import trouble
    from gateway.clock import TimeLapse
    from gateway.service import Service

    try:
        lapse = TimeLapse.parse(args.time_lapse) if args.time_lapse else None
        broker = address.of(args)
    except (ValueError, address.Refused) as error:
        log.tell("run", "not-started", str(error))
        return 2
    try:
        service = Service(args.home, lapse)
    except Exception as error:  # noqa: BLE001  whatever a damaged journal or a failing disk leads to
        return trouble.stop("run", error, args.home)
    if service.flow.site is None:
        log.tell("run", "not-started", "no jobsite is in force; use: dewgate apply FILE")
        return 2
    service.connect(broker, args.client_id)
    log.tell("run", "started", f"{service.flow.state.sequence} entries in {args.home}, broker {broker}")
    failed = _serve(service, args)
    if failed:
        return trouble.stop("run", failed, args.home)
    log.tell("run", "stopped", "everything that was taken is on disk")
    return 0


def _serve(service: Service, args: argparse.Namespace) -> BaseException | None:
    """Writer in a thread, pages in front; when either ends, both end."""
    failed: list[BaseException] = []
    server = None if args.no_page else _pages(service, args)

    def write() -> None:
        try:
            service.loop()
        except BaseException as error:  # noqa: BLE001  the task boundary: the process ends and starts again from the journal
            failed.append(error)
        finally:
            if server:
                server.close()

    writer = threading.Thread(target=write, name="writer")
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: service.stopping.set())
    writer.start()
    try:
        server.run() if server else writer.join()
    finally:  # also where the pages cannot listen
        service.stopping.set()
        writer.join()
        service.close()
        gc.freeze()  # all is closed: the interpreter need not look through 90,000 objects, which takes it a second
    return failed[0] if failed else None


def _pages(service: Service, args: argparse.Namespace) -> PageServer:
    from gateway.web.opening import open_from

    return open_from(args, lambda: service.board, service.act, lambda: service.flow.site)


def _deliver(args: argparse.Namespace) -> int:
    from alerts.channels import Sent
    from alerts.delivery import deliver, send_test
    from gateway.adapters.home import people_told

    journal = args.home / "journal.db"
    if not args.test:
        deliver(args.home, args.contacts, stopping.when_told(), args.link, lambda: people_told(journal))
        return 0
    told = people_told(journal, person=args.test)
    lines = send_test(args.contacts, told) or [f"{args.test}: no person with a channel in the jobsite in force"]
    print("\n".join(lines))
    return 0 if told and all(line.endswith(Sent.ACCEPTED) for line in lines) else 1


def _checked(file: Path) -> Jobsite | None:
    """Say what is wrong with a file, or what to know of it; return the jobsite when it holds."""
    from gateway.config import ConfigErrors, load, warnings

    try:
        site = load(file)
    except (ConfigErrors, OSError) as error:
        print(error, file=sys.stderr)
        return None
    for warning in warnings(site):
        print(f"note: {warning}")
    print(f"{file}: {len(site.sensors)} sensors, {len(site.limits)} limits. {CAUTION}")
    return site


def _check(args: argparse.Namespace) -> int:
    from gateway.observability import sentences

    site = _checked(args.file)
    for train in site.trains if site else ():
        print("\n".join(f"findings: {each}" for each in sentences(train)))
    return 1 if site is None else 0


def _apply(args: argparse.Namespace) -> int:
    from gateway import inbox
    from gateway.adapters import trouble
    from gateway.clock import TimeLapse
    from gateway.payload.canonical import config_set

    site = _checked(args.file)
    if site is None:
        return 1
    try:
        lapse = TimeLapse.parse(args.time_lapse) if args.time_lapse else None
        left = inbox.leave(args.home, "config", config_set(site, args.who, args.why))
        return _wait_until_taken(args.home, left, lapse)
    except Exception as error:  # noqa: BLE001  whatever a damaged journal or a failing disk leads to
        return trouble.stop("apply", error, args.home)


def _wait_until_taken(home: Path, left: Path, lapse: TimeLapse | None) -> int:
    """The running writer takes the file; when none runs, be the writer for one turn."""
    from gateway.adapters.home import AlreadyRunning
    from gateway.service import Service

    for _ in range(50):
        try:
            service = Service(home, lapse)
        except AlreadyRunning:
            time.sleep(0.2)
            if not left.exists():
                break
            continue
        service.stopping.set()
        service.take_inbox()
        service.loop()
        service.close()
        break
    if left.exists():
        print(f"{home}: the running dewgate did not take the jobsite within 10 s; is it alive?", file=sys.stderr)
        return 1
    print("in force; the journal keeps who and why")
    return 0


if __name__ == "__main__":
    sys.exit(main())
