"""`dewgate dryer`: the next step at the yard's bench, what a test says, how a unit has changed. No gateway needed.

A unit's register is a file; the tests that are kept stand beside it in a file of the same name ending in
.tests.jsonl, a line each, never rewritten.
"""

from __future__ import annotations

import argparse
import getpass
import json
import sqlite3
import sys
import time
from contextlib import closing
from dataclasses import asdict
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from gateway import dryer_document, dryer_file, dryer_record, dryer_rows, dryer_samples, dryer_words, inbox
from gateway.adapters import dryer_proof, report, seal
from gateway.adapters.history_fine import Coarse, heard_between
from gateway.adapters.journal import open_reader
from gateway.adapters.landmarks import clocks, config_at
from gateway.dryer_check import Result, Verdict, check
from gateway.dryer_document import Made, Recorded, Tongue
from gateway.dryer_file import FileErrors
from gateway.dryer_past import Kept, kept
from gateway.dryer_steps import now, steps
from gateway.dryer_trend import history_of, trend
from gateway.dryer_unit import Criteria, Test, Unit
from gateway.inbox import NotTaken
from gateway.note_command import be_the_writer
from gateway.observability import cannot_tell
from gateway.payload import canonical
from gateway.record_words import LANGUAGES, Words
from gateway.web.tongue import translated

LOOK_S = 5.0
CODES = {Result.PASS: 0, Result.FAIL: 1, Result.INCONCLUSIVE: 3, Result.NOT_TESTED: 4, Result.NO_CRITERIA: 3}


