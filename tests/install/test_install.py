"""Install, upgrade, back and removal, on a box of stand-ins; in_a_root does it for real."""

from __future__ import annotations

import fcntl
import re
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.journal.tables import MIGRATIONS
from tests.install.bench_box import ROOT, TOOLS, Box

SETTINGS = "etc/howl-lantern/settings.toml"
JOURNAL = "var/lib/howl-lantern/journal.sqlite3"
UNITS = "usr/local/lib/systemd/system"


@pytest.fixture
def box(tmp_path: Path) -> Box:
    return Box(tmp_path)


@pytest.fixture(scope="module")
def first_installed(tmp_path_factory: pytest.TempPathFactory) -> Box:
    box = Box(tmp_path_factory.mktemp("installed"))
    run = box.install("1.0.0")
    assert run.returncode == 0, run.stdout + run.stderr
    journal = box.root / JOURNAL
    journal.parent.mkdir(parents=True)
    journal.write_text("rings")
    box.calls()
    return box


@pytest.fixture
def installed(first_installed: Box, tmp_path: Path) -> Box:
    """A box of the test's own with 1.0.0 and a journal; nothing in it tells where it stands."""
    return Box(tmp_path, like=first_installed)


def one_line(run_stderr: str) -> str:
    """The message, which must be one line."""
    assert run_stderr.count("\n") == 1, run_stderr
    return run_stderr.strip()


# --- install ------------------------------------------------------------------------------------


def test_installs_and_starts(box: Box) -> None:
    run = box.install("1.0.0")
    assert run.returncode == 0, run.stdout + run.stderr
    assert box.in_use == "1.0.0-1"
    here = box.root
    assert (here / UNITS / "howl-lantern.service").is_file()
    assert (here / UNITS / "howl-lantern-page.service").is_file()
    assert (here / "etc/howl-lantern/settings.example.toml").read_text() == "# all defaults\n"
    assert "<port>8080</port>" in (here / "etc/avahi/services/howl-lantern.service").read_text()
    asked = box.calls()
    enabled = asked.index("systemctl enable howl-lantern.service howl-lantern-page.service")
    restarted = next(i for i, line in enumerate(asked) if line.startswith("systemctl restart"))
    assert enabled < restarted
    assert any(line.startswith("systemd-sysusers ") for line in asked)
    assert not any(line.startswith("apt-get") for line in asked)  # all was there


def test_from_a_debian_package_no_other_package_is_touched(box: Box) -> None:
    wheels = box.tree("1.0.0") / "wheels"
    wheels.mkdir()
    before = box.calls()
    run = box.install("1.0.0", "--packaged")
    assert run.returncode == 0, run.stdout + run.stderr
    assert box.in_use == "1.0.0-1"
    asked = [line for line in box.calls() if line not in before]
    assert not any(line.startswith(("apt-get", "dpkg-query")) for line in asked)
    assert "system packages" not in run.stdout


def test_dry_run_changes_nothing(box: Box) -> None:
    before = box.files()
    box.answer(i2c="1")
    run = box.install("1.0.0", "--dry-run")
    assert run.returncode == 0
    assert "I2C" in run.stdout
    assert box.files() == before
    assert not any("do_i2c" in line or "enable" in line for line in box.calls())


def test_i2c_is_said_before_it_is_switched(box: Box) -> None:
    box.answer(i2c="1")
    run = box.install("1.0.0")
    assert (box.fake / "i2c").read_text() == "0\n"  # raspi-config: 0 is on
    said = run.stdout
    assert said.index("switch the Pi's I2C bus on") < said.index("I2C: switching the bus on")
    box.run(box.tree("1.0.0") / "systemd/remove")
    assert (box.fake / "i2c").read_text() == "1\n"


def test_i2c_that_was_on_stays_on(installed: Box) -> None:
    installed.run(installed.tree("1.0.0") / "systemd/remove")
    assert (installed.fake / "i2c").read_text() == "0\n"


def test_no_i2c_leaves_the_bus_alone(box: Box) -> None:
    box.answer(i2c="1")
    assert box.install("1.0.0", "--no-i2c").returncode == 0
    assert not any("do_i2c" in line for line in box.calls())


@pytest.mark.parametrize(
    ("debian", "builds"), [("0.8.4-1", True), ("0.10.0-0.1+b5", True), ("0.11.0-1", False)]
)
def test_debians_microphone_library_only_where_it_can_capture(
    box: Box, debian: str, builds: bool
) -> None:
    # 0.8.4 is Debian 12's; its read() fails under Python 3.11 (tried on Debian 12).  0.10.0 is
    # Debian 13's; its read() hides overruns, and miscounts where a card has fewer significant bits
    # than it stores (the library's list of changes, 0.11.0).
    box.answer(alsaaudio=debian)
    assert box.install("1.0.0").returncode == 0
    assert any("pip wheel" in line and "pyalsaaudio" in line for line in box.calls()) is builds


