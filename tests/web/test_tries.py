"""Guessing at the door: who has to wait, and who has not."""

from __future__ import annotations

from gateway.web import tries
from gateway.web.tries import EVERYWHERE, PER_CLIENT, PER_NAME, PER_NAME_AND_CLIENT, WINDOW_MS, Tries


def test_five_mistakes_of_one_name_from_one_place_wait_five_minutes() -> None:
    """The sixth try is taken when the first is five minutes old; elsewhere the same name goes on."""
    made = Tries()
    for second in range(PER_NAME_AND_CLIENT):
        assert made.wait_s("Ann", "a", 1000 * second) == 0
        made.failed("Ann", "a", 1000 * second)
    assert made.wait_s("ANN", "a", 10_000) == 291
    assert made.wait_s("Ann", "b", 10_000) == 0
    assert made.wait_s("Ann", "a", WINDOW_MS) == 0


def test_a_right_password_forgets_ones_own_mistakes() -> None:
    """Four mistakes, then in, then four more."""
    made = Tries()
    for _ in range(2):
        for _ in range(PER_NAME_AND_CLIENT - 1):
            made.failed("Ann", "a", 0)
        assert made.wait_s("Ann", "a", 0) == 0
        made.succeeded("Ann", "a")


def test_many_places_many_names_and_many_of_both_wait_too() -> None:
    """One name from everywhere, all names from one place, and everything together are bounded."""
    one_name, one_place, all_of_it = Tries(), Tries(), Tries()
    for n in range(PER_NAME):
        one_name.failed("Ann", f"c{n}", 0)
    for n in range(PER_CLIENT):
        one_place.failed(f"n{n}", "a", 0)
    for n in range(EVERYWHERE):
        all_of_it.failed(f"n{n}", f"c{n}", 0)
    assert one_name.wait_s("Ann", "new", 0) > 0
    assert one_place.wait_s("new", "a", 0) > 0
    assert all_of_it.wait_s("new", "new", 0) > 0


def test_any_number_of_names_is_held_in_little_memory() -> None:
    """Whoever guesses cannot fill the memory."""
    made = Tries()
    for n in range(tries.MOST_KEYS):
        made.failed(f"n{n}", f"c{n}", 0)
    assert len(made._failed) <= tries.MOST_KEYS + 4
