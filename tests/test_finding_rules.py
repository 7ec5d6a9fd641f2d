"""What moved figures mean together, rule by rule, on figures made by hand."""

from __future__ import annotations

from gateway.finding_rules import Figures, Moved, meaning
from gateway.train_features import NEVER


def at(off: float, least: float, *, counts: bool = True, mean: float = 0.0, still: bool = True) -> Moved:
    held = 15 if off > 0 else -15
    return Moved(off, counts, least, mean - off, mean, still, held)


def quiet(mean: float = 0.0, off: float = 0.0) -> Moved:
    return Moved(off, False, NEVER, mean - off, mean, True, 0)


def kinds(figures: Figures, *fitted: str) -> set[str]:
    return set(meaning(figures, lambda name: name in fitted))


def test_without_the_inlet_only_an_outlet_too_dry_is_a_probe() -> None:
    """Drier than ever is the probe; wetter may be anything."""
    assert kinds({"outlet_rh d": at(-0.1, 0.06)}) == {"outlet sensor d"}
    assert kinds({"outlet_rh d": at(0.1, 0.06)}) == {"bed, bypass or sensor d"}


def test_where_heat_is_too_small_to_tell_wetter_is_the_group() -> None:
    """In cold air the water taken warms by less than a thermometer can tell: 0.1 of 3 K."""
    cold = {"heat d": Moved(0.0, False, 1.5, 0.0, 0.0), "span d": quiet(3.0)}
    assert kinds({**cold, "outlet_rh d": at(0.1, 0.06)}, "position") == {"bed, bypass or sensor d"}
    assert kinds({**cold, "outlet_rh d": at(-0.1, 0.06)}, "position") == {"outlet sensor d"}


def test_heat_tells_the_bed_from_its_probe_and_what_stands_is_believed_longer() -> None:
    """Of 2 K that a lying probe would bring, 0.2 K is the bed, 1.9 K the probe; 1.2 K is whichever stands."""

    def said(heat_k: float, *standing: str) -> set[str]:
        figures = {
            "heat d": Moved(heat_k, False, 1.5, 0.0, 0.0),
            "span d": quiet(10.0),
            "outlet_rh d": at(0.2, 0.06),
        }
        return set(meaning(figures, lambda name: name == "position", standing))

    assert said(0.2) == {"bed d"}
    assert said(1.9) == {"outlet sensor d"}
    assert said(1.2) == {"outlet sensor d"}
    assert said(1.2, "bed d") == {"bed d"}
    assert said(0.8) == {"bed d"}
    assert said(0.8, "outlet sensor d") == {"outlet sensor d"}


def test_a_hotter_dryer_may_lose_more_through_its_shell() -> None:
    """2.5 K that do not add up are a probe, unless the dryer stands 8 K further above the air than it did."""
    heat = {"heat d": at(-2.5, 1.5), "pair r": Moved(0.0, False, 1.5, 0.0, 0.0)}
    assert kinds({**heat, "over d": quiet(10.0)}) == {"dryer sensor d"}
    assert kinds({**heat, "over d": quiet(18.0, off=8.0)}) == set()
    assert kinds({**heat, "over d": quiet(10.2, off=0.2)}) == {"dryer sensor d"}


def test_a_line_that_still_moves_is_waited_for_but_not_for_ever() -> None:
    """Metal follows late; after twenty minutes it has followed."""
    moving = {"outlet_rh d": at(0.1, 0.06, still=False)}
    assert kinds(moving) == set()
    assert kinds({"outlet_rh d": moving["outlet_rh d"]._replace(held=20)}) == {"bed, bypass or sensor d"}


def test_a_bypass_explains_wetter_air() -> None:
    """One finding, not two; the bed is not blamed for it."""
    figures = {"position b": at(0.5, 0.05, mean=0.5), "outlet_rh d": at(0.2, 0.06)}
    assert kinds(figures, "position") == {"bypass open b"}


def test_a_stuck_separator_drain_explains_a_rising_receiver() -> None:
    """What one drain does not take the next gets."""
    assert kinds({"drain s": at(-0.8, 0.5), "level r": at(0.2, 0.06)}) == {"separator drain s"}
    assert kinds({"level r": at(0.2, 0.06)}) == {"receiver drain r"}


