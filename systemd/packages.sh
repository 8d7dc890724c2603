# shellcheck shell=sh
# System packages: which are needed here, and getting them.  Read by install.
#
# From Debian comes only what pip cannot bring, or not without a compiler:
# - the pins' library (lgpio): no wheel for Python 3.13 on arm64; Raspberry Pi OS packages it;
# - the microphone's (alsaaudio) from 0.10 on, else it is built against the system's alsa-lib.
#   Debian 12 has 0.8.4, which cannot capture under Python 3.11 and is never used.
# All else comes in the versions of constraints.txt, so that a release is what was tried.

installable() { apt-cache show --no-all-versions "$1" >/dev/null 2>&1; }
installed() { dpkg-query -W -f '${Status}' "$1" 2>/dev/null | grep -q ' installed$'; }

candidate() { # PACKAGE: the version that apt would install
    apt-cache policy "$1" 2>/dev/null | sed -n 's/^ *Candidate: *//p'
}

alsa_from_debian() {
    version=$(candidate python3-alsaaudio)
    [ -n "$version" ] && dpkg --compare-versions "$version" ge 0.10
}

has_alsa_wheel() {
    for folder in "$wheels" "$home/wheels"; do
        # Unquoted pattern on purpose; any version, pip holds it against constraints.txt.
        ls "$folder"/pyalsaaudio-*"$abi"*.whl >/dev/null 2>&1 && return 0
    done
    return 1
}

wanted_packages() { # prints a line each, most of which are there already
    say python3-venv
    [ "$mdns" = yes ] && say avahi-daemon
    if alsa_from_debian; then
        say python3-alsaaudio
    else
        say libasound2
        has_alsa_wheel || printf '%s\n' gcc libc6-dev python3-dev libasound2-dev
    fi
    for package in python3-lgpio python3-rpi-lgpio; do
        installable "$package" && say "$package"
    done
    return 0
}

missing_packages() {
    for package in $(wanted_packages); do
        installed "$package" || printf '%s ' "$package"
    done
}

all_installed() {
    dpkg-query -W -f '${db:Status-Abbrev} ${Package}\n' | sed -n 's/^ii *//p' | sort
}

install_packages() {
    missing=$(missing_packages)
    if [ -z "$missing" ]; then
        step "System packages: all there"
        return 0
    fi
    step "System packages: $missing"
    before=$(mktemp)
    after=$(mktemp)
    all_installed >"$before"
    {
        # One archive that does not answer is no reason to stop; the next line will tell.
        DEBIAN_FRONTEND=noninteractive apt-get update -q || true
        # Unquoted on purpose: a list.  --no-remove: never takes somebody's programs away.
        DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-remove \
            --no-install-recommends $missing
    } </dev/null >>"$log" 2>&1 ||
        fail "the system packages cannot be installed ($(last_error));" \
            "nothing was changed; is the box on the network? More: $log"
    all_installed >"$after"
    for package in $(comm -13 "$before" "$after"); do
        remember package "$package"
    done
    rm -f "$before" "$after"
}

last_error() { # the first complaint in the log, as one line; the later ones follow from it
    grep -E '^(E:|ERROR|error:)' "$log" | head -n 1 | cut -c 1-160 | grep . || say "see the log"
}
