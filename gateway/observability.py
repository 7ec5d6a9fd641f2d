"""What a train's sensors can tell apart, and what they cannot: before anything has failed.

A fault that looks like another from these sensors is told as one grouped finding; what leaves no trace in them is
said to be invisible, so that nobody takes silence for health.
"""

from __future__ import annotations

from collections.abc import Callable

from gateway.jobsite import Piece, Train
from gateway.train_look import DRYER_KINDS


def measures(train: Train) -> Callable[[str], bool]:
    """Return whether a train has the sensors of a figure of `train_features`, by the figure's name."""
    found = _figures(train)
    return lambda name: name in found


def _figures(train: Train) -> frozenset[str]:
    pieces = train.pieces
    dryer_at = next((i for i, p in enumerate(pieces) if p.kind in DRYER_KINDS), len(pieces))
    before, dryer = pieces[:dryer_at], next(iter(pieces[dryer_at:]), None)
    warm = [p for p in before if p.outlet.temperature and p.kind != "compressor"]
    tests = {
        "flow": any(p.outlet.flow for p in pieces),
        "approach": any(p.kind == "aftercooler" for p in pieces) and bool(warm),
        "housing": any(p.cooling_air for p in pieces),
        "pair": len(warm) > 1,
        "inlet_rh": bool(warm) and _humidity(warm[-1]),
        "element": _element(pieces) and bool(warm),
        "drain": any(p.kind == "separator" and p.drain_count for p in pieces) and bool(warm),
        "level": any(p.level for p in pieces),
        "position": any(p.position for p in pieces),
        "choke": any(p.blast_line and p.outlet.pressure for p in pieces),
        "hot": bool(dryer and dryer.rated_inlet_c is not None and warm),
        "outlet_rh": bool(dryer and _humidity(dryer)),
        "heat": bool(dryer and _humidity(dryer) and warm and _humidity(warm[-1])),
    }
    return frozenset(name for name, fitted in tests.items() if fitted)


def _humidity(piece: Piece) -> bool:
    out = piece.outlet
    return bool(out.temperature and (out.relative_humidity or out.pressure_dew_point))


def _element(pieces: tuple[Piece, ...]) -> bool:
    """Whether a separator or filter has a pressure before and after it."""
    known = False
    for piece in pieces:
        if piece.kind in ("separator", "coalescing filter", "after-filter") and known and piece.outlet.pressure:
            return True
        known = known or bool(piece.outlet.pressure)
    return False


SENSORS_LIE = ("inlet sensor", "outlet sensor", "dryer sensor")


def seen_as(train: Train, fault: str) -> tuple[str, ...]:
    """Return the kinds of finding that mean a fault, empty where these sensors cannot see it.

    fault: a name of FAULTS. Raises: KeyError.
    """
    return FAULTS[fault](measures(train))


Has = Callable[[str], bool]


def _cooler(has: Has) -> tuple[str, ...]:
    if not has("approach"):
        return ()
    if not has("pair"):
        return ("cooler, housing air or sensor",)
    return ("cooler",) if has("housing") else ("cooler or housing air",)


def _housing(has: Has) -> tuple[str, ...]:
    return ("housing air",) if has("housing") else _cooler(has)


def _bed(has: Has) -> tuple[str, ...]:
    if not has("outlet_rh"):
        return ()
    if not has("heat"):
        return ("bed, bypass or sensor",)
    return ("bed", "bed, bypass or sensor") if has("position") else ("bed or bypass", "bed, bypass or sensor")


def _bypass(has: Has) -> tuple[str, ...]:
    return ("bypass open",) if has("position") else _bed(has)


def _if(figure: str, kind: str) -> Callable[[Has], tuple[str, ...]]:
    return lambda has: (kind,) if has(figure) else ()


def _outlet_sensor(has: Has) -> tuple[str, ...]:
    """A lying outlet looks like a bed unless the heat tells; where the heat is too small, the group is told."""
    if not has("outlet_rh"):
        return ()
    return (*SENSORS_LIE, "bed, bypass or sensor") if has("heat") else ("outlet sensor", "bed, bypass or sensor")


def _inlet_thermometer(has: Has) -> tuple[str, ...]:
    return ("inlet sensor",) if has("pair") else (*_cooler(has), "inlet sensor") if has("approach") else ()


def _inlet_sensor(has: Has) -> tuple[str, ...]:
    return SENSORS_LIE if has("inlet_rh") else ()


FAULTS: dict[str, Callable[[Has], tuple[str, ...]]] = {
    "fins": _cooler,
    "fan": _cooler,
    "housing": _housing,
    "element": _if("element", "element blocked"),
    "separator_drain": lambda has: ("separator drain",) if has("drain") else (),
    "receiver_drain": _if("level", "receiver drain"),
    "spent": _bed,
    "channelled": _bed,
    "bypass": _bypass,
    "hot_day": _if("hot", "hot inlet"),
    "choke": _if("choke", "forced pot"),
    "sensor_dryer_rh": _outlet_sensor,
    "sensor_dryer_salty": _outlet_sensor,
    "sensor_receiver_t": _inlet_thermometer,
    "sensor_receiver_rh": _inlet_sensor,
    "sensor_dryer_t": _if("heat", "dryer sensor"),
}
"""Every fault that is thought of, and how it looks."""


SAID = {
    "fins": "dirt on the cooler's fins", "fan": "the cooler's fan", "housing": "a cooler breathing its housing",
    "element": "a blocked element", "separator_drain": "a stuck separator drain",
    "receiver_drain": "a receiver that is not drained", "spent": "spent salt",
    "channelled": "a way past the salt", "bypass": "an open bypass", "hot_day": "an inlet hotter than rated",
    "choke": "a closed choke valve", "sensor_dryer_rh": "an outlet probe that reads high",
    "sensor_dryer_salty": "an outlet probe that sees salt", "sensor_receiver_t": "a drifting inlet thermometer",
    "sensor_receiver_rh": "an inlet probe that reads low", "sensor_dryer_t": "an outlet thermometer that drifts",
}  # fmt: skip


UNMETERED = (
    "cannot be seen with these sensors: a slight fault of the cooler, or housing air a few kelvin warmer, that "
    "takes no more from it than a nozzle one size larger does, since nothing measures the flow; a larger change "
    "of nozzle may look like a failing cooler"
)


def sentences(train: Train) -> list[str]:
    """What `cannot_tell` says, with the train's name before it."""
    return [f'train "{train.id}": {each}' for each in cannot_tell(train)]


def cannot_tell(train: Train) -> list[str]:
    """What this train's sensors see as one finding, and what they cannot see; nothing where it has none."""
    has = measures(train)
    seen = {fault: make(has) for fault, make in FAULTS.items()}
    if not any(seen.values()):
        return []
    unseen = [SAID[fault] for fault, kinds in seen.items() if not kinds]
    alike: dict[str, list[str]] = {}
    for fault, kinds in seen.items():
        if kinds and kinds[0] not in SENSORS_LIE:
            alike.setdefault(kinds[0], []).append(SAID[fault])
    said = [
        f"looks the same with these sensors: {', '.join(faults)}" for faults in alike.values() if len(faults) > 1
    ]
    if has("approach") and not has("flow"):
        said.append(UNMETERED)
    if unseen:
        said.append(f"cannot be seen with these sensors: {', '.join(unseen)}")
    return said
