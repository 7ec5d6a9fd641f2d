"""The coatings of a jobsite file: [[products]] with the recoat table of their data sheets."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from alerts.measured import UNITS, Dimension
from gateway.coatings import CURES, Product, RecoatStep
from gateway.site_amounts import amount, seconds
from gateway.site_sensors import Table
from gateway.site_words import Id, Said, checked, one_of

HOUR_S = 3600.0


def steel_c(text: str) -> float:
    """Return a steel temperature such as "16 °C" or "60 °F" in °C. Raises ValueError."""
    number, unit = amount(text, Dimension.TEMPERATURE)
    return UNITS[unit].inside(number)


def _time(text: str) -> None:
    if seconds(text) <= 0:
        raise ValueError("a recoat time is more than zero")


class RecoatTable(Table):
    """[[products.recoat]]."""

    steel_from: Annotated[str, checked(steel_c)] = Field(description="coldest steel of this row, such as '16 °C'")
    steel_to: Annotated[str, checked(steel_c)] = Field(description="warmest steel of this row, such as '21 °C'")
    earliest: Annotated[str, checked(_time)] = Field(description="earliest recoat by the sheet, such as '8 h'")
    latest: str = Field("", description="latest recoat by the sheet, such as '48 h'; empty where it states none")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if steel_c(self.steel_from) >= steel_c(self.steel_to):
            raise ValueError("steel_from lies below steel_to")
        if self.latest and seconds(self.latest) <= seconds(self.earliest):
            raise ValueError("latest lies after earliest")
        return self


class ProductTable(Table):
    """[[products]]."""

    id: Id = Field(description="short name, which the begin of a coat gives")
    label: Said = Field(description="name of the product")
    sheet: Said = Field(description="data sheet and its revision")
    cure: Annotated[str, one_of(CURES)] = Field("by temperature", description="what its recoat time depends on")
    recoat: list[RecoatTable] = Field([], description="recoat times of the sheet, coldest row first")

    @model_validator(mode="after")
    def _rows_fit(self) -> Self:
        if self.recoat and self.cure != "by temperature":
            raise ValueError(f"a {self.cure} product has no recoat times by temperature; leave the table out")
        pairs = zip(self.recoat, self.recoat[1:], strict=False)
        if any(steel_c(one.steel_to) > steel_c(other.steel_from) for one, other in pairs):
            raise ValueError("the rows of recoat go from cold to warm and do not overlap")
        return self


def product(table: ProductTable) -> Product:
    """Return the product of a checked table."""
    rows = tuple(
        RecoatStep(
            steel_c(row.steel_from), steel_c(row.steel_to), seconds(row.earliest) / HOUR_S,
            seconds(row.latest) / HOUR_S if row.latest else None,
        )
        for row in table.recoat
    )  # fmt: skip
    return Product(table.id, table.label, table.sheet, table.cure, rows)
