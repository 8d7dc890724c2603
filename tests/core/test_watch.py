"""The watcher as a whole: real listening, link, journal and panel thread; played hardware."""

from __future__ import annotations

import base64
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from firmware.button import NoButton
from firmware.fakes import FakeAlsa, FakeCard
from firmware.knocking import Knocker
from firmware.microphone import AlsaMicrophone
from firmware.ports import AudioBlock
from monitor import hearing, watcher
from monitor import start as start_module
from monitor.adviser.counsel import Counsel
from monitor.desk import MOST_WISHES, Desk
from monitor.level import measuring
from monitor.link.client import LinkClient
from monitor.link.endpoint import LinkServerError
from tests.core.running import BLOCK, PATIENCE_S, Running
from tests.core.stand_ins import (
    PLAN,
    RATE_HZ,
    FakeLamp,
    FakePanel,
    growing_ring,
    noise,
)
from tests.core.test_measuring import fake
from tests.waiting import awaited

ROOT = Path(__file__).parents[2]


def test_the_button_opens_a_ring_out_and_shuts_down(
    start: Callable[..., Running], tmp_path: Path
) -> None:
    felt: dict[str, Callable[[], None]] = {}

    def opener(_: object, **on: Callable[[], None]) -> NoButton:
        felt.update(on)
        return NoButton("ok")

    box = start(button_opener=opener, settings_health="the last good settings are used: ...")
    shown = box.snapshot()
    assert shown["button"]["health"] == "ok"
    assert shown["settings"]["health"].startswith("the last good")
    assert "health" in shown["board"]
    felt["on_press"]()
    box.wait_for(lambda s: s.get("ring_out", {}).get("phase") == "ready")
    felt["on_press"]()
    box.wait_for(lambda s: s["ring_out"]["phase"] == "raise")
    felt["on_hold"]()
    assert (tmp_path / "switch-off").exists()


def test_a_socket_elsewhere_does_not_take_the_long_press_with_it(
    start: Callable[..., Running], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The unit that switches off waits in the service's own folder, wherever the socket is.
    service = tmp_path / "run"
    service.mkdir()
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(service))
    felt: dict[str, Callable[[], None]] = {}

    def opener(_: object, **on: Callable[[], None]) -> NoButton:
        felt.update(on)
        return NoButton("ok")

    start(f"link.socket={tmp_path}/link.sock", socket_path=None, button_opener=opener)
    felt["on_hold"]()
    assert (service / "switch-off").exists()


def test_from_sound_to_lamp_link_and_journal(start: Callable[..., Running]) -> None:
    box = start("equaliser.kind=10", "box.name=left")
    assert box.snapshot()["state"] == "starting"
    box.play(noise(2 * RATE_HZ))
    box.wait_for(lambda s: s["state"] == "quiet")
    box.play(growing_ring(4.0, growth_db_per_s=8.0))
    first = box.events.get(PATIENCE_S)
    assert first is not None
    assert (first["event"], first["band"], first["slider"], first["again"]) == (
        "ringing",
        "2.5k",
        "2k",  # the nearest octave slider by log distance: the border to 4k is at 2.82 kHz
        1,
    )
    assert first["frequency_hz"] == pytest.approx(2480.0, abs=5.0)
    assert 2.0 < first["flagged_s"] < 5.0
    second = box.events.get(PATIENCE_S)
    assert second is not None
    assert (second["event"], second["id"]) == ("howl", first["id"])
    (ringing,) = box.wait_for(lambda s: s["state"] == "howl")["rings"]
    assert ringing["degree"] == "howl"
    assert [p for p, _ in box.lamp.shown] == ["dark", "pulse", "steady"]
    box.play(noise(2 * RATE_HZ, seed=5))
    last = box.events.get(PATIENCE_S)
    assert last is not None
    assert last["event"] == "closed"
    assert last["end_s"] == pytest.approx(6.0, abs=0.5)
    quiet = box.wait_for(lambda s: s["state"] == "quiet")
    (recent,) = quiet["recent"]
    assert recent["id"] == first["id"]
    assert quiet["rings"] == []
    answer = history(box, lambda rings: rings[0]["degree"] == "howl")
    assert [(r["id"], r["slider"]) for r in answer["rings"]] == [(first["id"], "2k")]
    assert [p for p, _ in box.lamp.shown] == ["dark", "pulse", "steady", "dark"]
    assert box.snapshot()["box"] == "left"


