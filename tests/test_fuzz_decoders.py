"""The search for bytes that break a decoder runs, is short, and says so when it finds some."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.faults.fuzz_decoders import DECODERS

ROOT = Path(__file__).parents[1]
BROKEN = """
from time import sleep
from tests.faults import fuzz_decoders
from tests.faults.fuzz_decoders import DECODERS, Fuzzed, main

held = []
def check(payload):
    if b"2" in payload:
        {does}

DECODERS["broken"] = Fuzzed(lambda: check, lambda: [b"1"], ("2",))
fuzz_decoders.LONGEST_S = 3
fuzz_decoders.MOST_MB = 200
raise SystemExit(main("broken"))
"""


def run(*words: str, folder: Path = ROOT) -> subprocess.CompletedProcess[str]:
    where = os.environ | {"PYTHONPATH": f"{ROOT}{os.pathsep}{folder}"}
    command = [sys.executable, "-m", *words]
    return subprocess.run(command, cwd=folder, env=where, capture_output=True, text=True, timeout=120, check=False)


def test_no_decoder_loses_a_message() -> None:
    """Four seconds each: hundreds of messages and more, none of which raises, hangs or swells."""
    done = run("tests.faults.fuzz_decoders", "--seconds", "4")
    assert done.returncode == 0, done.stderr
    found = dict(re.findall(r"^fault fuzz_(\w+) (\d+) lost 0 twice 0$", done.stdout, re.MULTILINE))
    assert list(found) == list(DECODERS)
    assert all(int(runs) > 100 for runs in found.values()), found


@pytest.mark.parametrize(
    ("does", "said", "kind"),
    [
        ("raise ValueError('lost')", "ValueError: lost", "crash"),
        ("while True: pass", "timeout after", "timeout"),
        ("held.append(b'1' * 300_000_000); sleep(2)", "out-of-memory", "oom"),
    ],
)
def test_a_lost_message_is_told_and_kept(does: str, said: str, kind: str, tmp_path: Path) -> None:
    """An exception, a hang and a swollen process each end the search, with the bytes kept."""
    (tmp_path / "broken.py").write_text(BROKEN.format(does=does))
    done = run("broken", "--seconds", "20", "--only", "broken", "--kept", str(tmp_path), folder=tmp_path)
    assert done.returncode == 1
    assert done.stdout.splitlines()[-1] == "fault fuzz_broken 0 lost 1 twice 0"
    assert said in done.stderr
    (kept,) = tmp_path.glob(f"broken-{kind}-*")
    assert b"2" in kept.read_bytes()
