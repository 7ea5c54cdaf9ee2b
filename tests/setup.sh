# Sourced by tests/all.sh and examples/demo.sh: what the build needs on Debian or Ubuntu.
# Installs gcc and libc6-dev where there is no C compiler, pkg-config and libasound2-dev (sound) where
# they are missing; for the checks also chromium and chromium-driver (the page's tests drive a real
# browser), nodejs and npm, with npm what tests/page/package-lock.json names, into
# tests/page/node_modules, and dbus-daemon (the stand-in Bluetooth service's own bus). Nothing else.
# A tool that it does not install is named, with what to do; nothing is skipped.

# setup: what building needs. setup checks: rustfmt, clippy, a browser, what looks at its page, and a
# message bus too.
setup() {
    find_cargo || return 1
    if [ "${1:-}" = checks ]; then
        component fmt rustfmt || return 1
        component clippy clippy || return 1
    fi
    local missing=()
    command -v cc >/dev/null || missing+=(gcc libc6-dev)
    # Only Linux needs a package for sound: the headers of ALSA, and the tool that finds them.
    if [[ "$OSTYPE" == linux* ]]; then
        command -v pkg-config >/dev/null || missing+=(pkg-config)
        pkg-config --exists alsa 2>/dev/null || missing+=(libasound2-dev)
    fi
    if [ "${#missing[@]}" = 0 ]; then
        echo "C compiler and sound headers found: nothing to install"
    else
        install "gcc and libc6-dev: for the bundled SQLite and libdbus; pkg-config and libasound2-dev: for sound" \
            "${missing[@]}" || return 1
    fi
    if [ "${1:-}" = checks ]; then
        browser || return 1
        page_tools || return 1
        bus || return 1
    fi
}

bus() {
    # Only Linux has the service that is stood in for.
    if [[ "$OSTYPE" != linux* ]] || command -v dbus-daemon >/dev/null; then
        echo "message bus found: nothing to install"
        return 0
    fi
    install "for the tests of Bluetooth" dbus-daemon
}

browser() {
    if command -v chromium >/dev/null && command -v chromedriver >/dev/null; then
        echo "browser found: nothing to install"
        return 0
    fi
    install "for the tests of the page" chromium chromium-driver
}

page_tools() {
    local missing=() folder="${BASH_SOURCE[0]%/*}/page"
    command -v node >/dev/null || missing+=(nodejs)
    command -v npm >/dev/null || missing+=(npm)
    if [ "${#missing[@]}" != 0 ]; then
        install "for the tests of the page" "${missing[@]}" || return 1
    fi
    # Says without a network whether the pinned versions are there.
    if (cd "$folder" && npm ls >/dev/null 2>&1); then
        echo "axe-core found: nothing to install"
        return 0
    fi
    echo "installing axe-core into tests/page/node_modules (for the tests of the page)"
    (cd "$folder" && npm ci --ignore-scripts --silent) && return 0
    echo "axe-core could not be installed: look at the network and at npm's registry setting," \
        "run 'npm ci --ignore-scripts' in tests/page to see why, then run this again" >&2
    return 1
}

find_cargo() {
    local home="${CARGO_HOME:-${HOME:-}/.cargo}"
    command -v cargo >/dev/null && return 0
    # Where the toolchain's installer puts it; a shell opened before that does not look there.
    if [ -x "$home/bin/cargo" ]; then
        export PATH="$home/bin:$PATH"
        return 0
    fi
    echo "cargo is missing (looked on the path and in $home/bin):" \
        "install the Rust toolchain, 1.95 or newer, then run this again" >&2
    return 1
}

component() {
    cargo "$1" --version >/dev/null 2>&1 && return 0
    echo "$2 is missing: run 'rustup component add $2', or install your system's package of it," \
        "then run this again" >&2
    return 1
}

# install WHY PACKAGE...: by apt-get, as root or with sudo.
install() {
    local why=$1 sudo=
    shift
    if ! command -v apt-get >/dev/null; then
        echo "missing: $*; apt-get is missing too: install what these Debian packages hold" \
            "($why), then run this again" >&2
        return 1
    fi
    if [ "$(id -u)" != 0 ]; then
        if ! command -v sudo >/dev/null; then
            echo "missing: $*; sudo is missing: run 'apt-get install $*' as root," \
                "then run this again" >&2
            return 1
        fi
        sudo=sudo
    fi
    echo "installing $* ($why)"
    $sudo apt-get update -qq || return 1
    $sudo apt-get install -y -qq --no-install-recommends "$@"
}
