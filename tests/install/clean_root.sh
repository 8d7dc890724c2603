# A clean Debian system below a folder, and how what is tried there is said; sourced.
#
# Wants: tree (the checkout), folder, suite, base and root (folders below it), failed=0; machine
# where it is not this one's, by Debian's name.

held() { printf '  ok  %s\n' "$*"; }
broken() {
    printf '  !!  %s\n' "$*"
    failed=1
}
expect() { # WORDS COMMAND...: the command must succeed
    words=$1
    shift
    if "$@" >"$folder/last" 2>&1; then held "$words"; else
        broken "$words"
        tail -n 5 "$folder/last" | sed 's/^/        /'
    fi
}
refuse() { # WORDS PATTERN COMMAND...: it must fail, with the pattern in its last line
    words=$1 pattern=$2
    shift 2
    if "$@" >"$folder/last" 2>&1; then broken "$words: it went through"; return; fi
    if tail -n 1 "$folder/last" | grep -q "$pattern"; then
        held "$words: $(tail -n 1 "$folder/last")"
    else
        broken "$words: $(tail -n 1 "$folder/last")"
    fi
}

make_base() {
    [ -d "$base/etc" ] && return 0
    echo "Making a clean $suite${machine:+ for $machine} (once)"
    mmdebstrap --variant=minbase ${machine:+--architectures="$machine"} \
        --include=systemd,systemd-sysv,dbus,ca-certificates,python3,sudo,procps,udev,iproute2 \
        "$suite" "$base" >"$base.log" 2>&1 || {
        tail -n 5 "$base.log"
        rm -rf "$base" # half of one would be taken for a whole one
        exit 1
    }
}

copy_base() {
    rm -rf "$root"
    cp -a "$base" "$root"
    # What this machine needs for the network, the system needs too: names, certificates.
    for file in /etc/resolv.conf /etc/hosts /etc/ssl/certs/ca-certificates.crt; do
        cp -L "$file" "$root$file"
    done
    cp -L /etc/apt/apt.conf.d/* "$root/etc/apt/apt.conf.d/" 2>/dev/null
    [ -z "${PIP_CERT:-}" ] || printf '[global]\ncert = /etc/ssl/certs/ca-certificates.crt\n' \
        >"$root/etc/pip.conf"
    chroot "$root" apt-get update -q >/dev/null 2>&1
    copy_tree "$root/opt/checkout"
}

copy_tree() { # FOLDER
    mkdir -p "$1"
    for part in pyproject.toml README.md LICENCE firmware monitor web systemd; do
        cp -R "$tree/$part" "$1/"
    done
    find "$1" -name __pycache__ -prune -exec rm -rf {} +
}
