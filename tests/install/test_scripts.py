"""The scripts as texts: plain shell, no password among the words, nothing without its caution."""

from __future__ import annotations

import hashlib
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.install.bench_box import ROOT, Box

FOLDER = ROOT / "systemd"
COMMANDS = ("install", "remove", "release", "deb", "wifi")
OF_THE_PACKAGE = ("debian/postinst", "debian/prerm", "debian/postrm")
PARTS = ("common.sh", "packages.sh", "make_release.sh", "state.sh", "switch.sh")
PROFILE = "etc/NetworkManager/system-connections/howl-lantern-wifi.nmconnection"


@pytest.mark.parametrize("name", [*COMMANDS, *PARTS, *OF_THE_PACKAGE])
def test_plain_shell(name: str) -> None:
    subprocess.run(["sh", "-n", str(FOLDER / name)], check=True)
    lines = (FOLDER / name).read_text().splitlines()
    assert len(lines) < 300
    assert [line for line in lines if len(line) > 100] == []


@pytest.mark.parametrize("name", ["in_a_root", "in_an_arm_root"])
def test_the_try_in_a_root_is_plain_shell_and_asks_for_a_system(name: str) -> None:
    script = ROOT / "tests/install" / name
    assert script.stat().st_mode & 0o111
    subprocess.run(["sh", "-n", str(script)], check=True)
    run = subprocess.run([str(script), "sid"], capture_output=True, text=True, check=False)
    assert run.returncode == 2
    assert "wanted bookworm or trixie, got 'sid'" in run.stderr


@pytest.mark.parametrize("name", [*COMMANDS, *OF_THE_PACKAGE])
def test_commands_can_be_run(name: str) -> None:
    path = FOLDER / name
    assert path.stat().st_mode & 0o111
    assert path.read_text().startswith("#!/bin/sh\n")


