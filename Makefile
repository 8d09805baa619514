# Two commands do all the set-up: `make demo` and `make test`. Only Python 3.11+, git and make are needed.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DATA ?= data/demo
PORT ?= 8717

.PHONY: demo demo-reset test lint bench lock clean
.DEFAULT_GOAL := demo

$(VENV)/.run: requirements/run.txt pyproject.toml
	@$(PYTHON) -c 'import sys; v = sys.version_info; sys.exit(0 if v >= (3, 11) else "Thimble needs Python 3.11 or newer; this is %d.%d. Name another with: make PYTHON=python3.12 ..." % v[:2])'
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install -q --disable-pip-version-check --require-hashes -r requirements/run.txt
	$(BIN)/python -m pip install -q --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/.dev: requirements/dev.txt $(VENV)/.run
	$(BIN)/python -m pip install -q --disable-pip-version-check --require-hashes -r requirements/dev.txt
	@touch $@

$(VENV)/.bench: requirements/bench.txt $(VENV)/.dev
	$(BIN)/python -m pip install -q --disable-pip-version-check --require-hashes -r requirements/bench.txt
	@touch $@

demo: $(VENV)/.run  ## Build the invented hospital (once) and serve it on 127.0.0.1
	$(BIN)/thimble demo --data $(DATA) --port $(PORT)

demo-reset: $(VENV)/.run  ## The same from a fresh start
	$(BIN)/thimble demo --data $(DATA) --port $(PORT) --reset

test: $(VENV)/.dev  ## Every test: unit, property, published value, web and browser
	$(BIN)/python -m pytest -n auto --dist loadfile

lint: $(VENV)/.dev  ## Style, types, import contracts, templates
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/djlint --lint --quiet src/thimble/web

bench: $(VENV)/.bench  ## Ratios to peers, measured in the same run
	$(BIN)/python -m bench

lock: $(VENV)/.dev  ## Resolve the pinned requirements anew
	$(BIN)/python -m pip install -q uv
	sh requirements/resolve.sh $(BIN)/uv

clean:
	rm -rf $(VENV) data build dist