@pytest.mark.parametrize("word", ["--packaged", "--offline"])
def test_a_wheel_of_the_microphone_s_library_comes_before_debian_s(box: Box, word: str) -> None:
    """Debian's is new enough, but not there; and there is no network that would bring it."""
    abi = f"cp{sys.version_info[0]}{sys.version_info[1]}"
    wheels = box.tree("1.0.0") / "wheels"
    wheels.mkdir()
    (wheels / f"pyalsaaudio-0.11.0-{abi}-{abi}-linux_aarch64.whl").write_text("")
    box.answer(alsaaudio="0.11.0-1", missing="python3-alsaaudio")
    run = box.install("1.0.0", word)
    assert run.returncode == 0, run.stderr
    asked = box.calls()
    assert any("pip install" in line and line.endswith(" pyalsaaudio") for line in asked)
    assert not any(line.startswith("apt-get") for line in asked)


def test_the_program_is_that_of_this_folder_whatever_another_has(box: Box, tmp_path: Path) -> None:
    """A wheel of the same version may be of an older commit; an archive's own was made with it."""
    wheel = "howl_lantern-1.0.0-py3-none-any.whl"
    older, tree = tmp_path / "older", box.tree("1.0.0")
    older.mkdir()
    (older / wheel).write_text("")
    assert box.install("1.0.0", "--wheels", str(older)).returncode == 0
    assert not any(line.endswith(wheel) for line in box.calls())
    (tree / "wheels").mkdir()
    (tree / "wheels" / wheel).write_text("")
    assert box.install("1.0.0", "--wheels", str(older)).returncode == 0
    assert any(line.endswith(f" {tree}/wheels/{wheel}") for line in box.calls())


def test_from_a_debian_package_only_what_is_installed_counts(box: Box) -> None:
    (box.tree("1.0.0") / "wheels").mkdir()
    box.answer(alsaaudio="0.11.0-1", missing="python3-alsaaudio")
    assert box.install("1.0.0", "--packaged").returncode == 0
    assert any(line.endswith(" pyalsaaudio") for line in box.calls())


def test_a_package_that_apt_only_knows_by_name_is_none(box: Box) -> None:
    box.answer(alsaaudio="(none)")
    assert box.install("1.0.0").returncode == 0
    assert any("pip wheel" in line and "pyalsaaudio" in line for line in box.calls())


def test_a_new_system_s_lists_are_fetched_before_it_is_asked_what_it_has(box: Box) -> None:
    """Without lists apt knows only of what is installed, and the pins' library seems not to be."""
    box.answer(missing="avahi-daemon\npython3-lgpio")
    shows = '[ "$1" != show ] || { [ -e "$FAKE/lists" ] && exit 0 || exit 100; }'
    box.interpose("apt-cache", f"{shows}\n{TOOLS['apt-cache']}; exit")
    box.interpose("apt-get", 'echo "apt-get $*" >>"$FAKE/calls.txt"; : >"$FAKE/lists"; exit')
    assert box.install("1.0.0").returncode == 0
    got = next(line for line in box.calls() if line.startswith("apt-get install"))
    assert {"avahi-daemon", "python3-lgpio"} <= set(got.split())


def cut_off_packages(box: Box, end: str) -> None:
    """A first try that brings one of two packages, and ends."""
    whole = (box.fake / "bin/apt-get").read_text()
    box.answer(missing="avahi-daemon")
    brings = 'case "$*" in *install*) echo libdaemon0 >>"$FAKE/packages"'
    (box.fake / "bin/apt-get").write_text(f"{whole}{brings}; {end};; esac\n")
    assert box.install("1.0.0").returncode in (1, -9)
    assert not box.in_use
    box.calls()
    brings = 'case "$*" in *install*) echo zavahi-daemon >>"$FAKE/packages";; esac'
    (box.fake / "bin/apt-get").write_text(f"{whole}{brings}\n")


@pytest.mark.parametrize("end", ["exit 100", "kill -s KILL $PPID"])
@pytest.mark.parametrize("again", [True, False])
def test_packages_of_a_try_that_was_cut_off_are_removed_too(
    box: Box, end: str, again: bool
) -> None:
    cut_off_packages(box, end)
    if again:
        assert box.install("1.0.0").returncode == 0
    run = box.run(box.tree("1.0.0") / "systemd/remove", "--packages")
    assert run.returncode == 0, run.stderr
    purged = next(line for line in box.calls() if line.startswith("apt-get purge"))
    assert set(purged.split()[4:]) == {"libdaemon0", *(["zavahi-daemon"] if again else [])}


