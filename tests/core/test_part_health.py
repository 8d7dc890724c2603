"""What ``journalctl`` has of the parts: every change, once, and which are to worry about."""

from __future__ import annotations

import logging
from types import SimpleNamespace
from typing import Any

import pytest

from monitor.part_health import PartHealth
from tests.core.stand_ins import FakeSource


class Healths:
    """Stands in for all parts at once: each says ``words``."""

    words = "ok"
    settings_health = "ok"

    def __init__(self) -> None:
        self.source = FakeSource()

    def __getattr__(self, _part: str) -> Any:
        return SimpleNamespace(
            health=lambda: self.words, problem="" if self.words == "ok" else self.words
        )


@pytest.fixture
def look(caplog: pytest.LogCaptureFixture) -> Any:
    parts: Any = Healths()
    health = PartHealth(parts, lambda: parts.words)

    def look_at(words: str, **of_microphone: str) -> list[tuple[int, str]]:
        parts.words = parts.settings_health = words
        if of_microphone:
            parts.source.say(**of_microphone)
        caplog.clear()
        health.look()
        return sorted((one.levelno, one.getMessage()) for one in caplog.records)

    caplog.set_level(logging.INFO)
    return look_at


def test_every_part_that_fails_is_logged_once_and_so_is_its_return(look: Any) -> None:
    assert look("ok") == [(logging.INFO, "microphone: hearing: 48000 Hz as asked")]
    parts = "access advice button gigs lamp link panel settings showing soundcheck".split()
    assert look("it is gone") == [(logging.WARNING, f"{part}: it is gone") for part in parts]
    assert look("it is gone") == []
    assert look("ok") == [(logging.INFO, f"{part}: ok") for part in parts]


def test_a_microphone_that_is_lost_is_a_warning_and_its_return_is_none(look: Any) -> None:
    look("ok")
    assert look("ok", state="lost", detail="gone") == [(logging.WARNING, "microphone: lost: gone")]
    back = [(logging.INFO, "microphone: hearing: at 48 kHz")]
    assert look("ok", state="hearing", detail="at 48 kHz") == back


def test_what_is_off_by_the_settings_is_said_at_the_start_and_no_warning(look: Any) -> None:
    assert (logging.INFO, "lamp: off") in look("off")
