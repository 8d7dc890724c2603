# shellcheck shell=sh
# From one release to another, and back again by itself if the other does not run.  Read by install.

# Called as a condition, where `set -e` is off: every step is checked by itself.
put_system_files() { # RELEASE: its units and rules, so that going back brings the old ones back
    from=$releases/$1/system
    put "$from/$watcher" "$unit_folder/$watcher" || return 1
    put "$from/$page" "$unit_folder/$page" || return 1
    for unit in $off_units; do # a release from before the button has none
        [ ! -e "$from/$unit" ] || put "$from/$unit" "$unit_folder/$unit" || return 1
    done
    for unit in "$watcher" "$page"; do
        put_back_off "$unit" || return 1
    done
    put "$from/howl-lantern.rules" "$udev_rules" || return 1
    "$releases/$1/bin/howl-lantern" settings --example >"$coming" 2>>"$log" || return 1
    place "$etc/settings.example.toml" || return 1
    mkdir -p "${command_link%/*}" || return 1
    ln -sfn /opt/howl-lantern/venv/bin/howl-lantern "$command_link" || return 1
    put_mdns "$from"
}

# An empty unit keeps the box silent after the next start.  So whenever the plug is pulled there is
# the old file or the new one: this is whole and on the card before it has its name.
coming=$home/coming

put() { # FILE TARGET
    install -m 644 "$1" "$coming" && place "$2"
}

place() { # TARGET: what is coming becomes that
    mkdir -p "${1%/*}" && chmod 644 "$coming" && sync "$coming" && mv -f "$coming" "$1"
}

put_back_off() { # UNIT: longer pauses where a fault stays, if this service manager knows how
    drop_in=$unit_folder/$1.d
    rm -rf "$drop_in" || return 1
    [ "$(manager_version)" -ge 254 ] || return 0
    put "$from/back-off.conf" "$drop_in/10-back-off.conf"
}

manager_version() { systemctl --version | sed -n '1s/^systemd \([0-9]*\).*/\1/p'; }

put_mdns() { # FOLDER
    if [ "$mdns" = no ]; then
        rm -f "$mdns_file"
        return 0
    fi
    port=$(setting page.port)
    sed "s:<port>[0-9]*</port>:<port>${port:-8080}</port>:" \
        "$1/howl-lantern.avahi.xml" >"$coming" || return 1
    place "$mdns_file"
}

stop_services() {
    has_manager || return 0
    for unit in "$page" "$watcher"; do
        systemctl stop "$unit" >>"$log" 2>&1 || true # the first time there is none
    done
}

start_services() {
    systemctl daemon-reload >>"$log" 2>&1 || true
    systemctl enable "$watcher" "$page" >>"$log" 2>&1 || return 1
    [ ! -e "$unit_folder/howl-lantern-off.path" ] ||
        systemctl enable howl-lantern-off.path >>"$log" 2>&1 || return 1
    has_manager || return 0
    [ ! -e "$unit_folder/howl-lantern-off.path" ] ||
        systemctl restart howl-lantern-off.path >>"$log" 2>&1 || true
    # A container has no device manager; there this fails and nothing is lost.
    {
        udevadm control --reload
        udevadm trigger --subsystem-match=gpio --subsystem-match=i2c-dev --subsystem-match=spidev
    } >>"$log" 2>&1 || true
    systemctl reset-failed "$watcher" "$page" >>"$log" 2>&1 || true
    systemctl restart --no-block "$watcher" "$page" >>"$log" 2>&1
}

unit_value() { systemctl show --property "$2" --value "$1"; } # UNIT PROPERTY

are_active() {
    for unit in "$watcher" "$page"; do
        [ "$(unit_value "$unit" ActiveState)" = active ] || return 1
    done
}

restarts() { say "$(unit_value "$watcher" NRestarts) $(unit_value "$page" NRestarts)"; }

