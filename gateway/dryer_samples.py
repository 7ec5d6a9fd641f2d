"""Files of a dryer check to begin with: what must be said stands there, what may be said as a comment."""

from __future__ import annotations

UNIT = """# The register of one dryer. Take the '# ' away from what its plate and papers state.

[unit]
serial = "{name}"
label = "salt dryer"
# salt = "calcium chloride"
# equilibrium_humidity = "50 %RH"
# relief_valve_due = 2027-03-01
# vessel_due = 2028-03-01
# Without both due days the unit is not to be pressurised.

[rating]
# flow = "750 cfm"
# inlet_temperature = "38 °C"
# pressure = "7 bar(g)"
# suppression_below_inlet = "7.5 K"
# loss = "0.2 bar"

# Below, one block for each refill and each rental, the newest last.
# [[refills]]
# day = 2026-04-20
# salt = "dryer salt"
# lot = "L-1183"
# mass = "240 kg"

# [[rentals]]
# contract = "R-2206"
# customer = "customer"
# out = 2026-05-04
# back = 2026-06-15
# hours = "212 h"
# level_out = "100 %"
# level_in = "55 %"
"""
CRITERIA = """# What the owner asks of a dryer: your contract or procedure decides.
# What is not written here is not judged.
# The limits below are examples of how to write one, not suggestions.

# [[criterion]]
# name = "suppression_below_inlet"
# limit = "6 K"
# clause = "procedure 3.1"

# [[criterion]]
# name = "outlet_humidity"
# limit = "58 %RH"
# clause = "procedure 3.2"

# [[criterion]]
# name = "least_flow"
# limit = "60 %"
# clause = "procedure 2.4"
# Also: suppression_below_outlet, pressure_dew_point, loss, approach, drain_balance, leak.
"""
TEST = """# One test. `dewgate dryer steps UNIT THIS_FILE --criteria CRITERIA` says what comes next.

[test]
kind = "return" # or outgoing
day = {day}
person = "{person}"
bench = "yard bench"
visual = "" # "pass", or what is wrong
relief_valve = "" # "pass", or what is wrong
blown_out = false
readings = "{name}.csv" # a row a minute, beside this file
# record = "rental.csv"

[brine]
# mass = "2.71 kg"
# time = "45 min"
# mass_accuracy = "0.05 kg"
# density = "1.28 kg/l"
# temperature = "24 °C"

[leak]
# from = "7.00 bar(g)"
# to = "6.96 bar(g)"
# time = "10 min"
# accuracy = "0.01 bar"

[accuracy]
# Half widths from the certificates of the bench's instruments; without them nothing can pass or fail.
# inlet_temperature = "0.3 K"
# outlet_temperature = "0.3 K"
# ambient_temperature = "0.3 K"
# inlet_humidity = "1.5 %RH"
# outlet_humidity = "1.5 %RH"
# inlet_pressure = "0.03 bar"
# pressure_loss = "0.01 bar"
# flow = "15 cfm"
# station_pressure = "1 hPa"
"""
SAMPLES = {"unit": UNIT, "criteria": CRITERIA, "test": TEST}


def sample(what: str, name: str, person: str, day: str) -> str:
    """Return the text of a new file; what: a name of SAMPLES. Raises: KeyError."""
    quoted = (said.replace("\\", "\\\\").replace('"', '\\"') for said in (name, person))
    return SAMPLES[what].format(**dict(zip(("name", "person"), quoted, strict=True)), day=day)