@pytest.mark.parametrize(("manager", "there"), [("252", False), ("254", True), ("257", True)])
def test_back_off_only_where_it_is_understood(box: Box, manager: str, there: bool) -> None:
    # RestartSteps= came with systemd 254 (systemd.service(5)).
    box.answer(manager=manager)
    assert box.install("1.0.0").returncode == 0
    drop_in = box.root / UNITS / "howl-lantern.service.d/10-back-off.conf"
    assert drop_in.exists() is there


# --- upgrade ------------------------------------------------------------------------------------


def test_upgrade_keeps_settings_and_journal(installed: Box) -> None:
    (installed.root / SETTINGS).write_text("mine")
    assert installed.install("1.1.0").returncode == 0
    assert installed.in_use == "1.1.0-1"
    assert (installed.root / SETTINGS).read_text() == "mine"
    assert (installed.root / JOURNAL).read_text() == "rings"


def test_the_same_version_again_is_another_release(installed: Box) -> None:
    assert installed.install("1.0.0").returncode == 0
    assert installed.in_use == "1.0.0-2"


def test_two_releases_are_kept(installed: Box) -> None:
    for version in ("1.1.0", "1.2.0", "1.3.0"):
        assert installed.install(version).returncode == 0
    assert installed.releases() == {"1.2.0-1", "1.3.0-1"}


def test_units_go_with_their_release(installed: Box) -> None:
    newer = installed.tree("1.1.0") / "systemd"
    unit = newer / "howl-lantern.service"
    unit.write_text(unit.read_text() + "# newer\n")
    in_force = installed.root / UNITS / "howl-lantern.service"
    assert installed.install("1.1.0").returncode == 0
    assert in_force.read_text().endswith("# newer\n")
    assert installed.run(newer / "install", "--back").returncode == 0
    assert not in_force.read_text().endswith("# newer\n")


def test_the_example_of_the_settings_goes_with_its_release(installed: Box) -> None:
    example = installed.root / "etc/howl-lantern/settings.example.toml"
    assert installed.install("1.1.0").returncode == 0
    older = installed.root / "opt/howl-lantern/releases/1.0.0-1/bin/howl-lantern"
    older.write_text('#!/bin/sh\necho "# what 1.0.0 knows"\n')
    script = installed.root / "opt/howl-lantern/venv/system/install"
    assert installed.run(script, "--back").returncode == 0
    assert example.read_text() == "# what 1.0.0 knows\n"


@pytest.mark.parametrize(
    ("how", "why"), [("broken", "did not start"), ("falls", "falls over again")]
)
def test_a_release_that_does_not_run_is_left(installed: Box, how: str, why: str) -> None:
    installed.answer(**{how: "1.1.0-1"})
    run = installed.install("1.1.0")
    assert run.returncode == 1
    line = one_line(run.stderr)
    assert why in line
    assert "1.0.0-1 runs again" in line
    assert installed.in_use == "1.0.0-1"
    assert installed.releases() == {"1.0.0-1"}
    assert (installed.root / JOURNAL).read_text() == "rings"


def test_what_a_bad_release_did_to_the_journal_is_undone(installed: Box) -> None:
    installed.answer(broken="1.1.0-1")
    systemctl = installed.fake / "bin/systemctl"
    spoil = (
        f"""case "$running $*" in "1.1.0-1 restart"*) echo spoilt >"$DESTDIR/{JOURNAL}";; esac"""
    )
    systemctl.write_text(systemctl.read_text() + spoil + "\n")
    assert installed.install("1.1.0").returncode == 1
    assert (installed.root / JOURNAL).read_text() == "rings"


@pytest.mark.parametrize(
    ("fault", "said"),
    [("pip_fails", "ERROR: no such package"), ("refused", "lamp.gpio_pin is 99")],
)
def test_what_cannot_be_made_leaves_the_running_one_alone(
    installed: Box, fault: str, said: str
) -> None:
    installed.answer(**{fault: ""})
    run = installed.install("1.1.0")
    assert run.returncode == 1
    assert said in one_line(run.stderr)
    assert installed.in_use == "1.0.0-1"
    assert installed.releases() == {"1.0.0-1"}
    assert not any(c.startswith(("systemctl stop", "systemctl restart")) for c in installed.calls())


