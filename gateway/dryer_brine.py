"""How much of a drained brine is water: by its density and temperature, as a hydrometer gives them.

Densities of aqueous solutions at 20 °C [kg/m³] by mass share of salt: usual handbook tables, from memory, read to
about 1 kg/m³ in a hundred; their fall with temperature 0.4 kg/(m³ K), from memory. Hence U_SHARE.
"""

from __future__ import annotations

from itertools import pairwise

from gateway.psychrometrics import OutOfRange

U_SHARE = 0.01  # standard uncertainty of the share from the tables and the correction: ours
PER_K = 0.4
DENSITIES: dict[str, tuple[tuple[float, float], ...]] = {
    "lithium chloride": ((0.0, 998.2), (0.1, 1056.0), (0.2, 1115.0), (0.3, 1181.0), (0.4, 1254.0), (0.45, 1295.0)),
    "magnesium chloride": ((0.0, 998.2), (0.1, 1082.0), (0.2, 1171.0), (0.3, 1269.0), (0.35, 1320.0)),
    "sodium chloride": ((0.0, 998.2), (0.1, 1071.0), (0.2, 1148.0), (0.26, 1197.0)),
    "calcium chloride": ((0.0, 998.2), (0.1, 1083.5), (0.2, 1177.5), (0.3, 1281.6), (0.4, 1395.7)),
}


def salt_share(salt: str, density_kg_per_m3: float, t_c: float) -> float:
    """Mass share of salt 0..1 in a brine of this density at t_c [°C, 0 to 60].

    Raises: KeyError for a salt without a table, OutOfRange for a density outside it.
    """
    if not 0.0 <= t_c <= 60.0:
        raise OutOfRange("temperature of the brine (C)", t_c, "0 to 60")
    table = DENSITIES[salt]
    at_20 = density_kg_per_m3 + PER_K * (t_c - 20.0)
    for (low, lighter), (high, heavier) in pairwise(table):
        if lighter <= at_20 <= heavier:
            return low + (high - low) * (at_20 - lighter) / (heavier - lighter)
    raise OutOfRange(f"density of the brine at 20 C (kg/m3), {salt}", at_20, f"{table[0][1]} to {table[-1][1]}")
