# shellcheck shell=sh
# Names and places that the scripts here share, and how they speak.  Read with `.`, not run.
# DESTDIR puts a folder before every place: for the tests, which also bring their own systemctl.

dest=${DESTDIR:-}
home=$dest/opt/howl-lantern
releases=$home/releases
brought=$home/brought # what install added to the system, a line each: for remove
etc=$dest/etc/howl-lantern
state=$dest/var/lib/howl-lantern
unit_folder=$dest/usr/local/lib/systemd/system
udev_rules=$dest/etc/udev/rules.d/60-howl-lantern.rules
mdns_file=$dest/etc/avahi/services/howl-lantern.service
command_link=$dest/usr/local/bin/howl-lantern
watcher=howl-lantern.service
page=howl-lantern-page.service
off_units="howl-lantern-off.path howl-lantern-off.service"

# A terminal that has gone is no reason to stop half-way.
say() { printf '%s\n' "$*" || true; }
step() { say "* $*"; }
fail() {
    printf '%s: %s\n' "${0##*/}" "$*" >&2
    exit 1
}
wrong() { # what was typed cannot be meant
    printf '%s: %s\n' "${0##*/}" "$*" >&2
    exit 2
}

need_root() {
    [ "$(id -u)" = 0 ] || fail "this is for root and was started by $(id -un); type: sudo $0 $*"
}

# One at a time: two would number their releases alike.  The lock ends with the process.
lock() {
    mkdir -p "$home" 2>/dev/null ||
        fail "$home cannot be made; is the card full or write-protected?"
    exec 9>"$home/lock"
    flock -n 9 || fail "another install or remove is at work; wait for its end and try again"
}

version_in() { # FOLDER of a release's source: the version it has
    sed -n 's/^version = "\(.*\)"$/\1/p' "$1/pyproject.toml" | head -n 1
}

# In a chroot (an image being built) there is no service manager to talk to.
has_manager() { [ -d "$dest/run/systemd/system" ]; }

is_pi() {
    command -v raspi-config >/dev/null 2>&1 ||
        grep -qa 'Raspberry Pi' "$dest/proc/device-tree/model" 2>/dev/null
}

release_of() { # LINK: the release a link names, nothing where there is no such link
    [ -L "$home/$1" ] && basename "$(readlink "$home/$1")"
}

point() { # LINK RELEASE: in one step, so that there is never a moment without
    ln -sfn "releases/$2" "$home/$1.new" &&
        mv -Tf "$home/$1.new" "$home/$1"
}

remember() { # KIND NAME: added by install, so remove may take it away
    grep -qsx "$1 $2" "$brought" || say "$1 $2" >>"$brought"
}

setting() { # TABLE.KEY of the settings in force, as plain text
    set -- "${1%.*}" "${1#*.}"
    "$home/venv/bin/python" -I -c 'import sys
from monitor import settings
loaded = settings.load(sys.argv[3] or None, []).settings
print(getattr(getattr(loaded, sys.argv[1]), sys.argv[2]))' \
        "$1" "$2" "$([ -f "$etc/settings.toml" ] && say "$etc/settings.toml")" \
        2>>"${log:-/dev/null}" || true
}
