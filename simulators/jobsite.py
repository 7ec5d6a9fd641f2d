"""A fictional jobsite: `saltmarsh`, "Tank 7, north shell (simulated)". It plays a scenario step by step.

`samples` gives one row of readings for every STEP_S of simulated time, from the start on. Truth is made by
`weather`, `steel` and `air_train`; `sensors` spoils it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from simulators import air_train
from simulators.scenario import Scenario
from simulators.sensors import Instrument, Sensor
from simulators.steel import Plate, after, outdoors
from simulators.weather import Weather, dew_point_c

JOBSITE = "saltmarsh"
LABEL = "Tank 7, north shell (simulated)"
STEP_S = 10.0
SETTLE_S = 3 * 3600.0
"""The plates run this long before the start, so that they begin in balance with the afternoon."""

INSTRUMENTS = (
    Instrument("air-t", "Cel", 0.03, 0.01, 30.0),
    Instrument("air-rh", "%RH", 0.15, 0.1, 30.0, 100.0),
    Instrument("baro", "hPa", 0.03, 0.1),
    Instrument("steel-low", "Cel", 0.03, 0.01, 20.0),
    Instrument("steel-high", "Cel", 0.03, 0.01, 20.0),
    Instrument("recv-t", "Cel", 0.05, 0.01, 20.0),
    Instrument("recv-rh", "%RH", 0.3, 0.1, 40.0, 100.0),
    Instrument("dryer-t", "Cel", 0.05, 0.01, 20.0),
    Instrument("dryer-rh", "%RH", 0.3, 0.1, 40.0, 100.0),
    Instrument("line-p", "bar", 0.02, 0.01),
    Instrument("pot-p", "bar", 0.02, 0.01),
    Instrument("pot-skin", "Cel", 0.05, 0.01, 20.0),
)
UNITS = {each.id: each.unit for each in INSTRUMENTS}

# The coldest spot sees the most sky, the warmest the most ground; the pot stands between.
LOW = Plate(0.010, sky_view=0.55)
HIGH = Plate(0.012, sky_view=0.30)
POT = Plate(0.010, sky_view=0.40)
WIND_M_S = 0.8
POT_FILM_W_M2_K = 2.0
"""Heat from the gas inside to the pot's wall [W/(m2 K)]; invented."""
TRAIN = air_train.Train()


@dataclass(frozen=True, slots=True)
class Walls:
    """Temperatures [degC] of the two steel spots and of the pot's wall."""

    low_c: float
    high_c: float
    pot_c: float


@dataclass(frozen=True, slots=True)
class Truth:
    """Everything at the jobsite at one time, before any sensor saw it."""

    weather: Weather
    walls: Walls
    train: air_train.TrainState

    @property
    def steel_margin_k(self) -> float:
        """Coldest steel minus the dew point of the outside air [K]."""
        return self.walls.low_c - self.weather.dew_c

    @property
    def pot_margin_k(self) -> float:
        """Pot wall minus the dew point of the dryer-outlet vapour at pot pressure [K]."""
        pot_pa = self.train.pot.pressure_pa
        return self.walls.pot_c - dew_point_c(air_train.throttled(self.train.dryer, pot_pa).vapour_pa)


def later(walls: Walls, weather: Weather, gas_c: float) -> Walls:
    """The walls STEP_S later; gas_c [degC] is the gas that enters the pot."""
    inner_w_m2 = POT_FILM_W_M2_K * (gas_c - walls.pot_c)
    return Walls(
        after(LOW, walls.low_c, outdoors(LOW, weather, WIND_M_S), STEP_S),
        after(HIGH, walls.high_c, outdoors(HIGH, weather, WIND_M_S), STEP_S),
        after(POT, walls.pot_c, outdoors(POT, weather, WIND_M_S, inner_w_m2), STEP_S),
    )


def truths(scenario: Scenario) -> Iterator[Truth]:
    """The truth every STEP_S, the first at the start of the scenario; without end."""
    elapsed_s = -SETTLE_S
    air_c = scenario.weather(elapsed_s).air_c
    walls = Walls(air_c, air_c, air_c)
    while True:
        weather = scenario.weather(elapsed_s)
        train = air_train.run(TRAIN, weather, scenario.equilibrium_rh(elapsed_s), walls.pot_c)
        if elapsed_s >= 0.0:
            yield Truth(weather, walls, train)
        walls = later(walls, weather, train.dryer.temperature_c)
        elapsed_s += STEP_S


def measured(truth: Truth) -> dict[str, float]:
    """What perfect sensors would show, in the published units."""
    weather, walls, train = truth.weather, truth.walls, truth.train
    return {
        "air-t": weather.air_c,
        "air-rh": weather.rh_percent,
        "baro": weather.pressure_pa / 100.0,
        "steel-low": walls.low_c,
        "steel-high": walls.high_c,
        "recv-t": train.receiver.temperature_c,
        "recv-rh": train.receiver.rh_percent,
        "dryer-t": train.dryer.temperature_c,
        "dryer-rh": train.dryer.rh_percent,
        "line-p": TRAIN.line_bar_g,
        "pot-p": TRAIN.pot_bar_g,
        "pot-skin": walls.pot_c,
    }


def samples(scenario: Scenario) -> Iterator[dict[str, float | None]]:
    """One row of readings every STEP_S, as the sensors publish them; None where a sensor is silent."""
    sensors = {each.id: Sensor(each, scenario.faults) for each in INSTRUMENTS}
    for step, truth in enumerate(truths(scenario)):
        now = measured(truth)
        yield {name: sensor.read(now[name], step * STEP_S, STEP_S) for name, sensor in sensors.items()}
