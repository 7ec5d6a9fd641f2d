"""A copy of the home that can be trusted: taken while `run` works, whole or not there, checked before it is used.

One zip file (mode 0600): the databases as one moment left each, the other files of the home, and `manifest.json`
with the SHA-256 of every one. The journal is copied first: a delivery that is tried meanwhile is then known to
both or only to `delivery.db`, and no message is sent twice for it. Keys and channel addresses go along only when
asked for.
"""

from __future__ import annotations

import json
import os
import sqlite3
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import file_digest
from pathlib import Path

from gateway import heads, tree
from gateway.adapters import base
from gateway.adapters import heads as table
from gateway.adapters.journal import check_version, entries_after, open_reader
from gateway.adapters.signing import is_signed, sync_folder

FORMAT = 1
SECRET = ("keys", "seal", "contacts.toml")
_LEFT_OUT = ("inbox", "writer.lock", "delivery.lock")
_SUFFIXES = (".db-wal", ".db-shm", ".part")
NAME = "dewgate-{:%Y%m%dT%H%M%SZ}.zip"
Progress = Callable[[str, int, int], None]


class Refused(Exception):
    """A backup cannot be made or is not to be trusted; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Summary:
    """What a backup holds: entries of its journal, the newest head's record code, the names of its files."""

    path: Path
    entries: int
    code: str
    names: tuple[str, ...]


def make(home: Path, out: Path, with_secrets: bool, progress: Progress) -> Summary:
    """Write a backup of a home into the folder `out`. Raises Refused, OSError, sqlite3.Error."""
    if not (home / "journal.db").exists():
        raise Refused(f"{home}: there is no journal.db; is this the home of a gateway?")
    out.mkdir(mode=0o700, parents=True, exist_ok=True)
    now = datetime.now(UTC)
    path = out / NAME.format(now)
    part = path.with_suffix(".part")
    with tempfile.TemporaryDirectory(dir=out, prefix=".copy-") as folder:
        names = list(_names(home, with_secrets))
        for done, name in enumerate(names):
            progress("files", done, len(names) + 1)
            _copy(home / name, Path(folder) / name)
        summary = _summary(path, Path(folder), names)
        _pack(part, Path(folder), summary, now)
    part.replace(path)
    sync_folder(out)
    progress("files", len(names) + 1, len(names) + 1)
    return summary


def restore(file: Path, home: Path, progress: Progress) -> Summary:
    """Make a new home of a backup, once everything in it was checked. Raises Refused, OSError, sqlite3.Error."""
    if home.exists() and any(home.iterdir()):
        raise Refused(f"{home} is not empty: a backup is put into a new folder, nothing is overwritten")
    part = home.with_name(f"{home.name}.part")
    if part.exists():
        raise Refused(f"{part} is left of a restore that was broken off: look at it, remove it, try again")
    part.mkdir(mode=0o700, parents=True)
    names = _unpack(file, part, progress)
    summary = _summary(file, part, names)
    if home.exists():
        _give(part, home.stat())
        home.rmdir()
    part.rename(home)
    sync_folder(home.parent)
    return summary


def _give(folder: Path, owner: os.stat_result) -> None:
    """Root, which alone may write beside a service's home, leaves everything to whom the empty home belonged."""
    if os.geteuid() == 0:
        for path in (folder, *folder.rglob("*")):
            os.chown(path, owner.st_uid, owner.st_gid)


def keep_newest(out: Path, count: int) -> list[Path]:
    """Remove all but the newest backups of a folder; return what was removed."""
    old = sorted(out.glob("dewgate-*T*Z.zip"))[:-count]
    for path in old:
        path.unlink()
    return old


def _names(home: Path, with_secrets: bool) -> Iterator[str]:
    """Every file of a home that a new one needs, the journal first."""
    yield "journal.db"
    for path in sorted(home.rglob("*")):
        first = path.relative_to(home).parts[0]
        wanted = path.is_file() and not path.is_symlink() and path.suffix not in _SUFFIXES
        if wanted and first not in ("journal.db", *_LEFT_OUT) and (with_secrets or first not in SECRET):
            yield str(path.relative_to(home))


def _copy(source: Path, copy: Path) -> None:
    copy.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    if source.suffix != ".db":
        copy.write_bytes(source.read_bytes())
        return
    with closing(open_reader(source)) as reader, closing(sqlite3.connect(copy)) as made:
        reader.backup(made)  # all pages in one go: one moment, however much is written meanwhile
        made.execute("PRAGMA journal_mode=DELETE")


def _summary(path: Path, folder: Path, names: list[str]) -> Summary:
    """Look whether the journal adds up to its newest head. Raises Refused when it does not."""
    with closing(open_reader(folder / "journal.db")) as reader:
        check_version(reader, path)
        if (kept := base.kept(reader)) and not base.is_of(kept, reader):
            raise Refused(f"{path}: what stands for its dropped entries was not made from them")
        peaks = base.flow_of(reader).state.peaks
        size = dropped = sum(leaves for leaves, _ in peaks)
        signed = table.newest(reader)
        for size, each in enumerate(entries_after(reader, dropped), dropped + 1):
            tree.append(peaks, each)
            if signed and size == signed.head.size and tree.root(peaks).hex() != signed.head.root:
                raise Refused(f"{path}: its entries do not give the root of its newest head {signed.code}")
    if signed and not (signed.head.size <= size and _is_its_keys(signed)):
        raise Refused(f"{path}: its newest head {signed.code} names more entries than there are, or is not signed")
    return Summary(path, size, signed.code if signed else "no head yet", tuple(names))


def _is_its_keys(signed: heads.Signed) -> bool:
    words = heads.SIGNED_AS + signed.head.statement()
    return is_signed(bytes.fromhex(signed.head.key), words, signed.signature)


def _pack(part: Path, folder: Path, summary: Summary, now: datetime) -> None:
    manifest = {
        "format": FORMAT, "made": now.isoformat(timespec="seconds"), "entries": summary.entries,
        "head": summary.code, "sha256": {name: _digest(folder / name) for name in summary.names},
    }  # fmt: skip
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
            packed.writestr("manifest.json", json.dumps(manifest, indent=1))
            for name in summary.names:
                packed.write(folder / name, name)
        file.flush()
        os.fsync(file.fileno())


def _unpack(file: Path, folder: Path, progress: Progress) -> list[str]:
    """Unpack into a folder of our own what the manifest names, and compare. Raises Refused."""
    try:
        with zipfile.ZipFile(file) as packed:
            said = json.loads(packed.read("manifest.json"))
            if said["format"] != FORMAT:
                raise Refused(f"{file}: format {said['format']} is not this program's {FORMAT}; update it")
            for done, (name, digest) in enumerate(said["sha256"].items(), 1):
                _unpack_one(packed, name, folder / name, digest, folder)
                progress("files", done, len(said["sha256"]))
            return list(said["sha256"])
    except (zipfile.BadZipFile, KeyError, TypeError, ValueError, EOFError) as error:
        raise Refused(f"{file} is not a whole backup of this program: {error}") from None


def _unpack_one(packed: zipfile.ZipFile, name: str, path: Path, digest: str, folder: Path) -> None:
    if not path.resolve().is_relative_to(folder.resolve()):
        raise Refused(f"the backup names a file outside the home: {name}")
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with packed.open(name) as source, os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT, 0o600), "wb") as made:
        while chunk := source.read(1 << 20):
            made.write(chunk)
        made.flush()
        os.fsync(made.fileno())
    if _digest(path) != digest:
        raise Refused(f"{name} in the backup is not what was put into it: take an older backup")


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()
