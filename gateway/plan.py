"""The plan of an air train before the job: with this weather, compressor and train, where will water fall out?

Pure: a `Plan` is what the user entered, `run` walks one hour of weather through it. The water is that of the flow
*used* by nozzles and loads, not of the compressor's plate. No limit is built in: a need for the pot is the user's.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import prod

from gateway.compressed_air import (
    absolute_pressure_pa,
    discharge_temperature_c,
    dry_air_kg_per_s,
    nozzle_chart_band_kg_per_s,
    worn_bore_m,
)
from gateway.pieces import (
    AdsorptionDryer,
    Aftercooler,
    Bypass,
    Compressor,
    Hose,
    Pot,
    Receiver,
    RefrigeratedDryer,
    Regulator,
    SaltBed,
    Separator,
)
from gateway.psychrometrics import vapour_pressure_pa
from gateway.water_path import Passage, Piece, intake, walk

Figures = Mapping[str, float]
TREATMENT = (
    "aftercooler", "separator", "receiver", "coalescing filter", "deliquescent dryer", "refrigerated dryer",
    "adsorption dryer", "after-filter", "bypass", "pot-inlet trap",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Weather:
    """One hour outside: air [°C], rh 0..1 over water, station pressure [Pa], pot wall below the air [K]."""

    air_temperature_c: float
    rh: float
    station_pressure_pa: float
    pot_wall_below_air_k: float = 0.0


@dataclass(frozen=True, slots=True)
class Nozzle:
    """Nozzles alike: bore [m] as new, wear as a share of the bore, gauge pressure at the nozzle [Pa]."""

    number: int
    bore_m: float
    wear_share: float
    gauge_pa: float


@dataclass(frozen=True, slots=True)
class Load:
    """What else takes air: free air [m³/s]. Counted as a load, nothing more."""

    label: str
    flow_m3_per_s: float


@dataclass(frozen=True, slots=True)
class Source:
    """The compressor: free air delivery [m³/s], line pressure [Pa gauge], discharge [°C] entered or computed.

    discharge_c None: one stage of this isentropic efficiency. derating: share lost to altitude, entered.
    """

    delivery_m3_per_s: float
    line_gauge_pa: float
    discharge_c: float | None
    isentropic_efficiency: float = 1.0
    derating: float = 0.0


@dataclass(frozen=True, slots=True)
class Recipe:
    """One piece as entered: figures by name in the units used inside; `around` for a bypass."""

    label: str
    kind: str
    figures: Figures
    around: tuple[Recipe, ...] = ()


@dataclass(frozen=True, slots=True)
class Need:
    """What the specification or the user asks of the pot: a margin [K] and where that is written."""

    pot_margin_k: float
    clause: str


@dataclass(frozen=True, slots=True)
class Assumption:
    """What was not stated and is taken all the same: where, the words with "{}" for the figure, their why.

    measures: as in `plan_figures.Figure`, "" without a figure; value: in the unit used inside; name: its key.
    """

    where: str
    what: str
    measures: str = ""
    value: float = 0.0
    name: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything entered, and what was not."""

    label: str
    weather: Weather
    source: Source
    nozzles: tuple[Nozzle, ...]
    loads: tuple[Load, ...]
    recipes: tuple[Recipe, ...]
    need: Need | None = None
    assumed: tuple[Assumption, ...] = ()
    simulated: bool = False


@dataclass(frozen=True, slots=True)
class Result:
    """One hour worked out. Flows of dry air [kg/s]; the used band is that of the trade's nozzle chart."""

    weather: Weather
    passages: tuple[Passage, ...]
    flow_used_kg_per_s: float
    flow_band_kg_per_s: tuple[float, float]
    flow_available_kg_per_s: float

    @property
    def shortfall_share(self) -> float:
        """Share of the wanted flow the compressor cannot give, 0 when it can."""
        return max(0.0, 1.0 - self.flow_available_kg_per_s / self.flow_used_kg_per_s)


def run(plan: Plan, weather: Weather | None = None) -> Result:
    """Walk one hour of weather through the plan, the plan's own by default. Raises: OutOfRange."""
    air = weather or plan.weather
    density, kept = _dry_density(air), _kept_share(plan)
    used, low, high = (each / kept for each in _flow_used(plan, air, density))
    available = plan.source.delivery_m3_per_s * (1.0 - plan.source.derating) * density
    start = intake(air.air_temperature_c, air.rh, air.station_pressure_pa, min(used, available))
    passages = walk(start, [_compressor(plan.source, air), *(_piece(r, air) for r in plan.recipes)])
    return Result(air, passages, used, (low, high), available)


