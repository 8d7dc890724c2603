"""The command line: every command's help and example, every kind of bad input in one line."""

from __future__ import annotations

import json
import os
import re
import shlex
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from monitor import cli
from monitor.command_line import parser
from monitor.settings import default_text

ROOT = Path(__file__).parents[2]
COMMANDS = list(cli._COMMANDS)


@pytest.fixture(autouse=True)
def _no_settings_of_this_machine(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    monkeypatch.delenv("HOWL_LANTERN_SETTINGS", raising=False)


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    try:
        code = cli.main(words)
    except SystemExit as exit_:  # argparse ends the program by itself
        code = int(exit_.code or 0)
    out, err = capsys.readouterr()
    return code, out, err


# --- help ------------------------------------------------------------------------------------


def test_help_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "--help")
    assert code == 0
    listed = re.findall(r"^    (\w+) +\w", out, re.MULTILINE)
    assert listed == COMMANDS
    assert run(capsys)[0] == 2


@pytest.mark.parametrize("command", COMMANDS)
def test_help_of_each_command_explains_and_shows(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, command, "--help")
    assert code == 0
    assert len(out.split("options:")[0]) > 150, "hardly a word of explanation"
    assert f"  howl-lantern {command}" in out.split("Example:")[1]


@pytest.mark.parametrize("command", COMMANDS)
def test_examples_parse(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, command, "--help")
    (example,) = re.findall(r"^  howl-lantern (.*)$", out.split("Example:")[1], re.MULTILINE)
    assert parser().parse_args(shlex.split(example)).command == command


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "--version")
    assert code == 0
    assert re.fullmatch(r"howl-lantern \d[\w.]*\n", out)


# --- bands -----------------------------------------------------------------------------------


def test_bands_of_the_same_frequency_however_written(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "bands", "2480", "2.48k", "2k48", "2480Hz", "2.48 kHz")
    assert code == 0
    lines = out.splitlines()[1:]
    assert len(lines) == 5
    assert len(set(lines)) == 1
    # IEC 61260-1, k = 4: 1000 * 10**0.4 and 10**(0.4 -+ 0.05).
    assert lines[0].split() == "2480 Hz 2.5k 2511.89 Hz 2238.72 to 2818.38 Hz 2.5k".split()


def test_bands_name_the_slider_of_one_s_own_equaliser(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "s.toml"
    path.write_text('[equaliser]\nkind = "typed"\nlabels = ["100", "1k", "3k3", "10k"]\n')
    code, out, _ = run(capsys, "bands", "2480", "--settings", str(path))
    assert code == 0
    assert out.splitlines()[1].endswith("  3k3")
    assert run(capsys, "bands", "2480", "--set", "equaliser.kind=10")[1].endswith("  2k\n")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--yes",), "name the gig with --delete GIG"),
        (("--delete", "5e1f", "--json"), "leave --all and --json away"),
        (("--delete", "5e1f", "--yes", "--all"), "leave --all and --json away"),
    ],
)
def test_gigs_takes_no_option_that_would_do_nothing(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...], says: str
) -> None:
    code, out, err = run(capsys, "gigs", *words)
    assert (code, out) == (2, "")
    assert says in err
    assert err.count("\n") == 1


# --- settings ----------------------------------------------------------------------------------


def test_settings_show_where_each_came_from(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "config" / "howl-lantern" / "settings.toml"
    path.parent.mkdir(parents=True)
    path.write_text("[page]\nport = 8181\n")
    code, out, _ = run(capsys, "settings", "--set", "page.streams=3")
    assert code == 0
    assert re.search(rf"^port = 8181 +# {path}, line 2$", out, re.MULTILINE)
    assert re.search(r"^streams = 3 +# --set$", out, re.MULTILINE)
    assert re.search(r"^way = \"set\" +# default$", out, re.MULTILINE)


def test_example_is_the_defaults_file(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "settings", "--example") == (0, default_text(), "")


# --- faces -------------------------------------------------------------------------------------


def test_no_folder_is_not_the_one_somebody_is_in(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, "faces", "")
    assert (code, out) == (2, "")
    assert "argument DIR: a name is expected, not nothing" in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "words",
    [
        ("scan", "song.wav", ""),
        ("level", ""),
        ("plan", ""),
        ("plan", "stage.toml", "--svg", ""),
        ("report", "-o", ""),
        ("merge", ""),
        ("gigs", "--delete", ""),
        ("pair", "--socket", ""),
        ("page", "--host", ""),
        ("settings", "--settings", ""),
    ],
)
def test_nothing_is_no_name(capsys: pytest.CaptureFixture[str], words: tuple[str, ...]) -> None:
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert "a name is expected, not nothing" in err
    assert err.count("\n") == 1


