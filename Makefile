# Drumside. `make demo` runs it and `make test` checks it; each sets up what it needs, once.

# The first Python of at least 3.11 on the PATH. Another one: make demo PYTHON=/path/to/python
CANDIDATES = python3 python3.14 python3.13 python3.12 python3.11 python
NEW_ENOUGH = -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null
PYTHON = $(shell for p in $(CANDIDATES); do if $$p $(NEW_ENOUGH); then echo $$p; break; fi; done)
BIN = .venv/bin
PIP = $(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable

# What is compiled is kept, whatever the shell says: a test starts dozens of servers.
export PYTHONDONTWRITEBYTECODE =

.PHONY: audit help pictures demo serve test quick check bench soak wheel words clean static format lint templates types contracts

help:  ## what can be made
	@sed -n 's/^\([a-z]*\):.*  ## /  make \1 · /p' Makefile

demo: .venv/ready  ## the invented roastery with its simulated roaster; SPEED=20 lets its clock run 20 times as fast
	@$(BIN)/python app.py demo $(if $(SPEED),--speed $(SPEED)) $(ARGS)

serve: .venv/ready  ## Drumside on the folder drumside-data; ARGS="--host 0.0.0.0" lets phones in
	@$(BIN)/python app.py serve $(ARGS)

# The static checks run beside the tests: each says something only where it finds something.
STATIC = format lint templates types contracts
format_ = ruff format --check --quiet .
lint_ = ruff check --quiet .
templates_ = djlint templates --lint --quiet
types_ = mypy
contracts_ = lint-imports
# Two workers a core, and one more without a browser, unless WORKERS says how many; the tests that share a server or a module's set-up stay together.
PYTEST = $(BIN)/python -m pytest -rs --numprocesses $(or $(WORKERS),auto) --dist loadgroup --no-loadscope-reorder --durations 10
WITH_STATIC = $(MAKE) --no-print-directory --jobs 2 --keep-going static & static=$$!; run() { "$$@"; tests=$$?; wait $$static && exit $$tests; }

test: .venv/ready-to-test  ## format, lint, types, import contracts, and all tests with the browser's
	@$(WITH_STATIC); run $(PYTEST) $(ARGS)

quick: .venv/ready-to-test  ## the same without the tests that need Chromium
	@$(WITH_STATIC); run $(PYTEST) -m 'not browser' --ignore tests/browser $(ARGS)

static: $(STATIC) scripts

$(STATIC): .venv/ready-to-test
	@said=$$($(BIN)/$($@_) 2>&1) || { echo "make $@:  $($@_)"; echo "$$said"; exit 1; }

scripts: .venv/ready-to-test
	@.ci/scripts

check: test  ## the same

bench: .venv/ready-to-test  ## measure; prints the figures and writes bench-results.json
	$(BIN)/python -m tests.bench $(ARGS)

soak: .venv/ready-to-test  ## long tests that print figures: kills, power cuts, races, floods; what was acknowledged is all there
	$(BIN)/python -m tests.soak $(ARGS)

pictures: .venv/ready-to-test  ## the pictures of the README and of the installed app, taken of a demo
	$(BIN)/python -m tests.pictures

audit: .venv/ready-to-test  ## what Lighthouse says of each page (needs Node), and how soon a tap echoes on a slow phone
	$(BIN)/python -m tests.audit $(ARGS)

wheel: .venv/ready-to-test  ## an installable wheel in dist/
	$(BIN)/python -m hatchling build -t wheel

words: .venv/ready-to-test  ## bring the files in roastlog/languages up to date with the texts; NEW=fr begins another
	@$(BIN)/python -m tests.languages.extract $(NEW)

clean:  ## take away what was set up and built; data folders stay
	rm -rf .venv dist build .mypy_cache .ruff_cache .import_linter_cache .hypothesis .cache

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
