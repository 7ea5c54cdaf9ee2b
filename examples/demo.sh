#!/usr/bin/env bash
# Sets up, builds, and pours an invented batch with a simulated scale and hand.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
source tests/setup.sh
setup
cargo build --locked
exec "${CARGO_TARGET_DIR:-target}/debug/tarebell" demo "$@"
