"""What arrives is held against the site's signed heads: forged, rewritten, another key are told apart."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway import entry, heads, tree
from gateway.adapters.signing import Keys, is_signed, write_new
from gateway.entry import Kind
from gateway.heads import Signed
from gateway.vouching import FORGED, OTHER_KEY, REWRITTEN, Held, Refused, carried_on, check_same
from tests.yard_site import Site, grown


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """Heads over 1, 41 and 81 entries, and 20 entries after them."""
    return grown(tmp_path / "home")


def refused(held: Held, entries: list[bytes], signed: list[Signed], pinned: str = "") -> Refused:
    with pytest.raises(Refused) as caught:
        carried_on(held, entries, signed, pinned, is_signed)
    return caught.value


def test_entries_that_fit_their_heads_are_carried_on(site: Site) -> None:
    """At once or in any parts, the same is held."""
    signed = site.heads()
    whole = carried_on(Held(), site.entries, signed, "", is_signed)
    first = carried_on(Held(), site.entries[:41], signed[:2], site.gateway, is_signed)
    second = carried_on(first, site.entries[41:60], [], site.gateway, is_signed)
    assert carried_on(second, site.entries[60:], signed[2:], site.gateway, is_signed) == whole
    assert (whole.size, whole.head) == (101, signed[-1].head)
    assert tree.root(list(whole.peaks)) == tree.root_of(site.entries)


@pytest.mark.parametrize("number", [2, 41])
def test_one_changed_entry_is_forged(site: Site, number: int) -> None:
    """It names the entries that do not fit."""
    entries = list(site.entries)
    entries[number - 1] = entry.plain(Kind.HEARTBEAT, 5)
    why = refused(Held(), entries, site.heads())
    assert why.kind == FORGED and "entries 1 to 41 are not those" in str(why)


def test_what_was_held_and_no_head_fits_is_forged(site: Site) -> None:
    """Entries that came without a head are held, and found out by the next one."""
    held = carried_on(Held(), site.entries[:41], site.heads()[:2], "", is_signed)
    other = [entry.plain(Kind.HEARTBEAT, 5), *site.entries[42:50]]
    held = carried_on(held, other, [], "", is_signed)
    why = refused(held, site.entries[50:], site.heads()[2:])
    assert why.kind == FORGED and "entries 42 to 81" in str(why)


def signed_by(keys: Keys, head: heads.Head) -> Signed:
    return Signed(head, keys.sign(heads.SIGNED_AS + head.statement()))


def test_a_head_that_was_not_signed_by_its_key_is_forged(site: Site) -> None:
    """One word of it changed, the signature kept."""
    first = site.heads()[0]
    later = Signed(replace(first.head, time_ms=first.head.time_ms + 1), first.signature)
    why = refused(Held(), site.entries[:1], [later])
    assert (why.kind, str(why)) == (FORGED, f"{later.code} was not signed by the key it names")


def test_heads_follow_each_other(site: Site) -> None:
    """None is left out, none is replaced, none ends where nothing came."""
    one, two, three = site.heads()
    assert refused(Held(), site.entries, [one, three]).kind == FORGED
    held = carried_on(Held(), site.entries[:1], [one], "", is_signed)
    unlike = signed_by(site.writer.keys, replace(two.head, previous="00" * 32))
    assert refused(held, site.entries[1:], [unlike]).kind == REWRITTEN
    assert "outside of what came" in str(refused(held, site.entries[1:30], [two]))
    whole = carried_on(held, site.entries[1:60], [two], "", is_signed)
    short = list[tuple[int, bytes]]()
    tree.extend(short, site.entries[:32])
    late = signed_by(site.writer.keys, heads.following(two.head, short, site.writer.keys.public, b"", 0))
    assert "outside of what came" in str(refused(whole, site.entries[60:62], [late]))


def other_keys(folder: Path) -> Keys:
    write_new(folder / "keys" / "signing.pem")
    return Keys(folder)


def test_another_key_is_told(site: Site, tmp_path: Path) -> None:
    """At first contact by what is pinned; later by what the heads themselves named; a clerk's word lets it in."""
    one, two, _ = site.heads()
    assert refused(Held(), site.entries, site.heads(), "ab" * 16).kind == OTHER_KEY
    held = carried_on(Held(), site.entries[:1], [one], "", is_signed)
    thief = other_keys(tmp_path / "thief")
    stolen = signed_by(thief, replace(two.head, key=thief.public.hex()))
    why = refused(held, site.entries[1:41], [stolen], site.gateway)
    assert why.kind == OTHER_KEY and heads.fingerprint(thief.public) in str(why)
    known = carried_on(held, site.entries[1:41], [stolen], heads.fingerprint(thief.public), is_signed)
    assert known.head == stolen.head


def test_a_head_names_the_gateway_it_began_with(site: Site, tmp_path: Path) -> None:
    """A first head of another gateway, signed by a key that is pinned, is still not this one's first."""
    thief = other_keys(tmp_path / "thief")
    first = replace(site.heads()[0].head, key=thief.public.hex())
    why = refused(Held(), site.entries[:1], [signed_by(thief, first)], heads.fingerprint(thief.public))
    assert why.kind == OTHER_KEY and "another gateway" in str(why)


def test_a_key_that_the_old_one_introduced_is_known(site: Site) -> None:
    """The chain itself says who signs from the next head on."""
    write_new(site.home / "keys" / "next.pem")
    site.writer.keys.look()
    site.grow(site.readings(5), head=True)
    site.grow(site.readings(5), head=True)
    keys = {each.head.key for each in site.heads()}
    assert len(keys) == 2
    assert carried_on(Held(), site.entries, site.heads(), site.gateway, is_signed).size == 111


def test_the_same_again_is_the_same(site: Site) -> None:
    """And anything else under an old number was rewritten."""
    check_same(3, site.entries[2:5], site.entries[2:5])
    with pytest.raises(Refused, match="entry 4 is held with other content") as caught:
        check_same(3, [site.entries[2], site.entries[2]], site.entries[2:4])
    assert caught.value.kind == REWRITTEN


@given(st.lists(st.integers(0, 70), max_size=6))
def test_subtrees_at_once_are_the_same_tree(parts: list[int]) -> None:
    """`extend` is `append` one after the other, however the entries are split."""
    one, many, number = list[tuple[int, bytes]](), list[tuple[int, bytes]](), 0
    for part in parts:
        made = [b"%d" % (number + each) for each in range(part)]
        number += part
        for each in made:
            tree.append(one, each)
        tree.extend(many, made)
        assert many == one
