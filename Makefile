# make run    sets up and plays the demo garden        make test   sets up and passes the tests
# make check  lint, types, imports                     make bench  performance, as ratios
SHELL := /bin/bash
.DEFAULT_GOAL := help
VENV := .venv
PY := $(VENV)/bin/python

help:
	@grep -hE '^[a-z-]+:.*## ' Makefile | sed -E 's/^([a-z-]+):.*## /  make \1\t/' | expand -t 20

$(VENV)/run.stamp: requirements/run.lock pyproject.toml scripts/make-env
	@scripts/make-env run

$(VENV)/dev.stamp: requirements/dev.lock requirements/run.lock pyproject.toml scripts/make-env
	@scripts/make-env dev

env: $(VENV)/run.stamp ## make the environment the host runs in
dev: $(VENV)/dev.stamp ## … with what checking and testing needs

run: $(VENV)/run.stamp ## set up and play fourteen days of the demo garden
	@$(VENV)/bin/traywarden demo

test: $(VENV)/dev.stamp ## set up (Debian's mosquitto, PostgreSQL and node too) and pass every check and test
	@scripts/debian-parts
	@scripts/node-parts
	@$(MAKE) --no-print-directory check
	@scripts/run-tests

coverage: $(VENV)/dev.stamp ## every test once more, and what no test touched; measuring takes half as long again
	@scripts/debian-parts
	@scripts/node-parts
	@$(VENV)/bin/coverage erase
	@scripts/run-tests --cov --cov-report=term:skip-covered

check: $(VENV)/dev.stamp ## ruff, mypy (the firmware against its board's modules), import-linter
	@$(VENV)/bin/ruff format --check host tests firmware hardware
	@$(VENV)/bin/ruff check host tests firmware hardware
	@$(VENV)/bin/mypy
	@scripts/check-firmware
	@$(VENV)/bin/lint-imports --no-cache

bench: $(VENV)/dev.stamp ## performance, as ratios against a stated baseline in the same run
	@scripts/debian-parts
	@$(PY) -m tests.benchmarks

figures: $(VENV)/dev.stamp ## what the computation reaches on the recorded data in ../shared/data
	@$(PY) -m tests.figures

soak: $(VENV)/dev.stamp ## the long runs; make test holds a bounded version of each
	@scripts/debian-parts
	@scripts/node-parts
	@TRAYWARDEN_FORTNIGHT=whole $(PY) -m pytest tests/system/test_fortnight.py -q --timeout 7200
	@TRAYWARDEN_LOOKS=all $(PY) -m pytest tests/browser/test_every_page.py -q --timeout 3600
	@TRAYWARDEN_KILLS=200 $(PY) -m pytest tests/system/test_kill_host.py -q --timeout 3600
	@TRAYWARDEN_POINT_ROUNDS=10 $(PY) -m pytest tests/system/test_kill_notices.py -q --timeout 3600
	@TRAYWARDEN_GARDENS=150 $(PY) -m pytest tests/services/test_watch_machine.py -q --timeout 3600
	@TRAYWARDEN_TIMELINES=all $(PY) -m pytest tests/system/test_rule_timelines.py -q
	@TRAYWARDEN_SOAK_S=3600 $(PY) -m pytest tests/services/test_watch_memory.py -q -s --timeout 14400

pages: $(VENV)/dev.stamp ## write docs/commands.md and docs/settings.md again from the program
	@scripts/make-command-page
	@scripts/make-settings-page

pictures: $(VENV)/dev.stamp ## draw the pictures of README and docs: pages and charts of a demo garden of one fixed moment
	@scripts/debian-parts
	@$(PY) scripts/make-pictures

hardware: $(VENV)/dev.stamp ## the probe: drawings and tables again, printed parts into build/hardware (Debian's openscad)
	@scripts/make-hardware

lock: ## resolve requirements/*.in again
	@scripts/make-lock

clean: ## remove the environment and everything generated
	rm -rf $(VENV) build dist test-output demo-garden .mypy_cache .ruff_cache .pytest_cache .hypothesis

.PHONY: help env dev run test coverage check bench figures soak pages pictures hardware lock clean
