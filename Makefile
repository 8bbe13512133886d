# All development commands. A fresh machine needs Python 3.11 or newer, make, and the Python and npm package registries.
#
#   make demo     a full demo with sample users on this machine (ARGS="--port 8123 --data DIR --json")
#   make test     every test, browser tests included, side by side (ARGS="tests/portal/intake -k survey" narrows it)
#   make check    format and lint (Python, scripts, style sheets, templates), strict types, import order, shape of the code,
#                 missing migrations
#   make bench    the engine's accuracy and speed
#   make bench-libraries   one more library to compare it with (ARGS="tempo --beside librosa,aubio,essentia")
#   make format   fix what `make check` only reports
#   make manage   a manage.py command against the demo's data   (ARGS="shell")
#   make lock     update requirements*.txt and package-lock.json from pyproject.toml and package.json
.PHONY: venv bytecode browser s3-server demo test check check-types check-shape bench bench-libraries format manage lock
.DELETE_ON_ERROR:

PYTHON ?= python3
BIN := .venv/bin
ARGS ?=
TEMPLATES := templates tests/portal/static
# Some dozens of processes import the same modules in a test run: what was compiled for one is kept for all.
unexport PYTHONDONTWRITEBYTECODE
COMPILE = $(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes \
	--no-emit-index-url --no-emit-find-links --custom-compile-command "make lock"

venv: .venv/.ready node_modules/.ready

# What these two say goes to stderr: `make demo ARGS=--json` prints one line and nothing else.
.venv/.ready: requirements-dev.txt requirements-uv.txt
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
		{ echo "Kitpost needs Python 3.11 or newer; say which with: make PYTHON=python3.12" >&2; exit 2; }
	@$(PYTHON) -c 'import ensurepip' || { echo "Python lacks its venv module (Debian: python3-venv)" >&2; exit 2; }
	@echo "Installing the locked packages into .venv" >&2
	@test -x $(BIN)/python || $(PYTHON) -m venv .venv
	@$(BIN)/python -m pip install --quiet --require-hashes -r requirements-uv.txt >&2
	@$(BIN)/uv pip sync --quiet --compile-bytecode --python $(BIN)/python --require-hashes \
		requirements-dev.txt requirements-uv.txt >&2
	@touch $@

# The browser's packages come from npm. A machine without Node.js gets it as a Python wheel, in the venv alone.
node_modules/.ready: package-lock.json .npmrc .venv/.ready
	@command -v npm >/dev/null || $(BIN)/uv pip install --quiet --python $(BIN)/python --require-hashes -r requirements-node.txt >&2
	@PATH="$$PATH:$(CURDIR)/$(BIN)" npm ci --silent >&2
	@touch $@

# A process that opens uploads may write nothing: it would compile the engine for itself, each time.
bytecode: .venv/.ready
	@$(BIN)/python -m compileall -q analysis portal tests

demo: venv bytecode
	@$(BIN)/python manage.py demo $(ARGS)

manage: venv
	@KITPOST_DEMO=true $(BIN)/python manage.py $(ARGS)

browser: .venv/.ready
	@PATH="$(CURDIR)/$(BIN):$$PATH" sh tests/browser.sh

# The tests' S3 server has an environment of its own. A machine that cannot have it tests without.
s3-server: .venv/.ready
	@test .venv-s3/.ready -nt requirements-s3.txt || { \
		$(PYTHON) -m venv .venv-s3 && \
		$(BIN)/uv pip sync --quiet --python .venv-s3/bin/python --require-hashes requirements-s3.txt >&2 && \
		touch .venv-s3/.ready; } || echo "No S3 server: the store's tests on S3 are left out" >&2

# Two processes for each core, since half of a test's time goes into waiting for pages and for other processes. One thread
# each: on a busy machine a matrix library's waiting threads cost more than they give.
TEST_PROCESSES ?= $(shell echo $$((2 * $$(getconf _NPROCESSORS_ONLN))))
test: export OPENBLAS_NUM_THREADS = 1
test: venv bytecode browser s3-server
	$(BIN)/python -m pytest --numprocesses $(TEST_PROCESSES) --maxprocesses 8 --dist worksteal $(ARGS)

check: check-types check-shape

# Half of all checking, on one core: `make -j2 check` does the other half beside it.
check-types: venv
	$(BIN)/mypy

check-shape: venv
	$(BIN)/ruff format --check
	$(BIN)/ruff check
	PATH="$$PATH:$(CURDIR)/$(BIN)" npm run --silent check
	$(BIN)/djade --check --target-version 5.2 $$(find $(TEMPLATES) -name '*.html')
	$(BIN)/djhtml --tabwidth 2 --extra-block words,endwords --check $(TEMPLATES)
	$(BIN)/djlint --lint --quiet $(TEMPLATES)
	! LC_ALL=C.UTF-8 grep -rnE '^.{121,}' --include='*.html' --include='*.css' --include='*.js' portal $(TEMPLATES)
	$(BIN)/lint-imports
	$(BIN)/python -m pytest --quiet --durations-min=9 tests/test_structure.py tests/portal/test_templates.py
	DJANGO_SETTINGS_MODULE=tests.settings $(BIN)/python manage.py makemigrations --check --dry-run

format: venv
	$(BIN)/ruff format
	$(BIN)/ruff check --fix
	PATH="$$PATH:$(CURDIR)/$(BIN)" npm run --silent format
	-$(BIN)/djade --target-version 5.2 $$(find $(TEMPLATES) -name '*.html')
	-$(BIN)/djhtml --tabwidth 2 --extra-block words,endwords $(TEMPLATES)

bench: venv
	$(BIN)/python -m bench $(ARGS)

# What the engine is compared with and nothing else needs. aubio is a program: Debian has it as aubio-tools.
bench-libraries: venv
	$(BIN)/uv pip install --quiet --python $(BIN)/python --require-hashes -r requirements-bench.txt

lock: .venv/.ready
	$(COMPILE) pyproject.toml -o requirements.txt
	$(COMPILE) pyproject.toml --group dev -c requirements.txt -o requirements-dev.txt
	$(COMPILE) --group bench -c requirements-dev.txt -o requirements-bench.txt
	$(COMPILE) --group node -o requirements-node.txt
	$(COMPILE) --group s3 -o requirements-s3.txt
	$(COMPILE) --group uv -o requirements-uv.txt
	npm install --package-lock-only --silent
	! grep -n '"resolved"' package-lock.json
