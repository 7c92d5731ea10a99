# make serve and make test need Python 3.11 or newer, make and git; everything else goes into .venv.
PYTHON ?= python3
HOST ?= 127.0.0.1
PORT ?= 8000
VENV := .venv
BIN := $(VENV)/bin
# One process for each processor, at most eight. "worksteal" keeps neighboring tests in one process, so that they share its servers.
PARALLEL := --numprocesses logical --maxprocesses 8 --dist worksteal

# Tests start many interpreters, each of which would compile the package again.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: help install serve dev new check test test-all mutation trials bench lint style contract publish-contract format clean

help:
	@echo "make install   install into .venv, so that .venv/bin/gramwatt runs"
	@echo "make serve     install into .venv and start the service on $(HOST):$(PORT)"
	@echo "make dev       start the service for development: it restarts when a source file or a template changes"
	@echo "make new       write the two files of a new calculator (NAME=cable-drop)"
	@echo "make check     declarations, units, examples, and the unit table by Pint (NAME=cable-drop: one calculator, all its tests)"
	@echo "make test      install into .venv and run the tests but the heavy ones, in under five minutes on two cores"
	@echo "make test-all  run all tests"
	@echo "make mutation  make mistakes in the code and see whether a test fails: COUNT=300 of them, chosen by SEED=1"
	@echo "make trials    hostile inputs and 100,000 random requests to a running service (SHORT=1: about 90 s)"
	@echo "make bench     measure it beside others on this machine, about six minutes (QUICK=1: one; AGAINST=DIR: another checkout too)"
	@echo "make lint      ruff, codespell, import-linter, make style, mypy --strict, pyright"
	@echo "make style     wording against tests/style/rules.toml (SUMMARY=1: counts by file)"
	@echo "make contract  write what follows from the declarations: openapi/, the unit table, the table in README.md"
	@echo "make publish-contract  at a release: make today's contract the one that later ones may only add to"
	@echo "make format    format, and fix what ruff can fix"
	@echo "make clean     remove .venv and what tools leave behind"

$(VENV)/.service: pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Gramwatt needs Python 3.11 or newer; set PYTHON=")'
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@echo "Installing Gramwatt into $(VENV) ..."
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[tables,charts]'
	@touch $@

$(VENV)/.test: $(VENV)/.service
	@echo "Installing what the tests need ..."
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[test]'
	@touch $@

$(VENV)/.lint: $(VENV)/.test
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[test,lint,bench]'
	@touch $@

$(VENV)/.bench: $(VENV)/.service
	@echo "Installing what the benchmark needs ..."
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[bench]'
	@touch $@

# What is wrong with a calculator that was edited is reported before it is served; unchanged files are not checked again.
$(VENV)/.checked: $(VENV)/.service $(shell find service/gramwatt -name '*.py')
	@$(BIN)/gramwatt check
	@touch $@

install: $(VENV)/.service

serve: $(VENV)/.checked
	@exec $(BIN)/gramwatt serve --host $(HOST) --port $(PORT)

# Werkzeug watches Python files by itself, new ones too. The debugger stays off, since it runs code for anyone who reaches it.
dev: $(VENV)/.service
	@exec $(BIN)/flask --app gramwatt.wsgi run --reload --host $(HOST) --port $(PORT) \
	  --extra-files "$$(find service/gramwatt/web -type f ! -name '*.py' | paste -sd: -)"

test: $(VENV)/.test
	$(BIN)/python -m pytest $(PARALLEL) -m "not heavy"

test-all: $(VENV)/.test
	$(BIN)/python -m pytest $(PARALLEL)

mutation: $(VENV)/.test
	PYTHONPATH=service:tests $(BIN)/python -m mutation --count $(or $(COUNT),300) --seed $(or $(SEED),1) $(if $(ONLY),--only $(ONLY))

trials: $(VENV)/.test
	PYTHONPATH=service:tests $(BIN)/python -m trials $(if $(SHORT),--short)

bench: $(VENV)/.bench
	$(BIN)/python -m benchmarks $(if $(QUICK),--quick) $(if $(AGAINST),--against $(AGAINST))

lint: $(VENV)/.lint
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/codespell
	$(BIN)/lint-imports --no-cache
	PYTHONPATH=tests $(BIN)/python -m style
	$(BIN)/mypy
	$(BIN)/mypy examples/batch/*.py
	$(BIN)/mypy examples/overlay/*.py
	$(BIN)/pyright --pythonpath $(BIN)/python

style: $(VENV)/.lint
	PYTHONPATH=service:tests $(BIN)/python -m style $(if $(SUMMARY),--summary)

INHERIT_NOTHING := clients hostile partitions server trials docker golden physics captions type_check accuracy
ifdef NAME
# Everything that a calculator inherits: each test that has its name in its parameters, its own tests, its examples.
check: $(VENV)/.test
	@$(BIN)/gramwatt check $(NAME)
	@$(BIN)/python -m pytest -q $(INHERIT_NOTHING:%=--ignore=tests/%) tests -k "$(NAME) or test_$(subst -,_,$(NAME))"
else
check: $(VENV)/.service
	@$(BIN)/gramwatt check
endif

new: $(VENV)/.service
	@PYTHONPATH=service:tests $(BIN)/python -m contributor.new $(NAME)

contract: $(VENV)/.service
	$(BIN)/python -m gramwatt.engine.unit_expressions
	$(BIN)/gramwatt contract --write openapi
	PYTHONPATH=service:tests $(BIN)/python -m contributor.texts

publish-contract: contract
	$(BIN)/python -m gramwatt.web.openapi.published

# What ruff cannot fix, such as a long line, is for `make lint` to report.
format: $(VENV)/.lint
	$(BIN)/ruff check --fix --exit-zero --quiet .
	$(BIN)/ruff format .

clean:
	rm -rf $(VENV) .mypy_cache .pytest_cache .ruff_cache .hypothesis build dist