def without(plan: Plan, label: str) -> Plan:
    """The plan without one piece; of a bypass the pieces it goes around stay."""
    kept: list[Recipe] = []
    for recipe in plan.recipes:
        inner = tuple(each for each in recipe.around if each.label != label)
        kept += [replace(recipe, around=inner)] if recipe.label != label else list(recipe.around)
    return replace(plan, recipes=tuple(kept))


def treatment(plan: Plan) -> list[str]:
    """The labels of the pieces that take out water or help to."""
    return [recipe.label for recipe in each_recipe(plan) if recipe.kind in TREATMENT]


def each_recipe(plan: Plan) -> list[Recipe]:
    """Every piece as entered, those a bypass goes around after it."""
    return [each for recipe in plan.recipes for each in (recipe, *recipe.around)]


def _dry_density(air: Weather) -> float:
    e_pa = vapour_pressure_pa(air.air_temperature_c, air.rh, air.station_pressure_pa)
    return dry_air_kg_per_s(1.0, air.air_temperature_c, e_pa, air.station_pressure_pa)


def _flow_used(plan: Plan, air: Weather, dry_kg_per_m3: float) -> tuple[float, float, float]:
    """(middle, low, high) flow of all nozzles and loads [kg/s]; the nozzle's share of vapour is neglected."""
    low = high = sum(load.flow_m3_per_s for load in plan.loads) * dry_kg_per_m3
    for nozzle in plan.nozzles:
        p_pa = absolute_pressure_pa(nozzle.gauge_pa, air.station_pressure_pa)
        bore_m = worn_bore_m(nozzle.bore_m, nozzle.wear_share)
        band = nozzle_chart_band_kg_per_s(bore_m, p_pa, air.air_temperature_c, air.station_pressure_pa)
        low, high = low + nozzle.number * band[0], high + nozzle.number * band[1]
    return 0.5 * (low + high), low, high


def _kept_share(plan: Plan) -> float:
    """Share of the dry air that dryers do not blow off; a bypass is not counted on, so no shortfall is hidden."""
    return prod(1.0 - recipe.figures.get("purge", 0.0) for recipe in each_recipe(plan))


def _compressor(source: Source, air: Weather) -> Compressor:
    outlet_pa = absolute_pressure_pa(source.line_gauge_pa, air.station_pressure_pa)
    discharge_c = source.discharge_c
    if discharge_c is None:
        discharge_c = discharge_temperature_c(
            air.air_temperature_c, air.station_pressure_pa, outlet_pa, source.isentropic_efficiency
        )
    return Compressor("compressor", outlet_pa, discharge_c)


def _piece(recipe: Recipe, air: Weather) -> Piece:
    return MAKERS[recipe.kind](recipe, recipe.figures, air)


def _separator(recipe: Recipe, of: Figures, _: Weather) -> Piece:
    return Separator(recipe.label, of["efficiency"], of["drop_pa"], recipe.kind)


def _regulator(recipe: Recipe, of: Figures, air: Weather) -> Piece:
    return Regulator(recipe.label, absolute_pressure_pa(of["outlet_gauge_pa"], air.station_pressure_pa))


def _bypass(recipe: Recipe, of: Figures, air: Weather) -> Piece:
    return Bypass(recipe.label, of["share"], tuple(_piece(each, air) for each in recipe.around))


def _pot(recipe: Recipe, of: Figures, air: Weather) -> Piece:
    wall_c = air.air_temperature_c - air.pot_wall_below_air_k
    return Pot(recipe.label, wall_c, of["contact"], of["drop_pa"])


Maker = Callable[[Recipe, Figures, Weather], Piece]
MAKERS: dict[str, Maker] = {
    "aftercooler": lambda r, of, air: Aftercooler(
        r.label, air.air_temperature_c + of["housing_k"], of["approach_k"], of["drop_pa"]
    ),
    "separator": _separator,
    "coalescing filter": _separator,
    "after-filter": _separator,
    "pot-inlet trap": _separator,
    "receiver": lambda r, of, air: Receiver(
        r.label, air.air_temperature_c + of["wall_above_air_k"], of["contact"], of["drained"]
    ),
    "refrigerated dryer": lambda r, of, _: RefrigeratedDryer(
        r.label, of["pdp_c"], of["outlet_c"], of["drained"], of["drop_pa"]
    ),
    "adsorption dryer": lambda r, of, _: AdsorptionDryer(
        r.label, of["pdp_c"], of["warming_k"], of["purge"], of["drop_pa"]
    ),
    "deliquescent dryer": lambda r, of, _: SaltBed(
        r.label, of["equilibrium_rh"], of["shell_loss"], of["drop_pa"]
    ),
    "regulator": _regulator,
    "bypass": _bypass,
    "pot": _pot,
    "hose": lambda r, of, air: Hose(
        r.label, air.air_temperature_c - air.pot_wall_below_air_k, of["contact"], of["drop_pa"]
    ),
}  # fmt: skip
