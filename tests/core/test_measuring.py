"""Measuring as a child process: what it is fed, what it says, and each way it can fail."""

from __future__ import annotations

import itertools
import subprocess
import sys
import threading
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firmware.ports import AudioBlock
from monitor import settings
from monitor.level import child as level_child
from monitor.level import measuring
from monitor.level.child import MOST_WAITING, NICE, LevelChild
from monitor.level.measuring import Measuring, Source, box_sources, level_command, stage_sources
from tests.waiting import awaited

PATIENCE_S = 15.0
"""A process with Python in it, on a busy machine."""


def fake(how: str) -> tuple[str, ...]:
    return (sys.executable, "-m", "tests.core.fake_level", how)


def block(n: int = 512, *, gap: bool = False, last: float = 0.0) -> AudioBlock:
    samples = np.zeros(n, np.float32)
    samples[-1] = last
    return AudioBlock(samples, 48000, time.monotonic(), gap, 0)


@pytest.fixture
def start() -> Iterator[Callable[..., LevelChild]]:
    opened: list[LevelChild] = []

    def begin(how: str, *before: AudioBlock, **more: Any) -> LevelChild:
        command = more.pop("command", fake(how))
        opened.append(LevelChild(command, fed=more.pop("fed", False), **more))
        for one in before:
            opened[-1].put(one)
        opened[-1].start()
        return opened[-1]

    yield begin
    for one in opened:
        one.close(PATIENCE_S)


