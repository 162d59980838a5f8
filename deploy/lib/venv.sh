# shellcheck shell=bash
# The virtual environment, made from a hash-pinned lock file.

# venv_ensure LOCK: make .venv again unless it was made from this very lock.
# LOCK is deploy/requirements.lock, or deploy/requirements-dev.lock, which
# holds everything of the first and the tools for the tests.
venv_ensure() {
    local lock=$1
    ! venv_is_current "$lock" || return 0
    if venv_is_current "$PROJECT_DIR/deploy/requirements.lock"; then
        step "Adding Python packages to .venv" venv_install "$lock"
    else
        step "Making .venv" venv_make
        step "Installing Python packages" venv_install "$lock"
    fi
}

venv_is_current() {
    [[ -x $VENV_DIR/bin/python ]] && STAMP_DIR=$VENV_DIR/made-from unchanged "${1##*/}" "$(venv_fingerprint "$1")"
}

# A virtual environment breaks when it is moved or its Python is replaced.
venv_fingerprint() {
    local sum
    sum=$(sha256sum <"$1")
    echo "${sum%% *} $("$VENV_DIR/bin/python" --version 2>&1) $VENV_DIR"
}

venv_make() {
    local python
    python=$(find_python)
    [[ -n $python ]] || fail "Python 3.11 or newer with its venv module was not found."
    rm -rf "$VENV_DIR"
    "$python" -m venv "$VENV_DIR"
}

venv_install() {
    local lock=$1 name
    # Until the new stamps are there, an environment cut short counts as broken.
    rm -rf "$VENV_DIR/made-from"
    # Python compiles what is imported, which is a small part, when it is.
    PIP_USER=0 "$VENV_DIR/bin/python" -m pip install --no-input --disable-pip-version-check \
        --progress-bar off --require-hashes --no-compile -r "$lock"
    for name in "$PROJECT_DIR/deploy/requirements.lock" "$lock"; do
        STAMP_DIR=$VENV_DIR/made-from stamp "${name##*/}" "$(venv_fingerprint "$name")"
    done
}

# The first Python that is new enough and can make environments.
find_python() {
    local python
    for python in /usr/bin/python3 /usr/bin/python3.{13,12,11} "$(command -v python3 || true)"; do
        if [[ -x $python ]] && "$python" -c \
            'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$python"
            return
        fi
    done
}
