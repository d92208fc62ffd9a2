# Everything is set up here from nothing: a Python with pip and make are enough.
#   make try    install and run the main job on the invented site
#   make test   install everything for tests and run all of them
#   make slow   run what takes minutes too, such as hundreds of kills during imports
#   make bench  measure reading and judging against bare Polars
#   make docs   write the generated pages of docs/
#   make pictures  draw the pages of the web app for docs/ (needs chromium)

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DEMO := demo-out

.PHONY: try test lint types imports unit wheel slow bench docs pictures clean

try: $(VENV)/ready-try
	$(BIN)/lungwort demo $(DEMO)
	@echo "The command is $(BIN)/lungwort; '$(BIN)/lungwort --help' says what it does."
	@echo "In a browser: $(BIN)/lungwort serve --workspace $(DEMO)/workspace"

test: $(VENV)/ready-test lint types imports unit wheel

lint: $(VENV)/ready-test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(VENV)/ready-test
	$(BIN)/mypy

imports: $(VENV)/ready-test
	$(BIN)/lint-imports

unit: $(VENV)/ready-test
	$(BIN)/coverage erase
	$(BIN)/pytest -n 2 --dist loadfile --cov --cov-report=
	$(BIN)/coverage report --include='*/lungwort/limits/*,*/lungwort/verdict/*,*/lungwort/plan/*' --fail-under=100
	$(BIN)/coverage report --fail-under=97

slow: $(VENV)/ready-test
	$(BIN)/pytest -n 2 --run-slow -m slow

wheel: $(VENV)/ready-test
	$(BIN)/python tools/check_wheel.py

bench: $(VENV)/ready-test
	$(BIN)/python bench/run.py
	$(BIN)/python bench/web_pages.py

docs: $(VENV)/ready-test
	$(BIN)/python tools/generate_docs.py

pictures: $(VENV)/ready-test
	$(BIN)/python tools/screenshots.py

$(VENV)/ready-try: pyproject.toml tools/set_up.py
	$(PYTHON) tools/set_up.py $(VENV) try

$(VENV)/ready-test: pyproject.toml tools/set_up.py
	$(PYTHON) tools/set_up.py $(VENV) test

clean:
	rm -rf $(VENV) $(DEMO) build dist .coverage* .mypy_cache .ruff_cache .pytest_cache .hypothesis bench/out
