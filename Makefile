# Two commands do everything: `make demo` and `make test`. Both make their own venv from the lock.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
FUZZ ?= 30

.PHONY: demo test search bench faults faults-broker lint services first-day clean

$(VENV)/demo.installed: lock/demo.txt pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install -q --require-hashes -r lock/demo.txt
	$(BIN)/pip install -q --no-deps --no-build-isolation -e .
	touch $@

$(VENV)/all.installed: lock/all.txt pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install -q --require-hashes -r lock/all.txt
	$(BIN)/pip install -q --no-deps --no-build-isolation -e .
	touch $@ $(VENV)/demo.installed

demo: $(VENV)/demo.installed
	$(BIN)/dewgate demo

services:
	sh deploy/test-services.sh

test: services $(VENV)/all.installed
	$(BIN)/python -m pytest

# Properties with examples nobody has tried yet; what it finds becomes a test of its own.
search: services $(VENV)/all.installed
	EXAMPLES=search $(BIN)/python -m pytest $(SEARCH)

bench: services $(VENV)/all.installed
	$(BIN)/python -m tests.bench $(BENCH)

faults: services $(VENV)/all.installed
	$(BIN)/python -m tests.faults.kill_run $(FAULTS)
	$(BIN)/python -m tests.faults.deliver_kill $(FAULTS)
	$(BIN)/python -m tests.faults.yard_kill $(YARD_FAULTS)
	$(BIN)/python -m tests.faults.series_kill $(YARD_FAULTS)
	$(BIN)/python -m tests.faults.fuzz_decoders --seconds $(FUZZ)
	$(BIN)/python -m tests.faults.soak --hours 0.3

# Eight hours of a site with faults by turns, the broker killed, a backlog: minutes each, so not in every check.
faults-broker: services $(VENV)/all.installed
	$(BIN)/python -m tests.faults.soak $(SOAK)
	$(BIN)/python -m tests.faults.broker_kill
	$(BIN)/python -m tests.faults.backlog_kill
	$(BIN)/python -m tests.faults.backlog $(BACKLOG)

# A fresh Debian 12 in a folder, as root: install, first sensor, alert, backup, wipe, restore, verify; each timed.
first-day: $(VENV)/all.installed
	$(BIN)/python -m tests.faults.first_day $(FIRST_DAY)

lint: $(VENV)/all.installed
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

clean:
	rm -rf $(VENV) demo-home