def test_an_open_bypass_is_the_cause_and_no_probe() -> None:
    """By its sensor or a person: heat that does not fit a wetter outlet is the bypass, a drier one is not."""
    moved = {"heat d": at(1.9, 1.5), "span d": quiet(10.0), "outlet_rh d": at(0.2, 0.06)}
    assert kinds(moved, "position") == {"outlet sensor d"}
    assert kinds({**moved, "position b": at(1.0, 0.05)}, "position") == {"bypass open b"}
    assert kinds({**moved, "seen b": at(1.0, 0.05)}) == {"bypass open b"}
    assert kinds({"heat d": at(-2.5, 1.5), "position b": at(1.0, 0.05)}, "position") == {"bypass open b"}
    drier = {"heat d": at(-1.9, 1.5), "span d": quiet(10.0), "outlet_rh d": at(-0.2, 0.06)}
    assert kinds({**drier, "position b": at(1.0, 0.05)}, "position") == {"bypass open b", "outlet sensor d"}
    cold = {"pair r": at(-4.0, 1.5), "position b": at(1.0, 0.05)}
    assert kinds(cold, "position", "pair") == {"inlet sensor r", "bypass open b"}


def test_heat_must_be_told_from_its_own_scatter() -> None:
    """1.2 K that a lying probe would bring is less than the 1.5 K the figure moves by itself: a group."""
    damp = {"heat d": Moved(0.8, False, 1.5, 0.0, 0.0), "outlet_rh d": at(0.2, 0.06)}
    assert kinds({**damp, "span d": quiet(6.0)}, "position") == {"bed, bypass or sensor d"}
    assert kinds({**damp, "span d": quiet(8.0)}, "position") == {"bed d"}
    assert kinds({**damp, "heat d": Moved(0.8, False, 1.1, 0.0, 0.0), "span d": quiet(6.0)}) == {"outlet sensor d"}


def test_air_past_the_dryer_loses_nothing_through_its_shell() -> None:
    """A shell that took 2 K takes none of bypassed air: of 4 K that a lying probe would bring, 2 are no proof."""
    wetter = {
        "outlet_rh d": Moved(0.4, True, 0.06, 0.5, 0.9, True, 15),
        "span d": quiet(10.0),
        "came d": quiet(0.9),
    }
    heat = {"heat d": Moved(2.1, False, 1.5, -2.0, 0.1)}
    assert kinds({**wetter, **heat}) == {"bed or bypass d"}
    assert kinds({**wetter, "heat d": Moved(3.8, False, 1.5, -2.0, 1.8)}) == {"outlet sensor d"}
    assert kinds({**wetter, **heat}, "position") == {"outlet sensor d"}  # the bypass is watched and shut
    assert kinds({**wetter, **heat, "span d": quiet(8.0)}) == {"bed, bypass or sensor d"}  # 3.2 K less 2 K
    half = {"outlet_rh d": Moved(0.2, True, 0.06, 0.5, 0.7, True, 15)}  # half the air: 1 K of 2 K, no more to tell
    assert kinds({**wetter, **half, **heat}) == {"bed, bypass or sensor d"}
    most = {**half, "span d": quiet(20.0), "heat d": Moved(3.0, False, 1.5, -2.0, 1.0)}
    assert kinds({**wetter, **most}) == {"outlet sensor d"}  # 2 of the 3 K that a bypass of half the air leaves


def test_an_element_is_not_accused_of_what_its_gauges_are_off() -> None:
    """At half the flow two gauges' offset counts four times; what is said already stays said."""
    moved = {"element s": at(0.9, 0.5)}
    assert kinds(moved) == {"element blocked s"}
    assert kinds({**moved, "gauges s": quiet(1.0, off=0.3)}) == {"element blocked s"}
    assert kinds({**moved, "gauges s": quiet(1.2, off=0.5)}) == set()
    assert kinds({**moved, "gauges s": quiet(0.4, off=-0.5)}) == set()  # also at a higher flow than it learnt
    assert kinds({**moved, "gauges other": quiet(1.2, off=0.5)}) == {"element blocked s"}
    doubted = {**moved, "gauges s": quiet(1.2, off=0.5)}
    assert set(meaning(doubted, lambda _: False, ["element blocked s"])) == {"element blocked s"}


def test_what_the_heat_once_told_stands_while_it_cannot_tell() -> None:
    """A group becomes a narrower name, and never the other way; so does a probe."""
    cold = {"heat d": Moved(0.0, False, 1.5, 0.0, 0.0), "span d": quiet(3.0), "outlet_rh d": at(0.1, 0.06)}

    def said(*standing: str, position: bool = True) -> set[str]:
        return set(meaning(cold, lambda name: name == "position" and position, standing))

    assert said() == said("bed, bypass or sensor d") == {"bed, bypass or sensor d"}
    assert said("bed d") == {"bed d"}
    assert said("bed or bypass d", position=False) == {"bed or bypass d"}
    assert said("bed other") == {"bed, bypass or sensor d"}
    assert said("outlet sensor d") == {"outlet sensor d"}
