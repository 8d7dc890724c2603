# shellcheck shell=sh
# System packages: which are needed here, and getting them.  Read by install.
#
# From Debian comes only what pip cannot bring, or not without a compiler:
# - the pins' library (lgpio): no wheel for Python 3.13 on arm64; Raspberry Pi OS packages it;
# - the microphone's (alsaaudio) from 0.11 on, else it is built against the system's alsa-lib.
#   Debian 12 has 0.8.4, which cannot capture under Python 3.11; Debian 13 has 0.10.0, which keeps
#   lost sound to itself and writes beyond its buffer where a card has fewer significant bits than
#   it stores (its own list of changes, 0.11.0).
# All else comes in the versions of constraints.txt, so that a release is what was tried.

alsa_least=0.11
alsa_builders="gcc libc6-dev python3-dev libasound2-dev"

installable() { apt-cache show --no-all-versions "$1" >/dev/null 2>&1; }
installed() { dpkg-query -W -f '${Status}' "$1" 2>/dev/null | grep -q ' installed$'; }

candidate() { # PACKAGE: the version that apt would install, nothing where there is none
    apt-cache policy "$1" 2>/dev/null | sed -n 's/^ *Candidate: *\([0-9].*\)/\1/p'
}

version_there() { dpkg-query -W -f '${Version}' "$1" 2>/dev/null; } # PACKAGE

can_capture() { # VERSION of python3-alsaaudio
    [ -n "$1" ] && dpkg --compare-versions "$1" ge "$alsa_least"
}

has_alsa_wheel() {
    for folder in "$wheels" "$home/wheels"; do
        # Unquoted pattern on purpose; any version, pip holds it against constraints.txt.
        ls "$folder"/pyalsaaudio-*"$abi"*.whl >/dev/null 2>&1 && return 0
    done
    return 1
}

# A wheel that is here first: it needs nobody.  Where no package can be installed any more, only
# what is there counts, and not what apt could get.
alsa_from_debian() {
    ! has_alsa_wheel || return 1
    if [ "$packaged" = no ]; then
        can_capture "$(candidate python3-alsaaudio)"
    else
        installed python3-alsaaudio && can_capture "$(version_there python3-alsaaudio)"
    fi
}

wanted_packages() { # prints a line each, most of which are there already
    say python3-venv
    [ "$mdns" = yes ] && say avahi-daemon
    if alsa_from_debian; then
        say python3-alsaaudio
    else
        installed libasound2t64 || say libasound2 # one library, and in Debian 13 the longer name
        has_alsa_wheel || printf '%s\n' $alsa_builders
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

# What was there before stays on the card until it has been compared: a first try that fails, or
# is ended by the plug, may have brought packages too.
packages_before=$home/packages-before

begin_packages() {
    all_installed >"$packages_before.new"
    mv "$packages_before.new" "$packages_before"
}

end_packages() { # remembers what has come since, if anything was begun
    [ -e "$packages_before" ] || return 0
    all_installed >"$packages_before.now"
    for package in $(comm -13 "$packages_before" "$packages_before.now"); do
        remember package "$package"
    done
    rm -f "$packages_before" "$packages_before.now"
}

install_packages() {
    end_packages # of a try that was cut off
    # A new system may have no lists yet, and then knows of nothing that it has not.
    [ -z "$(missing_packages)" ] || get_lists
    missing=$(missing_packages)
    if [ -z "$missing" ]; then
        step "System packages: all there"
        return 0
    fi
    step "System packages: $missing"
    begin_packages
    get_packages || {
        end_packages
        fail "the system packages cannot be installed ($(last_error)); no release was made;" \
            "is the box on the network? More: $log"
    }
    end_packages
}

get_lists() { # one archive that does not answer is no reason to stop; installing will tell
    DEBIAN_FRONTEND=noninteractive apt-get update -q </dev/null >>"$log" 2>&1 || true
}

get_packages() {
    # Unquoted on purpose: a list.  --no-remove: never takes somebody's programs away.
    DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-remove \
        --no-install-recommends $missing </dev/null >>"$log" 2>&1
}

last_error() { # the first complaint in the log, as one line; the later ones follow from it
    grep -E '^(E:|ERROR|error:)' "$log" | head -n 1 | cut -c 1-160 | grep . || say "see the log"
}
