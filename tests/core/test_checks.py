"""``check``: what is right, what to do, and a code that says whether anything needs doing."""

from __future__ import annotations

import dataclasses
import errno
import json
import os
import socket
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware.cards import CaptureDevice
from monitor import cli, clock, opening
from monitor.commands import check_around, check_devices, checks, whereabouts
from monitor.commands.finding import Finding, report
from monitor.demo import free_port
from monitor.errors import SettingsError
from monitor.hearing import CLIPPING_SHOWN_S
from monitor.settings import Loaded, load
from tests.core.running import Running, unhurried
from tests.core.stand_ins import FakeLamp, FakePanel, FakeSource, noise
from tests.report.made_gig import record


@pytest.fixture(autouse=True)
def _heard_soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """All that a source has been given is there at once."""
    monkeypatch.setattr(check_devices, "HEAR_S", 0.15)


@pytest.fixture
def loaded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Loaded:
    unhurried(monkeypatch)
    monkeypatch.setattr(clock, "is_trusted", lambda: True)
    monkeypatch.setattr(opening, "open_lamp", lambda _: FakeLamp())
    monkeypatch.setattr(opening, "open_panel", lambda _: FakePanel())
    monkeypatch.setattr(whereabouts, "UNIT", tmp_path / "no.service")
    places = [f"link.socket={tmp_path}/link.sock", f"journal.file={tmp_path}/j.sqlite3"]
    places += [f"page.port={free_port('127.0.0.1', 0)}"]
    return load(None, places, environ={"HOME": "/nonexistent"})


@pytest.fixture
def source(monkeypatch: pytest.MonkeyPatch) -> Iterator[FakeSource]:
    source = FakeSource()
    monkeypatch.setattr(opening, "open_microphone", lambda _: source)
    yield source
    assert source.closed


def look(loaded: Loaded) -> dict[str, Finding]:
    return {finding.part: finding for finding in checks.look_over(loaded)}


def test_all_is_well(
    loaded: Loaded, source: FakeSource, capsys: pytest.CaptureFixture[str]
) -> None:
    source.give(noise(48000, level=0.01))
    assert report(checks.look_over(loaded)) == 0
    out = capsys.readouterr().out
    assert out.endswith("All is well.\n")
    assert "settings    3 of your own" in out  # as the fixture above sets them
    parts = [line.split()[1] for line in out.splitlines()[:-1]]
    assert parts == "settings microphone level lamp panel cards socket page disk clock".split()


def test_the_cards_that_can_be_named_are_listed(
    loaded: Loaded, source: FakeSource, monkeypatch: pytest.MonkeyPatch
) -> None:
    source.give(noise(48000, level=0.01))
    cards = [
        CaptureDevice("Stand", 1, 0, "USB Audio", True),
        CaptureDevice("PCH", 0, 0, "A", False),
    ]
    monkeypatch.setattr(check_devices, "list_capture_devices", lambda: cards)
    assert look(loaded)["cards"].well == "Stand (USB Audio), PCH (A)"


def test_two_cards_of_one_make_need_doing_where_one_is_named(
    loaded: Loaded, source: FakeSource, monkeypatch: pytest.MonkeyPatch
) -> None:
    source.give(noise(48000, level=0.01))
    cards = [CaptureDevice(name, n, 0, "A", True) for n, name in enumerate(("Mic", "Mic_1"))]
    monkeypatch.setattr(check_devices, "list_capture_devices", lambda: cards)
    assert look(loaded)["cards"].well == "Mic (A), Mic_1 (A)", "none is named, nothing can be wrong"
    line = dataclasses.replace(loaded.settings.line, device="hw:CARD=Mic_1,DEV=0")
    named = dataclasses.replace(loaded.settings, line=line)
    found = look(dataclasses.replace(loaded, settings=named))["cards"]
    assert "Mic and Mic_1 are of one make and may swap their names" in found.to_do


