# shellcheck shell=sh
# Journal and all else that a release writes: copied before each switch, and put back.  Read by
# install.  Called where `set -e` is off (as conditions), so every step here is checked by itself.

# What a newer release makes of the journal the older may not read; so each switch keeps a copy.
# A copy has its name only once it is whole and on the card.
keep_state() { # RELEASE: the one that wrote it; sets $kept, and $why if that is not possible
    kept=no kept_in=$releases/$1/state
    [ -n "$1" ] && [ -d "$state" ] || return 0
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

# Nothing is deleted before what takes its place is whole, on the card, and there: where the folder
# is missing for a moment and the plug is pulled in it, the service manager makes an empty one.
put_state_back() { # as keep_state found it; sets $why if that is not possible
    [ "$kept" = yes ] || return 0
    why="the journal is as $new left it; as it was before: $kept_in"
    rm -rf "$state.new" || return 1
    if ! cp -a "$kept_in" "$state.new" 2>>"$log" || ! sync || ! change_places; then
        rm -rf "$state.new"
        return 1
    fi
    rm -rf "$state.new"
}

change_places() { # $state.new and $state, in one step: rename(2), RENAME_EXCHANGE
    python3 -I -c 'import ctypes, os, sys
libc, here, exchange = ctypes.CDLL(None, use_errno=True), -100, 2
one, other = map(os.fsencode, sys.argv[1:])
if libc.renameat2(here, one, here, other, exchange):
    sys.exit(os.strerror(ctypes.get_errno()))' "$state.new" "$state" 2>>"$log"
}

# --- a journal that an older release cannot read ---------------------------------------------

journal=$state/journal.sqlite3 # where the settings do not name another place

tables_written() { # the version of the journal's tables; of a copy, for reading may leave files
    looked=$(mktemp -d) || return 1
    for tail in '' -wal; do
        [ ! -e "$journal$tail" ] || cp "$journal$tail" "$looked/" || true
    done
    python3 -I -c 'import sqlite3, sys
print(*sqlite3.connect(sys.argv[1]).execute("PRAGMA user_version").fetchone())' \
        "$looked/${journal##*/}" 2>>"${log:-/dev/null}" || true
    rm -rf "$looked"
}

tables_known() { # RELEASE: the newest version that it can read
    "$releases/$1/bin/python" -I -c 'from monitor.journal.tables import MIGRATIONS
print(len(MIGRATIONS))' 2>>"${log:-/dev/null}" || true
}

reads_journal() { # RELEASE; where it cannot be told, yes: then the release itself will say
    [ -e "$journal" ] || return 0
    written=$(tables_written)
    known=$(tables_known "$1")
    [ -z "$written" ] || [ -z "$known" ] || [ "$written" -le "$known" ]
}

# The older release would record nothing.  So the newer journal is kept under another name and the
# one that the older release left, if there is one, goes on.
settle_journal() { # RELEASE; sets $aside if the journal was put there, and $why if it cannot be
    aside=
    ! reads_journal "$1" || return 0
    why="it cannot read the journal, and that cannot be put aside; is the card full?"
    fetch_journal "$releases/$1/state" || return 1
    count=1
    while [ -e "$journal.newer-$count" ]; do count=$((count + 1)); done
    move_journal "$journal" "$journal.newer-$count" || return 1
    aside=$journal.newer-$count
    move_journal "$journal.coming" "$journal" || return 1
    goes_on="the one as it left it goes on"
    [ -e "$journal" ] || goes_on="a new one begins"
    step "Release $1 cannot read today's journal: that is kept as $aside, and $goes_on"
}

fetch_journal() { # FOLDER: its journal, whole and on the card, beside the one that is there
    for tail in '' -wal; do
        rm -f "$journal.coming$tail" || return 1
        [ ! -e "$1/${journal##*/}$tail" ] ||
            cp -p "$1/${journal##*/}$tail" "$journal.coming$tail" || return 1
    done 2>>"$log"
    sync
}

move_journal() { # FROM TO: with what its database keeps beside it, the file itself last
    rm -f "$1-shm" || return 1
    for tail in -wal ''; do
        [ ! -e "$1$tail" ] || mv "$1$tail" "$2$tail" || return 1
    done
}