def test_snapshot_is_whole(start: Callable[..., Running]) -> None:
    box = start()
    box.play(noise(RATE_HZ, level=0.1))
    # White noise of rms 0.1: 20 log10(0.1) + 3 dB, as 0 dBFS is a full-scale sine.
    s = box.wait_for(lambda s: abs(s["level_dbfs"] + 17.0) < 0.5)
    assert len(s["third_octave_dbfs"]) == len(s["bands"]) == 31
    assert len(s["equaliser"]["sliders"]) == 31
    assert s["microphone"]["sample_rate_hz"] == RATE_HZ
    assert s["lamp"] == {"pattern": "dark", "health": "ok"}
    panel = box.wait_for(lambda s: s["panel"]["bits"] != "")["panel"]
    image = Image.frombytes("1", (panel["width"], panel["height"]), base64.b64decode(panel["bits"]))
    assert image.size == (128, 64)
    assert image.getbbox() is not None, "the panel shows nothing"
    assert s["journal"] == {"health": "ok"}
    assert "stage" not in s


@pytest.mark.realtime
def test_a_flag_is_on_the_socket_within_100_ms_of_its_last_sample(
    start: Callable[..., Running],
) -> None:
    # The whole way from the block that completes the flag; the panel is as slow as a full
    # frame on a 100 kHz bus and must not matter.
    box = start(panel_opener=lambda _: FakePanel(takes_s=0.1))
    sound = np.concatenate([noise(RATE_HZ), growing_ring(2.0)])
    began = time.monotonic()
    player = threading.Thread(target=box.play, args=(sound,), kwargs={"paced": True})
    player.start()
    event = box.events.get(10.0)
    received = time.monotonic()
    player.join()
    assert event is not None
    spoken_at = began + event["flagged_s"]
    assert 0.0 <= received - spoken_at < 0.1 + BLOCK / RATE_HZ
    lit = [at for pattern, at in box.lamp.shown if pattern != "dark"]
    assert lit[0] <= event["sent_mono_s"], "the lamp comes first"


def test_commands_reach_the_listening(start: Callable[..., Running]) -> None:
    box = start()
    assert box.client.request({"class": "way", "way": "soundcheck"})["class"] == "done"
    box.wait_for(lambda s: s["way"] == "soundcheck")
    box.play(noise(RATE_HZ))
    box.wait_for(lambda s: s["state"] == "quiet")
    assert box.client.request({"class": "address", "url": "http://10.0.0.7:8080/"})
    refused = box.client.request({"class": "stage", "fader_db": 0})
    assert "no practice stage here" in refused["message"]


def test_a_ring_out_is_listened_to_the_quick_way_and_then_as_before(
    start: Callable[..., Running],
) -> None:
    """What it makes ring is no howl of the set, in no report and in no memory."""
    box = start()

    def do(name: str, way: str) -> None:
        assert box.client.request({"class": "ring_out", "do": name})["class"] == "done"
        box.wait_for(lambda s: s["way"] == way)

    for name, way in (
        ("open", "set"),
        ("begin", "soundcheck"),
        ("pause", "set"),
        ("go_on", "soundcheck"),
        ("stop", "set"),
    ):
        do(name, way)
    assert box.snapshot()["ring_out"]["phase"] == "done"
    do("open", "set")
    do("begin", "soundcheck")
    # Whoever chooses meanwhile has chosen for the time after it too.
    for way in ("set", "soundcheck"):
        assert box.client.request({"class": "way", "way": way})["class"] == "done"
        box.wait_for(lambda s, way=way: s["way"] == way)  # type: ignore[misc]
    do("stop", "soundcheck")


def test_commands_that_the_listening_does_not_take_up_are_refused_in_the_end() -> None:
    parts: dict[str, Any] = dict.fromkeys(("journal", "adviser", "soundcheck", "access", "gigs"))
    desk = Desk(**parts, boot_id="boot")
    answers: list[Any] = []
    for _ in range(MOST_WISHES):
        desk.handle({"class": "way", "way": "set"}, answers.append)
    with pytest.raises(ValueError, match="the listening is behind; ask again"):
        desk.handle({"class": "way", "way": "set"}, answers.append)
    assert answers == [{"class": "done"}] * MOST_WISHES


