"""The flow distrusts its sensors: from SenML messages to a value unknown, or known with a word of caution."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest

from alerts.limits import Limit, Verdict
from alerts.measured import Quantity, Validity
from gateway import entry, overview, sensor_sense
from gateway.compressed_air import standard_atmosphere_pa
from gateway.entry import Kind
from gateway.flow import Flow
from gateway.flow_state import Outcomes
from gateway.jobsite import Area, Jobsite, Piece, Point, Station
from gateway.payload import canonical
from gateway.sensor_sense import Sense, Watch, patience_ms
from tests.sites import margin_limit, sensor, site
from tests.test_flow import MINUTE, Day, values

HOUR = 60 * MINUTE
TRAIN = {"dryer-t": 40.0, "dryer-rh": 30.0, "line-p": 7.0}


class Shift(Day):
    """A day whose readings move a little, as real ones do, unless they are told to stand still."""

    def hear(self, seconds: int, still: tuple[str, ...] = (), every_s: int = 10, **said: float) -> None:
        for turn in range(seconds // every_s):
            self.now += every_s * 1000
            for name, value in (values(**said) | self.others).items():
                self.send(name, value if name in still else value + turn % 2 / 10)
        self.settle()

    others: dict[str, float] = {}  # noqa: RUF012 (each test may replace it)

    def settle(self) -> None:
        outcomes = self.flow.tick(self.now + 1000)
        self.out.events += outcomes.events

    def put_in_force(self, changed: Jobsite) -> None:
        self.add(entry.plain(Kind.CONFIG_SET, self.now, canonical.config_set(changed, "keeper", "test")))

    def reason(self, name: str) -> str:
        return self.flow.read(name).reason


@pytest.fixture
def shift() -> Shift:
    return Shift(margin_limit())


def test_a_stuck_humidity_is_unknown_and_so_is_its_margin(shift: Shift) -> None:
    """After two hours of the same digits the margin is unknown, with the sensor and the reason named."""
    shift.hear(7190, still=("air-rh",))
    assert shift.verdict() is Verdict.INSIDE and shift.flow.suspicions() == {}
    shift.hear(30, still=("air-rh",))
    said = "stuck: exactly the same value for 2.0 h while it should move"
    assert shift.reason("air-rh") == f"air-rh: {said}"
    assert shift.verdict() is Verdict.UNKNOWN
    assert shift.flow.suspicions() == {"air-rh": (said,)}
    shift.hear(20)
    assert shift.verdict() is Verdict.INSIDE and shift.flow.suspicions() == {}


def test_a_fault_never_clears_an_alarm(shift: Shift) -> None:
    """The steel is wet, then its wire comes loose and shows warm steel by turns: the alarm stands for an hour."""
    shift.hear(120, steel=11.0)
    for _ in range(60):
        shift.hear(30, steel=60.0, every_s=30)
        shift.hear(30, steel=90.0, every_s=30)
    assert [change for _, change in shift.changes()] == ["outside limits"]
    assert shift.verdict() is Verdict.UNKNOWN and "steel: jumped by" in shift.reason("steel")


def test_a_stuck_sensor_keeps_its_alarm_while_all_others_say_inside(shift: Shift) -> None:
    """Humidity stuck through the breach: warm steel for an hour brings no return; a moving humidity does."""
    shift.hear(7200, still=("air-rh",), steel=11.0)
    shift.hear(3600, still=("air-rh",), steel=20.0)
    assert [change for _, change in shift.changes()] == ["outside limits"]
    shift.hear(700, steel=20.0)
    assert [change for _, change in shift.changes()] == ["outside limits", "limits back"]


def test_silence_and_a_restart_take_no_fault_back(shift: Shift) -> None:
    """Stuck, then silent for an hour, then a new start: the next reading with the same digits is still unknown."""
    shift.hear(7300, still=("air-rh",))
    shift.now += HOUR
    shift.settle()
    assert "silent since" in shift.reason("air-rh")
    shift.put(Kind.STARTED, {"offset_ms": 0})
    shift.hear(10, still=("air-rh",))
    assert shift.reason("air-rh").startswith("air-rh: stuck") and shift.verdict() is Verdict.UNKNOWN


def test_a_jump_is_unknown_until_two_more_agree(shift: Shift) -> None:
    """Steel from 20 to 60 °C in ten seconds: two readings of doubt, then it is believed."""
    shift.hear(60)
    found = []
    for _ in range(3):
        shift.hear(10, steel=60.0)
        found.append(shift.verdict())
    assert found == [Verdict.UNKNOWN, Verdict.UNKNOWN, Verdict.INSIDE]


def test_impossible_values_saturation_and_the_low_end_stay_what_they_were(shift: Shift) -> None:
    """Range is refused on reading; above 100 % is saturated; up to the accuracy is a bound."""
    shift.send("steel", 151.0)
    assert shift.flow.state.rejected == {"impossible value": 1}
    shift.send("air-rh", 102.0)
    wet = shift.flow.read("air-rh")
    assert (wet.value, wet.validity, wet.reason) == (1.0, Validity.SATURATED, "air-rh: saturated, judged wet")
    dry = Shift()
    dry.send("air-rh", 1.0)
    bound = dry.flow.read("air-rh")
    assert (bound.value, bound.validity) == (0.02, Validity.BOUND)
    assert bound.reason == "air-rh: below what this sensor resolves"


@pytest.mark.parametrize(
    ("altitude_m", "hpa", "validity", "off", "said"),
    [  # standard atmosphere: 1010.8 hPa at 20 m, 835.2 hPa at 1,600 m (ASHRAE Fundamentals 2017, ch. 1, eq. 3)
        (20.0, 1050.0, Validity.GOOD, "", ""),
        (20.0, 1052.0, Validity.GOOD, "+41", "looks like sea-level pressure or a wrong altitude"),
        (20.0, 969.0, Validity.GOOD, "-42", "check the sensor and the altitude"),
        (1600.0, 1013.0, Validity.UNKNOWN, "+178",
         "looks like sea-level pressure or a wrong altitude; no weather brings that"),
        (20.0, 592.0, Validity.UNKNOWN, "-419", "check the sensor and the altitude; no weather brings that"),
    ],
)  # fmt: skip
def test_a_pressure_that_does_not_fit_the_altitude(
    altitude_m: float, hpa: float, validity: str, off: str, said: str
) -> None:
    """Beyond 40 hPa a word of caution, beyond 150 hPa unknown."""
    shift = Shift()
    shift.put_in_force(replace(site(), altitude_m=altitude_m))
    shift.send("baro", hpa)
    found = shift.flow.read("baro")
    at = "hPa off the standard atmosphere at the site's altitude"
    assert (found.validity, found.reason) == (validity, f"baro: {off} {at}: {said}" if said else "")


def test_the_margin_of_the_steel_hardly_depends_on_the_pressure() -> None:
    """Why a pressure within what weather can do is kept: 40 hPa move the margin by less than 0.01 K."""
    margins = []
    for hpa in (1010.0, 970.8):
        shift = Shift(margin_limit())
        shift.hear(20, baro=hpa)
        margins.append(shift.flow.judged["margin"].condition.measured.value)
    assert abs(margins[0] - margins[1]) < 0.01


def test_an_altitude_outside_the_standard_atmosphere_expects_nothing() -> None:
    """At 6,000 m there is nothing to compare with."""
    assert Watch.of(replace(site(), altitude_m=6000.0)).expected_pa is None
    assert Watch.of(site()).expected_pa == standard_atmosphere_pa(20.0)


def drier_limit() -> Limit:
    """At least 3 K between the pot's wall and the condensation point there."""
    named = {"area": "", "train": "T1", "piece": "pot", "quantity": Quantity.CONDENSATION_MARGIN}
    return margin_limit(**named)