def test_faces_are_written(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, _ = run(capsys, "faces", str(tmp_path / "new" / "faces"))
    assert code == 0
    paths = [Path(line) for line in out.splitlines()]
    assert len(paths) >= 6
    for path in paths:
        assert path.read_bytes().startswith(b"\x89PNG")


# --- bad input -----------------------------------------------------------------------------------


BAD = [
    ("bands", "loud", 2, '"loud" is not a frequency; write it like 2500, 2.5k or 2k5'),
    ("bands", "2k 5 1k", 2, '"5" is not between 10 Hz and 40 kHz'),
    ("bands", "-5", 2, "is not a frequency"),
    ("bands", "", 2, "arguments are required: HZ"),
    ("dance", "", 2, "invalid choice: 'dance'"),
    ("settings", "--settings {folder}", 2, "this is a folder, a TOML file is expected"),
    ("settings", "--settings {folder}/none.toml", 2, "there is no such file"),
    ("settings", "--settings {broken}", 2, "not valid TOML"),
    ("settings", "--set page.prt=1", 2, "did you mean port?"),
    ("settings", "--set page", 2, "table.key=value expected"),
    ("watch", "--set page.port=0", 2, "page.port must be a whole number from 1024 to 65535"),
    ("watch", "--set link.socket={file}", 1, "something that is not a socket is here"),
    ("watch", "--set link.socket={live}", 1, "another watcher is running"),
    ("watch", "--set link.socket=/proc/nowhere/s", 1, "cannot open the socket"),
    ("watch", "--set link.socket={file}/s", 1, "cannot open the socket"),
    ("page", "--port 0", 2, "a port is a number from 1 to 65535"),
    ("page", "--port http", 2, "a port is a number from 1 to 65535"),
    ("page", "--host 127.0.0.1 --port {taken} --socket {folder}/s", 1, "in use; give another"),
    ("faces", "{file}/faces", 1, "cannot be written here"),
    ("faces", "/proc/nowhere", 1, "cannot be written here"),
    ("demo", "--set box.name=", 2, "box.name must be 1 to 16 letters"),
    ("check", "--set lamp.gpio_pin=99", 1, ""),
]


@pytest.mark.parametrize(
    ("command", "words", "code", "expected"), BAD, ids=[f"{c} {w}" for c, w, *_ in BAD]
)
def test_bad_input_gives_one_clear_line_and_a_code(
    tmp_path: Path, command: str, words: str, code: int, expected: str
) -> None:
    """As a process of its own, so that the exit code and stderr are the real ones."""
    (tmp_path / "file").write_text("mine")
    (tmp_path / "broken.toml").write_text("[page\n")
    (tmp_path / "config").mkdir()
    before = sorted(p.name for p in tmp_path.iterdir())
    with (
        socket.socket(socket.AF_UNIX) as live,
        socket.socket(socket.AF_INET) as taken,
    ):
        live.bind(str(tmp_path / "live"))
        live.listen(1)
        taken.bind(("127.0.0.1", 0))
        taken.listen(1)
        places = {
            "folder": tmp_path,
            "file": tmp_path / "file",
            "broken": tmp_path / "broken.toml",
            "live": tmp_path / "live",
            "taken": taken.getsockname()[1],
        }
        done = subprocess.run(
            [sys.executable, "-m", "monitor.cli", command, *words.format(**places).split()],
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            timeout=30,
            check=False,
        )
    assert done.returncode == code, done.stderr
    assert "Traceback" not in done.stderr
    said = [line for line in done.stderr.splitlines() if line.startswith("howl-lantern")]
    if expected:
        assert any(expected in line for line in said), done.stderr
        assert len([line for line in said if "usage" not in line]) == 1
    assert (tmp_path / "file").read_text() == "mine"
    left = {p.name for p in tmp_path.iterdir()} - {*before, "live"}
    assert not {n for n in left if not n.endswith(".lock")} - {"state", "run"}


def test_all_wrong_settings_are_told_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "settings", "--set", "page.port=0", "--set", "box.name=")
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 2
    assert all(line.startswith("howl-lantern: --set") for line in err.splitlines())


