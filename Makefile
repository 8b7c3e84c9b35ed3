# Two commands do everything from a bare Python 3.11 or newer: make demo and make test.
PYTHON ?= python3
HOME_DIR ?= academy
VENV := .venv
BIN := $(VENV)/bin
# A module's tests stay on one worker; the order is that of tests/conftest.py.
PYTEST = $(BIN)/python -m pytest -n 2 --dist loadscope --no-loadscope-reorder
export TZ := UTC
# The matrices of the models are small: a second thread of the linear algebra would only take processor time.
test quick calibration: export OPENBLAS_NUM_THREADS := 1
# Every worker, and every process that a test starts, would else compile all sources anew.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: demo test quick check docs hooks bench calibration setup clean
demo: setup
ifeq ($(SERVE),0)
	$(BIN)/underfoot demo --no-serve --home $(HOME_DIR)
else
	$(BIN)/underfoot demo --home $(HOME_DIR)
endif

# Part of it: make test ARGS="-k clip", ARGS=tests/models, ARGS="--durations=20".
test: check
	$(PYTEST) $(ARGS)

# Lint, types, and the tests of what changed since main: under a minute for a usual change.
quick: check
	$(PYTEST) -m "not slow and not browser" $$($(BIN)/python tests/changed.py) $(ARGS)

# Make quick before every commit.
hooks:
	git config core.hooksPath .githooks

# Under 10 minutes on 2 quiet cores; in parts: CALIBRATE="--truth mixed --students 40 --academies 50".
# In worlds that may break its claims: CALIBRATE="--world all --students 40 --academies 50".
calibration: $(VENV)/ready-test
	PYTHONPATH=tests $(BIN)/python -m calibration.run $(CALIBRATE)

check: $(VENV)/ready-test
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

# Written from the code: the messages in each language; tables, faults, flags, metrics, labels and pages.
docs: $(VENV)/ready-test
	$(BIN)/python -m dashboard.text.extract
	$(BIN)/python tests/reference.py

# Each speed goal beside its baseline from the same run; some of them: make bench ROWS=ij.
bench: $(VENV)/ready-test
	PYTHONPATH=tests:. $(BIN)/python -m bench.run $(ROWS)

# The stamps are valid until what is installed or compiled could differ.
PIP = $(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable

setup: $(VENV)/ready
$(VENV)/ready: pyproject.toml constraints.txt
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Python 3.11 or newer is needed; name one: make PYTHON=python3.12")'
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(PIP) .
	-$(PIP) '.[pdf]' --only-binary plutoprint  # has no build for every machine; without it the pages say so
	$(BIN)/python -m models.warm
	touch $@

$(VENV)/ready-test: $(VENV)/ready
	$(PIP) '.[test]'
	$(BIN)/python tests/outside/data_packages.py
	touch $@

clean:
	rm -rf $(VENV)
