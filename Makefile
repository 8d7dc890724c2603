# Howl Lantern.  `make` alone lists what there is to type.
PYTHON ?= python3
ARGS ?=
STRICT ?=
BIN := .venv/bin
export PYTHON

.DEFAULT_GOAL := help
.PHONY: help run test lint format bench train sounds pictures release deb install remove clean

help: ## list these targets
	@echo "Howl Lantern: what you can type"
	@sed -n 's/^\([a-z]*\):.*## \(.*\)/  make \1|\2/p' Makefile | while IFS='|' read -r a b; do \
		printf '%-16s %s\n' "$$a" "$$b"; done
	@echo "More words for the command behind a target: make run ARGS='--help'"

run: ## set up what is missing, then start the demo on the practice stage
	@.ci/prepare run
	@exec $(BIN)/howl-lantern demo $(ARGS)

test: ## set up what is missing, then lint, check types and run all tests
	@.ci/prepare test $(if $(STRICT),--strict)
	@.ci/check $(ARGS)

lint: ## style and types only, nothing is run
	@.ci/prepare test
	$(BIN)/ruff check --no-cache .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

format: ## bring the code into the house style
	@.ci/prepare test
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: ## measure it: cost, memory, and with HOWL_LANTERN_SOUNDS how well it detects
	@.ci/prepare test
	@$(BIN)/python -m tests.bench $(ARGS)

train: ## make the scorer's weights again from a folder of sounds and simulated loops
	@.ci/prepare test
	@$(BIN)/python -m tests.bench.train $(ARGS)

sounds: ## make the folder of sounds for bench and train; on Debian as root, with npm
	@.ci/prepare test
	@$(BIN)/python -m tests.bench.sounds $(ARGS)

pictures: ## make the pictures of README and guides again, from the program as it is
	@.ci/prepare test
	@$(BIN)/python -m docs.make_pictures

release: ## pack the last commit into dist/, ready for a box; ARGS=--wheels with all it needs
	@systemd/release $(ARGS)

deb: ## on a Pi for a Pi: the last commit as a Debian package that needs no network
	@systemd/deb $(ARGS)

install: ## on the box, as root: install this release, or upgrade to it
	@systemd/install $(ARGS)

remove: ## on the box, as root: take it off again; asks what to keep
	@systemd/remove $(ARGS)

clean: ## remove caches and build results (the environment stays: rm -r .venv removes it)
	rm -rf build dist *.egg-info .pytest_cache .mypy_cache .ruff_cache .hypothesis
	find . -name __pycache__ -not -path './.venv/*' -prune -exec rm -rf {} +
