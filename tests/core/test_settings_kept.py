"""A mistake in the settings file of a service: the last good file stands in, and says so."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from monitor import settings
from monitor.errors import SettingsError
from monitor.link.client import LinkClient
from monitor.settings_kept import FOLDER_VARIABLE, KEPT_NAME, health, keep, load_for_service
from tests.waiting import awaited

ROOT = Path(__file__).parents[2]

GOOD = '[box]\nname = "left"\n[advice]\nmargin_db = 4.0\n'
BAD = '[box]\nname = "left"\n[advice]\nmargin_db = "plenty"\n'


@pytest.fixture
def environ(tmp_path: Path) -> dict[str, str]:
    return {settings.FILE_VARIABLE: str(tmp_path / "settings.toml")}


def write(tmp_path: Path, text: str) -> None:
    (tmp_path / "settings.toml").write_text(text)


def test_the_last_good_ones_stand_in_for_a_mistake(tmp_path: Path, environ: dict[str, str]) -> None:
    state = tmp_path / "state"
    write(tmp_path, GOOD)
    good = load_for_service(state, environ=environ)
    assert good.mistakes == ()
    # Somebody goes on editing while the watcher starts: what is kept is what it has read.
    write(tmp_path, BAD)
    keep(state, good.text)
    loaded = load_for_service(state, environ=environ)
    assert loaded.settings.advice.margin_db == 4.0
    (mistake,) = loaded.mistakes
    assert "plenty" in mistake
    said = health(loaded.mistakes)
    assert said.startswith("the last good settings are used: ")
    assert "\n" not in said
    # Corrected, they count again.
    write(tmp_path, GOOD.replace("4.0", "2.0"))
    assert load_for_service(state, environ=environ).settings.advice.margin_db == 2.0


def test_a_file_that_is_no_toml_or_gone_is_a_mistake_too(
    tmp_path: Path, environ: dict[str, str]
) -> None:
    write(tmp_path, "\ufeff" + GOOD)  # as some editors begin a file
    keep(tmp_path / "state", load_for_service(tmp_path / "state", environ=environ).text)
    write(tmp_path, "[box\n")
    assert load_for_service(tmp_path / "state", environ=environ).mistakes
    (tmp_path / "settings.toml").unlink()
    assert "no such file" in load_for_service(tmp_path / "state", environ=environ).mistakes[0]


def test_with_nothing_kept_the_mistake_is_told(tmp_path: Path, environ: dict[str, str]) -> None:
    write(tmp_path, BAD)
    with pytest.raises(SettingsError, match="plenty"):
        load_for_service(tmp_path / "state", environ=environ)


def test_a_kept_file_that_is_no_use_does_not_hide_the_person_s_own_mistake(
    tmp_path: Path, environ: dict[str, str]
) -> None:
    state = tmp_path / "state"
    state.mkdir()
    (state / KEPT_NAME).write_text("[no_such_table]\nx = 1\n")
    write(tmp_path, BAD)
    with pytest.raises(SettingsError, match="plenty"):
        load_for_service(state, environ=environ)


def test_defaults_alone_are_kept_as_nothing(tmp_path: Path) -> None:
    nowhere = {"HOME": str(tmp_path)}
    keep(tmp_path / "state", load_for_service(tmp_path / "state", environ=nowhere).text)
    assert (tmp_path / "state" / KEPT_NAME).read_text() == ""


def test_a_kept_file_that_a_card_has_spoilt_is_written_anew(tmp_path: Path) -> None:
    (tmp_path / KEPT_NAME).write_bytes(b"\xa5" * 512)
    keep(tmp_path, GOOD)
    assert (tmp_path / KEPT_NAME).read_text() == GOOD


def test_it_is_written_once_and_a_full_disk_is_only_said(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    keep(tmp_path / "state", GOOD)
    before = (tmp_path / "state" / KEPT_NAME).stat()
    keep(tmp_path / "state", GOOD)
    after = (tmp_path / "state" / KEPT_NAME).stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where a folder should be")
    keep(blocked, GOOD)
    assert "cannot be kept" in caplog.text


def test_several_mistakes_are_one_line() -> None:
    assert "(and 2 more)" in health(("a", "b", "c"))
    assert health(()) == "ok"


def test_the_service_itself_starts_with_the_last_good_and_says_so(tmp_path: Path) -> None:
    file, state, socket = tmp_path / "settings.toml", tmp_path / "state", tmp_path / "link.sock"
    good = (
        f'[box]\nname = "left"\n[link]\nsocket = "{socket}"\n'
        f'[journal]\nfile = "{state}/journal.sqlite3"\n[microphone]\ndevice = "none such"\n'
        '[lamp]\nenabled = false\n[panel]\ndriver = "none"\n'
    )
    environ = {
        **os.environ,
        settings.FILE_VARIABLE: str(file),
        FOLDER_VARIABLE: str(state),
    }

    def said() -> dict[str, str]:
        """Run the watcher until it is seen, and return what it says of itself."""
        process = subprocess.Popen(
            [sys.executable, "-m", "monitor.cli", "watch"], cwd=ROOT, env=environ
        )
        try:
            with LinkClient(socket) as client:
                received = client.wait_for_snapshot(0.0, timeout_s=30.0)
                assert received is not None
                awaited(lambda: (state / KEPT_NAME).exists(), 10.0)
                return {"box": received.snapshot["box"], **received.snapshot["settings"]}
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(timeout=20.0)

    file.write_text(good)
    assert said() == {"box": "left", "health": "ok"}
    assert (state / KEPT_NAME).read_text() == good
    file.write_text(good + "[gigs]\nquiet_ends_min = [\n")
    again = said()
    assert again["box"] == "left"
    assert "the last good settings are used" in again["health"]
    assert (state / KEPT_NAME).read_text() == good
