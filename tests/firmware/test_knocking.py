"""Whether a device answers: stand-ins for the child's interpreter, and one that cannot be ended."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

import pytest

from firmware import knocking
from firmware.knocking import Knocker


def test_only_silence_is_no_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program = tmp_path / "python"
    monkeypatch.setattr(knocking.sys, "executable", str(program))
    patient, hasty = Knocker(patience_s=30.0), Knocker(patience_s=0.5)
    assert patient.answers("any")  # no such program: the opening itself must show it
    for words, knocker, is_answer in (
        ("exec sleep 60", hasty, False),
        ("exit 1", patient, True),
        ("exit 0", patient, True),
    ):
        program.write_text(f"#!/bin/sh\n{words}\n")
        program.chmod(0o755)
        assert knocker.answers("any") is is_answer


class InADriversHands:
    """A process that not even SIGKILL ends while the driver sleeps, proc(5): state D."""

    def __init__(self) -> None:
        self.is_back = False
        self.is_killed = False

    def poll(self) -> int | None:
        return -9 if self.is_back else None

    def kill(self) -> None:
        self.is_killed = True

    def wait(self, timeout: float) -> int:
        if not self.is_back:
            raise subprocess.TimeoutExpired("python", timeout)
        return 0


def test_a_child_that_cannot_be_ended_is_not_waited_for_nor_joined_by_another(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    started: list[InADriversHands] = []

    def start(*_words: Any, **_given: Any) -> InADriversHands:
        started.append(InADriversHands())
        return started[-1]

    monkeypatch.setattr(knocking.subprocess, "Popen", start)
    knocker = Knocker()
    assert [knocker.answers("hw:CARD=Stage") for _ in range(3)] == [False] * 3
    assert len(started) == 1
    assert started[0].is_killed
    started[0].is_back = True  # the card was pulled out at last
    assert not knocker.answers("hw:CARD=Stage")  # the next one asks anew, and hangs as well
    assert len(started) == 2