@pytest.fixture
def half_made(installed: Box) -> Path:
    """What is left of a release whose plug was pulled while its packages were installed."""
    python = installed.fake / "bin/venv-python"
    whole = python.read_text()
    python.write_text(f'{whole}\ncase "$*" in *"pip install"*) kill -s KILL $PPID;; esac\n')
    assert installed.install("1.1.0").returncode == -9
    python.write_text(whole)
    assert installed.releases() == {"1.0.0-1", "1.1.0-1"}
    return installed.root / "opt/howl-lantern/releases/1.1.0-1"


def test_what_a_pulled_plug_left_half_made_goes_before_the_next_try(
    installed: Box, half_made: Path
) -> None:
    (half_made / "left").write_text("")
    # Its room is free before packages are fetched.
    apt = installed.fake / "bin/apt-get"
    apt.write_text(f'#!/bin/sh\ntouch "$FAKE/asked"\n[ ! -e "{half_made}" ] || exit 100\n')
    installed.answer(pip_fails="", missing="python3-venv")
    assert "ERROR: no such package" in installed.install("1.2.0").stderr
    assert (installed.fake / "asked").exists()
    assert installed.releases() == {"1.0.0-1"}
    (installed.fake / "pip-fails").unlink()
    assert installed.install("1.1.0").returncode == 0
    assert installed.in_use == "1.1.0-1"
    assert not (half_made / "left").exists()


def test_what_is_half_made_is_room(installed: Box, half_made: Path) -> None:
    installed.interpose("df", 'echo head; echo "disk 9999 9399 600 94% /"; exit')
    (half_made / "packages").write_bytes(bytes(12 << 20))
    assert installed.install("1.1.0", "--dry-run").returncode == 0
    assert half_made.exists()
    (half_made / ".complete").touch()
    assert "only 600 MB are free" in installed.install("1.1.0", "--dry-run").stderr


# --- what goes wrong in the middle of a switch ---------------------------------------------------

# A copy of the journal that stops half-way, as on a full card: the folder is made, not its files.
FULL_CARD = """case "$*" in
*-a*"{source} "*) for last; do :; done; mkdir -p "$last"; echo "cp: no space left" >&2; exit 1;;
esac"""


def services_started(box: Box) -> bool:
    """Whether the last word to the service manager about the services was to start them."""
    words = [c.split()[1] for c in box.calls() if c.startswith(("systemctl stop", "systemctl re"))]
    return bool(words) and words[-1] == "restart"


@pytest.mark.parametrize("runs", [True, False])
def test_a_journal_that_cannot_be_copied_stops_the_switch(installed: Box, runs: bool) -> None:
    installed.interpose("cp", FULL_CARD.format(source="var/lib/howl-lantern"))
    if not runs:
        installed.answer(broken="1.1.0-1")
    run = installed.install("1.1.0")
    assert run.returncode == 1
    line = one_line(run.stderr)
    assert "journal cannot be copied" in line
    assert "1.0.0-1 runs again" in line
    assert installed.in_use == "1.0.0-1"
    assert (installed.root / JOURNAL).read_text() == "rings"
    assert services_started(installed)


def test_a_plug_pulled_while_the_journal_is_put_back_leaves_a_whole_one(installed: Box) -> None:
    """Else the service manager makes an empty folder in its place, and an empty journal in that."""
    installed.answer(broken="1.1.0-1")
    pulled = 'case "$*" in *var/lib/howl-lantern.new*) kill -s KILL $PPID; exit;; esac'
    installed.interpose("mv", pulled)
    assert installed.install("1.1.0").returncode != 0
    assert (installed.root / JOURNAL).read_text() == "rings"


def test_a_journal_that_cannot_be_put_back_is_not_deleted(installed: Box) -> None:
    installed.answer(broken="1.1.0-1")
    installed.interpose("cp", FULL_CARD.format(source="releases/1.0.0-1/state"))
    run = installed.install("1.1.0")
    assert run.returncode == 1
    line = one_line(run.stderr)
    assert "1.0.0-1 runs again, but the journal is as 1.1.0-1 left it" in line
    assert (installed.root / JOURNAL).read_text() == "rings"
    copy = installed.root / "opt/howl-lantern/releases/1.0.0-1/state/journal.sqlite3"
    assert copy.read_text() == "rings"


def test_an_older_copy_of_the_journal_is_never_put_back(installed: Box) -> None:
    # 1.0.0-1 keeps a copy when it is left; later that copy is old.
    assert installed.install("1.1.0").returncode == 0
    script = installed.root / "opt/howl-lantern/venv/system/install"
    assert installed.run(script, "--back").returncode == 0
    (installed.root / JOURNAL).write_text("more rings")
    installed.interpose("cp", FULL_CARD.format(source="var/lib/howl-lantern"))
    assert installed.install("1.2.0").returncode == 1
    assert (installed.root / JOURNAL).read_text() == "more rings"


