"""The forms of entries by hand: which kinds there are, and which fields each asks for.

Sources: fields after the forms seen for such records; blotter test ASTM D4285-83 (reapproved 2018), 6.1 to 6.4;
salts ISO 8502-6 and -9; sling WMO-No. 8, Annex 4.B. What is refused and what follows is in `manual`.
"""

from __future__ import annotations

from dataclasses import dataclass

from alerts.measured import Dimension

NA = "N/A"
PRODUCT = "product temperature"
BYPASS = {"shut": 0.0, "partly open": 0.5, "open": 1.0}  # what a person sees of a lever, as a share: ours
VERDICTS = ("no water, no oil", "water", "oil", "water and oil")


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form. what: "text", "choice", "date", "photo", "length", "time", "salt",
    "station", "sensor", "train", "piece" or a Dimension."""

    name: str
    label: str
    what: str | Dimension = "text"
    choices: tuple[str, ...] = ()
    example: str = ""


_INSTRUMENT = (
    Field("instrument", "Instrument, make and model"),
    Field("serial", "Serial number"),
    Field("calibration_due", "Calibration due", "date", (), "2027-03-31"),
)
_RAIN = ("rain", "fog or mist", "dew", "snow or ice", "dry again")
_SEEN = ("no change", "darkening or turning", "abrasive clumps", "choke valve closed", "dust or grease", "other")
FORMS: dict[str, tuple[Field, ...]] = {
    "sling psychrometer": (
        Field("station", "At which air station", "station"),
        Field("dry_bulb", "Dry bulb", Dimension.TEMPERATURE, (), "24.5 °C"),
        Field("wet_bulb", "Wet bulb", Dimension.TEMPERATURE, (), "19.0 °C"),
        Field("pressure", "Station pressure", Dimension.PRESSURE, (), "1012 hPa"),
        Field("ventilated", "How it was aired", "choice", ("whirled", "still air")),
        *_INSTRUMENT,
    ),
    "contact thermometer": (
        Field("spot", "Where on the steel"),
        Field("steel", "Steel", Dimension.TEMPERATURE, (), "22.0 °C"),
        *_INSTRUMENT,
    ),
    PRODUCT: (
        Field("product", "Product, part or mixed, batch"),
        Field("temperature", "Temperature of the product", Dimension.TEMPERATURE, (), "18.0 °C"),
        Field("accuracy", "Accuracy of the instrument, plus or minus", Dimension.DIFFERENCE, (), "0.5 K"),
        *_INSTRUMENT,
    ),
    "blotter test": (
        Field("place", "At which outlet of the blast air"),
        Field("distance", "Distance of the collector", "length", (), "24 in"),
        Field("duration", "Duration", "time", (), "1 min"),
        Field("verdict", "On the collector", "choice", VERDICTS),
        Field("photo", "Photo", "photo"),
    ),
    "surface": (
        Field("seen", "What was seen", "choice", _SEEN),
        Field("words", "In words"),
        Field("photo", "Photo", "photo"),
    ),
    "rain or fog": (Field("seen", "What was seen", "choice", _RAIN), Field("words", "In words")),
    "soluble salts": (
        Field("spot", "Where on the steel"),
        Field("method", "Method", "choice", ("ISO 8502-6 and ISO 8502-9", "other, see words")),
        Field("salts", "Surface density of salts", "salt", (), "20 mg/m²"),
        Field("words", "In words"),
        *_INSTRUMENT,
    ),
    "air train": (
        Field("train", "Which air train", "train"),
        Field("piece", "Which piece of it", "piece"),
        Field("level", "Water level seen", Dimension.SHARE, (), "40 %FS"),
        Field("drain_count", "Openings of its drain counted", Dimension.COUNT, (), "12 count"),
        Field("bypass", "Position of the bypass", "choice", tuple(BYPASS)),
        Field("words", "In words"),
    ),
    "reference check": (
        Field("sensor", "Which sensor", "sensor"),
        Field(
            "reference", "Against what", "choice", ("sealed salt, equilibrated", "second instrument", "ice point")
        ),
        Field("reference_value", "Reference value", "of sensor", (), "85.1 %RH"),
        Field("as_found", "As found", "of sensor", (), "84.2 %RH"),
        Field("as_left", "As left", "of sensor", (), "84.2 %RH"),
        Field("tolerance", "Allowed difference", "spread of sensor", (), "2 %RH"),
        *_INSTRUMENT,
    ),
}
READS = frozenset(kind for kind, fields in FORMS.items() if _INSTRUMENT[0] in fields)