# Runs, answers, and still does so a while later: a program may say "ready" and fall over then.
runs_well() { # sets $why
    has_manager || return 0
    left_s=$START_WITHIN_S
    until are_active; do
        [ "$left_s" -gt 0 ] || {
            why="it did not start within $START_WITHIN_S s"
            return 1
        }
        sleep 1
        left_s=$((left_s - 1))
    done
    counted=$(restarts)
    sleep "$STAYS_S"
    if ! are_active || [ "$(restarts)" != "$counted" ]; then
        why="it starts and falls over again"
        return 1
    fi
    page_answers || {
        why="the page does not answer"
        return 1
    }
}

page_answers() {
    host=$(setting page.host)
    case $host in 0.0.0.0 | '') host=127.0.0.1 ;; ::) host=::1 ;; esac
    "$home/venv/bin/python" -I -c 'import http.client, sys
page = http.client.HTTPConnection(sys.argv[1], int(sys.argv[2]), timeout=10)
page.request("GET", "/")
raise SystemExit(page.getresponse().status != 200)' "$host" "$(setting page.port)" >>"$log" 2>&1
}

# A release is proved once it has run here.  Between the switch and that moment the plug may be
# pulled: then the release in use is not proved, and the one before is still what to go back to.
prove() { # RELEASE; in an image nothing has run yet
    ! has_manager || touch "$releases/$1/.proved" || true
    sync # whoever reads that it runs may pull the plug
}
is_proved() { [ -e "$releases/$1/.proved" ]; } # RELEASE

find_way_back() { # RELEASE that comes: sets $in_use, $earlier, and $old to go back to
    in_use=$(release_of venv) || in_use=
    earlier=$(release_of previous) || earlier=
    old=$in_use
    if [ -z "$in_use" ] || [ "$earlier" = "$1" ] || is_proved "$in_use"; then return 0; fi
    # Its switch was cut off, or it came in an image or by an older install: has it run since?
    step "Looking whether release $in_use runs"
    if has_manager && runs_well; then
        prove "$in_use"
    elif [ -n "$earlier" ] && is_proved "$earlier"; then
        old=$earlier
    fi
}

activate() { # RELEASE; sets $why if it does not run
    settle_journal "$1" || return 1
    why="it cannot be put in place; is the card full?"
    point venv "$1" || return 1
    put_system_files "$1" || return 1
    why="the service manager refuses it"
    start_services || return 1
    runs_well
}

bring_up() { # sets $why if $new does not run; the way back is on the card before it is needed
    stop_services
    keep_state "$in_use" || return 1
    why="the way back cannot be written; is the card full?"
    [ -z "$old" ] || point previous "$old" || return 1
    activate "$new"
}

switch_to() { # RELEASE: and back if it does not run
    new=$1
    step "Starting release $new"
    find_way_back "$new"
    # From here on there is no leaving half-way: not when the terminal goes (it may have come over
    # the box's own Wi-Fi), and not by Ctrl-C.  It ends by itself, at the new release or the old.
    trap '' HUP INT TERM PIPE
    if bring_up; then
        prove "$new"
        return 0
    fi
    failed=$why
    ! has_manager || journalctl --no-pager -n 20 -u "$watcher" -u "$page" >>"$log" 2>&1 || true
    if [ -z "$old" ]; then
        fail "release $new is installed and does not run: $failed; see: journalctl -u howl-lantern"
    fi
    switch_back
}

switch_back() { # from $new to $old, because of $failed
    step "Release $new cannot be used ($failed): going back to $old"
    stop_services
    journal_words="with its journal"
    put_state_back || journal_words="but $why"
    activate "$old" ||
        fail "release $new cannot be used: $failed; nor does $old run now: $why." \
            "See: journalctl -u howl-lantern"
    prove "$old"
    if [ -z "$earlier" ]; then rm -f "$home/previous"; else point previous "$earlier"; fi
    [ "$new" = "$earlier" ] || drop "${releases:?}/$new"
    fail "release $new cannot be used: $failed; $old runs again, $journal_words. More: $log"
}
