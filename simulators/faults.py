"""An air train that fails in one way: for trying out what names a failing piece. Everything is invented.

compressor -> aftercooler -> separator -> receiver -> salt dryer (with bypass) -> pot -> blast line

A day is stretches of blasting with pauses in which the pot is vented and filled. The metal of each piece keeps
its gas from following at once. `minutes` gives what the sensors publish, once a minute; sources as `air_train`.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field

from simulators.air_train import ABSORPTION_J_KG, BAR, GAS_J_KG_K, VAPOUR_TO_AIR
from simulators.sensors import Instrument, Sensor
from simulators.weather import saturation_pa

STEP_S = 60.0
DAY_S = 86_400.0
START_S = 7 * 3600.0
RAMP_S = 600.0
"""A failure comes on over this time before its onset, if not said otherwise; then it acts in full."""
DUMP_KG = 0.15
SUMP_KG = 2.0
"""Water a drain lets out at once, and what the receiver's sump holds [kg]."""


@dataclass(frozen=True, slots=True)
class Climate:
    """A day's weather: mean air [degC], half its swing [K], dew point [degC], station pressure [hPa]."""

    air_c: float
    swing_k: float
    dew_c: float
    pressure_hpa: float

    def air_at(self, elapsed_s: float) -> float:
        """Air temperature [degC]; warmest at three in the afternoon."""
        return self.air_c + self.swing_k * math.cos(2 * math.pi * (elapsed_s - 15 * 3600.0) / DAY_S)

    def dew_at(self, elapsed_s: float) -> float:
        """Dew point [degC], with slow weather of 1.5 K on it; never above the air."""
        slow = 1.5 * math.sin(2 * math.pi * elapsed_s / (2.3 * DAY_S))
        return min(self.dew_c + slow, self.air_at(elapsed_s) - 0.3)


@dataclass(frozen=True, slots=True)
class Failure:
    """One way to fail, from onset_s on [s], with its strength in the unit of its kind; "" = healthy.

    ramp_s: how long before its onset it began to come on.
    """

    kind: str = ""
    strength: float = 0.0
    onset_s: float = math.inf
    ramp_s: float = RAMP_S

    def of(self, kind: str, healthy: float, elapsed_s: float) -> float:
        """The figure of a kind now: healthy, or on its way to the strength of this failure."""
        if kind != self.kind:
            return healthy
        come = min(max((elapsed_s - self.onset_s + self.ramp_s) / self.ramp_s, 0.0), 1.0)
        return healthy + come * (self.strength - healthy)


@dataclass(frozen=True, slots=True)
class Plant:
    """The machine: pressures [bar], flow [kg/s of dry air], times [min], transfer units of the cooler."""

    flow_kg_per_s: float = 0.35
    blasting_min: float = 50.0
    filling_min: float = 10.0
    day_h: float = 10.0
    line_bar_g: float = 7.6
    transfer_units: float = 2.6
    element_bar: float = 0.09
    separation: float = 0.9
    salt_rh: float = 0.5
    shell_share: float = 0.12
    """Heat through the dryer's shell over that of its gas, per K above the outside air."""
    pot_drop_bar: float = 0.5
    choke_bar: float = 0.04
    share: float = 1.0
    """Of its full flow, that the nozzle in use draws."""

    def blasts(self, elapsed_s: float) -> bool:
        """Whether air flows: in working hours, and not while the pot is filled."""
        worked_s = (elapsed_s % DAY_S) - START_S
        cycle_min = self.blasting_min + self.filling_min
        return 0.0 <= worked_s < self.day_h * 3600.0 and (worked_s / 60.0) % cycle_min < self.blasting_min