@pytest.fixture
def train() -> Shift:
    made = Shift(drier_limit())
    made.others = {**TRAIN, "pot-skin": 30.0}
    return made


BRINE = "check the sensor and the pressure entry; brine on a chip looks like a perfect dryer"


def test_a_salt_bed_cannot_dry_below_its_driest_salt(train: Shift) -> None:
    """Over lithium chloride the air keeps 10.5 % at least; ±2 %RH is U 2.3 %: 9 % may be, 8 % cannot.

    8 % at 40 °C is a dew point of -0.6 °C over water, 40.6 K below the gas; salt reaches 36 K (Greenspan 1977).
    """
    train.others |= {"dryer-rh": 8.9}
    train.hear(30)
    assert train.flow.suspicions() == {}
    train.others |= {"dryer-rh": 7.9}
    train.hear(30)
    assert (
        train.reason("dryer-rh")
        == f"dryer-rh: dew point 41 K below the outlet gas, drier than a salt bed can make it: {BRINE}"
    )
    assert train.verdict() is Verdict.UNKNOWN


def test_a_stated_salt_is_held_to_its_own_ceiling() -> None:
    """Sodium chloride holds 74.7 % at 40 °C (Greenspan 1977), 63.7 % where the gas has warmed by 3 K since."""
    for salt, percent, doubted in (
        ("sodium chloride", 58.0, True), ("sodium chloride", 63.0, False), ("lithium chloride", 58.0, False),
        ("", 58.0, False),
    ):  # fmt: skip
        (train,) = site().trains
        bed, pot = train.pieces
        salted = replace(site(), trains=(replace(train, pieces=(replace(bed, salt=salt), pot)),))
        bound = Watch.of(salted).beds["dryer-rh"]
        assert (percent / 100 + 0.023 < bound.driest_rh(40.0)) is doubted, salt


