# Three commands: make demo, make test, make docs. Each builds .venv from the hash-pinned lock first, once.
# Paths stay relative, so that a folder with a space in its name does no harm.

PYTHON := $(shell for p in python3.13 python3.12 python3.11 python3; do \
	"$$p" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' 2>/dev/null && echo "$$p" && break; done)
BIN := .venv/bin
BUILT := .venv/built-from.lock

.PHONY: demo test docs clean
demo: $(BUILT)
	@$(BIN)/skinplane run demo_inputs || [ $$? -eq 3 ]  # 3: done, with a survey refused, which the demo has

test: $(BUILT)
	@$(BIN)/python -m pytest

docs: $(BUILT)
	@$(BIN)/python docs/make_site.py

$(BUILT): requirements/build.lock requirements/all.lock pyproject.toml
	@if [ -z "$(PYTHON)" ]; then echo "skinplane needs Python 3.11, 3.12 or 3.13; found: $$(python3 --version 2>&1 || echo none)."; \
		echo "Install one of these and run make again."; exit 1; fi
	@rm -rf .venv
	@"$(PYTHON)" -m venv .venv
	@echo "Installing into .venv (once) ..."
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --no-deps -r requirements/build.lock
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --no-deps --no-build-isolation \
		--only-binary :all: --no-binary connection-pool -r requirements/all.lock
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --no-index --editable .
	@cat requirements/build.lock requirements/all.lock pyproject.toml > $(BUILT)

clean:
	rm -rf results build logs .snakemake demo_inputs/clouds