def test_units_that_cannot_be_put_in_place_stop_the_switch(installed: Box) -> None:
    installed.interpose(
        "install", 'case "$*" in *releases/1.1.0-1/*) echo "no space left" >&2; exit 1;; esac'
    )
    run = installed.install("1.1.0")
    assert run.returncode == 1
    assert "cannot be put in place" in run.stderr
    assert "1.0.0-1 runs again" in run.stderr
    assert installed.in_use == "1.0.0-1"


PLUG_PULLED = """for last; do :; done
[ ! -d "$last" ] || last=$last/howl-lantern.service
case "$*" in *releases/1.1.0-1/*/howl-lantern.service*)
    : >"$last"; kill -s KILL $PPID; exit;;
esac"""
"""While the watcher's unit is written: its new file is there, and none of its content on the card
(delayed allocation: the kernel's documentation of ext4, ``auto_da_alloc``)."""


def test_a_plug_pulled_in_the_switch_leaves_no_empty_unit(installed: Box) -> None:
    """An empty unit is a masked one (systemd.unit(5)): the box would stay silent for good."""
    in_force = installed.root / UNITS / "howl-lantern.service"
    before = in_force.read_text()
    installed.interpose("install", PLUG_PULLED)
    assert installed.install("1.1.0").returncode == -9
    assert in_force.read_text() == before
    (installed.fake / "bin/install").unlink()
    assert installed.install("1.1.0").returncode == 0


def test_what_is_said_to_run_is_on_the_card(installed: Box) -> None:
    for tool in ("sync", "mv"):
        installed.interpose(tool, f'echo "{tool} $*" >>"$FAKE/calls.txt"')
    assert installed.install("1.1.0").returncode == 0
    asked = installed.calls()
    unit = f"{installed.root / UNITS}/howl-lantern.service"
    placed = next(i for i, call in enumerate(asked) if call.endswith(f"coming {unit}"))
    assert asked[placed - 1].startswith("sync ")  # its content, before it has its name
    started = next(i for i, call in enumerate(asked) if call.startswith("systemctl restart"))
    assert "sync " in asked[started:]


def test_the_journal_counts_for_the_room_that_is_needed(installed: Box) -> None:
    free = 'echo head; echo "disk 9999 9399 600 94% /"; exit'
    installed.interpose("df", free)
    (installed.root / JOURNAL).write_bytes(bytes(3 << 20))
    run = installed.install("1.1.0")
    assert run.returncode == 1
    # It is kept once, and put back beside itself.
    wanted = re.search(r"only 600 MB are free for .*; wanted (\d+)\.", one_line(run.stderr))
    assert wanted is not None
    assert int(wanted[1]) >= 606
    assert not any(call.startswith("systemctl stop") for call in installed.calls())


@pytest.mark.parametrize("signal", ["HUP", "INT", "TERM"])
@pytest.mark.parametrize("runs", [True, False])
def test_a_signal_in_the_switch_does_not_leave_it_half_way(
    installed: Box, signal: str, runs: bool
) -> None:
    sent = f'case "$*" in *-a*var/lib*) kill -s {signal} 0;; esac'
    installed.interpose("cp", sent)
    if not runs:
        installed.answer(broken="1.1.0-1")
    run = installed.install("1.1.0")
    assert run.returncode == (0 if runs else 1), run.stderr
    assert installed.in_use == ("1.1.0-1" if runs else "1.0.0-1")
    assert (installed.root / JOURNAL).read_text() == "rings"
    assert services_started(installed)


def test_a_terminal_that_goes_away_does_not_leave_it_half_way(installed: Box) -> None:
    """A shell over the box's own Wi-Fi ends with the network: nobody takes the words any more."""
    installed.answer(broken="1.1.0-1")
    with subprocess.Popen(
        ["sh", str(installed.tree("1.1.0") / "systemd/install")],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=installed.surroundings(),
    ) as run:
        assert run.stdout is not None
        assert run.stderr is not None
        assert any("Starting release" in line for line in iter(run.stdout.readline, ""))
        run.stdout.close()
        run.stderr.close()
        assert run.wait(timeout=60) == 1
    assert installed.in_use == "1.0.0-1"
    assert services_started(installed)


