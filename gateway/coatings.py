"""Coatings as their data sheets have them, for the recoat clock."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RecoatStep:
    """One row of a sheet's recoat table: from and to which steel temperature, and the two times [h].

    latest_h: None where the sheet states none.
    """

    from_c: float
    to_c: float
    earliest_h: float
    latest_h: float | None = None


CURES = ("by temperature", "moisture-cured", "zinc silicate")


@dataclass(frozen=True, slots=True)
class Product:
    """A coating as its data sheet has it. cure: one of CURES; a recoat window is counted for the first only."""

    id: str
    label: str
    sheet: str
    cure: str = "by temperature"
    recoat: tuple[RecoatStep, ...] = ()
