# make demo    set up and run the main job on demo_blocks, then open demo_results/index.html
# make test    set up and run all tests
# make docs    build the documentation into site/ and check its links
# make pictures  make the documentation's pictures anew from demo_results (Chromium, poppler-utils)
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check
PACKAGES = $(shell grep -c == requirements.lock)
COUNT = awk '/^Collecting/ && ++n % 10 == 0 {print "  " n " of $(PACKAGES) packages found"; fflush()} \
	/^Installing collected/ {print "  installing them"; fflush()}'
SHELL := /bin/bash
.SHELLFLAGS := -o pipefail -c
CODE := geoprune tests demo_blocks benchmarks docs

.PHONY: setup demo test lint types docs pictures
setup: $(VENV)/.ready

# Versions come from the lock. The open data of requirements-data.lock come without their requirements, which conflict
# with ours; tests read one CSV out of the package.
$(VENV)/.ready: requirements.lock requirements-data.lock pyproject.toml
	@echo "Setting up $(VENV) ($$($(PYTHON) --version)): 1 of 3, an empty environment"
	@$(PYTHON) -m venv $(VENV)
	@echo "Setting up $(VENV): 2 of 3, $(PACKAGES) packages, a minute or two"
	@$(PIP) install --progress-bar off -r requirements.lock | $(COUNT)
	@$(PIP) install --quiet --no-deps -r requirements-data.lock
	@echo "Setting up $(VENV): 3 of 3, geoprune"
	@$(PIP) install --quiet --no-deps --no-build-isolation -e .
	@touch $@

demo: setup
	@echo "1 of 2: the invented estate (demo_blocks/README.md)"
	@$(BIN)/python demo_blocks/make_demo.py
	@echo "2 of 2: its plan"
	@$(BIN)/geoprune prescribe demo_blocks/estate.gpkg --samples demo_blocks/weights.csv --out demo_results --force
	@echo "Open demo_results/index.html in a browser; print demo_results/<block>/crew_sheet.pdf."

test: setup
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -q -n auto --dist loadfile

lint: setup
	$(BIN)/ruff check $(CODE)
	$(BIN)/ruff format --check $(CODE)

types: setup
	$(BIN)/mypy geoprune

docs: setup
	$(BIN)/mkdocs build --strict
	$(BIN)/python docs/check_links.py site

pictures: setup
	$(BIN)/python docs/make_pictures.py demo_results docs/pictures