@pytest.fixture(params=["by this install", "by an older one"])
def interrupted(installed: Box, request: pytest.FixtureRequest) -> Box:
    """A box whose plug was pulled while it waited for a release that does not run."""
    if request.param == "by an older one":  # which left no mark that the first release has run
        (installed.root / "opt/howl-lantern/releases/1.0.0-1/.proved").unlink()
    installed.answer(broken="1.1.0-1")
    systemctl = installed.fake / "bin/systemctl"
    whole = systemctl.read_text()
    pulled = 'case "$running $*" in "1.1.0-1 restart --no-block"*) kill -s KILL $PPID;; esac'
    systemctl.write_text(f"{whole}{pulled}\n")
    assert installed.install("1.1.0").returncode == -9
    systemctl.write_text(whole)
    assert installed.in_use == "1.1.0-1"
    installed.calls()
    return installed


def test_after_a_pulled_plug_there_is_a_way_back(interrupted: Box) -> None:
    script = interrupted.root / "opt/howl-lantern/venv/system/install"
    listed = interrupted.run(script, "--list").stdout
    assert "1.1.0-1  not yet seen to run" in listed
    run = interrupted.run(script, "--back")
    assert run.returncode == 0, run.stderr
    assert interrupted.in_use == "1.0.0-1"
    assert (interrupted.root / JOURNAL).read_text() == "rings"


def test_after_a_pulled_plug_the_proved_release_is_kept(interrupted: Box) -> None:
    assert interrupted.install("1.2.0").returncode == 0
    assert interrupted.in_use == "1.2.0-1"
    assert interrupted.releases() == {"1.0.0-1", "1.2.0-1"}
    script = interrupted.root / "opt/howl-lantern/venv/system/install"
    assert interrupted.run(script, "--back").returncode == 0
    assert interrupted.in_use == "1.0.0-1"


def test_after_a_pulled_plug_a_second_bad_release_leads_back_to_the_proved(
    interrupted: Box,
) -> None:
    interrupted.answer(broken="1.1.0-1\n1.2.0-1")
    run = interrupted.install("1.2.0")
    assert run.returncode == 1
    assert "1.0.0-1 runs again" in one_line(run.stderr)
    assert interrupted.in_use == "1.0.0-1"


def test_a_release_that_has_run_since_the_plug_was_pulled_is_the_one_before(
    interrupted: Box,
) -> None:
    (interrupted.fake / "broken").unlink()
    assert interrupted.install("1.2.0").returncode == 0
    assert interrupted.releases() == {"1.1.0-1", "1.2.0-1"}


def test_a_failed_upgrade_leaves_the_way_back_as_it_was(installed: Box) -> None:
    assert installed.install("1.1.0").returncode == 0
    installed.answer(broken="1.2.0-1")
    assert installed.install("1.2.0").returncode == 1
    script = installed.root / "opt/howl-lantern/venv/system/install"
    assert installed.run(script, "--back").returncode == 0
    assert installed.in_use == "1.0.0-1"


# --- back ---------------------------------------------------------------------------------------


def test_back_and_forth(installed: Box) -> None:
    assert installed.install("1.1.0").returncode == 0
    script = installed.root / "opt/howl-lantern/venv/system/install"
    assert installed.run(script, "--back").returncode == 0
    assert installed.in_use == "1.0.0-1"
    assert installed.run(script, "--back").returncode == 0
    assert installed.in_use == "1.1.0-1"


def test_back_to_one_that_does_not_run_stays(installed: Box) -> None:
    assert installed.install("1.1.0").returncode == 0
    installed.answer(broken="1.0.0-1")
    run = installed.run(installed.tree("1.1.0") / "systemd/install", "--back")
    assert run.returncode == 1
    assert "1.1.0-1 runs again" in one_line(run.stderr)
    assert installed.in_use == "1.1.0-1"
    assert installed.releases() == {"1.0.0-1", "1.1.0-1"}


def test_no_way_back_to_one_that_refuses_the_settings(installed: Box) -> None:
    assert installed.install("1.1.0").returncode == 0
    installed.calls()
    installed.answer(refused="")
    run = installed.run(installed.tree("1.1.0") / "systemd/install", "--back")
    assert run.returncode == 1
    assert "lamp.gpio_pin is 99" in one_line(run.stderr)
    assert installed.in_use == "1.1.0-1"
    assert not any(call.startswith("systemctl stop") for call in installed.calls())


