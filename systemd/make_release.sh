# shellcheck shell=sh
# Makes one release beside the others: an environment of its own.  Read by install.

unused() { # all but the running release and the one before, a line each
    for folder in "$releases"/*; do
        case ${folder##*/} in
        "$(release_of venv)" | "$(release_of previous || true)" | '*') ;;
        *) say "$folder" ;;
        esac
    done
}

# What a try that the plug has ended leaves behind: 140 MB each, and the next one needs the room.
half_made() { unused | while read -r folder; do [ -e "$folder/.complete" ] || say "$folder"; done; }

half_made_mb() { half_made | tr '\n' '\0' | du -cm --files0-from=- | sed -n '$s/[^0-9].*//p'; }

drop_half_made() { half_made | while read -r folder; do rm -rf "$folder"; done; }

drop() { # FOLDER of a release: not whole any more before the first of its files has gone
    rm -f "$1/.complete"
    rm -rf "$1"
}

next_release() { # the version, and which try at it: 0.1.0-3
    count=0
    for folder in "$releases/$version"-*; do
        number=${folder##*-}
        case $number in '' | *[!0-9]*) continue ;; esac
        [ "$number" -gt "$count" ] && count=$number
    done
    say "$version-$((count + 1))"
}

pip_install() { # WORDS...: first from the folder of wheels alone, if there is one
    set -- --disable-pip-version-check --no-input --no-cache-dir \
        --constraint "$here/constraints.txt" "$@"
    for folder in "$wheels" "$home/wheels"; do
        [ -d "$folder" ] && set -- --find-links "$folder" "$@"
    done
    pip="$made/bin/python -I -m pip install"
    if [ -d "$wheels" ]; then
        $pip --no-index "$@" </dev/null >>"$log" 2>&1 && return 0
        [ "$offline" = yes ] && return 1
        say "  not all is in $wheels: asking the package index for the rest"
    fi
    $pip "$@" </dev/null >>"$log" 2>&1
}

# Built from a copy: building leaves files behind, which would be root's in the person's folder.
copy_source() { # FOLDER
    for part in pyproject.toml README.md LICENCE firmware monitor web; do
        cp -R "$source/$part" "$1/"
    done
}

borrow() { # PATTERN: one module of Debian's, and not all of them, into the release
    for file in "$dest"/usr/lib/python3/dist-packages/$1; do
        [ -e "$file" ] && ln -sf "$file" "$site/"
    done
    return 0
}

borrow_modules() {
    site=$("$made/bin/python" -I -c 'import sysconfig; print(sysconfig.get_paths()["purelib"])')
    borrow lgpio.py
    borrow '_lgpio*.so'
    borrow RPi
    alsa_from_debian && borrow 'alsaaudio*.so'
    return 0
}

install_alsa() {
    alsa_from_debian && return 0
    if ! has_alsa_wheel; then
        say "  building the microphone's library"
        # Kept, so that the next release needs no compiler.
        "$made/bin/python" -I -m pip wheel --disable-pip-version-check --no-input \
            --no-deps --use-pep517 --constraint "$here/constraints.txt" \
            --wheel-dir "$home/wheels" pyalsaaudio </dev/null >>"$log" 2>&1 || return 1
    fi
    pip_install pyalsaaudio
}

install_pins() { # where Debian has no package; without it only the lamp is dark
    is_pi || return 0
    "$made/bin/python" -I -c 'import lgpio' 2>/dev/null && return 0
    pip_install --only-binary :all: lgpio ||
        say "  the pins' library (lgpio) is not to be had here: the lamp will stay dark"
}

make_release() { # sets $release and $made; on failure takes away what it made
    release=$(next_release)
    made=$releases/$release
    step "Release $release: making its environment"
    mkdir -p "$releases"
    copy=$(mktemp -d)
    trap 'rm -rf "$copy" "$made"' EXIT
    trap 'exit 130' HUP INT TERM
    python3 -m venv "$made" >>"$log" 2>&1 ||
        fail "no environment can be made in $made; is the card full? More: $log"
    step "Release $release: installing, some minutes on a small box"
    # The archive's own wheel, which was made with it.  Another folder's may be of an older commit:
    # the version does not tell.
    packed=$copy
    for wheel in "$source"/wheels/howl_lantern-"$version"-*.whl; do
        [ -e "$wheel" ] && packed=$wheel
    done
    [ "$packed" != "$copy" ] || copy_source "$copy"
    pip_install "$packed" || fail_made "its packages cannot be installed ($(last_error))"
    install_alsa || fail_made "the microphone's library cannot be built ($(last_error))"
    borrow_modules
    install_pins
    prove_release
    mkdir "$made/system"
    cp -R "$here"/* "$made/system/"
    rm -rf "$copy"
    touch "$made/.complete"
    sync # the plug may be pulled at any time; what is switched to must be on the card by then
    trap - EXIT HUP INT TERM
}

fail_made() {
    fail "release $release was not made: $*; what runs goes on running. More: $log"
}

# Before anything is switched: does it start at all, and does it take this box's settings?
prove_release() {
    "$made/bin/python" -I -c 'import alsaaudio; assert hasattr(alsaaudio.PCM, "avail")' \
        >>"$log" 2>&1 || fail_made "the microphone's library does not load"
    "$made/bin/howl-lantern" --version >>"$log" 2>&1 || fail_made "the program does not start"
    takes_settings "$made" || fail_made "it does not take the settings: $refused"
}

takes_settings() { # FOLDER of a release; sets $refused
    set -- "$1/bin/howl-lantern" settings
    [ ! -f "$etc/settings.toml" ] || set -- "$@" --settings "$etc/settings.toml"
    said=$("$@" 2>&1) && return 0
    refused=$(say "$said" | tail -n 1)
    return 1
}
