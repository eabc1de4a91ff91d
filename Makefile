# `make` lists what can be made. `make demo` and `make test` need nothing but Python 3.11 or newer:
# the environment in .venv is made the first time and kept until what it depends on changes.

VENV := .venv
BIN := $(VENV)/bin
INSTALLED := $(VENV)/.installed

export PIP_DISABLE_PIP_VERSION_CHECK := 1
# Two test processes share the cores; more threads in each would fight over them
ONE_THREAD := OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 MKL_NUM_THREADS=1

.DEFAULT_GOAL := help
.PHONY: help demo test slow validation bench docs pictures check format lock wheel clean

help: ## list what can be made
	@echo "make TARGET, where TARGET is one of"
	@grep -hE '^[a-z]+:.*## ' Makefile | sed -E 's/:.*## /\t/' | while IFS="$$(printf '\t')" read -r target words; do printf '  %-10s %s\n' "$$target" "$$words"; done

demo: $(INSTALLED) ## run the whole job on made-up data; open demo-out/report.html after it
	$(BIN)/fitsim demo -o demo-out

test: $(INSTALLED) ## run the tests (a few minutes)
	$(ONE_THREAD) $(BIN)/python -m pytest -n 2 --dist loadscope

slow: $(INSTALLED) ## run the tests that take longer
	$(BIN)/python -m pytest -m slow

validation: $(INSTALLED) ## measure against outside sources, slow tests too; writes the tables of docs/validation.md
	$(ONE_THREAD) $(BIN)/python -m pytest -m "not bench" --figures tests/validation/figures.jsonl
	$(BIN)/python tests/validation/page.py

bench: $(INSTALLED) ## measure times and memory; writes docs/benchmarks.md
	mkdir -p .benchmarks
	$(BIN)/python -m pytest tests/bench -m bench --benchmark-enable --benchmark-json=.benchmarks/last.json
	$(BIN)/python tests/bench/table.py .benchmarks/last.json

pictures: $(INSTALLED) ## remake the pictures in docs
	$(BIN)/python docs/pictures/make.py
	$(BIN)/python docs/pictures/gallery.py

docs: $(INSTALLED) ## build the docs as a site; open build/site/index.html after it
	$(BIN)/mkdocs build --quiet --strict

check: $(INSTALLED) ## lint, format and types, changing nothing
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

format: $(INSTALLED) ## put the code in its format and mend what can be mended
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

lock: $(INSTALLED) ## pin newer releases in requirements.lock
	$(BIN)/python -m pip install --quiet pip-tools
	$(BIN)/pip-compile --quiet --upgrade --extra dev --generate-hashes --allow-unsafe --strip-extras \
		--no-header --no-emit-options --no-emit-index-url --no-emit-find-links \
		--no-emit-trusted-host --output-file requirements.lock pyproject.toml
	sed -i.old '1i\
	# Pinned for 64-bit Linux on Intel; elsewhere pyproject.toml decides. Remake with `make lock`.' requirements.lock
	rm requirements.lock.old

wheel: $(INSTALLED) ## build the package into dist/
	$(BIN)/python -m pip wheel --quiet --no-deps --no-build-isolation --wheel-dir dist .

clean: ## remove the environment and everything made
	rm -rf $(VENV) build dist demo-out fit-out .pytest_cache .mypy_cache .ruff_cache .benchmarks

# The pinned releases are for the machines the project is checked on; others take what fits.
$(INSTALLED): pyproject.toml requirements.lock
	@for python in $(PYTHON) python3.11 python3.12 python3.13 python3; do \
		"$$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && break; \
		python=; \
	done; \
	[ -n "$$python" ] || { echo "fitsim needs Python 3.11 or newer; install it, or say where it is: make PYTHON=/path/to/python" >&2; exit 1; }; \
	[ -x $(BIN)/pip ] || "$$python" -m venv $(VENV) || { rm -rf $(VENV); echo "Python cannot make an environment; on Debian and Ubuntu: apt-get install python3-venv" >&2; exit 1; }
	@echo "Installing into $(VENV); the first time takes some minutes."
	@if [ "$$(uname -sm)" = "Linux x86_64" ]; then \
		$(BIN)/python -m pip install --quiet --require-hashes --requirement requirements.lock && \
		$(BIN)/python -m pip install --quiet --no-deps --no-build-isolation --editable .; \
	else \
		$(BIN)/python -m pip install --quiet --editable '.[dev]'; \
	fi
	@touch $@
