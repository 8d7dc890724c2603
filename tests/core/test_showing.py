"""What is beside the listening may fail: it goes on, the lamp tells of a howl, and it is said."""

from __future__ import annotations

import dataclasses
import logging
import math
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firmware.ports import Face, LampPattern
from monitor import present, present_snapshot
from monitor.aside import SAID_EVERY_S, Aside
from monitor.journal.rows import RingRow
from monitor.panel_thread import PanelThread
from monitor.ring_rows import past_ring
from monitor.showing import FAULT, Showing
from tests.core.running import Running
from tests.core.stand_ins import RATE_HZ, growing_ring, noise
from tests.waiting import awaited


def broken(*_: object, **__: object) -> Any:
    raise KeyError("broken")


def test_a_howl_is_heard_and_lit_whatever_fails_that_shows(
    start: Callable[..., Running],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    faces: list[Face] = []
    monkeypatch.setattr(PanelThread, "show", lambda _, face: faces.append(face))
    box = start()
    quiet = noise(2 * RATE_HZ)
    box.play(quiet)
    whatever: list[tuple[Any, str, LampPattern]] = [
        (present, "face", "dark"),
        (present_snapshot, "snapshot", "dark"),
        (present_snapshot, "ring_message", "dark"),
        (Showing, "_situation", "blink"),  # nothing is known, and "quiet" would be a lie
    ]
    for where, name, before in whatever:
        box.wait_for(lambda s: s["state"] == "quiet" and s["showing"]["health"] == "ok")
        caplog.clear()
        with monkeypatch.context() as patch:
            patch.setattr(where, name, broken)
            awaited(lambda before=before: box.lamp.shown[-1][0] == before)
            box.play(growing_ring(1.5))
            awaited(lambda: box.lamp.shown[-1][0] == "steady")
            if name in ("face", "_situation"):  # and not the face before, which says "quiet"
                awaited(lambda: faces[-1] == FAULT)
            if name in ("face", "ring_message"):
                said = box.wait_for(lambda s: s["showing"]["health"] != "ok")["showing"]["health"]
                assert "failed (KeyError('broken')); switch the box off and on" in said
                box.wait_for(lambda s: s["state"] == "howl")
        traces = [one for one in caplog.records if "the listening goes on" in one.message]
        assert len(traces) == 1
        assert traces[0].levelno == logging.ERROR
        assert traces[0].exc_info
        box.play(quiet)
        awaited(lambda: box.lamp.shown[-1][0] == "dark")
    assert box.error is None


def test_what_fails_all_the_time_is_written_down_once_a_minute(
    caplog: pytest.LogCaptureFixture,
) -> None:
    now_mono_s = [100.0]
    aside = Aside(clock=lambda: now_mono_s[0])

    def fail(what: str) -> None:
        with aside(what):
            raise ValueError(what)

    for _ in range(50):
        fail("the panel")
    fail("the page")
    assert [one.message.split(" failed")[0] for one in caplog.records] == ["the panel", "the page"]
    assert aside.health().startswith("the panel failed (ValueError('the panel')); the page failed")
    now_mono_s[0] += SAID_EVERY_S
    fail("the panel")
    assert len(caplog.records) == 3
    with aside("the panel"):
        pass
    assert "the panel" not in aside.health()
    with aside("the page"):
        pass
    assert aside.health() == "ok"


def test_a_ring_that_is_damaged_on_the_card_does_not_end_the_watcher_after_each_restart(
    start: Callable[..., Running], tmp_path: Path
) -> None:
    """SQLite's own check of a file finds no number that makes no sense."""
    box = start()
    box.play(np.concatenate([noise(RATE_HZ), growing_ring(1.5), noise(2 * RATE_HZ)]))
    box.wait_for(lambda s: s["recent"])
    box.close()
    with closing(sqlite3.connect(tmp_path / "journal.sqlite3")) as journal, journal:
        journal.execute("UPDATE rings SET frequency_hz = 0.0")
    box = start()
    box.play(np.concatenate([noise(RATE_HZ), growing_ring(1.5)]))
    box.wait_for(lambda s: s["state"] == "howl")
    assert box.error is None


@pytest.mark.parametrize(
    "damage",
    [
        {"frequency_hz": -1.0},
        {"frequency_hz": "rubbish"},  # SQLite keeps a text in a column of numbers
        {"level_dbfs": math.inf},
        {"growth_db_per_s": b"\x00"},
        {"id": "1"},
    ],
)
def test_a_kept_ring_that_makes_no_sense_is_none(damage: dict[str, Any]) -> None:
    row = RingRow(
        "s", 1, "b", "howl", "set", 2480.0, "2.5k", "2.5k", -9.0, 30.0, 5.0, 6.0, 0.0, True
    )
    past = past_ring(row, age_s=1.0)
    assert past is not None
    assert past.ended_mono_s - past.started_mono_s == pytest.approx(1.0)
    assert past_ring(dataclasses.replace(row, **damage), age_s=1.0) is None
