# Sourced by tests/run: finds what the stages need and installs what is missing.
# shellcheck shell=bash

# True when a command is there.
have() { command -v "$1" >/dev/null 2>&1; }

# Runs a command as root where that is possible without a question; false where it is not.
as_root() {
    if ((EUID == 0)); then
        "$@"
    elif have sudo && sudo -n true 2>/dev/null; then
        sudo "$@"
    elif have sudo && [[ -t 0 ]]; then
        sudo "$@"
    else
        return 1
    fi
}

PACKAGE_LISTS_FRESH=

# Installs Debian packages. False, with the reason on the terminal, when that cannot be done here.
install_packages() {
    echo "installing: $*"
    have apt-get || { echo "no apt-get here: please install $*" >&2 && return 1; }
    if [[ -z $PACKAGE_LISTS_FRESH ]]; then
        as_root apt-get update -qq || { echo "the package lists could not be fetched" >&2 && return 1; }
        PACKAGE_LISTS_FRESH=1
    fi
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >"$SCRATCH/apt.log" 2>&1 || {
        tail -n 20 "$SCRATCH/apt.log" >&2
        return 1
    }
}

# Where Debian keeps the newest PostgreSQL server's programs; empty when there is none.
postgres_programs() {
    local newest=
    if compgen -G '/usr/lib/postgresql/*/bin/initdb' >/dev/null; then
        newest=$(printf '%s\n' /usr/lib/postgresql/*/bin/initdb | sort -V | tail -n 1)
        dirname "$newest"
    elif have initdb; then
        dirname "$(command -v initdb)"
    fi
}

# The browser of the tests; empty when there is none. Without windows of its own it is the same engine for half the work.
browser_program() {
    command -v chromium-headless-shell || command -v chromium || true
}

wants() {
    local stage wanted
    for stage in "${STAGES_WANTED[@]}"; do
        for wanted in "$@"; do
            [[ $stage == "$wanted" ]] && return 0
        done
    done
    return 1
}

# Everything the wanted stages need, before the first of them runs: a missing piece shows in the first minute, not in
# the twentieth. A piece that cannot be had is no error here; the stage that needs it says that it was skipped.
prepare() {
    STAGES_WANTED=("$@")
    printf '\n== tools ==\n'
    have cargo || { echo "There is no cargo here. Install a Rust toolchain first." >&2 && exit 2; }
    have cc || install_packages gcc libc6-dev || true
    if wants fmt clippy && ! { cargo fmt --version && cargo clippy --version; } >/dev/null 2>&1; then
        ! have rustup || rustup component add rustfmt clippy || true
    fi
    if wants cargo kill && [[ -z ${STILLROOM_TEST_POSTGRES:-} ]]; then
        [[ -n $(postgres_programs) ]] || install_packages postgresql || true
    fi
    if wants browser; then
        [[ -n $(browser_program) ]] || install_packages chromium-headless-shell || install_packages chromium || true
        # Reads what was printed back.
        have pdfinfo || install_packages poppler-utils || true
        { have node && have npm; } || install_packages nodejs npm || true
        prepare_node_modules || true
    fi
    # Schemathesis, and for the HTTP tests the reader of calendars.
    if wants api cargo; then
        python3 -c 'import ensurepip, venv' 2>/dev/null || install_packages python3-venv || true
        prepare_venv || true
    fi
    if wants cargo kill; then
        start_postgres || true
    fi
    show_tools
}

show_tools() {
    cargo --version
    [[ -z $(browser_program) ]] || "$(browser_program)" --version 2>/dev/null || true
    ! have node || echo "node $(node --version)"
    [[ -z $(postgres_programs) ]] || "$(postgres_programs)/postgres" --version
}

# True when the stamp beside an installed tree still names the file it was installed from.
is_current() {
    local stamp=$1 source=$2
    [[ -f $stamp && $(<"$stamp") == "$(sha256sum <"$source")" ]]
}

# The browser tests' node packages, exactly those of the lock file.
prepare_node_modules() {
    have npm || return 1
    local stamp=tests/browser/node_modules/.installed-from
    is_current "$stamp" tests/browser/package-lock.json && return 0
    echo "installing: node packages of tests/browser"
    (cd tests/browser && npm ci --no-fund --no-audit --loglevel=error) || return 1
    sha256sum <tests/browser/package-lock.json >"$stamp"
}

# A Python environment of our own, so that nothing is added to the system's.
prepare_venv() {
    local stamp=tests/.venv/.installed-from
    is_current "$stamp" tests/api/requirements.txt && return 0
    echo "installing: python packages of tests/api"
    rm -rf tests/.venv
    python3 -m venv tests/.venv || return 1
    tests/.venv/bin/pip install --quiet --disable-pip-version-check --requirement tests/api/requirements.txt || return 1
    sha256sum <tests/api/requirements.txt >"$stamp"
}
