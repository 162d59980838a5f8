# shellcheck shell=bash
# Words and steps that deploy/demo and deploy/test share.
# Source this first: it fixes the paths and cleans the environment.

PROJECT_DIR=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd -P)
VAR_DIR=$PROJECT_DIR/var
# shellcheck disable=SC2034 # venv.sh and the scripts use it
VENV_DIR=$PROJECT_DIR/.venv
# shellcheck disable=SC2034 # node.sh uses it
NODE_MODULES=$PROJECT_DIR/node_modules
SETUP_LOG=$VAR_DIR/log/setup.log
PROGRAM=deploy/${0##*/}

say() { printf '%s\n' "$@"; }

fail() {
    printf '\n%s: %s\n' "$PROGRAM" "$1" >&2
    shift
    [[ $# -eq 0 ]] || printf '%s\n' "$@" >&2
    exit 1
}

# Variables of other PostgreSQL or Python set-ups on the machine must not
# lead these scripts to a database or an interpreter that is not theirs. A
# postgis:// URL is meant for this project; postgres:// may be another's.
GIVEN_DATABASE_URL=''
clean_environment() {
    local name
    [[ ${DATABASE_URL:-} != postgis://* ]] || GIVEN_DATABASE_URL=$DATABASE_URL
    for name in "${!PG@}"; do
        unset "$name"
    done
    unset DATABASE_URL PYTHONPATH PYTHONHOME VIRTUAL_ENV DJANGO_SETTINGS_MODULE
    # Else every process compiles all that it imports.
    unset PYTHONDONTWRITEBYTECODE
    export LANG=C.UTF-8 LC_ALL=C.UTF-8
    # A plain user's PATH has neither runuser nor ldconfig.
    export PATH="${PATH:-/usr/local/bin:/usr/bin:/bin}:/usr/sbin:/sbin"
    export HOME="${HOME:-$(getent passwd "$(id -u)" | cut -d: -f6)}"
}

# step LABEL COMMAND...: one line of progress with the seconds taken.
# The command's output goes to the set-up log and is shown when it fails. On a
# terminal, its last line that begins with "... " is shown while it runs.
# Never call it in a condition: bash would then ignore failures inside.
step() {
    local label=$1 started=$EPOCHREALTIME log_start status watch=''
    shift
    mkdir -p "${SETUP_LOG%/*}"
    printf '\n== %s\n' "$label" >>"$SETUP_LOG"
    log_start=$(stat -c %s "$SETUP_LOG")
    printf '  %-52s ' "$label"
    if [[ -t 1 ]]; then
        show_progress "$log_start" &
        watch=$!
    fi
    set +e
    (
        set -e
        "$@"
    ) >>"$SETUP_LOG" 2>&1 </dev/null
    status=$?
    set -e
    if [[ -n $watch ]]; then
        kill "$watch" && wait "$watch" || true
        printf '\r\033[K  %-52s ' "$label"
    fi 2>/dev/null
    if [[ $status -ne 0 ]]; then
        printf 'failed\n\n'
        tail -c "+$((log_start + 1))" "$SETUP_LOG" | tail -n 40 >&2
        fail "\"$label\" failed. All of its output is in $SETUP_LOG."
    fi
    printf '%6s s\n' "$(seconds_since "$started")"
}

# show_progress LOG_START: until it is ended, or the script is.
show_progress() {
    local line
    while sleep 0.5 && kill -0 $$; do
        line=$(tail -c "+$(($1 + 1))" "$SETUP_LOG" | grep -a '^\.\.\. ' | tail -n 1) || continue
        printf '\r\033[K  %.76s' "${line#... }"
    done
} 8>&- 9>&- 2>/dev/null

# seconds_since START: START is an earlier $EPOCHREALTIME.
seconds_since() {
    local micros=$((${EPOCHREALTIME/[.,]/} - ${1/[.,]/}))
    printf '%d.%d' $((micros / 1000000)) $((micros % 1000000 / 100000))
}

# One set-up at a time in one clone. Long-lived children must be started
# with 8>&- 9>&- or they would hold the locks for as long as they live.
take_lock() {
    mkdir -p "$VAR_DIR"
    exec 9>"$VAR_DIR/setup.lock"
    flock --nonblock 9 && return
    say "Another deploy command is at work in this clone; waiting for it ..."
    flock --timeout 1800 9 || fail "Gave up waiting after 30 minutes."
}

release_lock() { exec 9>&-; }

# unchanged NAME VALUE: whether the stamp NAME in the folder STAMP_DIR holds VALUE.
unchanged() { [[ -f $STAMP_DIR/$1 && $(<"$STAMP_DIR/$1") == "$2" ]]; }

stamp() {
    mkdir -p "$STAMP_DIR"
    printf '%s\n' "$2" >"$STAMP_DIR/$1"
}
