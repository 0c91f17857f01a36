# Every target makes the virtual environment it needs from nothing but python3.
PYTHON ?= python3
VENV   ?= .venv
BIN    := $(VENV)/bin
READY  := $(VENV)/.ready

.PHONY: demo test check measure accept clean schema

demo: $(READY)
	$(BIN)/counterproof demo

test: check
	$(BIN)/python -m pytest -n 2

check: $(READY)
	$(BIN)/ruff format --check src tests acceptance benchmarks
	$(BIN)/ruff check src tests acceptance benchmarks
	$(BIN)/mypy
	$(BIN)/lint-imports

accept: $(READY)
	$(BIN)/python -m acceptance $(TOPICS)

measure: $(VENV)/.ready-measure
	$(BIN)/python -m benchmarks $(TOPICS)

schema: $(READY)
	$(BIN)/python -m counterproof.records.schema docs/schema

$(READY): pyproject.toml constraints.txt
	@command -v $(PYTHON) >/dev/null || { echo "python3 was not found: install Python 3.11 or newer, or name it with 'make PYTHON=/path/to/python3 …'."; exit 2; }
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "$$($(PYTHON) --version) is too old: counterproof needs Python 3.11 or newer; name one with 'make PYTHON=/path/to/python3.11 …'."; exit 2; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || { echo "Python's venv module is missing: install it (Debian: apt install python3-venv) and try again."; exit 2; }
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@echo "Installing counterproof and what it needs into $(VENV) (a few minutes the first time) …"
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e '.[dev,drawings,cad]' || { echo "The packages could not be installed: read pip's message above; a package index must be reachable the first time."; exit 2; }
	@touch $@

$(VENV)/.ready-measure: $(READY)
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e '.[dev,drawings,cad,measure]'
	@touch $@

clean:
	rm -rf $(VENV) build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
