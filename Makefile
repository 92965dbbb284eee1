# Runstrue. `make demo` runs the main job, `make test` every test; each sets up what it needs.
PYTHON ?= python3
VENV   ?= .venv
BIN    := $(VENV)/bin
SOURCES := pyproject.toml constraints.txt

.PHONY: demo test bench soak check format clean debian-programs
.DEFAULT_GOAL := demo

$(VENV)/.installed: $(SOURCES)
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e .
	touch $@

$(VENV)/.developing: $(VENV)/.installed
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e '.[dev]'
	touch $@

demo: $(VENV)/.installed
	$(BIN)/runstrue demo demo

debian-programs:
	sh tests/debian-programs.sh

test: $(VENV)/.developing debian-programs
	$(BIN)/python -m pytest -n auto

check: $(VENV)/.developing
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/python -m pytest -q tests/test_layers.py

format: $(VENV)/.developing
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

bench: $(VENV)/.developing
	$(BIN)/python -m benchmarks

soak: $(VENV)/.developing
	$(BIN)/python -m benchmarks.soak

clean:
	rm -rf $(VENV) demo tests/output .pytest_cache .mypy_cache .ruff_cache
