# Drumside. `make demo` runs it and `make test` checks it; each sets up what it needs, once.

# The first Python of at least 3.11 on the PATH. Another one: make demo PYTHON=/path/to/python
CANDIDATES = python3 python3.14 python3.13 python3.12 python3.11 python
NEW_ENOUGH = -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null
PYTHON = $(shell for p in $(CANDIDATES); do if $$p $(NEW_ENOUGH); then echo $$p; break; fi; done)
BIN = .venv/bin
PIP = $(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable

.PHONY: audit help demo serve test check bench soak wheel words clean

help:  ## what can be made
	@sed -n 's/^\([a-z]*\):.*  ## /  make \1 · /p' Makefile

demo: .venv/ready  ## the invented roastery with its simulated roaster; SPEED=20 lets its clock run 20 times as fast
	@$(BIN)/python app.py demo $(if $(SPEED),--speed $(SPEED)) $(ARGS)

serve: .venv/ready  ## Drumside on the folder drumside-data; ARGS="--host 0.0.0.0" lets phones in
	@$(BIN)/python app.py serve $(ARGS)

test: .venv/ready-to-test  ## format, lint, types, import contracts, and all tests with the browser's
	$(BIN)/ruff format --check --quiet .
	$(BIN)/ruff check --quiet .
	$(BIN)/djlint templates --lint --quiet
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python -m pytest -rs $(ARGS)

check: test  ## the same

bench: .venv/ready-to-test  ## measure; prints the figures and writes bench-results.json
	$(BIN)/python -m tests.bench $(ARGS)

soak: .venv/ready-to-test  ## long tests that print figures: kills under load, and what was acknowledged is all there
	$(BIN)/python -m tests.soak $(ARGS)

audit: .venv/ready-to-test  ## what Lighthouse says of each page (needs Node), and how soon a tap echoes on a slow phone
	$(BIN)/python -m tests.audit $(ARGS)

wheel: .venv/ready-to-test  ## an installable wheel in dist/
	$(BIN)/python -m hatchling build -t wheel

words: .venv/ready-to-test  ## bring the files in roastlog/languages up to date with the texts; NEW=fr begins another
	@$(BIN)/python -m tests.languages.extract $(NEW)

clean:  ## take away what was set up and built; data folders stay
	rm -rf .venv dist build .mypy_cache .ruff_cache .import_linter_cache .hypothesis

.venv/ready: pyproject.toml constraints.txt
	@$(BIN)/python $(NEW_ENOUGH) || test -n "$(PYTHON)" || \
		{ echo "Drumside needs Python 3.11 or newer, and none was found. Name one: make PYTHON=/path/to/python"; exit 1; }
	@echo "Setting up .venv; this takes a minute or two, and is done once."
	@$(BIN)/python $(NEW_ENOUGH) || $(PYTHON) -m venv --clear .venv
	@$(PIP) .
	@touch $@

.venv/ready-to-test: .venv/ready .ci/system
	@echo "Setting up what the tests need; this takes a minute or two, and is done once."
	@$(PIP) '.[dev]'
	@.ci/system
	@touch $@
