"""Whether what a site says of itself follows from its journal: the copy held here, folded again.

Each word of how the site stands is held against the board that the entries before it give. The fold goes on where
it ended last, so that a check costs what is new, about 0.3 ms an entry. It runs in a process of its own and keeps
its place in the yard's folder `checks`. The readings themselves are taken as they stand in the journal.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field
from itertools import groupby, islice
from pathlib import Path
from typing import Any

from gateway import entry, overview, proofs, standing, tree
from gateway.adapters import base
from gateway.adapters.journal import WrongJournal, entries_after, last_of, open_reader
from gateway.adapters.site_book import NAME, SITES
from gateway.adapters.subtrees import Subtrees
from gateway.adapters.yard_db import Checked
from gateway.entry import Kind
from gateway.flow import CORE_VERSION, SECOND, Flow
from gateway.flow_state import Outcomes
from gateway.payload import canonical

PLACES = "checks"
WINDOW_MS = 4000  # a board is made anew once a second and a word is told with the next turn after it
FIRST_TICKS, LAST_TICKS = 15, 5  # whole seconds judged at the begin and the end of a pause

Candidates = list[tuple[int, dict[str, Any]]]
"""What the board would have said, and at which core time."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a check ended: the flow after the entry `seq`, by which core, and what was found up to there.

    strange: the newest start of the site was of another version, and no word has followed since.
    """

    seq: int
    core_version: str
    state: bytes
    found: Checked
    running: str
    strange: bool


@dataclass(slots=True)
class _Words:
    """Folds entries in and holds each word among them against the boards it may have been made from."""

    flow: Flow
    found: Checked
    running: str = CORE_VERSION
    strange: bool = False
    _told: list[tuple[int, str, str]] = field(default_factory=list)

    def take(self, entries: Sequence[bytes]) -> None:
        """Fold a stretch in. Only a word that does not follow at once is looked at closely, from before."""
        before, first = self.flow.checkpoint(), self.flow.state.sequence + 1
        said = dict(_held(self.flow, entries, closely=False))
        if any(said.values()):
            said |= dict(_held(Flow.from_checkpoint(before), entries, closely=True))
        for number, made in enumerate(entries, first):
            if made[0] == Kind.STARTED:
                self.running = str(canonical.to_dict(entry.body_of(made)).get("core_version", CORE_VERSION))
                self.strange |= self.running != CORE_VERSION
            elif number in said:
                self._count(number, said[number])

    def _count(self, number: int, why: str) -> None:
        """A site of another version may judge otherwise; where the two agree again, they are one again."""
        if not why:
            self.strange &= self.running != CORE_VERSION
        self.found = self.found.and_one(number, why, untold=self.strange)


def _held(flow: Flow, entries: Sequence[bytes], *, closely: bool) -> Iterator[tuple[int, str]]:
    """Fold entries in; yield the number of each word and what in it does not follow, or nothing."""
    groups = [(at, list(each)) for at, each in groupby(entries, lambda made: entry.kind_and_time(made)[1])]
    near = _near([at for at, _ in groups], [any(made[0] == Kind.STANDING for made in each) for _, each in groups])
    boards: Candidates = []
    for at, group in groups:
        if closely and near[at] and not any(made[0] == Kind.STARTED for made in group):
            boards += _ticked(flow, at)
        for number, made in enumerate(group, flow.state.sequence + 1):
            if made[0] == Kind.STANDING:
                said = canonical.to_dict(entry.body_of(made))
                known = boards if closely else _now(flow)
                yield number, standing.contradicts(said, [each for _, each in known], dict(flow.state.counts))
        flow.advance(group, Outcomes())
        if closely and near[at]:
            boards += _now(flow)
        boards = [each for each in boards if each[0] >= at - WINDOW_MS] or boards[-1:]


def _near(times: Sequence[int], words: Sequence[bool]) -> dict[int, bool]:
    """Say which core times lie in the window of a word; of what begins with the next stretch, the end."""
    found, word_ms = dict[int, bool](), (times[-1] if times else 0) + 1
    for at, before, is_word in zip(reversed(times), [*reversed(times[:-1]), 0], reversed(words), strict=True):
        found[at] = is_word or at >= word_ms - WINDOW_MS
        if is_word:
            word_ms = before  # the board is of the turn before, however long ago that was
    return found


def _ticked(flow: Flow, until_ms: int) -> Candidates:
    """Judge the seconds of a pause one by one, at its begin and its end."""
    seconds = range(-(-flow.state.core_ms // SECOND) * SECOND, until_ms + 1, SECOND)
    found: Candidates = []
    for at in sorted({*seconds[:FIRST_TICKS], *seconds[-LAST_TICKS:]}):
        flow.tick(at)
        found += _now(flow, at)
    return found


def _now(flow: Flow, at_ms: int | None = None) -> Candidates:
    at = flow.state.core_ms if at_ms is None else at_ms
    board = overview.board(flow, at)
    return [(at, canonical.to_dict(standing.body(board, {})))] if board else []


def check(
    folder: Path,
    site: str,
    now_ms: int,
    enough: Callable[[], bool] = lambda: False,
    tell: Callable[[int, int], None] = lambda *_: None,
) -> Checked:
    """Fold on what came of a site since the last check, and return what was found of all its words so far.

    enough: asked now and then whether to stop for now. tell: called with how far it is, and with the newest entry.
    Raises sqlite3.Error, WrongJournal, ValueError, OSError where the copy cannot be read.
    """
    place, path = folder / PLACES / site, folder / SITES / site / NAME
    with closing(open_reader(path)) as reader:
        words, last = _begin(place, reader, site), last_of(reader)
    while words.flow.state.sequence < last and not enough():
        try:
            words.take(_stretch(path, words.flow.state.sequence))
        except (LookupError, TypeError, AttributeError, ArithmeticError) as error:
            after = words.flow.state.sequence
            raise ValueError(f"what stands after entry {after} cannot be folded: {error!r}") from error
        tell(words.flow.state.sequence, last)
    state = words.flow.state
    words.found = words.found.as_of(now_ms, state.sequence, state.core_ms + state.offset_ms)
    made, running = words.flow.checkpoint(), words.running
    _keep(place, Place(state.sequence, CORE_VERSION, made, words.found, running, words.strange))
    return words.found


def _stretch(path: Path, after: int) -> list[bytes]:
    """Read up to the end of a block, and let go of the journal: its writer must not wait for a fold."""
    with closing(open_reader(path)) as reader:
        return list(islice(entries_after(reader, after), tree.SEAL - after % tree.SEAL))


def _begin(place: Path, reader: sqlite3.Connection, site: str) -> _Words:
    """Go on where the last check ended, where that is still of this journal and of this program."""
    flow = base.flow_of(reader)
    with suppress(FileNotFoundError, ValueError):
        kept = canonical.from_checkpoint(place.read_bytes(), Place)
        if kept.core_version == CORE_VERSION and kept.seq > flow.state.sequence:
            found = Flow.from_checkpoint(kept.state)
            if _is_of(found, reader):
                return _Words(found, kept.found, kept.running, kept.strange)
    return _Words(flow, Checked(site, begun=flow.state.sequence + 1))


def _is_of(flow: Flow, reader: sqlite3.Connection) -> bool:
    """Whether this is the state after this journal's own entries: its record may have begun again."""
    try:
        root = proofs.root_of_range(Subtrees(reader).perfect, 0, flow.state.sequence)
    except WrongJournal:
        return False
    return root == tree.root(flow.state.peaks)


def _keep(place: Path, made: Place) -> None:
    place.parent.mkdir(mode=0o700, exist_ok=True)
    part = place.with_suffix(".part")
    part.write_bytes(canonical.checkpoint(made))
    part.replace(place)
