#!/usr/bin/env python3
"""Check a dewgate record without dewgate: one file, Python 3.11 and the package `cryptography`, no network.

    python verify_record.py RECORD.zip [--key FINGERPRINT] [--head KEPT-MESSAGE]... [--code H17-4711-89ab...]...

1. A record is a list of entries. The leaf of an entry is SHA-256(0x00 + entry); two neighbours are joined to
   SHA-256(0x01 + left + right), and so on up to one root (RFC 9162, 2.1.1). One bit changes, and the root does.
2. The gateway writes heads: number, size (how many entries), root, hash of the head before, key; and signs each
   with Ed25519 (RFC 8032). `chain` checks numbers, hashes, keys and signatures.
3. `roots` works the root at the size of every head out of the entries in the zip; `compare` compares them.
4. That shows that the record agrees with itself. It does NOT show that who has the gateway's key did not write all
   of it anew last night: only a head, or its short code, that was kept by somebody else shows that.
5. A running gateway writes an entry each minute, if only a heartbeat: `holes` names every stretch without one.
6. Nothing shows that a sensor told the truth, or that what was written first was true.
"""

from __future__ import annotations

import argparse
import json
import re
import struct
import sys
import time
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from hashlib import sha256
from itertools import accumulate, pairwise
from operator import sub
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

BLOCK = 4096  # entries in one file of the zip; the last may have fewer
HOLE_MS = 130_000  # so long without an entry, and the gateway was not running: it writes one each minute
SIGNED_AS = b"dewgate head 1\n"
KINDS = ("", "message", "rejection", "duplicate", "act", "jobsite", "started", "stopping", "clock step",
         "forecast", "delivery", "heartbeat", "correction", "edge session", "standing",
         "health")  # fmt: skip
MOST_HOLES, STOPPING = 10, 7
CORE_MS = struct.Struct(">xxq")  # an entry: kind, version, the gateway's own time in ms, and what it holds
Peaks = list[tuple[int, bytes]]  # perfect subtrees side by side, largest first: (number of leaves, root)
Time = tuple[int, int, bool]  # of an entry: its number, the gateway's own time in ms, whether it says "I stop"


class Unreadable(Exception):
    """What was given is no record or no head."""


# -- the tree (RFC 9162, 2.1) --------------------------------------------------------------------------


def levels(leaves: list[bytes]) -> list[list[bytes]]:
    """Return the leaves, then all whole pairs of them, then all whole pairs of those, up to one."""
    rows = [leaves]
    while len(rows[-1]) > 1:
        pairs = zip(rows[-1][::2], rows[-1][1::2], strict=False)  # an odd one at the end has no neighbour yet
        rows.append([sha256(b"\x01" + left + right).digest() for left, right in pairs])
    return rows


def peaks(rows: list[list[bytes]], size: int) -> Peaks:
    """Return the perfect subtrees of the first `size` leaves."""
    found, at = [], 0
    for height in reversed(range(len(rows))):
        if size >> height & 1:
            found.append((1 << height, rows[height][at >> height]))
            at += 1 << height
    return found


def root_of(found: Peaks) -> bytes:
    """Return the root over subtrees side by side."""
    root = found[-1][1]
    for _, left in reversed(found[:-1]):
        root = sha256(b"\x01" + left + root).digest()
    return root


def added(stack: Peaks, size: int, root: bytes) -> Peaks:
    """Return the subtrees with one more at the right, equal ones joined."""
    stack = list(stack)
    while stack and stack[-1][0] == size:
        root, size = sha256(b"\x01" + stack.pop()[1] + root).digest(), size * 2
    return [*stack, (size, root)]


# -- heads ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Head:
    """What a head says (keys and hashes in hex, time in ms of UTC), its exact bytes and its signature."""

    gateway: str
    key: str
    next_key: str
    number: int
    previous: str
    root: str
    size: int
    time_ms: int
    statement: bytes
    signature: bytes

    @property
    def name(self) -> str:
        """Return its record code, and when the gateway says it was made."""
        made = time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(self.time_ms / 1000))
        return f"head H{self.number}-{self.size}-{self.root[:16]} of {made}"

    def is_signed(self) -> bool:
        """Whether the key that it names has signed it."""
        try:
            key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(self.key))
            key.verify(self.signature, SIGNED_AS + self.statement)
        except (InvalidSignature, ValueError):
            return False
        return True


def head_of(text: str) -> Head:
    """Return the head in a line of heads.jsonl, or anywhere in a mail, which may have broken its line."""
    line = re.search(r'\{"signature":"([0-9a-f]{128})","statement":"\{[^{}]*\}"', re.sub(r"\s", "", text))
    try:
        body = json.loads(line[0] + "}" if line else "")
        statement = body["statement"].encode()
        head = Head(**json.loads(statement), statement=statement, signature=bytes.fromhex(body["signature"]))
        time.gmtime(head.time_ms / 1000), head.number + head.size, bytes.fromhex(head.root + head.key)
    except (ValueError, KeyError, TypeError, OverflowError) as error:
        raise Unreadable(f"there is no head in {text[:60]!r}") from error
    return head