def test_nobody_but_root_is_told_what_going_back_would_do(installed: Box) -> None:
    """Who may read neither settings nor journal would be told that the older release refuses."""
    assert installed.install("1.1.0").returncode == 0
    installed.answer(refused="")
    (installed.fake / "bin/id").write_text('#!/bin/sh\n[ "$1" = -un ] && echo alex || echo 1000\n')
    for words in (["--back"], ["--back", "--dry-run"]):
        run = installed.run(installed.tree("1.1.0") / "systemd/install", *words)
        assert run.returncode == 1
        line = one_line(run.stderr)
        assert "started by alex; type: sudo" in line
        assert line.endswith(f"/install {' '.join(words)}")


def test_no_way_back_from_the_first(installed: Box) -> None:
    run = installed.run(installed.tree("1.0.0") / "systemd/install", "--back")
    assert run.returncode == 1
    assert "none before it" in one_line(run.stderr)
    assert installed.in_use == "1.0.0-1"


def write_journal(path: Path, tables: int, row: str, *, open_at_the_end: bool = False) -> None:
    """A journal with that version of its tables; one that was not closed has its newest beside it.

    SQLite's user_version and its write-ahead log, as the journal uses them.
    """
    path.unlink(missing_ok=True)
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("CREATE TABLE rings (words TEXT)")
    connection.execute("INSERT INTO rings VALUES (?)", (row,))
    connection.execute(f"PRAGMA user_version = {tables}")
    if open_at_the_end:
        whole = {tail: Path(f"{path}{tail}").read_bytes() for tail in ("", "-wal")}
        connection.close()
        for tail, content in whole.items():
            Path(f"{path}{tail}").write_bytes(content)
    connection.close()


def rows(path: Path) -> list[str]:
    connection = sqlite3.connect(path)
    found = [words for (words,) in connection.execute("SELECT words FROM rings")]
    connection.close()
    return found


@pytest.mark.parametrize("pulled", [True, False])
def test_a_journal_the_older_cannot_read_is_put_aside(installed: Box, pulled: bool) -> None:
    journal = installed.root / JOURNAL
    installed.answer(**{"tables_of_1.0.0_1": "3", "tables_of_1.1.0_1": "4"})
    write_journal(journal, 3, "before")
    assert installed.install("1.1.0").returncode == 0
    write_journal(journal, 4, "since", open_at_the_end=pulled)
    script = installed.root / "opt/howl-lantern/venv/system/install"
    asked = installed.run(script, "--back", "--dry-run")
    assert "1.0.0-1 cannot read today's journal: it would be put aside" in asked.stdout
    run = installed.run(script, "--back")
    assert run.returncode == 0, run.stderr
    assert rows(journal) == ["before"]
    aside = Path(f"{journal}.newer-1")
    assert "1.0.0-1 cannot read today's journal" in run.stdout
    assert f"kept as {aside}, and the one as it left it goes on" in run.stdout
    assert rows(aside) == ["since"]
    # Two more upgrades take the releases away, and not what was put aside.
    for version in ("1.2.0", "1.3.0"):
        assert installed.install(version).returncode == 0
    assert rows(aside) == ["since"]


def test_an_older_checkout_puts_a_newer_journal_aside_and_says_so(installed: Box) -> None:
    journal = installed.root / JOURNAL
    installed.answer(**{"tables_of_1.0.0_1": "4", "tables_of_0.9.0_1": "3"})
    write_journal(journal, 4, "since")
    run = installed.install("0.9.0")
    assert run.returncode == 0, run.stderr
    aside = Path(f"{journal}.newer-1")
    assert f"kept as {aside}, and a new one begins" in run.stdout
    assert rows(aside) == ["since"]
    assert not journal.exists()


def test_a_journal_the_older_can_read_goes_on(installed: Box) -> None:
    journal = installed.root / JOURNAL
    installed.answer(**{"tables_of_1.0.0_1": "4", "tables_of_1.1.0_1": "4"})
    assert installed.install("1.1.0").returncode == 0
    write_journal(journal, 4, "since")
    run = installed.run(installed.tree("1.1.0") / "systemd/install", "--back")
    assert run.returncode == 0, run.stderr
    assert rows(journal) == ["since"]
    copy = installed.root / "opt/howl-lantern/releases/1.1.0-1/state"
    assert f"a copy as 1.1.0-1 left it is in {copy}." in run.stdout
    assert rows(copy / "journal.sqlite3") == ["since"]


def test_a_journal_put_aside_comes_back_if_the_older_does_not_run(installed: Box) -> None:
    journal = installed.root / JOURNAL
    installed.answer(**{"tables_of_1.0.0_1": "3", "tables_of_1.1.0_1": "4"})
    write_journal(journal, 3, "before")
    assert installed.install("1.1.0").returncode == 0
    write_journal(journal, 4, "since")
    installed.answer(broken="1.0.0-1")
    run = installed.run(installed.tree("1.1.0") / "systemd/install", "--back")
    assert run.returncode == 1
    assert "1.1.0-1 runs again, with its journal" in one_line(run.stderr)
    assert rows(journal) == ["since"]


