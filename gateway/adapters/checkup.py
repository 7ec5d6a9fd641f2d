"""What a healthy box shows: disk, clock, keys, broker, channels, sensors, each looked at by itself.

Nothing is changed but one small file that is written and removed to time the disk. What cannot
be found out is said as such.
"""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import time
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from statistics import median

from gateway.adapters import broker_check
from gateway.adapters import heads as table
from gateway.adapters.address import Address
from gateway.adapters.health import room
from gateway.adapters.home import is_locked, restore
from gateway.adapters.journal import open_reader
from gateway.adapters.signing import Keys
from gateway.flow import Flow

SYNCS, QUICK_MS = 20, 0.05
"""No disk or flash that has really written is back within 0.05 ms (common practice, no source)."""
HEAD_LATE_MS = 1_200_000  # two intervals between heads
FEW_DAYS, SOON_DAYS = 30, 30
PATIENCE_S = 15.0  # a person who asks can wait longer than a gateway that begins


class Level(StrEnum):
    """How a finding is meant."""

    GOOD = "good"
    LOOK = "look"
    BAD = "bad"


@dataclass(frozen=True, slots=True)
class Found:
    """One thing that was looked at: what was seen, and what to do, empty where nothing is to be done."""

    level: Level
    what: str
    do: str = ""


def disk(home: Path) -> list[Found]:
    """Room, days left at the pace so far, and whether the disk writes what it says it wrote."""
    found = [_days(home)]
    times = [_sync_ms(home / "doctor.part") for _ in range(SYNCS)]
    (home / "doctor.part").unlink()
    said = f"disk: a small write takes {median(times):.2f} ms (median of {SYNCS})"
    if median(times) < QUICK_MS:
        do = "it may answer before it has written: use a disk with power-loss protection, or none in memory"
        return [*found, Found(Level.BAD, said, do)]
    return [*found, Found(Level.GOOD, said)]


def _days(home: Path) -> Found:
    found = room(home, time.time() * 1000)
    said = f"disk: {found.words}"
    if found.days is None:
        return Found(Level.GOOD if found.free > 1e9 else Level.LOOK, said)
    enough = found.days > FEW_DAYS
    return Found(Level.GOOD if enough else Level.BAD, said, "" if enough else "make room")


def _sync_ms(path: Path) -> float:
    began = time.perf_counter()
    held = os.open(path, os.O_WRONLY | os.O_CREAT, 0o600)
    try:
        os.write(held, bytes(4096))
        os.fsync(held)
    finally:
        os.close(held)
    return (time.perf_counter() - began) * 1000


def clock() -> list[Found]:
    """Whether the clock is set by a server."""
    program = shutil.which("timedatectl")
    said = ""
    if program:
        ask = [program, "show", "--property=NTPSynchronized", "--value"]
        said = subprocess.run(ask, capture_output=True, text=True, check=False, timeout=10).stdout.strip()  # noqa: S603
    if said == "yes":
        return [Found(Level.GOOD, "clock: set by a time server")]
    do = "set up a time server (systemd-timesyncd or chrony) or a clock receiver: the record lives by its times"
    if said == "no":
        return [Found(Level.BAD, "clock: not set by any time server", do)]
    return [Found(Level.LOOK, "clock: it cannot be told whether a time server sets it", do)]


def ownership(home: Path) -> list[Found]:
    """Whether everything in the home belongs to who owns it, and whether others can look into it."""
    owner = home.stat().st_uid
    strange = [path for path in sorted(home.rglob("*")) if path.lstat().st_uid != owner]
    found = []
    if strange:
        what = (
            f"permissions: {strange[0]} and {len(strange) - 1} more"
            if strange[1:]
            else f"permissions: {strange[0]}"
        )
        do = f"chown -R --reference={home} {home}: a command was run as somebody else than the service"
        found.append(Found(Level.BAD, f"{what}: not of the user who owns {home}, and it cannot write it", do))
    if stat.S_IMODE(home.stat().st_mode) & 0o077:
        found.append(Found(Level.LOOK, f"permissions: others can look into {home}", f"chmod go= {home}"))
    return found or [Found(Level.GOOD, f"permissions: {home} belongs to one user, and is closed to others")]


