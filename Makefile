# make demo: set up and run the main job on demo_blocks.  make test: set up and run all tests.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: setup demo test lint types
setup: $(VENV)/.ready

$(VENV)/.ready: requirements.lock pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -e .
	touch $@

demo: setup
	$(BIN)/python demo_blocks/make_demo.py
	$(BIN)/geoprune prescribe demo_blocks/estate.gpkg --samples demo_blocks/weights.csv --out demo_results --force
	@echo "Open demo_results/index.html"

test: setup
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -q

lint: setup
	$(BIN)/ruff check geoprune tests demo_blocks
	$(BIN)/ruff format --check geoprune tests demo_blocks

types: setup
	$(BIN)/mypy geoprune