def is_alive(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"


def test_blocks_arrive_whole_and_figures_come_back(start: Callable[..., LevelChild]) -> None:
    child = start("frames", fed=True)
    child.put(block(512, gap=True, last=0.25))
    awaited(lambda: child.fields is not None, PATIENCE_S)
    child.put(block(100, last=-0.5))
    awaited(lambda: bool(child.fields and child.fields["samples"] == 612), PATIENCE_S)
    assert child.fields == {
        "rate_hz": 48000, "samples": 612, "gaps": 1, "last": -0.5, "state": "right",
    }  # fmt: skip
    child.close(PATIENCE_S)
    assert child.ended
    assert child.why == ""


def test_who_feeds_never_waits_and_what_is_lost_is_a_gap(start: Callable[..., LevelChild]) -> None:
    child = start("never read", fed=True)
    awaited(lambda: child.fields is not None, PATIENCE_S)
    assert child.fields is not None
    assert child.fields["nice"] == NICE
    big = block(4800)
    began = time.monotonic()
    for _ in range(3 * MOST_WAITING):
        child.put(big)
    assert time.monotonic() - began < 5.0  # whoever waited for the child would wait for ever
    # The pipe and what is pending take some; the rest is counted.
    assert child.lost_count > MOST_WAITING / 2
    child.close(PATIENCE_S)
    assert child.ended


def test_what_was_lost_before_is_told_as_a_gap(start: Callable[..., LevelChild]) -> None:
    # Before the child is born, and twice what finds room.
    child = start("frames", *[block(64)] * (2 * MOST_WAITING), fed=True)
    taken = 64 * MOST_WAITING
    awaited(lambda: bool(child.fields and child.fields["samples"] == taken), PATIENCE_S)
    child.put(block(64))
    awaited(lambda: bool(child.fields and child.fields["gaps"] == 1), PATIENCE_S)
    assert child.lost_count == 0, "before the first figure nothing is measured yet"


def test_the_gap_is_where_blocks_were_lost() -> None:
    child = LevelChild(fake("frames"), fed=True)  # never started: nobody takes them
    for _ in range(MOST_WAITING + 10):
        child.put(block())
    taken = [child._waiting.get_nowait().gap for _ in range(2)]
    for _ in range(2):
        child.put(block())
    taken += [child._waiting.get_nowait().gap for _ in range(MOST_WAITING)]
    assert taken == [False] * MOST_WAITING + [True, False]


def test_only_lines_that_can_go_out_are_figures(start: Callable[..., LevelChild]) -> None:
    child = start("nonsense")
    awaited(lambda: child.fields is not None, PATIENCE_S)
    assert child.fields == {"seconds": 1.0}


def test_its_last_words_are_the_reason(start: Callable[..., LevelChild]) -> None:
    ends = threading.Event()
    child = start("die", on_end=ends.set)
    assert ends.wait(PATIENCE_S)
    awaited(lambda: child.ended)
    assert child.why == "plug it in"


def test_a_silent_death_is_told(start: Callable[..., LevelChild]) -> None:
    child = start("die silently")
    awaited(lambda: child.ended, PATIENCE_S)
    assert child.why == "the measuring ended with code -9; begin again"


def test_what_cannot_be_started_is_told(start: Callable[..., LevelChild]) -> None:
    child = start("", command=("/nonexistent/level",))
    awaited(lambda: child.ended)
    assert child.why == "the measuring cannot be started: No such file or directory"


def test_a_child_that_hangs_is_ended_with_all_it_started(start: Callable[..., LevelChild]) -> None:
    child = start("hang", silent_s=1.0)
    awaited(lambda: bool(child.fields and "pids" in child.fields), PATIENCE_S)
    assert child.fields is not None
    pids = child.fields["pids"]
    awaited(lambda: child.ended, PATIENCE_S)
    assert child.why == "no figure came for 1 s, so it was ended; begin again"
    awaited(lambda: not any(is_alive(pid) for pid in pids))


def test_with_nothing_to_measure_that_is_the_reason(start: Callable[..., LevelChild]) -> None:
    child = start("frames", fed=True, silent_s=1.0)
    child.put(block())
    awaited(lambda: child.ended, PATIENCE_S)
    assert "nothing came to measure for 1 s" in child.why


def test_a_forgotten_measurement_ends_by_itself(start: Callable[..., LevelChild]) -> None:
    assert level_child.LONGEST_S == 300.0
    child = start("never read", longest_s=1.5)
    awaited(lambda: child.ended, PATIENCE_S)
    assert "ended by itself after 0.025 minutes" in child.why


def test_the_child_does_not_outlive_the_watcher() -> None:
    # The watcher is killed and can end nothing any more: the child's pipes break.
    script = (
        "import sys, time\n"
        "from tests.core.test_measuring import fake\n"
        "from monitor.level.child import LevelChild\n"
        "child = LevelChild(fake('never read'), fed=True); child.start()\n"
        "while child.fields is None: time.sleep(0.01)\n"
        "print(child.fields['pids'][0], flush=True); time.sleep(60)\n"
    )
    parent = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    pid = int(parent.stdout.readline())
    parent.kill()
    parent.wait(5.0)
    parent.stdout.close()
    awaited(lambda: not is_alive(pid), PATIENCE_S)


# --- one at a time, and of which kind -----------------------------------------------------------


class Tap:
    """A practice stage's line: notes where it hands its blocks."""

    def __init__(self) -> None:
        self.take: measuring.Take | None = None
        self.taken: list[bool] = []

    def __call__(self, take: measuring.Take | None) -> None:
        self.take = take
        self.taken.append(take is not None)


@pytest.fixture
def tap() -> Tap:
    return Tap()


@pytest.fixture
def one(tap: Tap) -> Iterator[Measuring]:
    made = Measuring(
        {
            "line": Source("practice stage", fake("frames"), fed=True, tap=tap),
            "box": Source("microphone", fake("frames"), fed=True),
        }
    )
    yield made
    made.close()


def test_line_and_box_are_fed_their_own_blocks_and_nothing_else(one: Measuring, tap: Tap) -> None:
    one.feed_box(block())  # nothing runs
    one.begin("line")
    assert tap.take is not None
    one.feed_box(block(1000))
    tap.take(block(10))
    awaited(lambda: one.measured(time.monotonic()) is not None, PATIENCE_S)
    measured = one.measured(time.monotonic())
    assert measured is not None
    assert (measured.kind, measured.fields["samples"]) == ("line", 10)
    shown = one.shown(time.monotonic())["measuring"]
    assert (shown["kind"], shown["samples"], shown["state"]) == ("line", 10, "right")
    assert 0.0 <= shown["age_s"] < PATIENCE_S
    with pytest.raises(ValueError, match="the desk's line is being measured; stop that first"):
        one.begin("box")
    one.stop()
    assert tap.taken == [True, False]
    assert one.shown(time.monotonic()) == {}
    assert one.measured(time.monotonic()) is not None, "the way to the phone"
    assert one.measured(time.monotonic() + 400.0) is None
    one.begin("box")
    assert one.measured(time.monotonic()) is None, "figures of the line are not of the box"
    one.feed_box(block(20))
    awaited(lambda: one.measured(time.monotonic()) is not None, PATIENCE_S)
    measured = one.measured(time.monotonic())
    assert measured is not None
    assert (measured.kind, measured.fields["samples"]) == ("box", 20)


def test_before_the_first_figure_it_waits(one: Measuring) -> None:
    one.begin("line")
    shown = one.shown(time.monotonic())["measuring"]
    assert shown["state"] == "waiting"
    assert shown["kind"] == "line"


def test_an_end_by_itself_is_shown_with_its_reason_and_the_tap_closed(tap: Tap) -> None:
    one = Measuring({"line": Source("x", fake("die"), fed=True, tap=tap)})
    one.begin("line")
    awaited(lambda: "why" in one.shown(time.monotonic()), PATIENCE_S)
    assert one.shown(time.monotonic()) == {"why": "plug it in"}
    assert tap.taken == [True, False]
    one.begin("line")
    one.close()


def test_a_box_without_a_line_says_how_to_set_one_up() -> None:
    one = Measuring(box_sources(settings.load(environ={}).settings))
    shown = one.line_fields()
    assert shown["there"] is False
    assert shown["why"] == "no line from the desk is set up"
    with pytest.raises(ValueError, match=r"put its card's name into the settings, \[line\] device"):
        one.begin("line")


def test_the_child_measures_by_the_watcher_s_settings(tmp_path: Path) -> None:
    given = tmp_path / "s.toml"
    given.write_text('[line]\ndevice = "Süd \\"2\\""\nchannel = 2\nmeter = "analogue"\n')
    ours = settings.load(given).settings
    command = level_command(ours, "--feed")
    assert command[-1] == "--feed"
    said = [after for word, after in itertools.pairwise(command) if word == "--set"]
    theirs = settings.load(command[command.index("--settings") + 1], said).settings
    assert theirs.line == ours.line
    assert theirs.microphone.device == measuring.ELSEWHERE
    assert all(tomllib.loads(f"v = {each.partition('=')[2]}") for each in said)
    line = box_sources(ours)["line"]
    assert (line.name, line.fed, line.why) == ('Süd "2"', False, "")
    assert "--box" not in line.command
    assert "--box" in box_sources(ours)["box"].command
    assert stage_sources(ours, Tap())["line"].fed


def test_a_microphone_that_is_named_is_told_to_the_child(tmp_path: Path) -> None:
    given = tmp_path / "s.toml"
    given.write_text('[line]\ndevice = "Desk"\n[microphone]\ndevice = "Desk"\n')
    ours = settings.load(given).settings
    run = subprocess.run(
        box_sources(ours)["line"].command, capture_output=True, text=True, check=False
    )
    assert run.returncode == 2
    assert "is the box's own microphone" in run.stderr


def open_count() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def test_nothing_of_it_is_left_open() -> None:
    before = open_count()
    one = Measuring({"line": Source("x", fake("die"))})
    one.begin("line")
    awaited(lambda: "why" in one.shown(time.monotonic()), PATIENCE_S)
    one.close()
    assert open_count() <= before
