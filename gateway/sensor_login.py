"""`dewgate sensors add NAME`: a password by which the broker knows one sensor, and lets it speak as itself only.

The two files are Mosquitto's own: hashed passwords (made by its own program) and the topics each name may use. A
password is made here and shown once.
"""

from __future__ import annotations

import argparse
import secrets
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from gateway.site_words import plain_id

FOLDER = Path("/etc/mosquitto/dewgate")
GATEWAY_NAME = "dewgate-run"
_GATEWAY = f"user {GATEWAY_NAME}\ntopic readwrite #\n"


class Refused(Exception):
    """The sensor cannot be given a password; the message says why and what to do."""


def run(words: list[str], caution: str) -> int:
    """Run the command: 0 when done, 1 when refused."""
    args = _parser(caution).parse_args(words)
    try:
        jobsite = args.jobsite or _in_force(args.home)
        password = add(args.broker_folder, args.name, jobsite, anew=args.anew)
    except (Refused, OSError) as error:
        print(f"dewgate sensors add: {error}", file=sys.stderr)
        return 1
    print(f"user      {args.name}\npassword  {password}\ntopic     {_topic(args.name, jobsite)}")
    print("The password is not kept anywhere: write it into the sensor now. Then: systemctl reload mosquitto")
    return 0


def _parser(caution: str) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("dewgate sensors add", description=__doc__, epilog=caution)
    parser.add_argument("name", help=f"the sensor's id; {GATEWAY_NAME} for the gateway itself")
    parser.add_argument("--jobsite", default="", help="id of the jobsite; the one in force unless given")
    parser.add_argument("--broker-folder", type=Path, default=FOLDER, help=f"where the two files are ({FOLDER})")
    parser.add_argument("--anew", action="store_true", help="another password for a name that has one")
    parser.add_argument("--home", type=Path, default=Path("dewgate-home"), help="folder of the journal")
    return parser


def add(folder: Path, name: str, jobsite: str, *, anew: bool = False) -> str:
    """Let a sensor of a jobsite in and return its password. Raises Refused, OSError."""
    for word in (name, jobsite):
        try:
            plain_id(word)
        except ValueError as error:
            raise Refused(f"{word!r}: {error}") from None
    known = _lines(folder / "passwords")
    if name in {line.partition(":")[0] for line in known} and not anew:
        raise Refused(f"{name} has a password already; with --anew it gets another")
    password = secrets.token_urlsafe(18)
    kept = [line for line in known if line.partition(":")[0] != name]
    _write(folder / "passwords", [*kept, _hashed(name, password)])
    _write(folder / "topics", _with_topic(_lines(folder / "topics"), name, jobsite))
    return password


def _with_topic(lines: list[str], name: str, jobsite: str) -> list[str]:
    """The topics file with this sensor's right; what others may stays as it is."""
    if name == GATEWAY_NAME:
        return lines if _GATEWAY.splitlines()[0] in lines else [*lines, *_GATEWAY.splitlines()]
    right = f"topic write {_topic(name, jobsite)}"
    return lines if right in lines else [*lines, f"user {name}", right]


def _topic(name: str, jobsite: str) -> str:
    return f"dewgate/{jobsite}/{name}"


def _hashed(name: str, password: str) -> str:
    """One line of the passwords file; the password is given by a file, since others can read a command line."""
    program = shutil.which("mosquitto_passwd", path="/usr/bin:/usr/sbin:/usr/local/bin")
    if program is None:
        raise Refused("mosquitto_passwd is not installed: apt install mosquitto")
    with tempfile.NamedTemporaryFile("w", suffix=".plain") as file:  # mode 0600
        file.write(f"{name}:{password}\n")
        file.flush()
        subprocess.run([program, "-U", file.name], check=True, capture_output=True)  # noqa: S603  no words of others
        return Path(file.name).read_text("ascii").strip()


def _lines(path: Path) -> list[str]:
    return path.read_text("utf-8").splitlines() if path.exists() else []


def _write(path: Path, lines: list[str]) -> None:
    """Whole or not at all; readable for the broker's group only, as the folder's group says."""
    path.parent.mkdir(mode=0o750, parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.touch(mode=0o640)
    shutil.chown(part, group=path.parent.stat().st_gid)
    part.write_text("".join(f"{line}\n" for line in lines), "utf-8")
    part.replace(path)


def _in_force(home: Path) -> str:
    """The id of the jobsite whose ConfigSet is the newest."""
    from gateway.adapters.home import restore

    if not (home / "journal.db").exists():
        raise Refused(f"{home}: there is no journal.db; name the jobsite with --jobsite")
    site = restore(home / "journal.db").site
    if site is None:
        raise Refused(f"{home}: no jobsite is in force; name it with --jobsite")
    return site.id
