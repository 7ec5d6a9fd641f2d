"""What a person is told, in English: one sentence for each thing that can be said.

{} are filled by `notification`. No sentence says that work may go on, and none tells anyone to open, drain or
adjust a piece under pressure. `texts_es` has the same keys.
"""

from __future__ import annotations

WORDS = {
    "exposed": "Coat exposed, {where}: inspector's disposition",
    "unknown": "Unknown: {where}. Treat as outside limits.",
    "unknown of": "Nothing usable from {cause}: {count} limits unknown. Treat as outside limits.",
    "close": "Close to limit: {where}, {value}",
    "ahead": "Likely to leave limits soon: {where}",
    "moments": "Expected at {likely}; 80 %: {earliest} to {latest}. A forecast, not a reading.",
    "later": "later",
    "back": "Limits back: {where}",
    "back exposed": "Limits back; {where} needs the inspector's disposition",
    "more": "{title} (+{count} more)",
    "escalated": "Nobody acknowledged for {minutes} min: {title}",
    "still": "Still: {title}",
    "flood": "More than {count} messages in {minutes} min: look at the board",
    "flood body": "Messages of medium and low priority wait until it is calmer; those of high priority come.",
    "value": "{where}: {quantity} {value}.",
    "limit": "Limit: {limit}.",
    "rule": "Rule: {rule}.",
    "since": "Since {clock}{trend}.",
    "look": "Look next: {what}.",
    "exposure": "Any coat or blasted steel exposed meanwhile needs the inspector's disposition.",
    "cure": "A curing coat cannot be stopped or resumed; the exposure is recorded.",
    "caution": "Advisory only; the specification decides.",
    "often": "It has come three times within an hour: look at its sensor, its deadband and its delays.",
    "also": "Also {number}: {title}",
    "not known": "not known",
    "not stated": "{value} (uncertainty not stated)",
    "rising": ", rising {rate}",
    "falling": ", falling {rate}",
    "steady": ", steady",
    "at least": "at least",
    "at most": "at most",
    "an hour": "{value} an hour",
    "simple acceptance": "simple acceptance",
    "guarded by U": "guarded by U",
    "before the guard band": "before the guard band",
    "conforms": "conforms",
    "does not conform": "does not conform",
    "within the uncertainty": "within the uncertainty",
    "uncertainty not stated": "uncertainty not stated",
    "not known whether it conforms": "not known whether it conforms",
}

QUANTITIES = {
    "air_temperature": "air temperature",
    "relative_humidity": "relative humidity",
    "steel_temperature": "steel temperature",
    "dew_point_margin": "dew point margin",
    "rh_at_steel": "RH at steel",
    "steel_minus_air": "steel minus air",
    "condensation_margin": "condensation margin",
    "pressure_dew_point": "pressure dew point",
    "gauge_pressure": "pressure",
    "pressure_loss": "pressure loss",
    "pot_minus_line": "pot minus blast line",
    "wind_speed": "wind",
    "product_temperature": "temperature of the product",
}

_ISOLATE = "Before touching the train: isolate, lock, bleed line and pot to zero, verify"
LOOK = {
    "dew_point_margin": "the coldest steel: shade, open sky, inside corners; humidity by the work",
    "rh_at_steel": "the coldest steel and where damp air comes in",
    "relative_humidity": "where damp air comes in; the dehumidified duct, if there is one",
    "steel_temperature": "whether the sensor lies flat and out of the sun",
    "steel_minus_air": "sun or open sky on the steel",
    "air_temperature": "whether the shield stands in free air",
    "condensation_margin": f"cooler, separator and dryer upstream. {_ISOLATE}",
    "pressure_dew_point": f"the dryer and what comes before it. {_ISOLATE}",
    "gauge_pressure": f"compressor load, filters and hose length. {_ISOLATE}",
    "pressure_loss": f"filter elements, hose and choke valve. {_ISOLATE}",
    "pot_minus_line": f"whether the choke valve was left closed, and the hose behind it. {_ISOLATE}",
    "unknown": "power, antenna and cable of {cause}; then take a reading by hand",
}