def test_shellcheck_finds_nothing() -> None:
    tool = shutil.which("shellcheck")
    if tool is None:
        pytest.skip("shellcheck is missing (package shellcheck)")
    # Left out: unquoted lists of packages, and names set in one part and used in another.
    run = subprocess.run(
        [
            tool,
            "-s",
            "sh",
            "-e",
            "SC2086,SC2154,SC2034",
            *(str(FOLDER / n) for n in COMMANDS + PARTS + OF_THE_PACKAGE),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.stdout == ""


def test_constraints_name_what_the_project_needs() -> None:
    """Every package of the project that a box needs has its version, and pip reads each line."""
    pinned = dict(
        line.split("==")
        for line in (FOLDER / "constraints.txt").read_text().splitlines()
        if not line.startswith("#")
    )
    needed = re.findall(
        r'^    "([a-z][\w.-]*)', (ROOT / "pyproject.toml").read_text(), re.MULTILINE
    )
    box_needs = set(needed) & {
        "numpy", "gpiozero", "luma.oled", "luma.lcd", "pillow", "flask", "waitress", "soundfile"
    }  # fmt: skip
    assert len(box_needs) == 8
    assert box_needs | {"pyalsaaudio", "lgpio"} <= pinned.keys()
    assert all(re.fullmatch(r"\d[\w.]*", version) for version in pinned.values())


# --- Wi-Fi --------------------------------------------------------------------------------------


@pytest.fixture
def box(tmp_path: Path) -> Box:
    return Box(tmp_path)


def wifi(box: Box, *words: str, password: str) -> subprocess.CompletedProcess[str]:
    return box.run(FOLDER / "wifi", *words, said=password)


def test_own_network_has_the_standards_key(box: Box) -> None:
    run = wifi(box, "own", "IEEE", password="password\n")
    assert run.returncode == 0, run.stderr
    text = (box.root / PROFILE).read_text()
    # IEEE 802.11i-2004, H.4.1: pass-phrase "password", SSID "IEEE" (from memory).
    assert "psk=f42c6fc52df0ebef9ebb4b90b38a5f902e83fe1b135a70e23aed762e9710a12e\n" in text
    assert "mode=ap\n" in text
    assert "ssid=73;69;69;69;\n" in text
    assert "key-mgmt=wpa-psk\n" in text
    assert "password" not in text
    assert (box.root / PROFILE).stat().st_mode & 0o777 == 0o600
    assert not any("password" in call for call in box.calls())


def test_joining_takes_names_and_passwords_with_any_signs(box: Box) -> None:
    name, password = "Söder; back\\room", 'a; "b" \\c $d'
    run = wifi(box, "join", name, password=password)
    assert run.returncode == 0, run.stderr
    text = (box.root / PROFILE).read_text()
    # Python's own PBKDF2, as in the standard: HMAC-SHA-1, 4096 rounds, 32 bytes.
    key = hashlib.pbkdf2_hmac("sha1", password.encode(), name.encode(), 4096, 32).hex()
    assert f"psk={key}\n" in text
    assert "mode=infrastructure\n" in text
    found = re.search(r"^ssid=([\d;]+)$", text, re.MULTILINE)
    assert found is not None
    assert bytes(int(byte) for byte in found[1].strip(";").split(";")).decode() == name


def test_a_network_that_does_not_come_up_leaves_the_one_before(box: Box) -> None:
    box.answer(no_network="")
    run = wifi(box, "join", "Back Room", password="long enough")
    assert run.returncode == 1
    assert "Error: no such network. Is the password right" in run.stderr
    assert run.stderr.count("\n") == 1
    assert not (box.root / PROFILE).exists()
    assert wifi(box, "own", "Ferry Lamps", password="long enough").returncode == 0
    before = (box.root / PROFILE).read_text()
    assert wifi(box, "join", "Back Room", password="long enough").returncode == 1
    assert (box.root / PROFILE).read_text() == before


@pytest.mark.parametrize("signal", ["INT", "TERM", "HUP"])
def test_a_join_that_is_interrupted_leaves_the_network_before(box: Box, signal: str) -> None:
    assert wifi(box, "own", "Ferry Lamps", password="long enough").returncode == 0
    before = (box.root / PROFILE).read_text()
    box.calls()
    box.answer(signal=signal)  # while it waits for the network, as Ctrl-C does
    assert wifi(box, "join", "Back Room", password="long enough").returncode == 130
    assert (box.root / PROFILE).read_text() == before
    assert (box.root / PROFILE).stat().st_mode & 0o777 == 0o600
    assert list((box.root / PROFILE).parent.iterdir()) == [box.root / PROFILE]
    asked = [call.split()[2] for call in box.calls() if "--active" not in call]
    assert asked == ["load", "up", "load", "up"]


@pytest.mark.parametrize("has_come_up", [False, True])
def test_after_a_pulled_plug_the_network_before_is_still_to_go_back_to(
    box: Box, has_come_up: bool
) -> None:
    assert wifi(box, "own", "Ferry Lamps", password="long enough").returncode == 0
    own = (box.root / PROFILE).read_text()
    box.answer(signal="KILL")
    assert wifi(box, "join", "Back Room", password="long enough").returncode == -9
    tried = (box.root / PROFILE).read_text()
    assert tried != own
    (box.fake / "signal").unlink()
    box.answer(no_network="", **({"active": "howl-lantern-wifi"} if has_come_up else {}))
    assert wifi(box, "join", "Side Room", password="long enough").returncode == 1
    assert (box.root / PROFILE).read_text() == (tried if has_come_up else own)


def test_a_profile_is_on_the_card_before_it_takes_its_place(box: Box) -> None:
    """Else a plug pulled in the next half minute leaves an empty one, and no network at all."""
    for tool in ("sync", "mv"):
        box.interpose(tool, f'echo "{tool} $*" >>"$FAKE/calls.txt"')
    assert wifi(box, "own", "Ferry Lamps", password="long enough").returncode == 0
    asked = [call for call in box.calls() if call.startswith(("sync", "mv"))]
    coming = (box.root / PROFILE).with_name(".howl-lantern-wifi.coming")
    assert asked == [f"sync {coming}", f"mv {coming} {box.root / PROFILE}", f"sync {coming.parent}"]


def test_a_first_join_that_is_interrupted_leaves_no_network(box: Box) -> None:
    box.answer(signal="INT")
    assert wifi(box, "join", "Back Room", password="long enough").returncode == 130
    assert list((box.root / PROFILE).parent.iterdir()) == []


def test_a_profile_that_cannot_be_written_leaves_the_one_before(box: Box) -> None:
    assert wifi(box, "own", "Ferry Lamps", password="long enough").returncode == 0
    before = (box.root / PROFILE).read_text()
    box.interpose("mv", 'echo "mv: no space left" >&2; exit 1')
    assert wifi(box, "join", "Back Room", password="long enough").returncode == 1
    assert (box.root / PROFILE).read_text() == before


def test_the_password_is_not_shown_and_ctrl_c_brings_the_terminal_back(box: Box) -> None:
    code, shown, echoes = box.at_terminal(
        FOLDER / "wifi", "own", "Ferry Lamps", typed="long enough\n"
    )
    assert code == 0, shown
    assert "long enough" not in shown
    assert echoes
    code, shown, echoes = box.at_terminal(FOLDER / "wifi", "own", "Ferry Lamps", typed="\x03")
    assert code == 130, shown
    assert echoes


def test_the_address_has_the_settings_port(box: Box) -> None:
    assert "http://10.42.0.1:8080/" in wifi(box, "own", password="long enough").stdout
    assert box.install("1.0.0").returncode == 0
    box.answer(port="8090")
    assert "http://10.42.0.1:8090/" in wifi(box, "own", password="long enough").stdout


@pytest.mark.parametrize("password", ["", "\n", "short77", "x" * 64, "naïvely so"])
def test_no_open_network_and_no_bad_password(box: Box, password: str) -> None:
    run = wifi(box, "own", "Ferry Lamps", password=password)
    assert run.returncode == 2
    assert run.stderr.count("\n") == 1
    assert "wanted 8 to 63" in run.stderr
    assert not (box.root / PROFILE).exists()
    assert not any(call.startswith("nmcli") for call in box.calls())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "wanted: own"),
        (["open"], "wanted: own"),
        (["join"], "join which network"),
        (["own", "A", "secret words"], "the password is asked for"),
        (["own", "x" * 33], "wanted 1 to 32 bytes"),
    ],
)
def test_wrong_words(box: Box, words: list[str], said: str) -> None:
    run = wifi(box, *words, password="long enough")
    assert run.returncode == 2
    assert said in run.stderr
    assert not (box.root / PROFILE).exists()


# --- units --------------------------------------------------------------------------------------


def test_back_off_keeps_to_its_own_words() -> None:
    """Debian 12's service manager knows neither word, so neither may stand in a unit."""
    assert "RestartSteps" in (FOLDER / "back-off.conf").read_text()
    for unit in FOLDER.glob("*.service"):
        assert "RestartSteps" not in unit.read_text()
        assert "RestartMaxDelaySec" not in unit.read_text()


@pytest.mark.parametrize("unit", ["howl-lantern.service", "howl-lantern-page.service"])
def test_units_watch_over_their_logs(unit: str) -> None:
    text = (FOLDER / unit).read_text()
    assert re.search(r"^LogRateLimitBurst=\d+$", text, re.MULTILINE)


def test_the_watcher_may_start_children() -> None:
    text = (FOLDER / "howl-lantern.service").read_text()
    room = re.search(r"^TasksMax=(\d+)$", text, re.MULTILINE)
    assert room is not None
    # Counted by measures.py in the running service: 9 threads without lamp and panel, and a child.
    assert int(room[1]) >= 32
    assert not re.search(r"^(NoExecPaths|MemoryMax|SystemCallFilter=~@process)", text, re.MULTILINE)