INSTRUMENTS = (
    Instrument("air-t", "Cel", 0.05, 0.01, 60.0), Instrument("air-rh", "%RH", 0.3, 0.1, 60.0, 100.0),
    Instrument("baro", "hPa", 0.05, 0.1), Instrument("cooling-t", "Cel", 0.1, 0.01, 60.0),
    Instrument("cooler-t", "Cel", 0.1, 0.01, 60.0), Instrument("cooler-p", "bar", 0.01, 0.005),
    Instrument("sep-t", "Cel", 0.1, 0.01, 60.0), Instrument("sep-p", "bar", 0.01, 0.005),
    Instrument("flow", "m3/min", 0.2, 0.05, 10.0), Instrument("sep-count", "count", 0.0, 1.0),
    Instrument("recv-t", "Cel", 0.1, 0.01, 60.0), Instrument("recv-rh", "%RH", 0.4, 0.1, 60.0, 100.0),
    Instrument("recv-level", "%FS", 0.5, 0.1), Instrument("recv-count", "count", 0.0, 1.0),
    Instrument("line-p", "bar", 0.01, 0.005), Instrument("dryer-t", "Cel", 0.1, 0.01, 60.0),
    Instrument("dryer-rh", "%RH", 0.4, 0.1, 60.0, 100.0), Instrument("bypass-x", "%FS", 0.3, 0.1),
    Instrument("pot-p", "bar", 0.01, 0.005), Instrument("blast-p", "bar", 0.01, 0.005),
    Instrument("pot-skin", "Cel", 0.1, 0.01, 60.0),
)  # fmt: skip
OFFSETS = {
    "air-t": 0.2, "air-rh": 1.5, "baro": 0.5, "cooling-t": 0.3, "cooler-t": 0.4, "cooler-p": 0.03, "sep-t": 0.4,
    "sep-p": 0.03, "flow": 0.5, "recv-t": 0.4, "recv-rh": 2.0, "line-p": 0.03, "dryer-t": 0.4, "dryer-rh": 2.0,
    "pot-p": 0.03, "blast-p": 0.03, "pot-skin": 0.4,
}  # fmt: skip
"""Half widths [as published] within which each sensor is off for good, drawn anew for each seed."""
SENSOR_FAULTS = {
    "sensor_dryer_rh": ("dryer-rh", 100.0), "sensor_dryer_salty": ("dryer-rh", 100.0),
    "sensor_receiver_t": ("recv-t", 1.0), "sensor_receiver_rh": ("recv-rh", 100.0),
    "sensor_dryer_t": ("dryer-t", 1.0),
}  # fmt: skip
"""Which sensor lies, and by how many published units for each of the fault's strength."""


@dataclass(slots=True)
class Metal:
    """What the machine remembers: gas temperatures held by its metal [degC], water in its sumps [kg], counts.

    stuck_kg: what the receiver's drain leaves in the sump.
    """

    cooler_c: float
    receiver_c: float
    bed_c: float
    sep_kg: float = 0.0
    recv_kg: float = 0.3
    stuck_kg: float = 0.3
    counts: dict[str, float] = field(default_factory=lambda: {"sep-count": 0.0, "recv-count": 0.0})


def minutes(
    plant: Plant, climate: Climate, failure: Failure, seed: int, start_s: float, count: int
) -> Iterator[tuple[float, dict[str, float | None]]]:
    """(time [s since midnight of the first day], what each sensor publishes), once a minute."""
    chance = random.Random(f"{seed} {failure.kind} {failure.strength} {climate.dew_c}")
    sensors = {each.id: Sensor(each) for each in INSTRUMENTS}
    for sensor in sensors.values():
        sensor.noise = random.Random(chance.random())
    off = {name: chance.uniform(-half, half) for name, half in OFFSETS.items()}
    air_c = climate.air_at(start_s)
    metal = Metal(air_c, air_c, air_c)
    for step in range(count):
        now_s = start_s + step * STEP_S
        truth = measured(plant, climate, failure, metal, now_s, chance)
        lying, scale = SENSOR_FAULTS.get(failure.kind, ("", 0.0))
        lie = {lying: scale * failure.of(failure.kind, 0.0, now_s)}
        yield (
            now_s,
            {
                name: sensor.read(truth[name] + off.get(name, 0.0) + lie.get(name, 0.0), now_s, STEP_S)
                for name, sensor in sensors.items()
            },
        )


