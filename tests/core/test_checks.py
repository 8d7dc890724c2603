"""``check``: what is right, what to do, and a code that says whether anything needs doing."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware.cards import CaptureDevice
from monitor import clock, opening
from monitor.commands import checks
from monitor.errors import SettingsError
from monitor.settings import Loaded, load
from tests.core.stand_ins import FakeLamp, FakePanel, FakeSource, noise
from tests.core.test_watch import Running


@pytest.fixture
def loaded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Loaded:
    monkeypatch.setattr(checks, "HEAR_S", 0.5)
    monkeypatch.setattr(clock, "is_trusted", lambda: True)
    monkeypatch.setattr(opening, "open_lamp", lambda _: FakeLamp())
    monkeypatch.setattr(opening, "open_panel", lambda _: FakePanel())
    places = [f"link.socket={tmp_path}/link.sock", f"journal.file={tmp_path}/j.sqlite3"]
    return load(None, places, environ={"HOME": "/nonexistent"})


@pytest.fixture
def source(monkeypatch: pytest.MonkeyPatch) -> Iterator[FakeSource]:
    source = FakeSource()
    monkeypatch.setattr(opening, "open_microphone", lambda _: source)
    yield source
    assert source.closed


def look(loaded: Loaded) -> dict[str, checks.Finding]:
    return {finding.part: finding for finding in checks.look_over(loaded)}


def test_all_is_well(
    loaded: Loaded, source: FakeSource, capsys: pytest.CaptureFixture[str]
) -> None:
    source.give(noise(48000, level=0.01))
    assert checks.report(checks.look_over(loaded)) == 0
    out = capsys.readouterr().out
    assert out.endswith("All is well.\n")
    parts = [line.split()[1] for line in out.splitlines()[:-1]]
    assert parts == "settings microphone level lamp panel cards socket disk clock".split()


def test_the_cards_that_can_be_named_are_listed(
    loaded: Loaded, source: FakeSource, monkeypatch: pytest.MonkeyPatch
) -> None:
    source.give(noise(48000, level=0.01))
    cards = [
        CaptureDevice("Stand", 1, 0, "USB Audio", True),
        CaptureDevice("PCH", 0, 0, "A", False),
    ]
    monkeypatch.setattr(checks, "list_capture_devices", lambda: cards)
    assert look(loaded)["cards"].well == "Stand (USB Audio), PCH (A)"


def test_a_microphone_that_went_away_while_it_was_heard_needs_doing(
    loaded: Loaded, source: FakeSource
) -> None:
    source.give(noise(48000, level=0.01))
    source.say("lost", "Stand stopped; plug it in again")
    assert look(loaded)["microphone"].to_do == "Stand stopped; plug it in again"


def test_level_is_measured(loaded: Loaded, source: FakeSource) -> None:
    source.give(noise(48000, level=0.01))
    # rms 0.01 is -40 dB re full scale, -37 dB re a full-scale sine.
    assert "-37 dBFS" in look(loaded)["level"].well


def test_a_whisper_and_clipping_need_doing(loaded: Loaded, source: FakeSource) -> None:
    source.give(noise(48000, level=1e-6))
    assert "next to nothing" in look(loaded)["level"].to_do
    source.give(noise(48000, level=0.1), clipped=1000)
    assert "it clips" in look(loaded)["level"].to_do


def test_no_microphone_needs_doing(
    loaded: Loaded, source: FakeSource, capsys: pytest.CaptureFixture[str]
) -> None:
    source.say("searching", "no microphone is there; plug one in")
    assert checks.report(checks.look_over(loaded)) == 1
    out = capsys.readouterr().out
    assert "!!  microphone  no microphone is there; plug one in" in out
    assert out.endswith("1 thing needs doing.\n")


def test_broken_parts_are_named_and_the_rest_looked_at(
    loaded: Loaded, source: FakeSource, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(_: object) -> FakeLamp:
        raise RuntimeError("pin 17 is taken")

    monkeypatch.setattr(opening, "open_lamp", broken)
    monkeypatch.setattr(clock, "is_trusted", lambda: False)
    found = look(loaded)
    assert found["lamp"].to_do == "cannot be looked at: pin 17 is taken"
    assert found["panel"].well == "works"
    # No internet is how the box lives: worth a word, nothing to do.
    assert "ages are right" in found["clock"].well


def test_a_running_watcher_is_asked(loaded: Loaded, tmp_path: Path) -> None:
    box = Running(tmp_path)
    feeding = threading.Event()

    def feed() -> None:
        while not feeding.wait(0.02):
            box.source.give(noise(960, level=0.01))

    feeder = threading.Thread(target=feed)
    feeder.start()
    try:
        box.wait_for(lambda s: s["state"] == "quiet")
        found = look(loaded)
    finally:
        feeding.set()
        feeder.join()
        box.close()
    assert found["microphone"].well == "fake: 48000 Hz as asked"
    assert found["socket"].well.startswith("a watcher answers")
    assert found["journal"].well == "works"
    assert not any(finding.to_do for finding in found.values())


def test_a_stale_socket_and_a_stranger_need_doing(
    loaded: Loaded, source: FakeSource, tmp_path: Path
) -> None:
    (tmp_path / "link.sock").write_text("mine")
    assert "is not a socket" in look(loaded)["socket"].to_do


def test_a_folder_that_cannot_be_written_needs_doing(source: FakeSource) -> None:
    loaded = load(
        None, ["journal.file=/proc/x/j", "link.socket=/proc/x/s"], environ={"HOME": "/nonexistent"}
    )
    found = look(loaded)
    assert "set [journal] file" in found["disk"].to_do
    assert "set [link] socket" in found["socket"].to_do


def test_wrong_settings_come_first(capsys: pytest.CaptureFixture[str]) -> None:
    error = SettingsError(["one", "two"])
    assert checks.report([checks.broken_settings(error)]) == 1
    assert "settings    correct these first: one; two" in capsys.readouterr().out
