# Two commands on a bare machine (Python 3.11+, pip, make): `make demo` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
OUT ?= demo-out

.PHONY: demo test proofs check setup clean bench

setup: $(VENV)/.ready

$(VENV)/.ready: pyproject.toml constraints.txt tools/setup.sh
	PYTHON=$(PYTHON) sh tools/setup.sh $(VENV)
	touch $@

demo: setup
	$(BIN)/chalkbeam demo --out $(OUT) $(if $(PAGE),--page,$(if $(WINDOW),--window,))

test: setup
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/pytest -n 2 --dist loadfile --no-loadscope-reorder -q -m "not proof"

# What takes minutes: the figures of the solver, drawn at random. After a change of calibration.
proofs: setup
	$(BIN)/pytest -n 2 --dist loadfile --no-loadscope-reorder -q -m proof

bench: setup
	$(BIN)/python -m benchmarks

clean:
	rm -rf $(VENV) $(OUT)