def test_page_address_and_name_are_on_the_panel_until_the_first_ring(
    start: Callable[..., Running],
) -> None:
    box = start("box.name=left")
    box.play(noise(RATE_HZ))
    s = box.wait_for(lambda s: s["state"] == "quiet" and s["panel"]["bits"] != "")
    nameless = s["panel"]["bits"]
    box.client.request({"class": "address", "url": "http://10.0.0.7:8080/"})
    s = box.wait_for(lambda s: s["panel"]["bits"] != nameless)
    welcome = s["panel"]["bits"]
    box.play(growing_ring(2.0))
    box.wait_for(lambda s: s["state"] == "howl" and s["panel"]["bits"] != welcome)
    box.play(noise(2 * RATE_HZ))
    box.wait_for(lambda s: s["state"] == "quiet" and s["panel"]["bits"] != welcome)


class Stage:
    def __init__(self) -> None:
        self.commands: list[dict[str, Any]] = []
        self.take_line: Callable[[AudioBlock], None] | None = None

    def control(self, command: dict[str, Any]) -> dict[str, Any]:
        if command.get("slider") == 40:
            raise ValueError("slider 40 does not exist")
        self.commands.append(command)
        return self.state()

    def state(self) -> dict[str, Any]:
        return {"fader_db": -12.0}

    def tap_line(self, take: Callable[[AudioBlock], None] | None) -> None:
        self.take_line = take

    def plan(self) -> dict[str, Any]:
        return PLAN


def test_stage_commands_go_through_the_link(start: Callable[..., Running]) -> None:
    stage = Stage()
    box = start(stage_of=lambda _: stage)
    assert box.client.request({"class": "stage", "fader_db": 3})["class"] == "done"
    assert stage.commands == [{"fader_db": 3.0}]
    refused = box.client.request({"class": "stage", "slider": 40, "cut_db": -3})
    assert refused["message"] == "slider 40 does not exist"
    assert box.snapshot()["stage"] == {"fader_db": -12.0}


class PulledStage(Stage):
    """A stage with the 31 sliders, as the practice stage tells of them."""

    def __init__(self) -> None:
        super().__init__()
        self.cuts_db = [0.0] * 31

    def control(self, command: dict[str, Any]) -> dict[str, Any]:
        if "slider" in command:
            self.cuts_db[command["slider"]] = command["cut_db"]
        return self.state()

    def state(self) -> dict[str, Any]:
        sliders = [{"label": str(i), "cut_db": db} for i, db in enumerate(self.cuts_db)]
        return {"room": "cellar", "fader_db": -12.0, "sliders": sliders}


def pulled_in_a_ring_out(start: Callable[..., Running]) -> Running:
    """A box on the practice stage, in a ring-out, whose 2.5k was pulled by 5 dB."""
    stage = PulledStage()
    box = start(stage_of=lambda _: stage)
    box.play(noise(RATE_HZ))
    box.wait_for(lambda s: s["state"] == "quiet")
    for do in ("open", "begin"):
        assert box.client.request({"class": "ring_out", "do": do})["class"] == "done"
    stage.control({"slider": 21, "cut_db": -5.0})
    box.wait_for(lambda s: s["standing"] == [{"slider": 21, "cut_db": -5.0}])
    return box


def test_a_ring_out_survives_a_restart_with_the_stage_s_sliders(
    start: Callable[..., Running],
) -> None:
    box = pulled_in_a_ring_out(start)
    assert box.snapshot()["ring_out"]["phase"] == "raise"
    box.close()
    again = PulledStage()
    box = start(stage_of=lambda _: again)
    box.wait_for(lambda s: s.get("ring_out", {}).get("phase") == "paused")
    assert again.cuts_db[21] == -5.0
    assert box.client.request({"class": "ring_out", "do": "go_on"})["class"] == "done"
    box.wait_for(lambda s: s["ring_out"]["phase"] == "raise")


