"""Beside the writer: whole blocks, and now and then a state, are packed in another thread and then put in."""

from __future__ import annotations

from concurrent.futures import Executor, Future

from gateway.adapters import states
from gateway.adapters.journal import Journal, Packed, pack_oldest
from gateway.adapters.states import Kept


class Sealer:
    """What the writer does with a journal at each 4,096th entry. Raises sqlite3.Error when the disk refuses."""

    def __init__(self, book: Journal, thread: Executor) -> None:
        self._book, self._thread = book, thread
        self._block: Future[Packed | None] | None = None
        self._state: Future[Kept] | None = None
        self._newest = states.newest(book.db)

    def block_is_whole(self, seq: int, core_version: str, checkpoint: bytes) -> None:
        """Keep the newest checkpoint, and begin to pack: the block, and this state if it is to stay."""
        self._book.save_checkpoint(seq, core_version, checkpoint)
        self._block = self._block or self._thread.submit(pack_oldest, self._book.path)
        small = len(checkpoint) <= states.LONGEST  # a backlog is remembered for a minute: the next one will do
        if self._state is None and seq - self._newest >= states.EVERY and small:
            self._state = self._thread.submit(states.packed, seq, core_version, checkpoint)

    def put_in(self) -> None:
        """Put in what is packed by now, and begin with the next."""
        if self._block and self._block.done():
            packed, self._block = self._block.result(), None
            if packed:
                self._book.seal(packed)
                self._block = self._thread.submit(pack_oldest, self._book.path)
        if self._state and self._state.done():
            kept, self._state = self._state.result(), None
            states.keep(self._book.db, kept)
            self._newest = kept.seq
