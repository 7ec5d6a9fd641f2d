"""The Spanish names of activities, stages and quantities, in the record and on the pages."""

from __future__ import annotations

NAMES: dict[str, str] = {
    # -- activities and stages
    "blasting": "chorreado",
    "priming": "imprimación",
    "stripe coat": "capa de refuerzo",
    "coating": "pintado",
    "curing": "curado",
    "washing": "lavado",
    "blow-down": "soplado",
    "idle": "sin trabajo",
    "unset": "sin fijar",
    "blasted": "chorreado",
    "primed": "imprimado",
    "coated": "pintado",
    "cured": "curado",
    "not stated": "no indicado",
    # -- quantities
    "dew point margin": "margen al punto de rocío",
    "condensation margin": "margen de condensación",
    "RH at steel": "HR en el acero",
    "steel temperature": "temperatura del acero",
    "wind speed": "viento",
    "product temperature": "temperatura del producto",
    "relative humidity": "humedad relativa",
    "air temperature": "temperatura del aire",
    "station pressure": "presión de estación",
    "gas temperature": "temperatura del gas",
    "wall temperature": "temperatura de pared",
    "gauge pressure": "presión manométrica",
    "absolute pressure": "presión absoluta",
    "pressure dew point": "punto de rocío a presión",
    "dew point": "punto de rocío",
    "frost point": "punto de escarcha",
    "air": "aire",
    "coldest": "más frío",
    "warmest": "más cálido",
}  # fmt: skip
