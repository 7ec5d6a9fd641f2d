"""Is it enough? Whether a plan keeps pot and hose dry by the margin asked for, and what speaks against it."""

from __future__ import annotations

from math import inf

from gateway.plan import Plan, Recipe, Result, each_recipe
from gateway.water_path import Air, each_piece

WORKPLACE = ("pot", "hose")  # where water stops the work
DRY_KG_PER_H = 1e-3  # a drop every few minutes: less than that is not called wet
SOLIDS = ("deliquescent dryer", "adsorption dryer")  # liquid spoils what is in them
DRYERS = ("deliquescent dryer", "refrigerated dryer", "adsorption dryer")
LIQUID_KG_PER_H = 0.02  # so much liquid into a bed is pointed at; ours


def is_wet(result: Result) -> bool:
    """Whether water reaches or falls out in pot or hose."""
    margin = pot_margin_k(result)
    return water_in_pot_and_hose_kg_per_h(result) > DRY_KG_PER_H or (margin is not None and margin <= 0.0)


def meets_need(plan: Plan, result: Result) -> bool | None:
    """Whether pot and hose keep the margin asked for and stay dry; None: none is asked, or it is not known."""
    margin = pot_margin_k(result)
    if plan.need is None or margin is None:
        return None
    if margin < plan.need.pot_margin_k or is_wet(result):
        return False
    return None if doubts(plan, result) or unsure(plan, result) else True


def doubts(plan: Plan, result: Result) -> list[str]:
    """Why what the model calls dry is not known to be: a dryer fed hotter than entered for it, too little air."""
    inlets = {passage.label: passage.inlet.temperature_c for passage in each_piece(result.passages)}
    highest = {recipe.label: recipe.figures.get("highest_inlet_c", inf) for recipe in each_recipe(plan)}
    found = [
        f"{label} is fed at {inlets[label]:.6g} C, above the {most:.6g} C entered for it"
        for label, most in highest.items()
        if inlets.get(label, -inf) > most  # all the air may go past a piece
    ]
    return [*found, "the compressor is short of air"] if result.shortfall_share > 0.0 else found


def unsure(plan: Plan, result: Result) -> list[str]:
    """The dryers reached of which it is not stated how hot they may be fed, or whose bed gets liquid."""
    inlets = {passage.label: passage.inlet for passage in each_piece(result.passages)}
    return [
        recipe.label
        for recipe in each_recipe(plan)
        if recipe.kind in DRYERS and recipe.label in inlets
        and ("highest_inlet_c" not in recipe.figures or spoils(recipe, inlets[recipe.label]))
    ]  # fmt: skip


def spoils(recipe: Recipe, inlet: Air) -> bool:
    """Whether the liquid that arrives dissolves the salt or ruins the adsorbent."""
    return recipe.kind in SOLIDS and inlet.liquid_kg_per_s * 3600.0 > LIQUID_KG_PER_H


def water_in_pot_and_hose_kg_per_h(result: Result) -> float:
    """Water where the work is: left in the pot, and what the hose throws at the steel, formed there or brought."""
    return sum(
        max(p.left_kg_per_h, p.formed_kg_per_h, p.carried_kg_per_h if p.kind == "hose" else 0.0, 0.0)
        for p in result.passages if p.kind in WORKPLACE
    )  # fmt: skip


def pot_margin_k(result: Result) -> float | None:
    """The least gap of pot and hose [K], None when the plan has neither."""
    return min((p.gap_k for p in result.passages if p.kind in WORKPLACE and p.gap_k is not None), default=None)