def test_a_reader_that_goes_away_is_no_error() -> None:
    done = subprocess.run(
        f"{shlex.quote(sys.executable)} -m monitor.cli settings --example | head -1",
        shell=True,
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert done.stderr == ""
    assert done.stdout.startswith("# Every setting")


def test_a_frequency_in_no_third_octave_is_said_to_be(capsys: pytest.CaptureFixture[str]) -> None:
    """The edges of the 20 Hz and 20 kHz bands: IEC 61260-1, 5.2 to 5.6, base ten."""
    code, out, _ = run(capsys, "bands", "17.7", "17.8", "22387", "22388")
    assert code == 0
    outside = ["outside" in line for line in out.splitlines()[1:]]
    assert outside == [True, False, False, True]


def said_by(*words: str, **how: Any) -> subprocess.CompletedProcess[bytes]:
    command = [sys.executable, "-m", "monitor.cli", *words]
    return subprocess.run(command, cwd=ROOT, check=False, stderr=subprocess.PIPE, **how)


@pytest.mark.parametrize("words", [("bands", "1k"), ("settings",), ("plan", "--example")])
def test_a_full_disk_behind_the_output_is_one_line(words: tuple[str, ...]) -> None:
    with Path("/dev/full").open("wb") as full:
        said = said_by(*words, stdout=full)
    assert said.returncode == 1
    assert said.stderr.decode() == (
        "howl-lantern: what is printed cannot be written: No space left on device\n"
    )


def test_without_an_output_it_still_ends_well() -> None:
    def close() -> None:
        os.close(1)

    assert said_by("bands", "1k", preexec_fn=close).returncode == 0


def test_what_a_terminal_cannot_show_is_written_otherwise(tmp_path: Path) -> None:
    plan = tmp_path / "stage.toml"
    text = said_by("plan", "--example", stdout=subprocess.PIPE).stdout.decode()
    assert 'name = "' in text
    plan.write_text(text.replace('name = "', 'name = "Č€ ', 1), encoding="utf-8")
    environ = {**os.environ, "PYTHONIOENCODING": "latin-1"}
    said = said_by("plan", str(plan), stdout=subprocess.PIPE, env=environ)
    assert (said.returncode, said.stderr) == (0, b"")
    assert rb"\u20ac" in said.stdout
    told = said_by("plan", "--json", str(plan), stdout=subprocess.PIPE, env=environ).stdout
    assert "\u20ac" in str(json.loads(told))


def test_a_file_name_that_is_no_text_is_scanned(tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode(b"na\xffme.wav")
    soundfile.write(os.fsencode(path), np.zeros(48000), 48000, format="WAV")
    said = said_by("scan", str(path), stdout=subprocess.PIPE)
    assert (said.returncode, said.stderr) == (0, b"")
    assert rb"na\udcffme.wav: nothing rings" in said.stdout


@pytest.mark.parametrize("value", ["9" * 5000, "[" * 5000])
def test_what_defeats_the_reader_of_settings_is_a_mistake_in_them(
    value: str, tmp_path: Path
) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(f"[page]\nport = {value}\n")
    said = said_by("settings", "--settings", str(path), stdout=subprocess.PIPE)
    assert said.returncode == 2
    assert said.stderr.decode().startswith(f"howl-lantern: {path}: not valid TOML: ")
    assert said.stderr.count(b"\n") == 1
    assert said_by("settings", "--set", f"page.port={value}").returncode == 2


def test_a_settings_file_may_begin_with_a_byte_order_mark(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text("\ufeff[page]\nport = 8099\n", encoding="utf-8")
    said = said_by("settings", "--settings", str(path), stdout=subprocess.PIPE)
    assert b"8099" in said.stdout


def test_no_name_for_the_settings_is_a_mistake() -> None:
    said = said_by("settings", "--settings", "", stdout=subprocess.PIPE)
    assert (said.returncode, said.stdout) == (2, b"")


def test_a_wrong_command_line_is_one_line() -> None:
    for words in (("page", "--port", "0"), ("ban", "1k"), ("plan", "--feet", "--metres")):
        said = said_by(*words)
        assert said.returncode == 2
        assert said.stderr.count(b"\n") == 1
        assert b"--help" in said.stderr


def test_blas_is_kept_to_one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    cli.main(["bands", "100"])
    assert os.environ["OPENBLAS_NUM_THREADS"] == "1"


def test_looking_up_a_band_loads_nothing_heavy() -> None:
    script = (
        "import sys\nfrom monitor import cli\ncli.main(['bands', '100'])\n"
        "print(*sys.modules, file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    loaded = set(done.stderr.split())
    assert not loaded & {"numpy", "scipy", "PIL", "flask", "sqlite3"}


def test_the_page_loads_neither_listening_nor_hardware() -> None:
    script = (
        "import sys\nfrom monitor import cli\n"
        "cli.main(['page', '--host', '192.0.2.1', '--port', '81'])\n"
        "print(*sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    loaded = set(done.stdout.split())
    assert "flask" in loaded, done.stderr
    assert not loaded & {"numpy", "scipy", "PIL", "sqlite3", "monitor.watcher"}
    # It talks to the service manager, and to no device.
    assert {name for name in loaded if name.startswith("firmware.")} == {"firmware.supervisor"}