def test_hot_gas_that_was_never_dried_is_not_blamed_on_the_chip(train: Shift) -> None:
    """Desert air of 40 °C/10 % at 8 bar and 90 °C has 8 % by itself: nothing was taken out."""
    train.others = {"dryer-t": 90.0, "dryer-rh": 8.0, "line-p": 7.0}
    train.hear(30, air_t=40.0, air_rh=10.0)
    assert train.flow.suspicions() == {}
    train.hear(30, air_t=40.0, air_rh=25.0)
    assert "brine" in train.reason("dryer-rh")


def test_behind_another_dryer_a_salt_bed_gets_dry_air_already() -> None:
    """Only the first dryer of a train is held to what salt can do; a bed without its sensors cannot be."""
    plain = site()
    (short,) = plain.trains
    bed, pot = short.pieces
    cold = Piece("cold", "cold", "refrigerated dryer")
    tank = Piece("tank", "tank", "receiver", Point(pressure="line-p"))
    for pieces, watched in (
        ((bed, pot), {"dryer-rh"}),
        ((cold, bed, pot), set()),
        ((replace(bed, outlet=Point("dryer-t", "", "line-p")), pot), set()),
        ((replace(bed, outlet=Point("dryer-t", "dryer-rh")), pot), set()),
        ((tank, replace(bed, outlet=Point("dryer-t", "dryer-rh"))), {"dryer-rh"}),
    ):
        assert set(Watch.of(replace(plain, trains=(replace(short, pieces=pieces),))).beds) == watched


def test_the_low_end_is_no_fault_behind_an_adsorption_dryer() -> None:
    """The rule of a humidity sensor knows what stands before it."""
    plain = site()
    (short,) = plain.trains
    bed, pot = short.pieces
    tower = replace(short, pieces=(replace(bed, kind="adsorption dryer"), pot))
    assert not Watch.of(plain).rules["dryer-rh"].dry_by_design
    assert Watch.of(replace(plain, trains=(tower,))).rules["dryer-rh"].dry_by_design
    assert Watch.of(plain).rules["dryer-rh"].at_once == inf and Watch.of(plain).rules["air-rh"].at_once == 0.2


def two_stations() -> Jobsite:
    """A second probe on the deck, serving the same area."""
    plain = site(margin_limit())
    second = (
        sensor("far-t", Quantity.AIR_TEMPERATURE, "Cel", 0.3, "shielded air"),
        sensor("far-rh", Quantity.RELATIVE_HUMIDITY, "%RH", 0.02, "water"),
    )
    stations = (*plain.stations, Station("far", "far", "far-t", "far-rh", "baro"))
    area = Area("A", "shell", ("deck", "far"), plain.areas[0].steel)
    return replace(plain, sensors=plain.sensors + second, stations=stations, areas=(area,))


