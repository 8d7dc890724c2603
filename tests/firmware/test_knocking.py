"""Whether device and mixer answer: stand-ins for the child's interpreter, some never to end."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from firmware import knocking
from firmware.knocking import Knocker
from tests.waiting import awaited

PYTHON = sys.executable


@pytest.fixture
def program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Writes what is started in the interpreter's place."""
    path = tmp_path / "python"
    monkeypatch.setattr(knocking.sys, "executable", str(path))

    def write(words: str) -> None:
        path.write_text(words)
        path.chmod(0o755)

    return write


def test_only_silence_is_no_answer(program: Callable[[str], None]) -> None:
    patient, hasty = Knocker(patience_s=30.0), Knocker(patience_s=0.5)
    assert patient.answers("any")  # no such program: the opening itself must show it
    for words, knocker, is_answer in (
        ("exec sleep 60", hasty, False),
        ("exit 1", patient, True),
        ("exit 0", patient, True),
    ):
        program(f"#!/bin/sh\n{words}\n")
        assert knocker.answers("any") is is_answer
        assert knocker.automatic_gain() == "unknown"


CHILD = """#!{python}
import sys
sys.path.insert(0, {ours!r})
from firmware.fakes import FakeAlsa, FakeCard, FakeControl
controls = {{2: {{"Auto Gain Control": FakeControl(playback_switch=True)}}, 3: {{}}}}
sys.modules["alsaaudio"] = FakeAlsa({{"hw:2": FakeCard(), "hw:3": FakeCard()}}, controls)
_, *options, program, name, card, ours = sys.argv
assert options == ["-I", "-c"]
sys.argv = ["-c", name, card, ours]
exec(program)
"""


def test_the_child_turns_the_automatic_gain_off_once_the_device_answers(
    program: Callable[[str], None],
) -> None:
    """The very program, over an alsa-lib that is played."""
    program(CHILD.format(python=PYTHON, ours=knocking.OURS))
    knocker = Knocker(patience_s=30.0)
    for name, card, gain in (
        ("hw:2", 2, "turned off"),
        ("hw:3", 3, "none"),
        ("hw:4", 4, "unknown"),  # it is refused, and its mixer is left alone
        ("hw:2", None, "unknown"),  # no card's name
    ):
        assert knocker.answers(name, card)
        assert awaited(knocker.automatic_gain) == gain


def test_what_nobody_asked_for_is_let_go(program: Callable[[str], None]) -> None:
    """A card that is lost at once: a file left open would be one more at each loss."""
    knocker = Knocker(patience_s=30.0)
    program("#!/bin/sh\necho it answers\necho none\n")
    assert knocker.answers("hw:2", 2)
    first = knocker._at_mixer
    assert first is not None
    assert first.stdout is not None
    assert awaited(lambda: first.poll() is not None)
    assert knocker.answers("hw:2", 2)
    assert first.stdout.closed
    assert awaited(knocker.automatic_gain) == "none"


def test_a_mixer_that_hangs_holds_up_nobody(program: Callable[[str], None]) -> None:
    knocker = Knocker(patience_s=0.5)
    program("#!/bin/sh\necho it answers\nexec sleep 60\n")
    assert knocker.answers("hw:2", 2)
    hung = knocker._at_mixer
    assert hung is not None
    assert knocker.automatic_gain() is None
    awaited(lambda: knocker.automatic_gain() == "unknown")
    assert awaited(hung.poll) == -signal.SIGKILL


class InADriversHands:
    """A process that not even SIGKILL ends while the driver sleeps, proc(5): state D."""

    def __init__(self, says: bytes) -> None:
        self.is_back = False
        self.is_killed = False
        reading, self._writing = os.pipe()
        os.write(self._writing, says)
        self.stdout = os.fdopen(reading, "rb")

    def poll(self) -> int | None:
        return -9 if self.is_back else None

    def kill(self) -> None:
        self.is_killed = True

    def wait(self, timeout: float) -> int:
        if not self.is_back:
            raise subprocess.TimeoutExpired("python", timeout)
        return 0

    def close(self) -> None:
        self.stdout.close()
        os.close(self._writing)


class Driver:
    """Has every process in its hands; ``says`` is what a process still says before."""

    def __init__(self) -> None:
        self.says = b""
        self.held: list[InADriversHands] = []
        self.asked: list[str] = []

    def start(self, words: Sequence[str], **_given: Any) -> InADriversHands:
        self.held.append(InADriversHands(self.says))
        self.asked.append(words[5])
        return self.held[-1]


@pytest.fixture
def driver(monkeypatch: pytest.MonkeyPatch) -> Iterator[Driver]:
    driver = Driver()
    monkeypatch.setattr(knocking.subprocess, "Popen", driver.start)
    yield driver
    for child in driver.held:
        child.close()


def test_a_child_that_cannot_be_ended_is_not_waited_for_nor_joined_by_another(
    driver: Driver,
) -> None:
    knocker = Knocker(patience_s=0.01)
    assert [knocker.answers("hw:CARD=Stage") for _ in range(3)] == [False] * 3
    assert len(driver.held) == 1
    assert driver.held[0].is_killed
    driver.held[0].is_back = True  # the card was pulled out at last
    assert not knocker.answers("hw:CARD=Stage")  # the next one asks anew, and hangs as well
    assert len(driver.held) == 2


def test_where_a_mixer_hangs_the_device_is_still_opened_and_the_mixer_not_asked_again(
    driver: Driver,
) -> None:
    driver.says = b"it answers\n"
    knocker = Knocker(patience_s=0.01)
    assert knocker.answers("hw:CARD=Stage", 1)
    awaited(lambda: knocker.automatic_gain() == "unknown")
    assert driver.held[0].is_killed
    for number in (1, 2):
        assert knocker.answers("hw:CARD=Stage", 1)
        assert knocker.automatic_gain() == "unknown"
        driver.held[number].is_back = True
    assert driver.asked == ["1", "", ""]
    driver.held[0].is_back = True
    assert knocker.answers("hw:CARD=Stage", 1)
    assert driver.asked[-1] == "1"
