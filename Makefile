# strickle. The two commands a newcomer needs: make demo, make test. Each does all set-up on a fresh machine.

PYTHON ?= $(shell for p in python3.13 python3.12 python3.11 python3; do command -v $$p >/dev/null 2>&1 && $$p -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && { echo $$p; exit; }; done; echo none)
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check install --quiet --only-binary :all: -c constraints.txt
SINGLE := OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 MKL_NUM_THREADS=1 NUMBA_NUM_THREADS=1
RUN := $(SINGLE) PYTHONPATH=src $(BIN)/python

.PHONY: help demo test check validate bench docs schema warm step clean
.DEFAULT_GOAL := help

help:
	@echo "make demo      plan the demo bracket: mesh to mould, cards in ./demo.job/cards"
	@echo "make test      the whole test suite (a quarter of an hour or more on 2 cores)"
	@echo "make check     format, lint, types, layers, generated files"
	@echo "make validate  full-size checks against published figures (about an hour)"
	@echo "make bench     error and time beside peers, and how a plan grows (about 20 minutes)"
	@echo "make docs      the documentation site in ./site"
	@echo "make step      the extra that reads STEP files (a large download)"

$(VENV)/bin/python:
	@if [ "$(PYTHON)" = none ]; then \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then echo "installing python3"; apt-get update -qq && apt-get install -y -qq python3 python3-venv >/dev/null; \
	  else echo "Python 3.11 or newer is needed: sudo apt-get install python3 python3-venv"; exit 1; fi; fi
	@P="$(PYTHON)"; [ "$$P" = none ] && P=python3; \
	if ! $$P -c 'import venv, ensurepip' >/dev/null 2>&1; then \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then echo "installing python3-venv"; apt-get update -qq && apt-get install -y -qq python3-venv >/dev/null; \
	  else echo "The venv module is missing: sudo apt-get install python3-venv"; exit 1; fi; fi; \
	echo "making $(VENV)"; $$P -m venv --clear $(VENV)

# two stamps: the product alone, and what tests and linters need on top
.stamps/product: pyproject.toml constraints.txt | $(VENV)/bin/python
	@echo "installing the product (wheels only)"
	@mkdir -p .stamps
	@$(PIP) setuptools wheel
	@$(BIN)/python -m pip --disable-pip-version-check install --quiet --no-build-isolation --prefer-binary -c constraints.txt -e .
	@touch $@

.stamps/dev: .stamps/product
	@echo "installing tests and linters (wheels only)"
	@$(PIP) pytest pytest-xdist hypothesis ruff mypy import-linter grimp mkdocs mpmath
	@$(PIP) "fipy>=4.0,<5" "scikit-fem>=10,<13" || echo "FiPy or scikit-fem cannot be installed: the checks beside them are skipped"
	@$(PIP) "lib3mf>=2.3,<3" || echo "lib3mf cannot be installed: 3MF files are checked by the written rules alone"
	@command -v pdftotext >/dev/null 2>&1 || { if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then \
	  echo "installing poppler-utils, which reads the cards in tests"; apt-get update -qq && apt-get install -y -qq poppler-utils >/dev/null; \
	  else echo "without pdftotext (poppler-utils) some tests of the cards are skipped"; fi; }
	@touch $@

.stamps/warm: .stamps/product $(wildcard src/strickle/kernels/*.py)
	@echo "compiling the kernels once (strickle warm)"
	@$(SINGLE) $(BIN)/strickle warm
	@touch $@

warm: .stamps/warm

demo: .stamps/warm
	@$(SINGLE) $(BIN)/strickle demo

test: .stamps/dev .stamps/warm
	@$(RUN) -m pytest -n 2 -m "not validate"

check: .stamps/dev
	@$(BIN)/ruff format --check .
	@$(BIN)/ruff check .
	@$(BIN)/mypy
	@PYTHONPATH=src $(BIN)/lint-imports
	@$(RUN) -m pytest -q tests/contract/test_doors.py
	@$(RUN) tools/generate.py --check

# the extra is large and has no wheel for every Python: where it cannot be had, files of STEP are skipped
.stamps/step: .stamps/product
	@echo "installing the extra that reads STEP (wheels only)"
	@if $(PIP) "cadquery-ocp-novtk>=8.0,<9"; then echo installed > $@; else echo "it cannot be installed here: STEP files will be skipped"; echo none > $@; fi

step: .stamps/step
	@grep -q installed .stamps/step || { echo "the extra has no wheel for this Python: export parts as STL or 3MF"; rm -f .stamps/step; exit 1; }

validate: .stamps/dev .stamps/warm .stamps/step
	@STRICKLE_WRITE_DOCS=1 $(RUN) -m pytest -m validate -n 2

bench: .stamps/dev .stamps/warm
	@for b in bench/freezing.py bench/filling.py bench/peers/*_peer.py bench/drawing.py bench/scale.py; do echo; echo "== $$b"; $(RUN) $$b || exit 1; done

docs: .stamps/dev
	@$(RUN) tools/generate.py
	@$(BIN)/mkdocs build --strict --quiet

clean:
	rm -rf $(VENV) .stamps site