def fingerprint(key: str) -> str:
    """Return what a public key is compared by."""
    return sha256(bytes.fromhex(key)).hexdigest()[:32]


def chain(found: Iterable[Head]) -> tuple[list[Head], str]:
    """Return the heads up to the first that does not fit the one before it, and why it does not."""
    good: list[Head] = []
    for head in found:
        before = good[-1] if good else None
        if head.number != len(good) + 1:
            return good, f"head {len(good) + 1} is missing, after it comes head {head.number}"
        if before and head.previous != sha256(before.statement).hexdigest():
            return good, f"head {head.number} does not follow from head {before.number}: one of them was replaced"
        if before and head.key != (before.next_key or before.key):
            return good, f"head {head.number} has a key that no head before it names ({fingerprint(head.key)})"
        if not head.is_signed():
            return good, f"head {head.number} was not signed by its key"
        good.append(head)
    return good, ""


# -- the record ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Record:
    """A zip: its files of entries as (how many, name, root), and its heads.

    Where a file is left out its name is None, and only the root is given; else the root is not looked at.
    """

    path: str
    blocks: list[tuple[int, str | None, str]]
    heads: list[Head]

    @property
    def size(self) -> int:
        """How many entries there are, or were before some were left out."""
        return sum(count for count, _, _ in self.blocks)


def read(path: Path) -> Record:
    """Open a record. Raises Unreadable when it is none."""
    try:
        with zipfile.ZipFile(path) as file:
            about = json.loads(file.read("record.json"))
            lines = file.read("heads.jsonl").decode().splitlines()
        blocks = [(int(each["count"]), each["file"], str(each["root"])) for each in about["blocks"]]
    except (OSError, zipfile.BadZipFile, ValueError, KeyError, TypeError) as error:
        raise Unreadable(f"{path} is no record: {error}") from error
    if any(count != BLOCK for count, _, _ in blocks[:-1]) or not all(0 < count <= BLOCK for count, _, _ in blocks):
        raise Unreadable(f"{path}: only the last file may hold fewer than {BLOCK} entries")
    return Record(str(path), blocks, [head_of(line) for line in lines])


def entries_of(path: str, name: str) -> Iterator[bytes]:
    """Yield the entries of a file: how many, the length of each (all 4 bytes, big endian), then their bytes."""
    with zipfile.ZipFile(path) as file:
        body = file.read(name)
    (count,) = struct.unpack_from(">I", body)
    ends = accumulate(struct.unpack_from(f">{count}I", body, 4), initial=4 + 4 * count)
    for begin, end in pairwise(ends):
        yield body[begin:end]


def one_block(path: str, name: str, first: int, sizes: Sequence[int]) -> tuple[list[Peaks], list[Time]]:
    """Return the subtrees of a file at these numbers of its entries, the last of which must be all of them, and
    the times of its first and last entry and of those beside a hole. first: the number of its first entry."""
    entries = list(entries_of(path, name))
    if len(entries) != sizes[-1]:
        raise Unreadable(f"{name} holds {len(entries)} entries where {sizes[-1]} belong")
    rows = levels([sha256(b"\x00" + entry).digest() for entry in entries])
    whole = min(map(len, entries)) >= CORE_MS.size  # what is no entry has no time, and no root that fits
    times = [ms for (ms,) in map(CORE_MS.unpack_from, entries)] if whole else [0] * len(entries)
    gaps = [at for at, gap in enumerate(map(sub, times[1:], times)) if gap > HOLE_MS]
    shown = sorted({0, len(times) - 1, *gaps, *(at + 1 for at in gaps)})
    told = [(first + at, times[at], entries[at][0] == STOPPING) for at in shown]
    return [peaks(rows, size) for size in sizes], told


def holes(times: Sequence[Time]) -> Iterator[tuple[int, str]]:
    """Yield for how long [ms], and in words between which neighbours, nothing was written."""
    for (number, since, stopped), (following, until, _) in pairwise(times):
        if following == number + 1 and until - since > HOLE_MS:
            why = "after it said that it stops" if stopped else "without a word that it stops: killed, or no power"
            begin, end = (time.strftime("%Y-%m-%d %H:%M", time.gmtime(each / 1000)) for each in (since, until))
            long = f"{(until - since) / 60_000:.0f} min, {begin} to {end} UTC by its own clock"
            yield until - since, f"nothing was written between entries {number} and {following} for {long}; {why}"


