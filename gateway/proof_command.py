"""`dewgate export`, `prove` and `verify`: the record for somebody who need not trust the gateway."""

from __future__ import annotations

import argparse
import json
import sys
import time
from contextlib import closing
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from gateway import progress, proofs, tree, verify_record
from gateway.adapters import heads as table
from gateway.adapters import record_zip, trouble
from gateway.adapters.journal import Dropped, open_reader
from gateway.adapters.subtrees import Subtrees
from gateway.heads import Signed
from gateway.payload import canonical
from gateway.verify_record import Unreadable, head_of

_WHAT = {
    "export": "Write the record, with all that is needed to check it, into one .zip.",
    "prove": "Prove that one entry is in the record, or that a head's record begins with an older head's.",
}


def run(command: str, words: list[str], caution: str) -> int:
    """Run it: 0 when right, 1 when something is wrong, 2 when it cannot be done, 3 for disk and journal."""
    if command == "verify":
        return _verify(words)
    args = _parser(command, caution).parse_args(words)
    journal = args.home / "journal.db"
    if not journal.exists():
        print(f"{args.home}: no journal here; is --home the folder that dewgate run was given?", file=sys.stderr)
        return 2
    try:
        return _export(journal, args) if command == "export" else _prove(journal, args)
    except (ValueError, LookupError, Dropped) as error:
        print(f"dewgate {command}: {error}", file=sys.stderr)
        return 2
    except Exception as error:  # noqa: BLE001  whatever a damaged journal or a failing disk leads to
        return trouble.stop(command, error, args.home)


def _parser(command: str, caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(f"dewgate {command}", epilog=caution, description=_WHAT[command])
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    if command == "export":
        parser.add_argument("--out", type=Path, required=True, help="the .zip to write")
        parser.add_argument(
            "--from", dest="from_utc", type=utc_ms, help="first day or moment, UTC: 2026-03-02T06:00"
        )
        parser.add_argument("--until", type=utc_ms, help="until before this day or moment, UTC")
    else:
        parser.add_argument("entry", type=int, nargs="?", help="number of the entry")
        parser.add_argument(
            "--heads", type=int, nargs=2, metavar=("OLD", "NEW"), help="numbers of two heads instead"
        )
    return parser


def utc_ms(text: str) -> int:
    """Return a day or moment of the command line; without an offset it is UTC. Raises ValueError."""
    found = datetime.fromisoformat(text)
    return int((found if found.tzinfo else found.replace(tzinfo=UTC)).timestamp() * 1000)


def _export(journal: Path, args: argparse.Namespace) -> int:
    if args.out.suffix != ".zip":
        raise ValueError(f"{args.out}: the name of a record ends with .zip")
    wanted = record_zip.Wanted(args.from_utc, args.until)
    record_zip.write(
        journal, args.out, wanted, time.time_ns() // 1_000_000, partial(progress.bar, "blocks of entries")
    )
    print(f"{args.out}: checked as its reader would, without what only others can keep:")
    return verify_record.main([str(args.out)])


def _prove(journal: Path, args: argparse.Namespace) -> int:
    """Print the proof on standard output, what it says on standard error."""
    with closing(open_reader(journal)) as reader:
        reader.execute("BEGIN")
        subtrees = Subtrees(reader)
        if args.heads:
            old, new = (_head(table.numbered(reader, number), f"head {number}") for number in args.heads)
            path = proofs.consistency(subtrees.perfect, old.head.size, new.head.size)
            proof = {"old_head": _line(old)}
        elif args.entry is not None:
            new = _head(table.covering(reader, args.entry), f"head that covers entry {args.entry} yet")
            path = proofs.inclusion(subtrees.perfect, args.entry, new.head.size)
            made = subtrees.block((args.entry - 1) // tree.SEAL)[(args.entry - 1) % tree.SEAL]
            proof = {"entry": made.hex(), "number": args.entry}
        else:
            raise ValueError("which entry? give its number, or --heads OLD NEW")
    text = canonical.to_bytes(proof | {"head": _line(new), "path": [each.hex() for each in path]}).decode()
    print(text)
    print(proven(text), file=sys.stderr)
    return 0


def _head(found: Signed | None, what: str) -> Signed:
    if found is None:
        raise ValueError(f"there is no {what}")
    return found


def _line(signed: Signed) -> dict[str, object]:
    line: dict[str, object] = json.loads(signed.as_text())
    return line


def proven(text: str) -> str:
    """Check what `dewgate prove` printed and return what it proves. Raises Unreadable when it proves nothing."""
    try:
        proof = canonical.to_dict(text.encode())
        path = [bytes.fromhex(each) for each in proof["path"]]
        new, entry = head_of(json.dumps(proof["head"])), bytes.fromhex(proof.get("entry", ""))
        old = head_of(json.dumps(proof["old_head"])) if "old_head" in proof else None
        number = int(proof.get("number", 0))
    except (ValueError, KeyError, TypeError) as error:
        raise Unreadable(f"this is no proof: {error!r}") from error
    if not all(head.is_signed() for head in (new, old) if head):
        raise Unreadable("a head in it was not signed by its key")
    key, root = verify_record.fingerprint(new.key), bytes.fromhex(new.root)
    if old and proofs.is_consistent(old.size, new.size, path, bytes.fromhex(old.root), root):
        return f"PROVEN: the {new.size} entries of {new.name} begin with the {old.size} of {old.name}; key {key}"
    if not old and proofs.is_included(entry, number, new.size, path, root):
        return f"PROVEN: entry {number} of {new.name}, key {key}, is\n{verify_record.words(entry)}"
    raise Unreadable("the proof does not lead to the root of its head")


def _verify(words: list[str]) -> int:
    """A report by its seal, a record by the single-file program, a proof here."""
    if any(word.endswith(".pdf") for word in words):
        from gateway import record_verify

        return record_verify.main(words)
    file = next((Path(word) for word in words if word.endswith(".json")), None)
    if file is None:
        return verify_record.main(words)
    try:
        print(proven(file.read_text()))
    except (Unreadable, OSError) as error:
        print(f"CANNOT BE CHECKED: {error}")
        return 2
    return 0