@pytest.fixture
def pair() -> Shift:
    made = Shift()
    made.put_in_force(two_stations())
    made.others = {"far-t": 20.0, "far-rh": 55.0}
    return made


OFF = "of the last day: check both"


def test_two_probes_that_disagree_are_both_named_and_still_used(pair: Shift) -> None:
    """55 against 50 % at one temperature is 10 % of vapour: said from both sides, the verdict goes on."""
    pair.hear(6 * 3600, every_s=30)
    assert pair.flow.suspicions() == {
        "air-rh": (f"vapour pressure -9 % against far-rh over 6 well-mixed hours {OFF}",),
        "far-rh": (f"vapour pressure +10 % against air-rh over 6 well-mixed hours {OFF}",),
    }
    said = pair.flow.read("far-rh")
    assert (said.validity, said.value) == (Validity.GOOD, pytest.approx(0.551))
    assert pair.verdict() is Verdict.INSIDE
    assert "against air-rh" in pair.flow.judged["margin"].judgement.reason
    board = overview.board(pair.flow, pair.now)
    assert board is not None
    (line,) = [line for line in board.sensors if line.sensor == "far-rh"]
    assert line.validity is Validity.GOOD and line.reason.startswith("far-rh: vapour pressure +10 %")


def test_each_hour_is_compared_by_itself(pair: Shift) -> None:
    """10 % more vapour in the first hours and none in the later: the last hour knows nothing of the first."""
    pair.hear(2 * 3600, every_s=30)
    pair.others["far-rh"] = 50.0
    pair.hear(3 * 3600, every_s=30)
    (_, first, _), *_, (_, last, _) = pair.flow.state.sense.pairs["air-rh far-rh"].hours
    assert first == pytest.approx(-0.095, abs=0.001)  # ln(50.05/55.05)
    assert last == pytest.approx(0.0, abs=1e-9)


def test_silence_is_measured_in_three_intervals() -> None:
    """A minute at least."""
    plain = site().sensors[0]
    assert [patience_ms(replace(plain, interval_s=every_s)) for every_s in (10.0, 60.0)] == [60_000, 180_000]


def test_a_stuck_sensor_does_not_accuse_its_neighbour(pair: Shift) -> None:
    """Hours in which one of the two is stuck are not compared."""
    pair.others["far-rh"] = 50.0
    pair.hear(6 * 3600, every_s=30, still=("far-rh",))
    found = pair.flow.state.sense.pairs["air-rh far-rh"]
    assert len(found.hours) <= 3
    assert set(pair.flow.suspicions()) == {"far-rh"}


def test_a_sensor_described_anew_starts_with_a_clean_sheet_and_no_other_does(pair: Shift) -> None:
    """A new certificate for one probe forgets its past and its pair; applying the same file forgets nothing."""
    pair.hear(6 * 3600, every_s=30)
    pair.put_in_force(two_stations())
    assert set(pair.flow.suspicions()) == {"air-rh", "far-rh"}
    changed = two_stations()
    sensors = tuple(replace(s, label="new") if s.id == "far-rh" else s for s in changed.sensors)
    pair.put_in_force(replace(changed, sensors=sensors))
    assert pair.flow.suspicions() == {}
    assert pair.flow.state.sense.pairs == {}
    assert "far-rh" not in pair.flow.state.sense.tracks and "air-rh" in pair.flow.state.sense.tracks


def test_a_pair_no_longer_compared_is_forgotten(pair: Shift) -> None:
    """The second probe goes into a containment: the old disagreement does not wait for its return."""
    pair.hear(6 * 3600, every_s=30)
    site_now = two_stations()
    inside = Area("B", "hold", ("far",), (), "inside containment")
    pair.put_in_force(replace(site_now, areas=(replace(site_now.areas[0], stations=("deck",)), inside)))
    assert pair.flow.state.sense.pairs == {} and pair.flow.suspicions() == {}