def test_a_ring_out_that_is_done_stands_over_the_stage_s_pulled_sliders_after_a_restart(
    start: Callable[..., Running],
) -> None:
    box = pulled_in_a_ring_out(start)
    box.client.request({"class": "ring_out", "do": "stop"})
    box.wait_for(lambda s: s["ring_out"]["phase"] == "done")
    pulls = box.snapshot()["ring_out"]["pulls"]
    assert [pull["label"] for pull in pulls] == ["2.5k"]
    box.close()
    again = PulledStage()
    box = start(stage_of=lambda _: again)
    box.wait_for(lambda s: s.get("ring_out", {}).get("phase") == "done")
    box.play(noise(RATE_HZ))
    box.wait_for(lambda s: s["state"] == "quiet")
    assert again.cuts_db[21] == -5.0
    s = box.snapshot()
    assert s["standing"] == [{"slider": 21, "cut_db": -5.0}]
    assert s["ring_out"]["pulls"] == pulls


def test_the_depth_is_on_link_and_panel_and_pulls_are_remembered(
    start: Callable[..., Running],
) -> None:
    box = start("advice.margin_db=4")
    box.play(np.concatenate([noise(RATE_HZ), growing_ring(2.5)]))
    advice = box.wait_for(lambda s: "advice" in s)["advice"]
    assert "2.5k" in {pull["label"] for pull in advice["pulls"]}
    assert all(pull["more_db"] >= 1.0 for pull in advice["pulls"])
    told = {"class": "pull", "slider": 21, "cut_db": -6}
    assert box.client.request(told)["class"] == "done"
    box.wait_for(lambda s: s["standing"] == [{"slider": 21, "cut_db": -6.0}])
    refused = box.client.request({"class": "pull", "slider": 21, "cut_db": -30})
    assert "0 to 12 dB are possible" in refused["message"]
    refused = box.client.request({"class": "ring_out", "do": "begin"})
    assert "open one first" in refused["message"]
    assert box.snapshot()["adviser"] == {"health": "ok"}