def measured(
    plant: Plant, climate: Climate, failure: Failure, metal: Metal, now_s: float, chance: random.Random
) -> dict[str, float]:
    """What perfect sensors would show now, in the published units; the metal moves on by a minute."""
    air_c = climate.air_at(now_s) + failure.of("hot_day", 0.0, now_s)
    outside_pa, vapour_pa = 100.0 * climate.pressure_hpa, saturation_pa(climate.dew_at(now_s))
    flow = plant.share * plant.flow_kg_per_s * (1.0 + chance.gauss(0.0, 0.02)) if plant.blasts(now_s) else 0.0
    line_bar = plant.line_bar_g + 0.05 * math.sin(now_s / 900.0)
    at = {
        "air-t": air_c, "air-rh": 100.0 * vapour_pa / saturation_pa(air_c), "baro": climate.pressure_hpa,
        "flow": 60.0 * flow * 287.0 * (air_c + 273.15) / (outside_pa - vapour_pa), "pot-skin": air_c,
    }  # fmt: skip
    cooling_c = air_c + failure.of("housing", 0.0, now_s)
    intake = ratio(vapour_pa, outside_pa)
    pressure_pa = outside_pa + line_bar * BAR
    at["cooling-t"] = cooling_c
    _cool(plant, failure, metal, now_s, cooling_c, intake, pressure_pa, flow)
    at |= _water(plant, failure, metal, now_s, air_c, intake, pressure_pa, flow)
    at |= _pressures(plant, failure, now_s, line_bar, pressure_pa, metal.cooler_c, flow)
    at |= _dry(plant, failure, metal, now_s, air_c, intake, pressure_pa, flow)
    return at


def ratio(vapour_pa: float, pressure_pa: float) -> float:
    """Water vapour per dry air [kg/kg]."""
    return VAPOUR_TO_AIR * vapour_pa / (pressure_pa - vapour_pa)


def _most(temperature_c: float, pressure_pa: float) -> float:
    return ratio(saturation_pa(temperature_c), pressure_pa)


def _cool(
    plant: Plant, failure: Failure, metal: Metal, now_s: float, cooling_c: float, intake: float,
    pressure_pa: float, flow: float,
) -> None:  # fmt: skip
    """The cooler's gas, by transfer units; where water falls out its heat makes the rest of the way slower."""
    if not flow:
        metal.cooler_c += (cooling_c - metal.cooler_c) * 0.1
        return
    share = failure.of("fins", 1.0, now_s) * failure.of("fan", 1.0, now_s)
    left = plant.transfer_units * share * (plant.flow_kg_per_s / flow) ** 0.4
    gas_c = 85.0 + 0.4 * (cooling_c - 20.0)
    for _ in range(200):
        wet = _most(gas_c, pressure_pa) < intake
        slope = (_most(gas_c + 0.1, pressure_pa) - _most(gas_c - 0.1, pressure_pa)) / 0.2 if wet else 0.0
        heat = GAS_J_KG_K + ABSORPTION_J_KG * slope
        gas_c -= (gas_c - cooling_c) * (left / 200.0) * GAS_J_KG_K / heat
    metal.cooler_c += (gas_c - metal.cooler_c) * 0.25


def _water(
    plant: Plant, failure: Failure, metal: Metal, now_s: float, air_c: float, intake: float, pressure_pa: float,
    flow: float,
) -> dict[str, float]:  # fmt: skip
    """Temperatures and humidity as far as the receiver, and what its drains and that of the separator do."""
    settled_c = metal.cooler_c - 0.25 * (metal.cooler_c - air_c)
    metal.receiver_c += (settled_c - metal.receiver_c) * 0.25
    before, after = (min(intake, _most(c, pressure_pa)) for c in (metal.cooler_c, metal.receiver_c))
    formed_kg = STEP_S * flow * (intake - before)
    caught_kg = plant.separation * formed_kg
    drains = failure.of("separator_drain", 1.0, now_s)
    metal.sep_kg += caught_kg * drains
    settled_kg = formed_kg - caught_kg * drains + STEP_S * flow * max(before - after, 0.0)
    metal.recv_kg += settled_kg
    metal.stuck_kg += settled_kg * (1.0 - failure.of("receiver_drain", 1.0, now_s))
    _dump(metal, "sep-count", "sep_kg", 0.0)
    _dump(metal, "recv-count", "recv_kg", metal.stuck_kg)
    metal.recv_kg = min(metal.recv_kg, SUMP_KG)  # the rest is carried on as mist
    rh = after * pressure_pa / (VAPOUR_TO_AIR + after) / saturation_pa(metal.receiver_c)
    return {
        "cooler-t": metal.cooler_c, "sep-t": metal.cooler_c - 0.3, "recv-t": metal.receiver_c,
        "recv-rh": 100.0 * rh, "recv-level": 100.0 * metal.recv_kg / SUMP_KG, **metal.counts,
    }  # fmt: skip


