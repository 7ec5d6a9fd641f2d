"""`dewgate doctor`: disk, clock, services, keys, broker, channels, certificates, sensors; what to do."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from pathlib import Path

from alerts.contacts import Refused, read_contacts
from gateway.adapters import address, checkup, trouble
from gateway.adapters.checkup import Found, Level
from gateway.adapters.home import people_told


def run(command: str, words: list[str], caution: str) -> int:
    """Run it: 0 when nothing is bad, 1 when something is, 2 for wrong words, 3 where the journal refuses."""
    args = _parser(command, caution).parse_args(words)
    try:
        at = address.of(args)
        if not (args.home / "journal.db").exists():
            print(f"dewgate doctor: {args.home}: there is no journal.db; is this the home?", file=sys.stderr)
            return 2
        found = list(_looks(args, at))
    except address.Refused as error:
        print(f"dewgate doctor: {error}", file=sys.stderr)
        return 2
    except Exception as error:  # noqa: BLE001  whatever a damaged journal or a failing disk leads to
        return trouble.stop(command, error, args.home)
    for each in found:
        print(f"{each.level:4}  {each.what}" + (f"\n      to do: {each.do}" if each.do else ""))
    bad = sum(each.level is Level.BAD for each in found)
    print(f"{len(found)} looked at, {bad} bad. {caution}")
    return 1 if bad else 0


def _parser(command: str, caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(f"dewgate {command}", description=__doc__, epilog=caution)
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    address.add_arguments(parser)
    parser.add_argument("--client-id", default="dewgate-run", help="the one `run` has; the probe gets its own")
    parser.add_argument("--contacts", type=Path, help="the contacts file, to look at its channels")
    parser.add_argument(
        "--certificate", type=Path, action="append", default=[], help="PEM file to look at; repeatable"
    )
    return parser


def _looks(args: argparse.Namespace, at: address.Address) -> Iterable[Found]:
    yield from checkup.disk(args.home)
    yield from checkup.ownership(args.home)
    yield from checkup.clock()
    yield from checkup.services(args.home)
    yield from checkup.keys(args.home)
    yield from checkup.broker(at, args.client_id)
    for path in [*args.certificate, *([Path(at.ca)] if at.ca else [])]:
        yield from checkup.certificate(path)
    if args.contacts:
        yield from _channels(args.home, args.contacts)
    yield from checkup.sensors(args.home)


def _channels(home: Path, path: Path) -> Iterable[Found]:
    """Whether the contacts file can be used, and every person who is to be told can be reached."""
    try:
        contacts = read_contacts(path)
    except Refused as error:
        yield Found(Level.BAD, str(error), "dewgate deliver does not start with it")
        return
    for note in contacts.notes:
        yield Found(Level.LOOK, note)
    told = {pair for priority in ("high", "medium", "low") for pair in people_told(home / "journal.db", priority)}
    for person, channel in sorted(told):
        if channel not in contacts.channels:
            yield Found(Level.BAD, f"channel {channel} of {person}: not in {path}", f"add it to {path}")
    if not told:
        yield Found(Level.BAD, "people: nobody is told anything", "enter people with channels in the jobsite file")
    if contacts.heartbeat is None:
        do = "enter [heartbeat] address: else nobody elsewhere learns that this box is dead"
        yield Found(Level.LOOK, f"sign of life: none in {path}", do)
    yield Found(
        Level.GOOD, f"channels: {len(contacts.channels)} in {path}; try one with dewgate deliver --test PERSON"
    )