def test_lost_microphone_is_said_and_survived(
    start: Callable[..., Running],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    box = start()
    box.play(np.concatenate([noise(RATE_HZ), growing_ring(2.0)]))
    box.wait_for(lambda s: s["state"] == "howl")
    box.source.say("lost", "the microphone was unplugged; plug it in again")
    monkeypatch.setattr(hearing, "NO_BLOCK_S", 1.0)
    s = box.wait_for(lambda s: s["state"] == "deaf")
    assert s["deaf_reason"] == "the microphone was unplugged; plug it in again"
    assert s["rings"] == []
    assert s["audio_age_s"] >= 1.0
    assert box.lamp.shown[-1][0] == "blink"
    awaited(lambda: "microphone: lost: the microphone was unplugged" in caplog.text)
    before = box.supervisor.n_alive
    awaited(lambda: box.supervisor.n_alive > before)  # deaf, and yet alive
    box.source.say("hearing", "44100 Hz")
    back = time.monotonic()
    box.play(noise(RATE_HZ, seed=9), gap=False, rate_hz=44100)
    box.wait_for(lambda s: s["state"] == "quiet")
    assert time.monotonic() - back < 2.0
    assert box.lamp.shown[-1][0] == "dark"


def test_a_card_whose_opening_hangs_is_said_and_the_watcher_goes_on(
    start: Callable[..., Running], tmp_path: Path
) -> None:
    """The opening itself is never tried: it would hold up the whole process, this test too."""
    card, answers, opened = "hw:fake", threading.Event(), FakeAlsa({"hw:fake": FakeCard()})
    kernel_list = tmp_path / "cards"
    kernel_list.write_text("")

    class Silent(Knocker):
        def answers(self, *_: object) -> bool:
            return answers.is_set()

    box = start(
        open_source=lambda _: AlsaMicrophone(
            device=card, alsa=opened, kernel_list=kernel_list, knocker=Silent()
        )
    )
    s = box.wait_for(lambda s: s["state"] == "deaf")
    assert s["microphone"]["state"] == "stuck"
    assert s["deaf_reason"] == f"{card} does not answer; plug it in again"
    assert box.lamp.shown[-1][0] == "blink"
    assert opened.calls == []
    before = box.supervisor.n_alive
    awaited(lambda: box.supervisor.n_alive > before)
    answers.set()
    box.wait_for(lambda s: s["microphone"]["state"] == "hearing")


def test_rings_again_are_counted_and_restarts_forget_nothing(
    start: Callable[..., Running],
) -> None:
    box = start()
    for seed in range(2):
        box.play(np.concatenate([noise(RATE_HZ, seed=seed), growing_ring(2.0)]))
        box.play(noise(2 * RATE_HZ, seed=seed + 10))
    old = box.wait_for(lambda s: len(s["recent"]) == 2)["recent"]
    assert [r["again"] for r in old] == [2, 1]
    box.close()
    box = start()
    again = box.wait_for(lambda s: len(s["recent"]) == 2)["recent"]
    assert [r["id"] for r in again] == [r["id"] for r in old]
    assert [r["lasted_s"] for r in again] == pytest.approx([r["lasted_s"] for r in old], abs=0.1)
    box.play(np.concatenate([noise(RATE_HZ), growing_ring(2.0)]))
    (ringing,) = box.wait_for(lambda s: s["state"] == "howl")["rings"]
    assert ringing["again"] == 3
    assert ringing["id"] == max(r["id"] for r in old) + 1


def test_another_rate_keeps_numbers_apart(start: Callable[..., Running]) -> None:
    box = start()
    box.play(np.concatenate([noise(RATE_HZ), growing_ring(2.0)]))
    box.wait_for(lambda s: s["state"] == "howl")
    box.play(noise(RATE_HZ), rate_hz=44100)
    box.wait_for(lambda s: s["state"] == "quiet")
    box.play(np.concatenate([noise(RATE_HZ), growing_ring(2.0)]))
    s = box.wait_for(lambda s: s["state"] == "howl")
    # The new listening counts its rings from one again; what is shown does not.
    assert s["rings"][0]["id"] == s["recent"][0]["id"] + 1


def test_a_howl_is_followed_over_a_short_gap_and_ended_by_a_long_one(
    start: Callable[..., Running],
) -> None:
    box = start()
    sound = np.concatenate([noise(RATE_HZ), growing_ring(6.0)])
    box.play(sound[: 4 * RATE_HZ])
    before = box.wait_for(lambda s: s["state"] == "howl")
    while box.events.get(0.0) is not None:
        pass
    lost = RATE_HZ // 10
    box.source.give(sound[4 * RATE_HZ + lost :][:BLOCK], gap=True)
    box.play(sound[4 * RATE_HZ + lost + BLOCK :])
    awaited(box.source.blocks.empty)
    assert box.events.get(0.5) is None
    after = box.snapshot()
    assert after["state"] == "howl"
    assert [r["id"] for r in after["rings"]] == [r["id"] for r in before["rings"]]
    # Two seconds are missing, by the time at which the block was captured.
    box.source.blocks.put(AudioBlock(noise(BLOCK), RATE_HZ, time.monotonic() + 2.0, True, 0))
    box.wait_for(lambda s: s["state"] == "quiet")


def history(
    box: Running, true: Callable[[list[dict[str, Any]]], object] = lambda _: True
) -> dict[str, Any]:
    """The newest rings as they are kept, at least one, once something is true of them.

    The clerk's thread takes them in, and each again when it howls and when it has ended.
    """

    def answer() -> dict[str, Any] | None:
        found: dict[str, Any] = box.client.request({"class": "history", "limit": 5})
        return found if found["rings"] and true(found["rings"]) else None

    found = awaited(answer, PATIENCE_S, "no such ring is kept")
    assert found is not None
    return found


def fail(_: object) -> Any:
    raise RuntimeError("broken")


def test_broken_parts_never_stop_the_listening(start: Callable[..., Running]) -> None:
    folder_in_a_file = Path("/dev/null/journal.sqlite3")
    box = start(panel_opener=fail, lamp_opener=fail, journal_path=folder_in_a_file)
    box.play(np.concatenate([noise(RATE_HZ), growing_ring(2.0)]))
    s = box.wait_for(lambda s: s["state"] == "howl")
    assert s["lamp"] == {"pattern": "steady", "health": "the lamp cannot be opened: broken"}
    # Panel and journal have threads of their own.
    box.wait_for(lambda s: "the panel cannot be opened: broken" in s["panel"]["health"])
    box.wait_for(lambda s: "cannot be opened" in s["journal"]["health"])
    box.wait_for(lambda s: s["panel"]["bits"] != "")  # the picture is there without a panel
    answer = history(box)
    assert answer["rings"][0]["band"] == "2.5k"
    assert "cannot be opened" in answer["problem"]


def test_sound_that_breaks_the_listening_is_survived(start: Callable[..., Running]) -> None:
    box = start()
    # Not in a row: each of them begins the listening afresh, and none ends the watcher.
    for _ in range(watcher.MOST_FAILURES_IN_A_ROW):
        box.play(noise(BLOCK))
        box.source.give(np.full(BLOCK, np.nan))
    box.play(np.concatenate([noise(RATE_HZ), growing_ring(2.0)]))
    box.wait_for(lambda s: s["state"] == "howl")
    assert box.error is None


def test_what_rang_when_the_listening_broke_has_ended(start: Callable[..., Running]) -> None:
    box = start()
    box.play(np.concatenate([noise(RATE_HZ), growing_ring(2.0)]))
    (first,) = box.wait_for(lambda s: s["state"] == "howl")["rings"]
    box.source.give(np.full(BLOCK, np.nan))
    box.play(noise(RATE_HZ))
    s = box.wait_for(lambda s: s["state"] == "quiet")
    assert s["rings"] == []
    assert s["lamp"]["pattern"] == "dark"
    history(box, lambda rings: "lasted_s" in rings[0])
    box.play(growing_ring(2.0, hz=500.0))
    (second,) = box.wait_for(lambda s: s["state"] == "howl")["rings"]
    assert (second["band"], second["again"]) == ("500", 1)
    assert second["id"] != first["id"]


def test_sound_that_always_breaks_it_ends_the_watcher(
    start: Callable[..., Running], caplog: pytest.LogCaptureFixture
) -> None:
    box = start()
    for _ in range(watcher.MOST_FAILURES_IN_A_ROW):
        box.source.give(np.full(BLOCK, np.nan))
    awaited(lambda: box.error is not None)
    assert isinstance(box.error, ValueError)
    assert box.lamp.closed
    assert caplog.text.count("the listening failed on a block") == 1


def test_where_the_socket_cannot_be_made_the_usual_one_is_taken_and_said(
    start: Callable[..., Running], tmp_path: Path
) -> None:
    for wrong in ("/dev/null", "/proc/nowhere/link.sock"):
        spare = tmp_path / "link.sock"
        box = start(socket_path=Path(wrong), spare_socket=spare)
        said = box.snapshot()["settings"]["health"]
        assert said.startswith(wrong)
        assert said.endswith(f"until then the socket is at {spare}")
        with LinkClient(wrong, spare=spare) as page:
            assert page.wait_for_snapshot(0.0, 5.0) is not None
        box.close()
    with LinkClient(wrong, spare=tmp_path / "none") as page:
        awaited(lambda: wrong in page.problem)  # what is set is what a person can correct


def test_a_spare_socket_is_no_way_round_another_watcher(
    start: Callable[..., Running], tmp_path: Path
) -> None:
    start()
    second = start(spare_socket=tmp_path / "spare.sock")
    awaited(lambda: second.error is not None)
    assert "another watcher is running" in str(second.error)
    assert not (tmp_path / "spare.sock").exists()


def test_a_second_watcher_leaves_the_first_alone(start: Callable[..., Running]) -> None:
    start()
    opened: list[object] = []
    second = start(lamp_opener=opened.append)
    # Its client may be fed by the first, which has the socket.
    awaited(lambda: second.error is not None)
    assert isinstance(second.error, LinkServerError)
    assert "another watcher is running" in str(second.error)
    assert opened == []


def test_all_is_released_at_the_end(start: Callable[..., Running]) -> None:
    box = start()
    box.play(noise(RATE_HZ))
    box.wait_for(lambda s: s["state"] == "quiet")
    box.stop.set()
    awaited(lambda: not box._thread.is_alive())
    assert box.error is None
    assert box.source.closed
    assert box.lamp.closed
    assert not box.socket.exists()
    assert box.supervisor.told[0] == "starting"
    assert "ready" in box.supervisor.told
    assert box.supervisor.told[-1] == "stopping"


def test_at_the_end_what_is_on_the_card_is_closed_before_any_device(
    start: Callable[..., Running],
) -> None:
    """A bus that hangs takes its seconds; the service manager may kill what is left then."""
    still_running: dict[str, set[str]] = {}
    keepers = {"journal", "adviser", "gigs", "soundcheck", "access"}

    class Hangs(FakeLamp):
        def __init__(self, name: str) -> None:
            super().__init__()
            self._name = name

        def close(self) -> None:
            still_running[self._name] = {one.name for one in threading.enumerate()} & keepers

    box = start(
        lamp_opener=lambda _: Hangs("lamp"),
        button_opener=lambda _, **on: Hangs("button"),
    )
    running = {one.name for one in threading.enumerate()}
    assert keepers <= running, running
    box.close()
    assert still_running == {"lamp": set(), "button": set()}


# --- as a process ---------------------------------------------------------------------------


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_command_ends_cleanly_on_a_signal(tmp_path: Path, number: signal.Signals) -> None:
    environ = {**os.environ, "HOME": str(tmp_path), "PYTHONUNBUFFERED": "1", "INVOCATION_ID": "x"}
    with (
        subprocess.Popen(
            [
                *(sys.executable, "-m", "monitor.cli", "watch"),
                *("--set", f"link.socket={tmp_path}/s", "--set", f"journal.file={tmp_path}/j"),
                *("--set", "panel.driver=none", "--set", "lamp.enabled=false"),
            ],
            cwd=ROOT,
            env=environ,
            stderr=subprocess.PIPE,
            text=True,
        ) as process,
        LinkClient(tmp_path / "s") as client,
    ):
        received = client.wait_for_snapshot(0.0, 30.0)
        assert received is not None
        process.send_signal(signal.SIGUSR1)
        assert process.stderr is not None
        lines: queue.Queue[str] = queue.Queue()
        reader = threading.Thread(target=lambda: [lines.put(line) for line in process.stderr or ()])
        reader.start()
        awaited(lambda: any("Current thread" in line for line in list(lines.queue)))
        # Under the service manager every line of ours begins with its priority.
        said = ("<4>microphone: searching", "<6>microphone")
        awaited(lambda: any(line.startswith(said) for line in list(lines.queue)), PATIENCE_S)
        process.send_signal(number)
        assert process.wait(timeout=PATIENCE_S) == 0
        reader.join(timeout=PATIENCE_S)
    text = "".join(lines.queue)
    assert "Traceback" not in text
    assert not (tmp_path / "s").exists()


# --- soundcheck and measuring --------------------------------------------------------------------


def fake_level(monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    """Put a played child in the place of the level command."""
    monkeypatch.setattr(measuring, "level_command", lambda *_: fake(how))


def test_the_soundcheck_goes_through_the_link_and_survives_a_restart(
    start: Callable[..., Running],
) -> None:
    box = start()
    shown = box.snapshot()["soundcheck"]
    assert [step["state"] for step in shown["steps"]] == ["now", "to_do", "to_do", "to_do"]
    assert shown["line"]["there"] is False
    assert shown["line"]["why"] == "no line from the desk is set up"
    refused = box.client.request({"class": "soundcheck", "do": "measure"})
    assert "no line from the desk is set up; put its card's name" in refused["message"]
    plan = {"class": "plan", "stage": PLAN}
    assert box.client.request(plan) == {"class": "done", "revision": 1, "request": "q2"}
    assert box.client.request({"class": "soundcheck", "do": "plan_done"})["class"] == "done"
    box.wait_for(lambda s: s["soundcheck"]["steps"][0]["state"] == "done")
    assert box.snapshot()["soundcheck"]["plan_revision"] == 1
    box.close()
    box = start()
    box.wait_for(lambda s: s["soundcheck"]["steps"][0]["state"] == "done")
    assert box.client.request({"class": "plan_get"})["stage"] == PLAN
    assert box.snapshot()["soundcheck"]["health"] == "ok"


class SlowCounsel(Counsel):
    """Comes back from its file after the soundcheck has long looked."""

    def __init__(self, *words: Any, **more: Any) -> None:
        time.sleep(0.8)
        super().__init__(*words, **more)


def test_what_is_to_be_done_again_stays_so_over_a_restart(
    start: Callable[..., Running], monkeypatch: pytest.MonkeyPatch
) -> None:
    def step(box: Running) -> str:
        return str(box.snapshot()["soundcheck"]["steps"][3]["state"])

    box = start()
    box.play(noise(RATE_HZ))
    box.wait_for(lambda s: s["state"] == "quiet")
    for do in ("open", "begin", "stop"):
        assert box.client.request({"class": "ring_out", "do": do})["class"] == "done"
    until = time.monotonic() + 80.0
    while box.snapshot().get("ring_out", {}).get("phase") != "done":
        assert time.monotonic() < until, box.snapshot().get("ring_out")
        box.play(noise(RATE_HZ), paced=True)
    awaited(lambda: step(box) == "done", PATIENCE_S)
    again = {"class": "soundcheck", "do": "again", "step": "ring_out"}
    assert box.client.request(again)["class"] == "done"
    awaited(lambda: step(box) == "to_do")
    box.close()
    monkeypatch.setattr(start_module, "Counsel", SlowCounsel)
    box = start()
    box.wait_for(lambda s: s.get("ring_out", {}).get("phase") == "done")
    time.sleep(1.0)  # the clerk looks four times a second
    assert step(box) == "to_do"


def test_the_longest_plan_there_and_back(start: Callable[..., Running]) -> None:
    def mic(number: int) -> dict[str, Any]:
        where = {"x": 0.5 + number % 8, "y": 0.5 + number // 8, "height": 1.234}
        return {"name": f"microphone {number}", "pattern": "supercardioid", **where}

    stage = {**PLAN, "room": {"width": 12.0, "depth": 14.0, "height": 3.0}}
    stage["microphone"] = [mic(number) for number in range(64)]
    stage["loudspeaker"] = [{"name": "mains", "kind": "mains", "x": 11.0, "y": 12.0}]
    box = start()
    assert box.client.request({"class": "plan", "stage": stage})["class"] == "done"
    assert box.client.request({"class": "plan_get"})["stage"] == stage


def test_the_box_s_own_microphone_is_measured_from_the_watcher_s_blocks(
    start: Callable[..., Running], monkeypatch: pytest.MonkeyPatch
) -> None:
    fake_level(monkeypatch, "frames")
    box = start()
    ask = {"class": "soundcheck", "do": "measure", "source": "box"}
    assert box.client.request(ask)["class"] == "done"
    box.play(noise(4 * RATE_HZ), paced=True)
    s = box.wait_for(lambda s: s["soundcheck"].get("measuring", {}).get("samples", 0) > RATE_HZ)
    assert s["soundcheck"]["measuring"]["kind"] == "box"
    assert box.client.request({"class": "soundcheck", "do": "measure_stop"})["class"] == "done"
    box.wait_for(lambda s: "measuring" not in s["soundcheck"])


def test_a_child_that_never_reads_holds_up_nothing(
    start: Callable[..., Running], monkeypatch: pytest.MonkeyPatch
) -> None:
    fake_level(monkeypatch, "never read")
    box = start()
    box.client.request({"class": "soundcheck", "do": "measure", "source": "box"})
    # Twenty times what queue and pipe can hold, and then a ring as always.
    box.play(noise(20 * RATE_HZ))
    box.play(growing_ring(2.0))
    event = box.events.get(60.0)
    assert event is not None
    assert event["band"] == "2.5k"
    s = box.wait_for(lambda s: s["state"] == "howl")
    assert s["soundcheck"]["measuring"]["kind"] == "box"


def test_the_practice_stage_s_line_is_measured_and_its_placement_is_the_first_plan(
    start: Callable[..., Running], monkeypatch: pytest.MonkeyPatch
) -> None:
    fake_level(monkeypatch, "frames")
    stage = Stage()
    box = start(stage_of=lambda _: stage)
    assert box.client.request({"class": "plan_get"})["stage"] == PLAN
    assert box.snapshot()["soundcheck"]["line"]["there"] is True
    assert stage.take_line is None
    assert box.client.request({"class": "soundcheck", "do": "measure"})["class"] == "done"
    assert stage.take_line is not None
    stage.take_line(AudioBlock(noise(700).astype(np.float32), RATE_HZ, 0.0, False, 0))
    box.wait_for(lambda s: s["soundcheck"].get("measuring", {}).get("samples") == 700)
    box.client.request({"class": "soundcheck", "do": "measure_stop"})
    assert stage.take_line is None
