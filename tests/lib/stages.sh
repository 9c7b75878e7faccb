# Sourced by tests/run: one function per stage. Each may assume that tests/lib/tools.sh has looked for its tools.
# shellcheck shell=bash

stage_fmt() {
    cargo fmt --version >/dev/null 2>&1 || { skip "fmt: this toolchain has no rustfmt" && return; }
    cargo fmt --check
}

# Makes the linter the compiler of our own code in every stage, so that a clean clone is compiled once and not twice: the linter is
# the compiler with more to say. What it says then stops the build, and with it the stages that need one.
lint_while_building() {
    local linter
    linter=$(rustc --print sysroot)/bin/clippy-driver
    [[ -x $linter ]] || return 0
    export RUSTC_WORKSPACE_WRAPPER=$linter RUSTFLAGS="${RUSTFLAGS:-} -D warnings"
}

stage_clippy() {
    cargo clippy --version >/dev/null 2>&1 || { skip "clippy: this toolchain has no clippy" && return; }
    if [[ -n ${RUSTC_WORKSPACE_WRAPPER:-} ]]; then
        cargo test --no-run --all-targets --quiet
    else
        cargo clippy --all-targets --quiet -- -D warnings
    fi
}

# Unit, property, HTTP and documentation tests. The kill loop has its own stage: it takes the machine to itself.
stage_cargo() {
    [[ -n ${STILLROOM_TEST_POSTGRES:-} ]] || skip "cargo: no PostgreSQL, so only SQLite was tried"
    # One more at once than there are cores: a third of a test's time it waits for a database or for a delay it asks about.
    RUST_TEST_THREADS=${RUST_TEST_THREADS:-$(($(nproc) + 1))} \
        cargo test --no-fail-fast -- --skip kill_loop:: 2>&1 | tee "$SCRATCH/cargo.log"
    report_ignored "$SCRATCH/cargo.log"
}

stage_kill() {
    [[ -n ${STILLROOM_TEST_POSTGRES:-} ]] || skip "kill: no PostgreSQL, so the loop ran on SQLite alone"
    cargo test --test kill -- --nocapture --test-threads=1 2>&1 | tee "$SCRATCH/kill.log"
    report_ignored "$SCRATCH/kill.log"
}

stage_api() {
    [[ -x tests/.venv/bin/schemathesis ]] || { skip "api: schemathesis could not be installed" && return; }
    build_program
    tests/api/run
}

stage_browser() {
    [[ -n $(browser_program) ]] || { skip "browser: no Chromium" && return; }
    have node || { skip "browser: no node" && return; }
    have pdfinfo || { skip "browser: no pdfinfo, so no printed sheet could be read" && return; }
    [[ -d tests/browser/node_modules/playwright-core ]] || { skip "browser: the node packages are missing" && return; }
    build_program
    fill_demo "$SCRATCH/demo"
    # Two files at a time: each drives a browser and a server of its own, and waits for them half of the time.
    (cd tests/browser && STILLROOM_TEST_CHROMIUM=$(browser_program) STILLROOM_TEST_DEMO=$SCRATCH/demo node --test --test-concurrency=2 --test-reporter=spec ./*.test.mjs) 2>&1 |
        tee "$SCRATCH/browser.log"
    if grep -qE '^ℹ (skipped|todo) [1-9]' "$SCRATCH/browser.log"; then
        skip "browser: $(grep -E '^ℹ (skipped|todo) [1-9]' "$SCRATCH/browser.log" | tr '\n' ' ')"
    fi
}

# The comments build as documentation, and every example file in docs/ is answered.
stage_docs() {
    RUSTDOCFLAGS="-D warnings" cargo doc --no-deps --document-private-items --quiet
    local example
    if compgen -G 'docs/examples/*.json' >/dev/null; then
        build_program
        for example in docs/examples/*.json; do
            "$STILLROOM_TEST_BINARY" advise "$example" >"$SCRATCH/advice.txt" || { echo "no answer for $example" && return 1; }
            [[ -s $SCRATCH/advice.txt ]] || { echo "an empty answer for $example" && return 1; }
            echo "answered: $example"
        done
    fi
}

# An invented studio that was filled and closed again, for tests to begin with a copy of.
fill_demo() {
    local program said=$1.log
    mkdir "$1"
    "$STILLROOM_TEST_BINARY" demo --listen 127.0.0.1:0 --data-dir "$1/data" >"$said" 2>&1 &
    program=$!
    until grep -q '^listening on' "$said"; do
        kill -0 "$program" 2>/dev/null || { cat "$said" && return 1; }
        sleep 0.2
    done
    kill "$program"
    # Told to stop so early it may end by the signal itself; what was filled lies in the database by then.
    wait "$program" || true
}

# The program as the other stages use it: the one the tests were built with.
build_program() {
    # Asked for with a test beside it: alone it would be built of other features of the same libraries, all of them anew.
    cargo test --no-run --quiet --test kill
    [[ -x $STILLROOM_TEST_BINARY ]] || { echo "there is no program at $STILLROOM_TEST_BINARY" && return 1; }
}

# A test marked as ignored is a test that did not run, and so is one that found no database server and said so.
report_ignored() {
    local line left_out
    left_out=$(grep -c 'skipped: no PostgreSQL' "$1" || true)
    ((left_out == 0)) || skip "$left_out tests that want a PostgreSQL"
    ! grep -q 'skipped: no reader of calendars' "$1" || skip "calendars were not read back: tests/.venv has no icalendar"
    while read -r line; do
        skip "$line"
    done < <(grep -E '^test .*\.\.\. ignored' "$1" || true)
}
