"""Which locked packages have a ready wheel for which machine and Python: `python deploy/wheels.py [LOCK]`.

Asks the package index that pip is set up with, installs nothing, and prints a table. A gateway box has no
compiler: a package without a wheel cannot be installed there. Wheels for a glibc up to Debian 12's (2.36) count.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path

LOCK = Path(__file__).parent.parent / "lock" / "demo.txt"
MACHINES = ("x86_64", "aarch64")  # Debian's amd64 and arm64
PYTHONS = ("3.11", "3.12", "3.13")
NEWEST_GLIBC = 36
_LOCKED = re.compile(
    r"^([a-z0-9][a-z0-9._-]*)==([^ \\]+).*?((?:\n    --hash=sha256:[0-9a-f]{64}.*)+)", re.MULTILINE
)


def locked(text: str) -> dict[str, str]:
    """Return each package of a lock with its lines."""
    return {found[1]: found[0] for found in _LOCKED.finditer(text)}


def tags(machine: str) -> list[str]:
    """Return the platform tags whose wheels run there."""
    found = [f"manylinux_2_{minor}_{machine}" for minor in range(5, NEWEST_GLIBC + 1)]
    found += [f"manylinux2014_{machine}", f"linux_{machine}"]
    return [*found, f"manylinux1_{machine}", f"manylinux2010_{machine}"] if machine == "x86_64" else found


def missing(packages: dict[str, str], machine: str, python: str) -> list[str]:
    """Return the packages without a wheel for a machine and a Python; what pip says of one is taken out and it is
    asked again.
    """
    left, lacking = dict(packages), list[str]()
    while True:
        answer = _ask(left, machine, python)
        if answer.returncode == 0:
            names = {each["metadata"]["name"] for each in json.loads(answer.stdout)["install"]}
            if len(names) != len(left):
                raise RuntimeError(f"pip found {len(names)} of {len(left)} packages")
            return lacking
        found = re.search(r"No matching distribution found for ([a-z0-9._-]+)", answer.stderr, re.IGNORECASE)
        if not found or found[1].lower() not in left:
            raise RuntimeError(answer.stderr[-800:])
        lacking.append(found[1].lower())
        del left[found[1].lower()]


def _ask(packages: dict[str, str], machine: str, python: str) -> subprocess.CompletedProcess[str]:
    with tempfile.TemporaryDirectory() as folder:
        lock = Path(folder) / "lock.txt"
        lock.write_text("\n".join(packages.values()))
        words = ["--dry-run", "--ignore-installed", "--no-deps", "--only-binary=:all:", "--require-hashes", "-q"]
        words += ["--python-version", python, "--implementation", "cp", "--target", folder, "--report", "-"]
        words += [word for tag in tags(machine) for word in ("--platform", tag)]
        command = [sys.executable, "-m", "pip", "install", *words, "-r", str(lock)]
        return subprocess.run(command, capture_output=True, text=True, check=False)  # noqa: S603  our own words


def main(arguments: list[str]) -> int:
    """Print the table; return 1 when anything is missing."""
    lock = Path(arguments[0]) if arguments else LOCK
    packages = locked(lock.read_text("utf-8"))
    print(f"| {lock.name}: {len(packages)} packages | " + " | ".join(PYTHONS) + " |")
    print("|---" * (len(PYTHONS) + 1) + "|", flush=True)
    worst = 0
    for machine in MACHINES:
        lacking = [missing(packages, machine, python) for python in PYTHONS]
        worst = max(worst, *map(len, lacking))
        cells = [f"none for {', '.join(each)}" if each else "all" for each in lacking]
        print(f"| {machine} | " + " | ".join(cells) + " |", flush=True)
    return 1 if worst else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