def test_the_releases_say_which_tables_they_know() -> None:
    """What the scripts ask a release for is there: a name that moves must move there too."""
    asked = re.search(
        r"-c '(from monitor[^']*)'", (ROOT / "systemd/state.sh").read_text(), re.MULTILINE
    )
    assert asked is not None
    answer = subprocess.run(
        [sys.executable, "-c", asked[1]], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout
    assert int(answer) == len(MIGRATIONS)


# --- words --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--bcak"], "--bcak means nothing here"),
        (["--wheels"], "--wheels needs a folder"),
        (["--wheels", "/nowhere"], "/nowhere: no such folder"),
        (["--offline"], "--offline without a folder"),
    ],
)
def test_wrong_words(box: Box, words: list[str], said: str) -> None:
    before = box.files()
    run = box.install("1.0.0", *words)
    assert run.returncode == 2
    assert said in one_line(run.stderr)
    assert box.files() == before


def test_two_at_once_are_refused(installed: Box) -> None:
    with (installed.root / "opt/howl-lantern/lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        run = installed.install("1.1.0")
    assert run.returncode == 1
    assert "another install or remove" in one_line(run.stderr)
    assert installed.in_use == "1.0.0-1"


# --- remove -------------------------------------------------------------------------------------


def test_removal_leaves_nothing(box: Box) -> None:
    (box.root / "opt").mkdir()
    before = {name for name in box.files() if (box.root / name).is_file()}
    assert box.install("1.0.0").returncode == 0
    assert {name for name in box.files() if (box.root / name).is_file()} > before
    run = box.run(box.tree("1.0.0") / "systemd/remove", "--keep-nothing")
    assert run.returncode == 0, run.stderr
    after = {name for name in box.files() if not (box.root / name).is_dir()}
    assert after == before
    assert not (box.root / "opt/howl-lantern").exists()
    asked = box.calls()
    # getent knows no users here, so only the groups that install had added go.
    assert {"groupdel gpio", "groupdel i2c", "groupdel spi"} <= set(asked)


@pytest.mark.parametrize(
    ("words", "settings", "journal"),
    [
        ([], True, True),  # nobody can be asked here
        (["--keep-settings"], True, True),
        (["--keep-journal"], True, True),
        (["--keep-settings", "--keep-journal"], True, True),
        (["--keep-nothing"], False, False),
    ],
)
def test_removal_keeps_what_it_is_told_to(
    installed: Box, words: list[str], settings: bool, journal: bool
) -> None:
    run = installed.run(installed.tree("1.0.0") / "systemd/remove", *words)
    assert run.returncode == 0, run.stderr
    assert (installed.root / SETTINGS).exists() is settings
    assert (installed.root / JOURNAL).exists() is journal
    assert not (installed.root / "opt/howl-lantern").exists()
    for folder, kept in (("etc/howl-lantern", settings), ("var/lib/howl-lantern", journal)):
        said = "kept" if kept else "deleted"
        assert f"  {said}: {installed.root / folder}\n" in run.stdout


@pytest.mark.parametrize(
    ("words", "typed", "settings", "journal"),
    [
        (["--keep-settings"], "n\n", True, False),
        (["--keep-journal"], "n\n", False, True),
        (["--keep-settings"], "\n", True, True),
        ([], "n\n\n", False, True),
        ([], "\nn\n", True, False),
    ],
)
def test_removal_asks_about_what_is_not_named(
    installed: Box, words: list[str], typed: str, settings: bool, journal: bool
) -> None:
    script = installed.tree("1.0.0") / "systemd/remove"
    code, shown, _ = installed.at_terminal(script, *words, typed=typed)
    assert code == 0, shown
    assert shown.count("[Y/n]") == typed.count("\n")
    assert (installed.root / SETTINGS).exists() is settings
    assert (installed.root / JOURNAL).exists() is journal


def test_removal_of_nothing(box: Box) -> None:
    run = box.run(box.tree("1.0.0") / "systemd/remove")
    assert run.returncode == 1
    assert "not installed here" in one_line(run.stderr)


def test_removal_refuses_a_contradiction(installed: Box) -> None:
    before = installed.files()
    run = installed.run(
        installed.tree("1.0.0") / "systemd/remove", "--keep-nothing", "--keep-journal"
    )
    assert run.returncode == 2
    assert "contradict" in one_line(run.stderr)
    assert installed.files() == before
