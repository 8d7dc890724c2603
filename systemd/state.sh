# shellcheck shell=sh
# Journal and all else that a release writes: copied before each switch, and put back.  Read by
# install.  Called where `set -e` is off (as conditions), so every step here is checked by itself.

# What a newer release makes of the journal the older may not read; so each switch keeps a copy.
# A copy has its name only once it is whole and on the card.
keep_state() { # RELEASE: the one that wrote it; sets $kept, and $why if that is not possible
    kept=no
    [ -n "$1" ] && [ -d "$state" ] || return 0
    kept_in=$releases/$1/state
    why="the journal cannot be copied to $kept_in; is the card full?"
    rm -rf "$kept_in.new" || return 1
    if ! cp -a "$state" "$kept_in.new" 2>>"$log"; then
        rm -rf "$kept_in.new"
        return 1
    fi
    sync
    rm -rf "$kept_in" || return 1
    mv "$kept_in.new" "$kept_in" || return 1
    kept=yes
}

# Nothing is deleted before what takes its place is whole and on the card.
put_state_back() { # as keep_state found it; sets $why if that is not possible
    [ "$kept" = yes ] || return 0
    why="the journal is as $new left it; as it was before: $kept_in"
    rm -rf "$state.new" "$state.spoilt" || return 1
    if ! cp -a "$kept_in" "$state.new" 2>>"$log"; then
        rm -rf "$state.new"
        return 1
    fi
    sync
    mv "$state" "$state.spoilt" || return 1
    if ! mv "$state.new" "$state"; then
        mv "$state.spoilt" "$state"
        return 1
    fi
    rm -rf "$state.spoilt"
}