def _dump(metal: Metal, counter: str, sump: str, kept_kg: float) -> None:
    """Open the drain as often as there is water for it."""
    while getattr(metal, sump) >= kept_kg + DUMP_KG:
        setattr(metal, sump, getattr(metal, sump) - DUMP_KG)
        metal.counts[counter] += 1.0


def _pressures(
    plant: Plant, failure: Failure, now_s: float, line_bar: float, pressure_pa: float, gas_c: float, flow: float
) -> dict[str, float]:
    """Gauge pressures [bar]: the element's loss goes with the square of the flow over the density."""
    pull = (flow / plant.flow_kg_per_s) ** 2 * (gas_c + 273.15) / 305.0 * 8.6e5 / pressure_pa
    after = line_bar - plant.element_bar * failure.of("element", 1.0, now_s) * pull
    running = 1.0 if flow else 0.0
    pot = (after - 0.1 * pull - plant.pot_drop_bar) * running
    blast = (pot - plant.choke_bar - failure.of("choke", 0.0, now_s)) * running
    return {
        "cooler-p": line_bar, "sep-p": after, "line-p": after, "pot-p": pot, "blast-p": max(blast, 0.0),
    }  # fmt: skip


def _dry(
    plant: Plant, failure: Failure, metal: Metal, now_s: float, air_c: float, intake: float, pressure_pa: float,
    flow: float,
) -> dict[str, float]:  # fmt: skip
    """The dryer's outlet: air over the salt, mixed with what passed the salt or the dryer untouched."""
    past = max(failure.of("channelled", 0.0, now_s), failure.of("bypass", 0.0, now_s))
    salt_rh = failure.of("spent", plant.salt_rh, now_s)
    inlet = min(intake, _most(metal.receiver_c, pressure_pa))
    taken = 0.0
    if flow:
        shell = plant.shell_share * plant.flow_kg_per_s / flow / max(1.0 - past, 0.05)
        low, high = metal.receiver_c - 30.0, metal.receiver_c + 40.0
        for _ in range(40):
            bed_c = 0.5 * (low + high)
            held = min(inlet, salt_rh * saturation_pa(bed_c) * VAPOUR_TO_AIR / pressure_pa)
            freed_k = ABSORPTION_J_KG * (inlet - held) / GAS_J_KG_K
            lost_k = shell * (0.5 * (bed_c + metal.receiver_c) - air_c)
            low, high = (bed_c, high) if metal.receiver_c + freed_k - lost_k > bed_c else (low, bed_c)
        metal.bed_c += (low - metal.bed_c) * 0.15
        taken = inlet - min(inlet, salt_rh * saturation_pa(metal.bed_c) * VAPOUR_TO_AIR / pressure_pa)
    else:
        metal.bed_c += (air_c - metal.bed_c) * 0.01
    out = inlet - (1.0 - past) * taken
    out_c = past * metal.receiver_c + (1.0 - past) * metal.bed_c
    rh = out * pressure_pa / (VAPOUR_TO_AIR + out) / saturation_pa(out_c)
    opened = failure.of("bypass", 0.0, now_s)
    return {"dryer-t": out_c, "dryer-rh": 100.0 * min(rh, 1.0), "bypass-x": 100.0 * opened}