def test_a_checkpoint_in_the_middle_changes_nothing(pair: Shift) -> None:
    """Folded in one go, or stopped and read back every 97 entries: the same state, flags and all."""
    pair.hear(7 * 3600, every_s=60, still=("steel",))
    pair.now += 1000
    pair.put(Kind.HEARTBEAT, {})  # anchors the last tick, as the service does
    flow, out = Flow(), Outcomes()
    for at in range(0, len(pair.entries), 97):
        flow.advance(pair.entries[at : at + 97], out)
        flow = Flow.from_checkpoint(flow.checkpoint())
    assert flow.checkpoint() == pair.flow.checkpoint()
    assert flow.suspicions() == pair.flow.suspicions() != {}


def test_a_flow_without_a_jobsite_suspects_nobody() -> None:
    """There are no sensors yet."""
    assert Flow().suspicions() == {}


@pytest.mark.parametrize(
    ("point_c", "said"), [(39.0, ""), (41.0, ""), (43.5, "3.5 K above its own gas (dryer-t)")]
)
def test_a_dew_point_above_its_own_gas_cannot_be(point_c: float, said: str) -> None:
    """Gas of 40 °C within 0.3 K, dew point within 2 K: U of the difference is 2.3 K."""
    (train,) = site().trains
    bed, pot = train.pieces
    fitted = replace(bed, outlet=Point("dryer-t", "", "line-p", "pdp"))
    transmitter = sensor("pdp", Quantity.PRESSURE_DEW_POINT, "Cel", 2.0, "frost")
    watch = Watch.of(
        replace(site(), sensors=(*site().sensors, transmitter), trains=(replace(train, pieces=(fitted, pot)),))
    )
    why = sensor_sense.fault(Sense(), watch, "pdp", {"pdp": point_c, "dryer-t": 40.0}.get)
    assert (said in why) if said else not why
    assert not sensor_sense.fault(Sense(), watch, "pdp", {"pdp": point_c}.get)


def test_a_bed_is_doubted_again_when_only_its_neighbour_spoke() -> None:
    """Desert air explains 8 % behind the bed; moister intake air does not, though the bed said nothing new."""
    day = Day(drier_limit())
    for name, value in {
        **values(air_t=40.0, air_rh=10.0),
        "dryer-t": 90.0,
        "dryer-rh": 8.0,
        "line-p": 7.0,
    }.items():
        day.send(name, value)
    day.now += 2000
    day.flow.tick(day.now)
    assert day.flow.read("dryer-rh").value == pytest.approx(0.08)
    day.send("air-rh", 25.0)
    day.flow.tick(day.now + 2000)
    assert day.flow.read("dryer-rh").value is None and "brine" in day.flow.read("dryer-rh").reason


def test_a_dew_point_transmitter_behind_a_salt_bed_is_held_to_its_salt_too() -> None:
    """Lithium chloride, the driest, holds 10.5 %: 7 C at 45 C (e = 0.105 x 9.6 kPa). -40 C is brine, or a slip."""
    plain = site()
    (short,) = plain.trains
    bed, pot = short.pieces
    bed = replace(bed, outlet=Point("dryer-t", "", "line-p", "pdp"))
    pdp = replace(sensor("pdp", Quantity.PRESSURE_DEW_POINT, "Cel", 1.0, "frost"), element="line")

    def watch(piece: Piece) -> Watch:
        train = replace(short, pieces=(piece, pot))
        return Watch.of(replace(plain, sensors=(*plain.sensors, pdp), trains=(train,)))

    said = {"dryer-t": 45.0, "line-p": 7e5, "pdp": -40.0}
    assert "than a salt bed can make it" in sensor_sense.fault(Sense(), watch(bed), "pdp", said.get)
    assert sensor_sense.fault(Sense(), watch(bed), "pdp", (said | {"pdp": 8.0}).get) == ""
    assert watch(bed).rules["pdp"].stands_ms == 2 * 3_600_000
    beside = watch(replace(bed, kind="adsorption dryer"))
    assert beside.rules["pdp"].stands_ms == 0 and not beside.beds
