# shellcheck shell=sh
# From one release to another, and back again by itself if the other does not run.  Read by install.

put_system_files() { # RELEASE: its units and rules, so that going back brings the old ones back
    from=$releases/$1/system
    mkdir -p "$unit_folder" "${udev_rules%/*}" "${command_link%/*}"
    install -m 644 "$from/$watcher" "$from/$page" "$unit_folder/"
    for unit in $off_units; do # a release from before the button has none
        [ ! -e "$from/$unit" ] || install -m 644 "$from/$unit" "$unit_folder/"
    done
    for unit in "$watcher" "$page"; do
        drop_in=$unit_folder/$unit.d
        rm -rf "$drop_in"
        if [ "$(manager_version)" -ge 254 ]; then
            mkdir -p "$drop_in"
            install -m 644 "$from/back-off.conf" "$drop_in/10-back-off.conf"
        fi
    done
    install -m 644 "$from/howl-lantern.rules" "$udev_rules"
    ln -sfn /opt/howl-lantern/venv/bin/howl-lantern "$command_link"
    put_mdns "$from"
}

manager_version() { systemctl --version | sed -n '1s/^systemd \([0-9]*\).*/\1/p'; }

put_mdns() { # FOLDER
    if [ "$mdns" = no ]; then
        rm -f "$mdns_file"
        return 0
    fi
    mkdir -p "${mdns_file%/*}"
    port=$(setting page.port)
    sed "s:<port>[0-9]*</port>:<port>${port:-8080}</port>:" \
        "$1/howl-lantern.avahi.xml" >"$mdns_file"
    chmod 644 "$mdns_file"
}

setting() { # TABLE.KEY of the settings in force, as plain text
    set -- "${1%.*}" "${1#*.}"
    "$home/venv/bin/python" -I -c 'import sys
from monitor import settings
loaded = settings.load(sys.argv[3] or None, []).settings
print(getattr(getattr(loaded, sys.argv[1]), sys.argv[2]))' \
        "$1" "$2" "$([ -f "$etc/settings.toml" ] && say "$etc/settings.toml")" 2>>"$log" || true
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

# What a newer release makes of the journal the older may not read; so each switch keeps a copy.
keep_state() { # RELEASE: the one that wrote it
    [ -d "$state" ] || return 0
    rm -rf "$releases/$1/state"
    cp -a "$state" "$releases/$1/state"
}

put_state_back() { # RELEASE
    [ -d "$releases/$1/state" ] || return 0
    find "$state" -mindepth 1 -delete
    cp -a "$releases/$1/state/." "$state/"
}

activate() { # RELEASE
    stop_services
    [ -z "$2" ] || keep_state "$2"
    point venv "$1"
    put_system_files "$1"
    start_services && runs_well
}

switch_to() { # RELEASE: and back if it does not run
    new=$1
    old=$(release_of venv) || old=
    why="the service manager refuses it"
    step "Starting release $new"
    if activate "$new" "$old"; then
        [ -z "$old" ] || point previous "$old"
        return 0
    fi
    has_manager && journalctl --no-pager -n 20 -u "$watcher" -u "$page" >>"$log" 2>&1
    if [ -z "$old" ]; then
        fail "release $new is installed and does not run: $why; see: journalctl -u howl-lantern"
    fi
    failed=$why
    step "Release $new does not run ($failed): going back to $old"
    stop_services
    put_state_back "$old"
    if activate "$old" ""; then
        [ "$new" = "$(release_of previous)" ] || rm -rf "${releases:?}/$new"
        fail "release $new does not run: $failed; $old runs again, with its journal. More: $log"
    fi
    fail "release $new does not run: $failed; nor does $old now: $why." \
        "See: journalctl -u howl-lantern"
}
