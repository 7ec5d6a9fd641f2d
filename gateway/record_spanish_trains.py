"""The Spanish of what persons do to air trains and dryers, in the record and on the pages."""

from __future__ import annotations

TRAINS: dict[str, str] = {
    "work done": "trabajo hecho",
    "dryer check": "ensayo del secador",
    "salt refilled": "sal rellenada",
    "element changed": "elemento cambiado",
    "drain cleaned": "purgador limpiado",
    "cooler cleaned": "enfriador limpiado",
    "bypass shut": "derivación cerrada",
    "sensor changed": "sensor cambiado",
    "other work": "otro trabajo",
    "outgoing": "de salida",
    "return": "de retorno",
    "pass": "apto",
    "fail": "no apto",
    "inconclusive": "no concluyente",
    "not tested": "no ensayado",
    "no criteria set": "sin criterios",
    "air train": "tren de aire",
    "Which air train": "Qué tren de aire",
    "Which piece of it": "Qué pieza de él",
    "Water level seen": "Nivel de agua visto",
    "Openings of its drain counted": "Aperturas de su purgador contadas",
    "Position of the bypass": "Posición de la derivación",
    "shut": "cerrada",
    "partly open": "abierta en parte",
    "open": "abierta",
}
