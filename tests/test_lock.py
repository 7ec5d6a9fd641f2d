"""What is installed is what was locked: each package by hash, and each there for one that is argued for."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.test_docs import DEVELOPERS

ROOT = Path(__file__).parent.parent
LOCKS = ("demo.txt", "all.txt")
US = "dewgate"


@dataclass(frozen=True)
class Locked:
    """One package of a lock: its version, its hashes, and the packages for whose sake it is there."""

    version: str
    hashes: frozenset[str]
    needed_by: frozenset[str]


def locked(name: str) -> dict[str, Locked]:
    """Every package of a lock; anything in it that is no package pinned by version fails here."""
    text = (ROOT / "lock" / name).read_text()
    blocks = re.split(r"^(?=\S)", re.sub(r"^#.*\n", "", text, flags=re.MULTILINE), flags=re.MULTILINE)
    found = {}
    for block in filter(str.strip, blocks):
        head = re.match(r"([a-z0-9][a-z0-9.-]*)==([0-9][\w.+!-]*) \\\n", block)
        assert head, f"not pinned: {block.splitlines()[0]}"
        comments = " ".join(re.findall(r"# ?(.*)$", block, re.MULTILINE)).removeprefix("via ")
        by = {re.sub(r"\[.*", "", word.strip("()")) for word in comments.split() if word != "(pyproject.toml)"}
        hashes = re.findall(r"--hash=sha256:([0-9a-f]{64})", block)
        found[head[1]] = Locked(head[2], frozenset(hashes), frozenset(by))
    return found


@pytest.mark.parametrize("name", LOCKS)
def test_every_package_has_its_hashes_and_its_reason(name: str) -> None:
    """Followed upwards, each is there for one of those that pyproject.toml names, which `test_docs` asks about."""
    packages = locked(name)
    assert [each for each, what in packages.items() if not what.hashes or not what.needed_by] == []
    argued = {each for each, what in packages.items() if US in what.needed_by}
    while more := {each for each, what in packages.items() if what.needed_by & argued} - argued:
        argued |= more
    assert set(packages) - argued == set()


def test_the_tests_try_what_is_shipped() -> None:
    """The same versions in both locks."""
    demo, everything = (locked(name) for name in LOCKS)
    assert {name: what.version for name, what in demo.items()} == {name: everything[name].version for name in demo}


def test_the_lists_in_the_documentation_are_of_this_lock() -> None:
    """A changed lock must be looked through and asked for its wheels again: counts and dates stand together."""
    (stated,) = re.findall(
        r"On \d{4}-\d\d-\d\d all (\d+) packages had one for Python 3.11, 3.12 and 3.13", DEVELOPERS
    )
    assert int(stated) == len(locked("demo.txt"))
    assert f"Of the {len(locked('all.txt'))} packages of `lock/all.txt`" in DEVELOPERS
    (looked,) = re.findall(r"Looked through on\s(\d{4}-\d\d-\d\d): (\d+) and (\d+) packages", DEVELOPERS)
    assert [int(count) for count in looked[1:]] == [len(locked(name)) for name in LOCKS]


def test_no_compiler_is_needed_where_it_is_installed() -> None:
    """The installer and the image take the same lock, by hash."""
    for file in ("install.sh", "Dockerfile"):
        assert re.search(r"--require-hashes.* -r \S*lock/demo\.txt", (ROOT / "deploy" / file).read_text()), file
