"""The walk over the box: what a person says they saw, felt and did decides."""

from __future__ import annotations

import threading
from pathlib import Path

import numpy as np
import pytest

from firmware import button
from firmware.board import BoardReading
from monitor import opening
from monitor.commands import checks, walk
from monitor.commands.finding import Finding
from monitor.settings import Settings, load
from tests.core.stand_ins import FakeLamp, FakePanel, FakeSource, noise


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    places = [f"link.socket={tmp_path}/link.sock", f"journal.file={tmp_path}/j.sqlite3"]
    return load(None, places, environ={"HOME": "/nonexistent"}).settings


class Bench:
    """A box whose parts work; ``says`` are the answers that differ from yes."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.lamp, self.panel, self.source = FakeLamp(), FakePanel(), FakeSource()
        self.reading = BoardReading(False, 48.2)
        self.asked: list[str] = []
        self.no: tuple[str, ...] = ()
        self.claps = True
        monkeypatch.setattr(opening, "open_lamp", lambda _: self.lamp)
        monkeypatch.setattr(opening, "open_panel", lambda _: self.panel)
        monkeypatch.setattr(opening, "open_microphone", lambda _: self.source)
        monkeypatch.setattr(walk, "read_board", lambda: self.reading)
        monkeypatch.setattr(walk, "SETTLE_S", 0.3)
        monkeypatch.setattr(walk, "WAIT_S", 5.0)

    def ask(self, question: str) -> bool:
        self.asked.append(question)
        return not any(word in question for word in self.no)

    def say(self, words: str) -> None:
        if "Clap" in words and self.claps:
            self.source.give(noise(960, level=0.2))

    def go(self, settings: Settings) -> dict[str, Finding]:
        self.source.give(noise(4800, level=0.002))
        return {f.part: f for f in walk.walk(settings, ask=self.ask, say=self.say)}


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    return Bench(monkeypatch)


def test_all_seen_and_heard(bench: Bench, settings: Settings) -> None:
    found = bench.go(settings)
    assert list(found) == ["lamp", "panel", "button", "microphone", "board"]
    assert not any(finding.to_do for finding in found.values())
    assert [pattern for pattern, _ in bench.lamp.shown] == ["pulse", "steady", "blink", "dark"]
    assert bench.panel.n_shown == 2
    assert "48 °C" in found["board"].well
    assert bench.lamp.closed
    assert bench.source.closed


def test_what_is_not_seen_says_where_to_look(bench: Bench, settings: Settings) -> None:
    bench.no = ("blinks", "square code")
    found = bench.go(settings)
    assert "GPIO 17" in found["lamp"].to_do
    assert "panel.rotate" in found["panel"].to_do
    # After a no the rest of that part is not asked for.
    assert not any("is dark" in question for question in bench.asked)


def test_no_clap_and_no_sound_are_told(
    bench: Bench, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(walk, "WAIT_S", 0.4)
    bench.claps = False
    assert "heard no clap" in bench.go(settings)["microphone"].to_do
    bench.source = FakeSource()
    bench.source.say("searching", "no USB sound card that records; plug one in")
    found = {f.part: f for f in walk.walk(settings, ask=bench.ask, say=bench.say)}
    assert "plug one in" in found["microphone"].to_do


def test_a_low_supply_needs_doing(bench: Bench, settings: Settings) -> None:
    bench.reading = BoardReading(True, 50.0)
    assert "thicker cable" in bench.go(settings)["board"].to_do
    bench.reading = BoardReading()
    assert "says nothing" in bench.go(settings)["board"].well


def test_the_button_is_felt_or_missed(
    bench: Bench, settings: Settings, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    class Pressed:
        def health(self) -> str:
            return "ok"

        def close(self) -> None:
            pass

    def pressed(**words: object) -> Pressed:
        threading.Timer(0.05, words["on_press"]).start()  # type: ignore[arg-type]
        return Pressed()

    monkeypatch.setattr(button, "open_button", pressed)
    assert bench.go(settings)["button"].well == "pressed, and felt"
    monkeypatch.setattr(button, "open_button", lambda **_: Pressed())
    monkeypatch.setattr(walk, "WAIT_S", 0.2)
    assert "GPIO 26 to ground" in bench.go(settings)["button"].to_do


def test_while_the_watcher_runs_it_says_to_stop_it(
    bench: Bench, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(checks, "ask_watcher", lambda _: {"class": "snapshot"})
    (finding,) = walk.walk(settings, ask=bench.ask, say=bench.say)
    assert "systemctl stop howl-lantern" in finding.to_do
    assert bench.asked == []


@pytest.mark.parametrize(("typed", "means"), [("", True), ("y", True), ("No", False)])
def test_enter_means_yes(monkeypatch: pytest.MonkeyPatch, typed: str, means: bool) -> None:
    monkeypatch.setattr("builtins.input", lambda _: typed)
    assert walk.ask("Seen?") is means


def test_the_end_of_the_input_means_no(monkeypatch: pytest.MonkeyPatch) -> None:
    def ended(_: str) -> str:
        raise EOFError

    monkeypatch.setattr("builtins.input", ended)
    assert walk.ask("Seen?") is False


def test_peaks_are_told_in_dbfs() -> None:
    source = FakeSource()
    source.give(np.array([0.0, -0.1]))
    assert walk._loudest_dbfs(source, 0.3) == pytest.approx(-20.0, abs=0.01)
