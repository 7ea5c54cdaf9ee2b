# Sourced by tests/all.sh and examples/demo.sh: what the build needs on Debian or Ubuntu.
# A missing tool is installed or named; nothing is skipped.
setup() {
    if ! command -v cargo >/dev/null; then
        echo "cargo is missing: install the Rust toolchain (1.95 or newer) first" >&2
        return 1
    fi
    if command -v cc >/dev/null; then
        echo "C compiler found: nothing to install"
        return 0
    fi
    echo "installing gcc and libc6-dev (for the bundled SQLite)"
    local sudo=
    [ "$(id -u)" = 0 ] || sudo=sudo
    $sudo apt-get update -qq
    $sudo apt-get install -y -qq --no-install-recommends gcc libc6-dev
}
