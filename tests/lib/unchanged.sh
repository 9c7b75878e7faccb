# Sourced by tests/run: what a stage rests on, so that one that passed is not run again while nothing of that has changed.
# shellcheck shell=bash

PASSED_BEFORE=$CARGO_TARGET_DIR/tests-passed

# What a stage does not look at, as git names paths. What is not named here counts: rather once too often than once too seldom.
beside_the_point() {
    case $1 in
    fmt | clippy) printf '%s\n' docs docker README.md DEVELOPERS.md tests/browser tests/api tests/lib ;;
    kill | api) printf '%s\n' docs docker README.md DEVELOPERS.md tests/browser ;;
    browser) printf '%s\n' docs docker README.md DEVELOPERS.md tests/http tests/kill tests/api tests/bench ;;
    # These compare the program with its documents.
    cargo | docs) ;;
    esac
}

# A digest of everything a stage rests on: files as they lie here, committed or not, tools, and what changes the tests from outside.
# Empty where git cannot tell which files are ours.
rests_on() {
    local stage=$1 path left_out=()
    while read -r path; do
        left_out+=(":(exclude)$path")
    done < <(beside_the_point "$stage")
    git rev-parse --is-inside-work-tree >/dev/null 2>&1 || return 0
    {
        git ls-files -z --cached --others --exclude-standard -- . "${left_out[@]}" | sort -z |
            xargs -0 sh -c 'for file; do [ ! -f "$file" ] || sha256sum "$file"; done' sh
        show_tools
        rustc --version --verbose
        # The port and the password of the run's own server are other ones each time.
        env | grep -E '^(STILLROOM_TEST_(KILLS|FORMS|SEED|EXAMPLES|CHROMIUM)|RUST|CARGO_(PROFILE|BUILD|ENCODED))' | sort || true
    } 2>/dev/null | sha256sum
}

# Whether a stage passed on exactly this, with nothing skipped. Never where every check is asked for: in CI, and with --again.
passed_before() {
    [[ -z ${CI:-} && -z $AGAIN ]] || return 1
    local now
    now=$(rests_on "$1")
    [[ -n $now && -f $PASSED_BEFORE/$1 && $(head -n 1 "$PASSED_BEFORE/$1") == "$now" ]]
}

when_it_passed() { tail -n 1 "$PASSED_BEFORE/$1"; }

# Taken before a stage begins, so that a file changed meanwhile is not said to have passed.
note_passed() {
    local stage=$1 rested_on=$2
    [[ -n $rested_on ]] || return 0
    mkdir -p "$PASSED_BEFORE"
    printf '%s\n%s\n' "$rested_on" "$(date '+%Y-%m-%d %H:%M')" >"$PASSED_BEFORE/$stage"
}
