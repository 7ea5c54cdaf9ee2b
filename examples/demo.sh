#!/usr/bin/env bash
# Sets up, builds, and pours an invented batch with a simulated scale and hand; opens the page
# where there is a screen and something to open it with.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
source tests/setup.sh
setup
cargo build --locked

watch() {
    local line
    while IFS= read -r line; do
        printf '%s\n' "$line"
        case $line in
            "watch http"*) show "${line#watch }" ;;
        esac
    done
}

show() {
    if [ -n "${DISPLAY:-}${WAYLAND_DISPLAY:-}" ] && command -v xdg-open >/dev/null; then
        xdg-open "$1" >/dev/null 2>&1 &
    fi
}

"${CARGO_TARGET_DIR:-target}/debug/tarebell" demo "$@" | watch