def test_on_an_installed_box_watcher_and_page_must_run(
    loaded: Loaded, source: FakeSource, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source.give(noise(48000, level=0.01))
    assert look(loaded)["socket"].well.startswith("no watcher is running")
    assert look(loaded)["page"].well.startswith("not running")
    (tmp_path / "no.service").touch()
    found = look(loaded)
    assert "sudo systemctl start howl-lantern;" in found["socket"].to_do
    assert "sudo systemctl start howl-lantern-page;" in found["page"].to_do
    monkeypatch.setattr(os, "access", lambda *_: False)  # not root, nor of the watcher's group
    assert look(loaded)["socket"].to_do.endswith("is not open to you: sudo howl-lantern check")


@pytest.mark.parametrize(
    ("says", "well", "to_do"),
    [
        (b"HTTP/1.0 200 OK\r\n\r\n<title>Howl Lantern</title>", "answers at port", ""),
        (b"HTTP/1.0 200 OK\r\n\r\n<title>Shop</title>", "", "something else answers at port"),
        (b"HTTP/1.0 500 No\r\n\r\nHowl Lantern", "", "something else answers at port"),
        (b"no such thing\r\n\r\n", "", "it does not answer at port"),
        (b"", "", "it does not answer at port"),
    ],
)
def test_the_page_is_asked_for_itself(
    loaded: Loaded, source: FakeSource, says: bytes, well: str, to_do: str
) -> None:
    source.give(noise(48000, level=0.01))
    with socket.create_server(("127.0.0.1", loaded.settings.page.port)) as served:

        def answer() -> None:
            connection, _ = served.accept()
            with connection:
                connection.recv(4096)
                connection.sendall(says)

        server = threading.Thread(target=answer)
        server.start()
        found = look(loaded)["page"]
        server.join()
    assert found.well.startswith(well)
    assert found.to_do.startswith(to_do)


def test_the_page_that_is_ours_is_known_by_what_it_says() -> None:
    page = Path(__file__).parents[2] / "web" / "templates" / "page.html"
    assert b"Howl Lantern" in page.read_bytes()[: check_around.READ_BYTES]


def test_every_part_that_says_how_it_is_is_in_the_report(loaded: Loaded, tmp_path: Path) -> None:
    (tmp_path / "access.json").write_text("damage")
    (tmp_path / "soundcheck.json").write_text("damage")
    (tmp_path / "advice.json").write_text("damage")
    box = Running(tmp_path)
    try:
        damaged = ("access", "soundcheck", "adviser")  # each in a thread of its own
        snapshot = box.wait_for(lambda s: all(s[part]["health"] != "ok" for part in damaged))
        found = look(loaded)
    finally:
        box.close()
    said = {part for part, one in snapshot.items() if isinstance(one, dict) and "health" in one}
    assert said == {*checks._PARTS}
    for part in ("access", "soundcheck", "advice"):
        assert "begun anew" in found[part].to_do
    assert found["gigs"].well == "works"


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


def test_what_clipped_at_the_beginning_of_the_listening_is_told_at_its_end(
    loaded: Loaded, source: FakeSource, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Longer than a watcher shows it for: the page looks on, this is said once.
    monkeypatch.setattr(check_devices, "HEAR_S", CLIPPING_SHOWN_S + 0.2)
    source.give(noise(48000, level=0.1), clipped=1000)
    assert "it clips" in look(loaded)["level"].to_do


def test_no_microphone_needs_doing(
    loaded: Loaded, source: FakeSource, capsys: pytest.CaptureFixture[str]
) -> None:
    source.say("searching", "no microphone is there; plug one in")
    assert report(checks.look_over(loaded)) == 1
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


def test_an_automatic_gain_that_stays_on_needs_doing_whoever_is_asked(
    loaded: Loaded, source: FakeSource, monkeypatch: pytest.MonkeyPatch
) -> None:
    source.give(noise(48000, level=0.01))
    source.say("hearing", "48 kHz; its automatic gain control is on", automatic_gain="still on")
    assert "automatic gain control is on" in look(loaded)["microphone"].to_do
    microphone = dataclasses.asdict(source.status())
    monkeypatch.setattr(checks, "ask_watcher", lambda *_, **__: {"microphone": microphone})
    assert "automatic gain control is on" in look(loaded)["microphone"].to_do


def test_on_an_installed_box_the_watcher_is_found_at_the_usual_socket_too(
    loaded: Loaded,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("HOWL_LANTERN_SETTINGS", os.devnull)
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path))
    set_ = [f"link.socket={tmp_path}/no/x", f"journal.file={tmp_path}/behind"]
    wrong = load(None, set_, environ={"HOME": "/nonexistent"}).settings
    words = [f"--set={one}" for one in set_]
    box = Running(tmp_path)
    try:
        assert checks.ask_watcher(wrong) is None, "at a terminal what is set counts"
        (tmp_path / "no.service").touch()
        assert checks.ask_watcher(wrong) is not None
        assert cli.main(["pair", *words]) == 0
        (tmp_path / "gig.json").write_text(json.dumps(record(24)))
        assert cli.main(["merge", *words, str(tmp_path / "gig.json")]) == 0
        assert "1 new gig" in capsys.readouterr().out
        assert not (tmp_path / "behind").exists(), "no journal is changed behind its back"
    finally:
        box.close()


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


def test_a_card_that_turned_read_only_is_not_taken_for_a_wrong_setting(
    loaded: Loaded, source: FakeSource, monkeypatch: pytest.MonkeyPatch
) -> None:
    def read_only(**_: object) -> None:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))  # open(2)

    monkeypatch.setattr(tempfile, "TemporaryFile", read_only)
    to_do = look(loaded)["disk"].to_do
    assert "has turned read-only" in to_do
    assert "replace the card" in to_do
    assert "[journal]" not in to_do


def test_wrong_settings_come_first(capsys: pytest.CaptureFixture[str]) -> None:
    error = SettingsError(["one", "two"])
    assert report([checks.broken_settings(error)]) == 1
    assert "settings    correct these first: one; two" in capsys.readouterr().out
