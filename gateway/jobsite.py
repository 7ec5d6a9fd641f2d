"""The jobsite as the program understands it: sensors, stations, areas, trains, limits, people.

Plain frozen values, made by `config` from the keeper's file and by `payload.canonical` from a ConfigSet entry. All
numbers are in the units used inside (`alerts.measured`), but a limit's threshold and deadband in its own unit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import hypot

from alerts.limits import Limit
from alerts.measured import BOUND, SATURATED, Quantity, Validity
from gateway.accuracy import RECTANGULAR, RECTANGULAR_95, Accuracy, Calibration
from gateway.coatings import Product
from gateway.costs import Costs

ACTIVITIES = ("blasting", "coating", "stripe coat", "curing", "washing", "blow-down", "priming")
"""What limits can be for; "idle" besides is what a person sets when nothing of it goes on. A limit for coating
holds for priming and stripe coats, too."""

RAW_UNITS = ("mA", "V", "Hz")  # of a current loop, a voltage, a frequency or pulse rate


@dataclass(frozen=True, slots=True)
class Scale:
    """What the signal of a transmitter means: a straight line through the ends of its range.

    low and high are (signal in raw_unit, value in the sensor's unit); low has the smaller signal. A current loop's
    points lie within 0 to 20 mA. What is believed of a signal is in `payload.scale`.
    """

    raw_unit: str  # one of RAW_UNITS
    low: tuple[float, float]
    high: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Sensor:
    """One measuring channel. Everything a reader could misread is stated, nothing is guessed.

    unit: the spelling the sensor publishes in, or the one its scale leads to. basis: what a pressure ("gauge" |
    "absolute"), a humidity ("water"), a pressure dew point below 0 °C ("dew" | "frost") or a temperature
    ("contact" | "infrared" | "pipe skin" | "thermowell" | "shielded air") refers to. element: where the sensing
    element is ("line" | "vented cell" | "ambient"). scale: None when the sensor publishes its quantity itself.
    """

    id: str
    label: str
    quantity: Quantity
    unit: str
    accuracy: Accuracy
    basis: str
    element: str
    interval_s: float
    topic: str
    calibration: Calibration = field(default_factory=Calibration)
    classified_area: str = "unknown"
    equipment_rating: str = "none"
    scale: Scale | None = None

    @property
    def u(self) -> float | None:
        """Standard uncertainty of a reading, or None when the accuracy is not stated.

        Accuracy, calibration and drift are independent. Source: JCGM 100:2008, 4.3.3 (certificate), 4.3.7, 5.1.2.
        """
        accuracy, found = self.accuracy.u, self.calibration
        if accuracy is None:
            return None
        if found.expanded_u is None and found.drift is None:
            return accuracy
        return hypot(accuracy, (found.expanded_u or 0.0) / 2.0, (found.drift or 0.0) / RECTANGULAR)

    @property
    def coverage_95(self) -> float:
        """Half the 95 % interval of a reading over its u: 1.645 of a rectangle alone, else 2, never too little."""
        found = self.calibration
        alone = self.accuracy.meaning == "limit" and found.expanded_u is None and found.drift is None
        return RECTANGULAR_95 if alone else 2.0

    @property
    def resolves_rh(self) -> float:
        """The least humidity [0..1] this sensor can tell from none: its accuracy, or half its 95 % interval.

        At or below it the dry side of every point made from it has no end, so the value is an upper bound.
        """
        return max(self.accuracy.half_width or 0.0, self.coverage_95 * (self.u or 0.0))

    def corrected(self, value: float, validity: Validity) -> tuple[float, Validity]:
        """Return a reading with the correction of its calibration, and how far it may be used after that.

        A humidity keeps to what its sensor can tell: at 100 % or more it is saturated, at or below its accuracy
        a bound. What came in saturated stays so, and no correction makes a bound drier.
        """
        by = self.calibration.correction
        if validity is SATURATED:
            return value, validity
        if self.quantity is not Quantity.RELATIVE_HUMIDITY:
            return value + by, validity
        least = self.resolves_rh
        if validity is BOUND:
            return min(max(value, value + by, least), 1.0), validity
        if value + by <= least:
            return least, BOUND
        return (value + by, validity) if value + by < 1.0 else (1.0, SATURATED)


@dataclass(frozen=True, slots=True)
class Station:
    """Air near the work: a probe's T and RH, pressure, wind if measured; height of its barometer over the site."""

    id: str
    label: str
    air_temperature: str
    relative_humidity: str
    station_pressure: str
    wind_speed: str = ""
    above_site_m: float = 0.0


@dataclass(frozen=True, slots=True)
class SteelSpot:
    """One surface sensor on the steel of an area, and who put it where and when."""

    sensor: str
    spot: str  # "coldest" | "warmest"
    moved_to: str = "not stated"
    moved_by: str = "not stated"
    moved_at: str = "not stated"


@dataclass(frozen=True, slots=True)
class Area:
    """A piece of the job with its steel sensors and the stations whose air it stands in."""

    id: str
    label: str
    stations: tuple[str, ...]
    steel: tuple[SteelSpot, ...]
    air_space: str = "outside"  # "inside containment" | "outside" | "dehumidified duct"
    prime_within_s: float | None = None  # how long blasted steel may stand; None = not entered
    prime_clause: str = ""
    product_temperature: str = ""  # the sensor in what is put on; empty = none


@dataclass(frozen=True, slots=True)
class Point:
    """The sensors at one end of a piece; an empty name means none is fitted."""

    temperature: str = ""
    relative_humidity: str = ""
    pressure: str = ""
    pressure_dew_point: str = ""
    flow: str = ""


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of the air train. wall: its skin sensor; wall_station: else the station whose air cools it.

    salt: what a deliquescent dryer is filled with, a name of `pieces.SALTS`; empty = not stated. cooling_air: the
    sensor where a cooler draws its air. level, drain_count, position: sensors of its liquid, its drain, a bypass.
    blast_line: pressure behind a pot's choke valve. rated_inlet_c: hottest inlet on a dryer's plate, None = not
    stated.
    """

    id: str
    label: str
    kind: str
    outlet: Point = Point()
    wall: str = ""
    wall_station: str = ""
    salt: str = ""
    cooling_air: str = ""
    level: str = ""
    drain_count: str = ""
    position: str = ""
    blast_line: str = ""
    rated_inlet_c: float | None = None


PIECE_KINDS = (
    "intake", "compressor", "aftercooler", "separator", "receiver", "coalescing filter",
    "deliquescent dryer", "refrigerated dryer", "adsorption dryer", "after-filter", "regulator",
    "bypass", "pot-inlet trap", "pot", "hose", "nozzle",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Train:
    """An ordered list of pieces, from intake to nozzle, and the areas its blast air feeds."""

    id: str
    label: str
    feeds: tuple[str, ...]
    station: str
    pieces: tuple[Piece, ...]
    warm_up_s: float = 0.0  # how long after it came under pressure nothing of it is judged
    costs: Costs = field(default_factory=Costs)


@dataclass(frozen=True, slots=True)
class Person:
    """Who is told. Names, numbers and channel addresses stay in the contacts file, outside the journal.

    after_s: told only if nobody has acknowledged for so long. repeat_s: told again while nobody acknowledges, 0 =
    once. told_of: words of `alerts.fault.AUDIENCES`. hours: on duty, site time, such as "06:00-18:00"; empty =
    always. language, units: `notification.Reader`.
    """

    id: str
    role: str
    channels: tuple[str, ...]
    priorities: tuple[str, ...] = ("high", "medium", "low")
    holds_heads: bool = False  # gets the day's head of the record and keeps it outside the gateway
    after_s: float = 0.0
    repeat_s: float = 0.0
    hours: str = ""
    language: str = "en"
    units: str = ""
    told_of: tuple[str, ...] = ("limits",)


@dataclass(frozen=True, slots=True)
class SourceValue:
    """One value of a source: the sensor it feeds, the path to its number, the path to its unit.

    sensor may hold {1} to {3}: the text at the first to third + of the source's topic. value and unit are
    JMESPath; an empty value is the payload itself (form "number"), an empty unit is the sensor's own.
    """

    sensor: str
    value: str = ""
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Source:
    """A device that does not speak SenML: its topic, the form of its messages, what they say about which sensor.

    topic: in full, + stands for one level. form: "number" | "json". time, quality: JMESPath, empty when messages
    have none; time_form: "s" | "ms" | "ISO 8601"; good: what quality must be for a message to be believed.
    """

    id: str
    topic: str
    form: str
    values: tuple[SourceValue, ...]
    time: str = ""
    time_form: str = ""
    quality: str = ""
    good: tuple[str | float | bool, ...] = ()
    numbers_as_text: bool = False


@dataclass(frozen=True, slots=True)
class EdgeValue:
    """One metric of an edge node that is bound to a sensor; device "" = the node's own metric."""

    sensor: str
    metric: str
    device: str = ""


@dataclass(frozen=True, slots=True)
class Edge:
    """A Sparkplug B edge node: its group and its name, and which of its metrics feed which sensor."""

    group: str
    node: str
    values: tuple[EdgeValue, ...]


@dataclass(frozen=True, slots=True)
class Jobsite:
    """Everything the gateway judges by, as one value."""

    id: str
    label: str
    time_zone: str
    altitude_m: float
    simulated: bool = False
    sensors: tuple[Sensor, ...] = ()
    stations: tuple[Station, ...] = ()
    areas: tuple[Area, ...] = ()
    trains: tuple[Train, ...] = ()
    limits: tuple[Limit, ...] = ()
    people: tuple[Person, ...] = field(default_factory=tuple)
    sources: tuple[Source, ...] = ()
    edges: tuple[Edge, ...] = ()
    products: tuple[Product, ...] = ()
    shift_ends: tuple[str, ...] = ()  # site time, such as "17:30"; idle ends with its shift
    false_warnings_a_week: float = 2.0  # of a limit, that the site lead allows
    calibration_notice_s: float | None = None  # before a calibration ends; None = only when it has ended

    def limits_of(self, area: str) -> list[Limit]:
        """The limits that speak for an area: its own and those of the trains whose air it gets."""
        feeding = {train.id for train in self.trains if area in train.feeds}
        return [limit for limit in self.limits if limit.area == area or limit.train in feeding]
