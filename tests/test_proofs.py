"""Inclusion and consistency proofs by the rules of RFC 9162, from a real journal's blocks and rows."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway import proofs, tree
from gateway.adapters.journal import Journal, open_reader, pack_oldest
from gateway.adapters.subtrees import Dropped, Subtrees
from gateway.flow_state import Outcomes
from tests.test_journal import some

# RFC 6962, 2.1.3 draws a tree of seven leaves d0..d6 and names these proofs by its nodes a..l.
LEAVES = [bytes([n]) for n in range(7)]
A, B, C, D, E, F, J = (tree.leaf(each) for each in LEAVES)
G, H, I = tree.node(A, B), tree.node(C, D), tree.node(E, F)  # noqa: E741  the document's names
K = tree.node(G, H)
L = tree.node(I, J)


def perfect(begin: int, size: int) -> bytes:
    assert begin % size == 0 and size & (size - 1) == 0, "not a perfect subtree"
    return tree.root_of([bytes([n]) for n in range(begin, begin + size)])


@pytest.mark.parametrize(("number", "path"), [(1, [B, H, L]), (4, [C, G, L]), (5, [F, J, K]), (7, [I, K])])
def test_the_inclusion_proofs_printed_in_the_rfc(number: int, path: list[bytes]) -> None:
    """RFC 6962, 2.1.3: d0 [b, h, l], d3 [c, g, l], d4 [f, j, k], d6 [i, k]."""
    assert proofs.inclusion(perfect, number, 7) == path
    assert proofs.is_included(LEAVES[number - 1], number, 7, path, tree.node(K, L))


@pytest.mark.parametrize(("old", "path"), [(3, [C, D, G, L]), (4, [L]), (6, [I, J, K])])
def test_the_consistency_proofs_printed_in_the_rfc(old: int, path: list[bytes]) -> None:
    """RFC 6962, 2.1.3: PROOF(3, D[7]) = [c, d, g, l], PROOF(4, D[7]) = [l], PROOF(6, D[7]) = [i, j, k]."""
    assert proofs.consistency(perfect, old, 7) == path
    assert proofs.is_consistent(old, 7, path, tree.root_of(LEAVES[:old]), tree.root_of(LEAVES))


@given(st.integers(1, 70), st.data())
def test_every_proof_holds_and_no_changed_one_does(size: int, data: st.DataObject) -> None:
    """For any size; a proof with one hash changed, left out or added, or for another place, is refused."""
    entries = [bytes([n]) for n in range(size)]
    root = tree.root_of(entries)
    number, old = data.draw(st.integers(1, size)), data.draw(st.integers(1, size))
    path, chain = proofs.inclusion(perfect, number, size), proofs.consistency(perfect, old, size)
    old_root = tree.root_of(entries[:old])
    assert proofs.is_included(entries[number - 1], number, size, path, root)
    assert proofs.is_consistent(old, size, chain, old_root, root)
    assert not proofs.is_included(b"other", number, size, path, root)
    assert not proofs.is_consistent(old, size, chain, bytes(32), root)
    assert not proofs.is_consistent(old, size, chain, old_root, bytes(32))
    for wrong in ([*path, bytes(32)], path[:-1] if path else [bytes(32)]):
        assert not proofs.is_included(entries[number - 1], number, size, wrong, root)
    for wrong in ([*chain, bytes(32)], chain[:-1] if chain else [bytes(32)]):
        assert not proofs.is_consistent(old, size, wrong, old_root, root)
    other = number % size + 1
    assert other == number or not proofs.is_included(entries[number - 1], other, size, path, root)


@pytest.mark.parametrize(("number", "size"), [(0, 5), (6, 5), (1, 0)])
def test_no_proof_of_what_is_not_there(number: int, size: int) -> None:
    """Asked for an entry outside, or a longer record inside a shorter one, it says so."""
    with pytest.raises(ValueError, match="entr"):
        proofs.inclusion(perfect, number, size)
    with pytest.raises(ValueError, match="cannot begin"):
        proofs.consistency(perfect, 6, 5)


def test_proofs_from_a_journal_unpack_only_the_block_they_need(tmp_path: Path) -> None:
    """Sealed, unsealed and dropped blocks: what needs only a root needs no entries."""
    entries = some(3 * tree.SEAL + 77)
    with closing(Journal(tmp_path / "journal.db")) as book:
        book.commit(1, entries, 1, Outcomes(), 0)
        for _ in range(2):
            packed = pack_oldest(book.path)
            assert packed is not None
            book.seal(packed)
        book.db.execute("UPDATE sealed SET body = NULL WHERE first_seq = 1")
    with closing(open_reader(tmp_path / "journal.db")) as reader:
        subtrees = Subtrees(reader)
        size, root = len(entries), tree.root_of(entries)
        for number in (tree.SEAL + 1, 2 * tree.SEAL, 3 * tree.SEAL, size):
            path = proofs.inclusion(subtrees.perfect, number, size)
            assert proofs.is_included(entries[number - 1], number, size, path, root)
        for old in (tree.SEAL, tree.SEAL + 5, 2 * tree.SEAL + 1, size):
            path = proofs.consistency(subtrees.perfect, old, size)
            assert proofs.is_consistent(old, size, path, tree.root_of(entries[:old]), root)
        with pytest.raises(Dropped, match="entries 1 to 4096 were dropped"):
            proofs.inclusion(subtrees.perfect, 5, size)
        with pytest.raises(Exception, match="are not all there"):
            subtrees.perfect(3 * tree.SEAL, 128)


def test_a_proof_for_a_smaller_tree_is_none_for_a_larger_one() -> None:
    """The hashes lead to the root they are asked for, but the tree of this size is higher: refused."""
    assert proofs.is_included(LEAVES[0], 1, 2, [B], G)
    assert not proofs.is_included(LEAVES[0], 1, 3, [B], G)
    assert proofs.is_consistent(1, 2, [B], A, G)
    assert not proofs.is_consistent(1, 3, [B], A, G)