def roots(record: Record, wanted: Iterable[int], times: list[Time]) -> dict[int, bytes]:
    """Return the root at each wanted size, but for sizes inside a file that is left out; add to `times`."""
    inside: list[list[int]] = [[] for _ in record.blocks]
    for size in sorted(set(wanted)):
        if 0 < size <= record.size:
            inside[(size - 1) // BLOCK].append((size - 1) % BLOCK + 1)
    sizes = [[*cuts, count] for (count, _, _), cuts in zip(record.blocks, inside, strict=True)]
    given = _each_block(record, [at for at, (_, name, _) in enumerate(record.blocks) if name], sizes)
    found: dict[int, bytes] = {}
    stack: Peaks = []
    for at, ((count, name, root), cuts) in enumerate(zip(record.blocks, sizes, strict=True)):
        subtrees, told = next(given) if name else ([[(count, bytes.fromhex(root))]], [])
        times += told
        for cut, each in zip(cuts if name else [count], subtrees, strict=True):
            found[at * BLOCK + cut] = root_of(stack + each)
        if count == BLOCK:
            stack = added(stack, BLOCK, subtrees[-1][0][1])
    return found


def _each_block(
    record: Record, which: list[int], sizes: list[list[int]]
) -> Iterator[tuple[list[Peaks], list[Time]]]:
    names, firsts = [str(record.blocks[at][1]) for at in which], [at * BLOCK + 1 for at in which]
    todo = [record.path] * len(which), names, firsts, [sizes[at] for at in which]
    if len(which) < 32:
        yield from map(one_block, *todo)
        return
    with ProcessPoolExecutor(2) as pool:
        for done, each in enumerate(pool.map(one_block, *todo, chunksize=8), 1):
            if sys.stderr.isatty():
                end = "\n" if done == len(which) else ""
                print(f"\r{100 * done // len(which):3} % of the entries", end=end, file=sys.stderr)
            yield each


# -- what follows from it ------------------------------------------------------------------------------


@dataclass
class Findings:
    """What is wrong, the first thing first; what is proven; what is not; when nothing was written."""

    wrong: list[str] = field(default_factory=list)
    proven: list[str] = field(default_factory=list)
    not_proven: list[str] = field(default_factory=list)
    holes: list[tuple[int, str]] = field(default_factory=list)


@dataclass(frozen=True)
class Kept:
    """A head or a code that somebody kept: `root` is the whole root, or the beginning of it."""

    name: str
    number: int
    size: int
    root: str


def compare(record: Record, kept: Sequence[Kept], now_ms: int) -> Findings:
    """Compare the entries with the heads in the record, and both with what was kept outside."""
    out = Findings()
    good, why = chain(record.heads)
    if why:
        out.wrong.append(f"{why}; heads from there on are not looked at")
    times = list[Time]()
    found = roots(record, [*(head.size for head in good), *(each.size for each in kept)], times)
    out.holes += holes(times)
    agreed = _agreed(record, good, found, out)
    held = _held(record, kept, found, out)
    if not out.wrong:
        _say(record, agreed, held, out, now_ms)
    return out


def _agreed(record: Record, good: list[Head], found: dict[int, bytes], out: Findings) -> int:
    """Return up to which entry the heads agree with the entries; the first that does not is told."""
    agreed = 0
    for head in good:
        if head.size > record.size:
            out.wrong.append(f"entries {record.size + 1} to {head.size} are missing: {head.name} covers them")
            break
        if head.size in found and found[head.size].hex() != head.root:
            out.wrong.append(f"entries {agreed + 1} to {head.size} do not match {head.name}")
            break
        agreed = head.size if head.size in found else agreed
    return agreed


def _held(record: Record, kept: Sequence[Kept], found: dict[int, bytes], out: Findings) -> int:
    """Return up to which entry the record is what somebody else has held; where it is not is told."""
    held = 0
    for each in sorted(kept, key=lambda one: one.size):
        if each.size > record.size:
            out.wrong.append(f"you hold {each.name}, this record ends at entry {record.size}: its end was cut off")
        elif each.size not in found:
            out.not_proven.append(f"{each.name}: the entries before number {each.size} are left out here")
        elif not found[each.size].hex().startswith(each.root):
            out.wrong.append(f"entries {held + 1} to {each.size} are not those of {each.name}, which you hold")
        elif each.number > len(record.heads):
            out.wrong.append(f"you hold {each.name}, which is not in this record: heads were cut off")
        else:
            held = each.size
    return held


def _say(record: Record, agreed: int, held: int, out: Findings, now_ms: int) -> None:
    size, left = record.size, sum(count for count, name, _ in record.blocks if name is None)
    if held:
        out.proven.append(
            f"entries 1 to {held}: nothing was changed, added or removed since the head or code that you hold"
        )
    if agreed:
        out.proven.append(f"entries 1 to {agreed} agree with all heads up to {record.heads[-1].name}")
    if left:
        out.not_proven.append(f"what {left} entries said that are left out here; only their hashes are known")
    if agreed > held:
        out.not_proven.append(
            f"that who has the key did not rewrite entries {held + 1} to {agreed}: give a newer head or code that "
            "somebody else kept (--head, --code)"
        )
    if size > agreed:
        out.not_proven.append(f"entries {agreed + 1} to {size}: no head covers them")
    if record.heads:
        hours = (now_ms - record.heads[-1].time_ms) / 3_600_000
        out.not_proven.append(
            f"that nothing came later: the newest head is {hours:.1f} h older than the clock here"
        )
    out.not_proven.append("that sensors told the truth, that what was written first was true, and the time of day")


def words(entry: bytes) -> str:
    """Return an entry as text: kind, the gateway's own time in ms, and what it holds."""
    kind, _, core_ms = struct.unpack_from(">BBq", entry)
    body = entry[15:] if kind == 1 else entry[10:]  # a message: 5 bytes on how it came, then topic and payload
    return f"{KINDS[kind] if kind < len(KINDS) else kind} at {core_ms} ms: {body.decode('utf-8', 'replace')}"


# -- the command ---------------------------------------------------------------------------------------


def main(arguments: list[str] | None = None) -> int:
    """Return 0 when nothing is wrong, 1 when something is, 2 when it cannot be read."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("file", type=Path, help="the record, a .zip")
    parser.add_argument("--key", default="", help="fingerprint of one of the gateway's keys, as written down")
    parser.add_argument(
        "--head", type=Path, action="append", default=[], help="a head that was kept: the saved mail"
    )
    parser.add_argument("--code", action="append", default=[], help="a record code that was kept")
    parser.add_argument("--holes", action="store_true", help=f"print all holes, not only the {MOST_HOLES} longest")
    parser.add_argument("--show", type=int, help="print this entry, too")
    args = parser.parse_args(arguments)
    try:
        record = read(args.file)
        return _tell(record, args)
    except (Unreadable, OSError, struct.error, KeyError, zipfile.BadZipFile, zlib.error) as error:
        print(f"CANNOT BE CHECKED: {error}")
        return 2


def _tell(record: Record, args: argparse.Namespace) -> int:
    keys = list(dict.fromkeys(fingerprint(head.key) for head in record.heads))
    print(f"{record.size} entries, {len(record.heads)} heads, key {', then '.join(keys)}")
    kept = [_kept_head(path, record) for path in args.head] + [_kept_code(text) for text in args.code]
    out = compare(record, kept, time.time_ns() // 1_000_000)
    if args.key and args.key not in keys:
        out.wrong.insert(0, f"no head is signed by the key {args.key}")
    elif not args.key:
        out.not_proven.insert(0, "whose key it is: compare it with the fingerprint that was written down (--key)")
    proven = [] if out.wrong else out.proven
    longest = sorted(out.holes, reverse=True)[: None if args.holes else MOST_HOLES]
    shown = [each for each in out.holes if each in longest]
    holes_told = [words for _, words in shown]
    if left := len(out.holes) - len(shown):
        together = (sum(ms for ms, _ in out.holes) - sum(ms for ms, _ in shown)) / 60_000
        holes_told.append(f"{left} shorter ones, {together:.0f} min together; --holes prints them all")
    told = ("WRONG", out.wrong), ("PROVEN", proven), ("HOLE", holes_told), ("NOT PROVEN", out.not_proven)
    for title, lines in told:
        for line in lines:
            print(f"{title}: {line}")
    if args.show:
        (_, name, _), at = record.blocks[(args.show - 1) // BLOCK], (args.show - 1) % BLOCK
        print(f"entry {args.show}: {words(list(entries_of(record.path, name))[at]) if name else 'left out'}")
    return 1 if out.wrong else 0


def _kept_head(path: Path, record: Record) -> Kept:
    head = head_of(path.read_text(errors="replace"))
    if not head.is_signed() or head.key not in {each.key for each in record.heads}:
        raise Unreadable(f"{path}: this head was not signed by a key of this record")
    return Kept(head.name, head.number, head.size, head.root)


def _kept_code(text: str) -> Kept:
    found = re.fullmatch(r"(?:H(\d+)-)?(\d+)-([0-9a-f]{16})", text.strip())  # a report's own code has no head
    if not found:
        raise Unreadable(f"{text!r} is no record code; one looks like H17-4711-89ab89ab89ab89ab")
    return Kept(f"the code {text.strip()}", int(found[1] or 0), int(found[2]), found[3])


if __name__ == "__main__":
    sys.exit(main())