def run(_: str, words: list[str], caution: str) -> int:
    """Run one action; 0 pass, 1 fail, 3 inconclusive or no criteria, 4 not to be pressurised, 2 a wrong file."""
    args = _parser(caution).parse_args(words)
    try:
        code: int = args.act(args)
    except FileErrors as error:
        print(error, file=sys.stderr)
        return 2
    except (OSError, UnicodeDecodeError, sqlite3.Error, dryer_record.NoDryer, NotTaken, report.NotSet) as error:
        said = str(error)
        if isinstance(error, OSError) and error.filename:
            said = f"{error.filename}: {error.strerror}"
        print(f"dewgate dryer: {said}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 0
    return code


def _parser(caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("dewgate dryer", description=__doc__, epilog=caution)
    actions = parser.add_subparsers(required=True, metavar="ACTION")
    made = actions.add_parser("new", help="write a file to begin with: a unit's register, criteria, a test")
    made.add_argument("what", choices=tuple(dryer_samples.SAMPLES))
    made.add_argument("file", type=Path, help="the file to write, such as D-0417.toml; none is overwritten")
    made.set_defaults(act=_new)
    checked = actions.add_parser(
        "check", help="judge a test: pass, fail or inconclusive, with what would decide it"
    )
    _files(checked)
    checked.add_argument("--keep", action="store_true", help="add it to the unit's history")
    checked.add_argument("--pdf", type=Path, help="also write the certificate as PDF/A")
    checked.add_argument("--language", choices=LANGUAGES, default="en", help="of the certificate")
    checked.add_argument(
        "--home", type=Path, help="enter the test in this home's record, seal the certificate with its key"
    )
    checked.add_argument("--who", default=getpass.getuser(), help="person id that the record keeps")
    checked.add_argument("--json", action="store_true", help="plain values, for a machine")
    checked.set_defaults(act=_check)
    guided = actions.add_parser("steps", help="what to do next; looks again while readings come in")
    _files(guided)
    guided.add_argument("--follow", action="store_true", help="look again every few seconds until all is done")
    guided.set_defaults(act=_steps)
    recorded = actions.add_parser("readings", help="a dryer's readings from a rental's own journal, as CSV")
    recorded.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    recorded.add_argument("--train", required=True, help="id of the train the dryer stands in")
    for name, default in (("--from", "1970-01-01"), ("--until", "9999-12-31")):
        recorded.add_argument(name, dest=name[2:], default=default, help="UTC, such as 2026-06-15T08:00")
    recorded.set_defaults(act=_readings)
    told = actions.add_parser("findings", help="what failed on a rental, by its own journal")
    told.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    told.add_argument("--train", required=True, help="id of the train the dryer stands in")
    told.set_defaults(act=_findings)
    changed = actions.add_parser("trend", help="the unit's tests since its last refill")
    changed.add_argument("unit", type=Path)
    changed.set_defaults(act=_trend)
    return parser


def _new(args: argparse.Namespace) -> int:
    text = dryer_samples.sample(
        args.what, args.file.stem, getpass.getuser(), f"{datetime.now().astimezone():%Y-%m-%d}"
    )
    with args.file.open("x", encoding="utf-8") as file:
        file.write(text)
    print(f"{args.file}: fill it in; every line that begins with '# ' is optional")
    return 0


def _files(action: argparse.ArgumentParser) -> None:
    action.add_argument("unit", type=Path, help="register of the unit, such as deploy/yard/D-0417.toml")
    action.add_argument("test", type=Path, help="the test: what was entered, and the name of its readings")
    action.add_argument("--criteria", type=Path, help="what the owner asks; none is built in")


def _load(args: argparse.Namespace) -> tuple[Unit, Criteria, Test, str]:
    unit = dryer_file.unit(_text(args.unit), args.unit.name)
    asked = dryer_file.criteria(_text(args.criteria), args.criteria.name) if args.criteria else {}
    said = _text(args.test)
    readings = _beside(args.test, dryer_file.file_named(said, "readings"))
    return unit, asked, dryer_file.read_test(said, unit, readings, args.test.name), said


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8-sig")


def _beside(test: Path, name: str) -> str:
    """A file that a test names, looked for beside it; nothing where it is not there yet."""
    path = test.parent / name
    return _text(path) if name and path.exists() else ""


def _check(args: argparse.Namespace) -> int:
    unit, asked, test, said = _load(args)
    history = _history(args.unit)
    verdict = check(unit, asked, test)
    record = dryer_file.file_named(said, "record")
    rental = Test(test.facts, dryer_rows.rows_of(_text(args.test.parent / record), record)) if record else None
    if args.json:
        print(json.dumps(dryer_words.as_values(unit, test, verdict, history), indent=2, ensure_ascii=False))
    else:
        print(dryer_words.text(unit, test, verdict, history, rental))
    made = _made(args, said, unit, test, verdict) if args.pdf or args.home else Made()
    if args.pdf:
        say = Tongue(args.language, partial(translated, language=args.language))
        page = dryer_document.document(unit, test, verdict, history, rental, made, say)
        body = report.pdf(page, Words(args.language, "UTC"))
        args.pdf.write_bytes(seal.sealed(body, args.home, seal.OF_A_DRYER) if args.home else body)
    if args.keep and (today := kept(test, verdict)) not in history:
        with _history_file(args.unit).open("a", encoding="utf-8") as file:
            file.write(json.dumps(asdict(today), ensure_ascii=False) + "\n")
    return CODES[verdict.result]


def _made(args: argparse.Namespace, said: str, unit: Unit, test: Test, verdict: Verdict) -> Made:
    """What a certificate is made from; with a home, entered in its record first. Raises: FileErrors."""
    files = {"register": _text(args.unit), "test": said} | (
        {"criteria": _text(args.criteria)} if args.criteria else {}
    )
    for what in ("readings", "record"):
        if text := _beside(args.test, dryer_file.file_named(said, what)):
            files["rental's record" if what == "record" else what] = text
    found = dryer_proof.hashes(files)
    words = dryer_proof.as_words(found)
    if args.home is None:
        return Made(found, words)
    if not (args.home / "journal.db").exists():
        raise FileNotFoundError(f"{args.home}: no journal here; is --home the folder that dewgate run was given?")
    facts = test.facts
    act = {"act": "dryer_tested", "person": args.who, "serial": unit.serial, "kind": facts.kind, "day": facts.day,
           "result": verdict.result.value, "files": words}  # fmt: skip
    return Made(found, words, dryer_proof.find(args.home, words) or _entered(args.home, act))


def _entered(home: Path, act: dict[str, str]) -> Recorded:
    left = inbox.leave(home, "act", canonical.to_bytes(act))
    if why := inbox.answer(left, lambda: be_the_writer(home)):
        raise FileErrors(f"dewgate dryer: {why}")
    found = dryer_proof.find(home, act["files"])
    if found is None:
        raise FileErrors("dewgate dryer: the record did not take the test; try again in a moment")
    return found


def _steps(args: argparse.Namespace) -> int:
    while True:
        unit, asked, test, _ = _load(args)
        found = steps(unit, asked, test)
        for each in found:
            print(f"{'done' if each.done else '    '}  {each.name:9} {each.words}")
        print(f"now:  {now(found).words}\n", flush=True)
        if not args.follow or now(found).done:
            return 0
        time.sleep(LOOK_S)


def _readings(args: argparse.Namespace) -> int:
    """CSV on standard output; what a test's file needs of accuracies on standard error."""
    since, until = (_utc_ms(vars(args)[name]) for name in ("from", "until"))
    with closing(open_reader(args.home / "journal.db")) as reader:
        record = dryer_record.Record(args.train, since, until)
        for line in record.lines(heard_between(reader, since, until), Coarse(dryer_record.MINUTE)):
            print(line)
    print("\n".join(["[accuracy] # for the test's file", *record.accuracies()]), file=sys.stderr)
    return 0


def _findings(args: argparse.Namespace) -> int:
    """Every finding that began or ended on the train, then what its sensors cannot tell."""
    with closing(open_reader(args.home / "journal.db")) as reader:
        time, config = clocks(reader), config_at(reader, 1 << 62)
        train = dryer_record.train_of(canonical.jobsite_of(config) if config else None, args.train)
        events = (canonical.to_dict(row[0]) for row in reader.execute("SELECT event FROM events ORDER BY id"))
        mine = [each for each in events if each["limit"].startswith(f"{train.id}/") and each["number"][0] == "F"]
        for each in mine:
            at = datetime.fromtimestamp(time.utc_ms(each["core_ms"]) / 1000, UTC).strftime("%Y-%m-%d %H:%M UTC")
            print(f"{at}  {each['number']}  {each['change']}: {each['reason']}")
    if not mine:
        print("No finding began on this train. What its sensors cannot see is no finding either.")
    for line in cannot_tell(train):
        print(line)
    return 0


def _utc_ms(text: str) -> int:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise FileErrors(f"dewgate dryer readings: '{text}': write 2026-06-15T08:00") from None
    return round((at if at.tzinfo else at.replace(tzinfo=UTC)).timestamp() * 1000)


def _trend(args: argparse.Namespace) -> int:
    unit = dryer_file.unit(_text(args.unit), args.unit.name)
    history = _history(args.unit)
    last = max((each.day for each in history), default="9999-12-31")
    print(
        "\n".join(
            [f"{unit.serial}, {unit.label}", *trend(unit, history, max(last, *(r.day for r in unit.refills), ""))]
        )
    )
    return 0


def _history_file(unit: Path) -> Path:
    return unit.with_suffix(".tests.jsonl")


def _history(unit: Path) -> list[Kept]:
    """The tests that were kept of a unit. Raises: FileErrors for a line that cannot be read."""
    path = _history_file(unit)
    return history_of(_text(path), path.name) if path.exists() else []
