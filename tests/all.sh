#!/bin/sh
# Sets up everything the tests need and runs every check: formatting, types, imports, tests, the packed program.
# Usage: sh tests/all.sh            (from anywhere; makes .venv in the project's folder)
set -eu
cd "$(dirname "$0")/.."

say() { printf '== %s\n' "$1"; }

# Runs a command and shows what it printed only when it failed.
quietly() {
    log=$(mktemp)
    if "$@" >"$log" 2>&1; then rm -f "$log"; else status=$?; cat "$log"; rm -f "$log"; exit "$status"; fi
}

# Debian packages, where this machine is a Debian and we may install: a real browser for the page's tests, a real broker
# for the meters and neighbours, and what checks the unit file.
packages=
needs() { command -v "$1" >/dev/null 2>&1 || [ -x "/usr/sbin/$1" ] || packages="$packages $2"; }
needs chromium "chromium fonts-dejavu-core"
needs mosquitto mosquitto
needs systemd-analyze systemd
if [ -n "$packages" ] && command -v apt-get >/dev/null 2>&1 && [ "$(id -u)" = 0 ]; then
    say "installing$packages"
    export DEBIAN_FRONTEND=noninteractive
    quietly apt-get update
    # shellcheck disable=SC2086  # a list of names
    quietly apt-get install -y --no-install-recommends $packages
fi

# A Python that is new enough.
python=
for candidate in "${PYTHON:-}" python3 python3.13 python3.12 python3.11; do
    if [ -n "$candidate" ] && "$candidate" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' 2>/dev/null; then
        python=$candidate
        break
    fi
done
[ -n "$python" ] || { echo "Python 3.11 to 3.13 is needed; none was found." >&2; exit 1; }

say "environment"
[ -x .venv/bin/python ] || "$python" -m venv .venv
quietly .venv/bin/python -m pip install --disable-pip-version-check -e '.[dev]'

say "ruff"
.venv/bin/ruff check -q .
.venv/bin/ruff format -q --check .
say "mypy --strict"
.venv/bin/mypy
say "import contracts"
quietly .venv/bin/lint-imports

say "tests"
.venv/bin/python -m pytest -n 2 --timeout 240 "$@"

# The pure packages under the other Pythons, where they answer.
for other in 3.11 3.12 3.13; do
    [ ".venv/bin/python$other" -ef .venv/bin/python ] 2>/dev/null && continue
    "python$other" -c '' 2>/dev/null || continue
    say "core, sensing and shop under Python $other"
    [ -x ".venv-$other/bin/python" ] || "python$other" -m venv ".venv-$other"
    quietly ".venv-$other/bin/python" -m pip install --disable-pip-version-check -e . pytest hypothesis jsonschema
    ".venv-$other/bin/python" -m pytest tests/control tests/sensing tests/shop
done
say "all passed"
