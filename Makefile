# Every path here is relative, so that a checkout in a folder with a space in its name works too.
PYTHON ?= python3
RUN := .venv/bin/python
# The constraint file of this project is the only one that counts: a machine's own could contradict it.
PIP := PIP_CONSTRAINT=constraints.txt $(RUN) -m pip install --quiet --disable-pip-version-check -c constraints.txt
STAMP := .venv/installed
RECORD := out/published.json

# The stamp holds the folder it was made in: a moved or copied checkout gets a new environment.
ifneq ($(wildcard $(STAMP)),)
ifneq ($(shell cat $(STAMP)),$(shell pwd))
STALE := stale
endif
endif

.PHONY: help demo page browser test test-lowest check format docs golden bench bench-check bench-record soak soak-scenes fuzz site clean clean-all stale
.DELETE_ON_ERROR:

help:
	@echo "make demo       a sheet from a case of ours, in out/demo"
	@echo "make page       the page for makers, producers and officers, in the browser"
	@echo "make browser    what the browser tests need: Chromium and axe-core, where they can be had"
	@echo "make test       every check: style, types, docs, the whole test suite"
	@echo "make test-lowest  the test suite on the lowest versions of the packages that pyproject.toml takes"
	@echo "make check      the quick half of it: style, types, generated docs"
	@echo "make format     lay the code out and mend what the style check can mend"
	@echo "make docs       write the generated pages of docs/ anew"
	@echo "make golden     compare the whole answers of 46 cases with frozen ones, and list each difference with its reason"
	@echo "make mutants    change one line of the package at a time, and see whether the suite finds it (ten minutes)"
	@echo "make bench      measure speed and memory as ratios, and write docs/bench.md"
	@echo "make bench-check   fail when a ratio is above 1.5 times the one on record; for the nightly run"
	@echo "make bench-record  measure, and put the ratios on record in bench/recorded.json"
	@echo "make soak       the property tests with many more random cases"
	@echo "make soak-scenes  random scenes against the ray tracer, FIRST=0 COUNT=300; it goes on where it was stopped"
	@echo "make site       docs/ as pages for a browser, in out/site (Sphinx and MyST, installed when they are missing)"
	@echo "make clean      remove what was made; make clean-all removes .venv as well"

$(STAMP): pyproject.toml constraints.txt $(STALE)
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "Python 3.11 or newer is needed; name one with: make PYTHON=python3.11" >&2; exit 1; }
	@echo "installing into .venv (once; 27 s on two cores with all packages in pip's cache, longer where they are downloaded)"
	@$(PYTHON) -m venv $(if $(STALE),--clear) .venv
	@$(PIP) hatchling editables
	@$(PIP) --no-build-isolation --editable '.[test,dev]'
	@pwd > $(STAMP)

demo: $(STAMP)
	@$(RUN) -m lasersafe.cli demo out/demo
	@ls out/demo/*.pdf

page: $(STAMP)
	@$(RUN) -m lasersafe.cli page

# The tests of the page run in a real browser where there is one, and say so where there is none. Nothing fails here.
AXE := out/npm/node_modules/axe-core/axe.min.js
browser:
	@command -v chromium chromium-browser google-chrome >/dev/null || \
	  { [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null && apt-get -qq update && apt-get -qq -y install chromium; } \
	  || echo "Chromium cannot be installed here: the tests in a browser are left out"
	@[ -f $(AXE) ] || { command -v npm >/dev/null && mkdir -p out/npm && \
	  npm install --silent --no-save --no-fund --no-audit --prefix out/npm axe-core@4.14.1; } \
	  || echo "axe-core cannot be installed here: its tests are left out"

check: $(STAMP)
	$(RUN) -m ruff check .
	$(RUN) -m ruff format --check .
	$(RUN) -m mypy
	$(RUN) -m tools.make_docs --check

test: check
	@mkdir -p out
	$(RUN) -m pytest tests/published --published-record=$(RECORD)
	$(RUN) -m tools.make_docs --check --published-record $(RECORD)
	$(RUN) -m pytest --numprocesses=2 --dist=loadfile --ignore=tests/published tests lasersafe docs

# The lowest versions, in an environment of their own; what other packages warn of among themselves is not ours,
# nor are the generated pages, frozen outlines and what a command loads, which the pinned ones decide.
LOWEST := out/lowest
test-lowest: $(STAMP)
	@mkdir -p out
	@$(RUN) -m tools.lowest $(LOWEST).txt
	@$(PYTHON) -m venv --clear $(LOWEST)
	@PIP_CONSTRAINT=$(LOWEST).txt $(LOWEST)/bin/python -m pip install --quiet --disable-pip-version-check hatchling editables
	@PIP_CONSTRAINT=$(LOWEST).txt $(LOWEST)/bin/python -m pip install --quiet --disable-pip-version-check \
	  --no-build-isolation --editable '.[test]'
	$(LOWEST)/bin/python -m pytest --numprocesses=2 --dist=loadfile -W ignore::DeprecationWarning \
	  -W ignore::hypothesis.errors.HypothesisWarning --ignore=tests/regression/test_golden.py \
	  --ignore=tests/behaviour/test_packaging.py --ignore=tests/behaviour/test_docs.py \
	  --ignore=tests/behaviour/test_gate.py --ignore=tests/behaviour/test_bench.py tests lasersafe

format: $(STAMP)
	$(RUN) -m ruff format .
	$(RUN) -m ruff check --fix .

docs: $(STAMP)
	@mkdir -p out
	$(RUN) -m pytest tests/published --published-record=$(RECORD)
	$(RUN) -m tools.make_docs --published-record $(RECORD)

golden: $(STAMP)
	$(RUN) -m tools.golden

mutants: $(STAMP)
	$(RUN) -m tools.mutants

bench: $(STAMP)
	$(RUN) -m bench

bench-check: $(STAMP)
	$(RUN) -m bench --check

bench-record: $(STAMP)
	$(RUN) -m bench --record

soak: $(STAMP)
	LASERSAFE_TEST_PROFILE=soak $(RUN) -m pytest -m "soak or not soak" --soak-record=docs/soak.json \
	  tests/properties tests/crosscheck tests/regression tests/behaviour tests/fuzz

# The random scenes against the tracer, in parts: make soak-scenes FIRST=0 COUNT=50, again and again.
FIRST ?= 0
COUNT ?= 300
soak-scenes: $(STAMP)
	nice -n 19 $(RUN) -m tests.crosscheck.soak_scenes $(FIRST) $(COUNT)

fuzz: $(STAMP)
	$(RUN) -m tests.fuzz.guided --minutes 10

# Not part of the gate: the generator is an extra, pinned like everything else.
site: $(STAMP)
	@$(RUN) -c 'import myst_parser, sphinx' 2>/dev/null || $(PIP) --no-build-isolation --editable '.[site]'
	@$(RUN) -m sphinx -q -W --keep-going -b html -c tools/site -d out/site-doctrees docs out/site
	@echo "the pages: out/site/index.html"

clean:
	rm -rf out build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis
	find . -path ./.venv -prune -o -name __pycache__ -type d -prune -exec rm -rf {} +

clean-all: clean
	rm -rf .venv