def services(home: Path) -> list[Found]:
    """Whether somebody writes the journal of this home, and somebody sends its messages."""
    found = []
    for lock, name, without in (
        ("writer.lock", "run", "nothing is received or judged"),
        ("delivery.lock", "deliver", "no message goes out"),
    ):
        if is_locked(home / lock):
            found.append(Found(Level.GOOD, f"{name}: at work"))
        else:
            do = f"systemctl start dewgate-{name}; what it says: journalctl -u dewgate-{name}"
            found.append(Found(Level.BAD, f"{name}: not at work, {without}", do))
    return found


def keys(home: Path) -> list[Found]:
    """The signing key, who can read it, and how old the newest head is."""
    own = Keys(home)
    if not own.public:
        return [Found(Level.BAD, f"key: none in {own.folder}", "put the backup of the folder keys back")]
    loose = [
        path for path in (home, own.folder, *own.folder.iterdir()) if stat.S_IMODE(path.stat().st_mode) & 0o077
    ]
    found = [
        Found(Level.BAD, f"key: others can look into {path}", f"chmod go= {path}")
        for path in loose
        if path != home
    ]
    found = found or [Found(Level.GOOD, "key: there, and nobody else can read it")]
    with closing(open_reader(home / "journal.db")) as reader:
        newest = table.newest(reader)
    return [*found, _head(newest.head.time_ms if newest else None)]


def _head(made_ms: int | None) -> Found:
    if made_ms is None:
        return Found(Level.LOOK, "record: no signed head yet", "start dewgate run")
    when = datetime.fromtimestamp(made_ms / 1000, UTC).isoformat(timespec="seconds")
    if time.time() * 1000 - made_ms > HEAD_LATE_MS:
        return Found(
            Level.BAD, f"record: the newest signed head is of {when}", "is dewgate run at work? see its messages"
        )
    return Found(Level.GOOD, f"record: newest signed head of {when}")


def broker(at: Address, client_id: str) -> list[Found]:
    """What can be found out over MQTT about the settings the promises need."""
    said, is_fault = broker_check.check(at, f"{client_id}-doctor", PATIENCE_S)
    if not said:
        return [Found(Level.GOOD, f"broker {at}: keeps what waits for a gateway that is away")]
    do = "is it running, and at this address? its login: --broker-user, --broker-password-file, as `run` has them"
    if is_fault:
        do = "take the settings of deploy/mosquitto.conf or mosquitto-network.conf, then restart the broker"
    return [Found(Level.BAD, said, do)]


def certificate(path: Path) -> list[Found]:
    """How long a certificate is good for."""
    from cryptography import x509

    try:
        until = x509.load_pem_x509_certificate(path.read_bytes()).not_valid_after_utc
    except (OSError, ValueError) as error:
        return [Found(Level.BAD, f"certificate {path}: cannot be read ({error})", "make it again")]
    days = (until - datetime.now(UTC)).days
    said = f"certificate {path}: good until {until:%Y-%m-%d}"
    if days < SOON_DAYS:
        return [Found(Level.BAD, f"{said}, {days} days", "deploy/make-certificates.sh makes it again")]
    return [Found(Level.GOOD, said)]


def sensors(home: Path) -> list[Found]:
    """Which sensors of the jobsite in force say nothing that can be used."""
    flow = restore(home / "journal.db")
    if flow.site is None:
        return [Found(Level.BAD, "jobsite: none is in force", "dewgate apply FILE")]
    silent = _unknown(flow)
    count = len(flow.site.sensors)
    if not silent:
        return [Found(Level.GOOD, f"sensors: all {count} say something that can be used")]
    do = "dewgate sensors says more; look at its battery, its radio, its place"
    return [Found(Level.LOOK, f"sensor {said}", do) for said in silent]


def _unknown(flow: Flow) -> list[str]:
    said = (flow.read(name) for name in flow.sensors)
    return [each.reason for each in said if each.value is None]
