#!/usr/bin/env bash
# Checks everything: format, lints, tests, docs. Installs what it needs and says so.
# Run it from anywhere, as root or with sudo, as often as you like.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
source tests/setup.sh
began=$SECONDS
stage() {
    local name=$1 from=$SECONDS
    shift
    echo "== $name"
    "$@"
    echo "== $name: $((SECONDS - from)) s"
}
docs() { RUSTDOCFLAGS="-D warnings" cargo doc --no-deps --locked --quiet; }
export RUST_BACKTRACE=0
stage setup setup checks
stage format cargo fmt --all --check
stage lints cargo clippy --all-targets --locked --quiet -- -D warnings
# They reckon little: compiled without care for speed they are done sooner, compiling included.
stage "unit tests" env CARGO_PROFILE_TEST_OPT_LEVEL=0 cargo test --locked --lib
# At once: the compiler is seldom busy on both cores with one of them alone.
stage build cargo test --locked --quiet --no-run --test it --test live
stage "pure tests" cargo test --locked --test it
# They mostly wait for a scripted scale that sends ten readings a second: more at once than two cores is measured to do.
# A job in the background, or one of nohup, is deaf to two of the signals that are tested, and so are its children.
live() { env --default-signal=HUP,INT,TERM cargo test --locked --test live -- "$@"; }
stage "live tests" live --test-threads 6 --skip two_cores_are_busy --skip a_thousand_values_a_second --skip twenty_clients_hear --skip what_is_cued_in_a_pour
# Beside others these would make them late, and they these.
stage "live tests of busy cores" live --test-threads 1 two_cores_are_busy a_thousand_values_a_second twenty_clients_hear \
    what_is_cued_in_a_pour
stage "doc tests" cargo test --locked --doc
stage docs docs
echo "== all: $((SECONDS - began)) s"
