"""The parts of a journal folded by several processes at once, and believed one after the other.

The first part begins with what the entries begin with. Each other begins with a kept state, which is a guess: it
is believed only once the part before it is believed and has ended in that state, byte for byte. So, by induction,
every entry was folded from the beginning on. Where a state is another, what was folded from it is thrown away and
its entries are folded again from the real one. So it is no matter who kept a state, or whether it was changed.
"""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from itertools import islice
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from pathlib import Path

from gateway.adapters import states
from gateway.flow import CORE_VERSION, Flow
from gateway.replay import Folded, Part, fold_file

_FORK = multiprocessing.get_context("fork")


@dataclass(slots=True)
class Worker:
    """A process that folds one part, the end of the pipe it talks through, and the blocks it has folded."""

    process: BaseProcess
    pipe: Connection
    blocks: list[Folded] = field(default_factory=list)
    at: int = 0
    is_working: bool = True

    def hear(self) -> None:
        """Take in the next block, or that there will be none."""
        try:
            block: Folded = self.pipe.recv()
        except (EOFError, OSError):  # OSError: in the middle of a block
            self.end()
            return
        self.blocks.append(block)
        self.at = block.at

    def end(self) -> None:
        """Leave nothing running, whatever it is doing."""
        self.is_working = False
        self.process.kill()
        self.process.join()
        self.pipe.close()


@dataclass(slots=True)
class Cores:
    """Parts in work. tell: called with how many entries are folded. history: whether their sheets are wanted."""

    path: Path
    parts: list[Part]
    count: int
    tell: Callable[[int], None]
    history: bool = False
    refused: list[str] = field(default_factory=list)
    """A line for each kept state that the entries before it do not end in."""
    _workers: dict[int, Worker] = field(default_factory=dict)
    _trusting: bool = True
    _told: int = 0

    @property
    def last(self) -> int:
        """The newest entry there was when the journal was divided."""
        return self.parts[-1].until

    def folded(self) -> Iterator[Folded]:
        """Yield what each block comes to, in order, all of it believed. Raises what folding them raises."""
        try:
            for number in range(len(self.parts)):
                end = b""
                for block in self._believed(number):
                    end = block.end
                    self._tell(number, block.at)
                    yield block
                if number + 1 < len(self.parts):
                    self._compare(number + 1, end)
        finally:
            for worker in self._workers.values():
                worker.end()

    def _believed(self, number: int) -> Iterator[Folded]:
        """Yield the blocks of the part that is believed next, as they come."""
        part, given, ended = self.parts[number], 0, False
        while len(self.parts) > 1 and not ended:
            self._begin(number)
            worker = self._workers[number]
            while worker.blocks:
                given, block = given + 1, worker.blocks.pop(0)
                ended = bool(block.end)
                yield block
            if not ended and not worker.is_working:
                break
            if not ended:
                self._hear()
        if not ended:  # alone; or it failed, and what is wrong shows here as it would in one go
            yield from islice(fold_file(self.path, part, self.history), given, None)

    def _compare(self, number: int, end: bytes) -> None:
        """Throw away what a part made of another state than the one before it ends in."""
        part = self.parts[number]
        why = _why_not(part, end)
        self._trusting = not why
        if why:
            self.refused.append(why)
            self.parts[number] = replace(part, begin=states.PLAIN + end)
            if worker := self._workers.pop(number, None):
                worker.end()

    def _begin(self, first: int) -> None:
        """Begin with parts; after a state that was refused, with one alone until another is reproduced."""
        for number in range(first, len(self.parts) if self._trusting else first + 1):
            working = sum(worker.is_working for worker in self._workers.values())
            if number != first and working >= self.count:
                return
            if number not in self._workers:
                self._workers[number] = self._started(self.parts[number])

    def _started(self, part: Part) -> Worker:
        ours, theirs = _FORK.Pipe(duplex=False)
        not_its = [ours, *(worker.pipe for worker in self._workers.values() if worker.is_working)]
        process = _FORK.Process(target=_work, args=(self.path, part, theirs, not_its, self.history), daemon=True)
        process.start()
        theirs.close()
        return Worker(process, ours)

    def _hear(self) -> None:
        """Take in what the processes say next."""
        by_pipe = {worker.pipe: worker for worker in self._workers.values() if worker.is_working}
        ready = wait(list(by_pipe))
        for pipe, worker in by_pipe.items():
            if pipe in ready:
                worker.hear()

    def _tell(self, number: int, at: int) -> None:
        """Say how many entries are folded, those of later parts too, which may yet be thrown away."""
        later = sum(max(0, each.at - self.parts[of].after) for of, each in self._workers.items() if of > number)
        done, before = at - self.parts[0].after + later, self._told
        if done != before:
            self._told = done
            self.tell(done)


def _why_not(part: Part, end: bytes) -> str:
    """Why a kept state is not what the entries before it end in; empty when it is, whichever program kept it.

    It is compared as this program reads and writes it, which is how its part was begun.
    """
    by = f" by version {part.core_version}" if part.core_version != CORE_VERSION else ""
    try:
        same = Flow.from_checkpoint(states.unpack(part.begin)).checkpoint() == end
    except ValueError:
        return f"state kept after entry {part.after}{by} cannot be read; folded on without it"
    why = "is not what the entries before it give; folded on without it"
    return "" if same else f"state kept after entry {part.after}{by} {why}"


def _work(path: Path, part: Part, pipe: Connection, not_its: list[Connection], history: bool) -> None:
    """What a process does: send each block it has folded. Whatever goes wrong ends it without a last one.

    not_its: ends of pipes it was born with; while it held them, the others would not notice that nobody reads.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the one that started it ends it
    for each in not_its:
        each.close()
    with suppress(Exception):
        for block in fold_file(path, part, history):
            pipe.send(block)
