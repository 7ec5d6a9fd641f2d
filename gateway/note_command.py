"""`dewgate note`: what a person does or reads at the steel, entered from a terminal.

A note in words, an entry by hand with its form, the begin or end of an activity, work done on a piece of a train,
or the inspector's disposition.
"""

from __future__ import annotations

import argparse
import getpass
import secrets
import sqlite3
import sys
from pathlib import Path

from gateway import inbox, manual
from gateway.adapters import trouble
from gateway.adapters.home import AlreadyRunning
from gateway.adapters.journal import WrongJournal
from gateway.finding_service import SERVICES
from gateway.inbox import NotTaken
from gateway.payload import canonical
from gateway.web.photos import Photos

Body = dict[str, str | int]


def run(command: str, words: list[str], caution: str) -> int:
    """Enter it; 0 when it is in the journal, 1 when it was refused, 2 when the journal cannot be reached."""
    args = _parser(command, caution).parse_args(words)
    if args.forms:
        print(forms())
        return 0
    try:
        body = body_of(args)
        why = inbox.answer(
            inbox.leave(args.home, "act", canonical.to_bytes(body)), lambda: be_the_writer(args.home)
        )
    except (ValueError, NotTaken) as error:
        print(f"dewgate {command}: {error}", file=sys.stderr)
        return 1
    except (sqlite3.Error, WrongJournal, OSError) as error:
        print(f"dewgate {command}: {trouble.words(error, args.home)}", file=sys.stderr)
        return 2
    print(f"dewgate {command}: {why}" if why else "in the journal", file=sys.stderr if why else sys.stdout)
    return 1 if why else 0


def _parser(command: str, caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(f"dewgate {command}", epilog=caution, description=__doc__)
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    parser.add_argument("--who", default=getpass.getuser(), help="person id that the journal keeps")
    parser.add_argument("--area", default=manual.NA, help="id of the area; left out: N/A")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--begin", metavar="ACTIVITY", help="coat=, product=, batch= and anew=1 may follow")
    what.add_argument("--end", metavar="ACTIVITY")
    what.add_argument("--form", choices=tuple(manual.FORMS), help="an entry by hand; its fields follow")
    what.add_argument("--disposition", metavar="E-1", help="decision= and reason= follow")
    what.add_argument("--serviced", metavar="PIECE", help="work done on it; train= and what= follow, words= may")
    what.add_argument("--forms", action="store_true", help="list the forms with their fields")
    parser.add_argument("words", nargs="*", help="the words of a note, or FIELD=VALUE")
    return parser


def body_of(args: argparse.Namespace) -> Body:
    """Return the act of a command line. Raises ValueError where a word is no field."""
    body: Body = {"person": args.who, "area": args.area, "ref": secrets.token_hex(8)}
    if args.begin or args.end:
        body |= {"act": "begin" if args.begin else "end", "activity": args.begin or args.end}
    elif args.form:
        body |= {"act": "manual", "kind": args.form}
    elif args.serviced:
        body |= {"act": "serviced", "piece": args.serviced}
    elif args.disposition:
        body |= {"act": "disposition", "exposure": args.disposition}
    else:
        photo = [each for each in args.words if each.startswith("photo=")]
        said = " ".join(each for each in args.words if each not in photo)
        return body | {"act": "note", "text": said} | _fields(photo, args.home)
    return body | _fields(args.words, args.home)


def _fields(words: list[str], home: Path) -> Body:
    made: Body = {}
    for word in words:
        name, equals, value = word.partition("=")
        if not equals:
            raise ValueError(f"{word!r} is no FIELD=VALUE; dewgate note --forms lists the fields")
        made[name] = int(value) if name in ("until_ms", "at_ms", "anew") and value.isdecimal() else value
    picture = str(made.get("photo", manual.NA))
    if picture != manual.NA:
        made["photo"] = Photos(home / "photos").keep(Path(picture).read_bytes())
    return made


def forms() -> str:
    """Return the forms and their fields as lines of text."""
    lines = []
    for kind, fields in manual.FORMS.items():
        lines.append(kind)
        for field in fields:
            hint = (
                f" ({', '.join(field.choices)})" if field.choices else f" ({field.example})" * bool(field.example)
            )
            lines.append(f"  {field.name}= {field.label}{hint}")
    lines += ["--serviced PIECE", f"  train= what= ({', '.join(SERVICES)}) words="]
    return "\n".join([*lines, f"Every field is filled in, {manual.NA} where nothing applies."])


def be_the_writer(home: Path) -> bool:
    """Where no dewgate runs, be the writer for one turn."""
    from gateway.service import Service

    if not (home / "journal.db").exists():
        raise FileNotFoundError("no journal here; is --home the folder that dewgate run was given?")
    try:
        service = Service(home)
    except AlreadyRunning:
        return False
    service.stopping.set()
    service.take_inbox()
    service.loop()
    service.close()
    return True
