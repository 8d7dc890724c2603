"""Faults of the sound: microphone pulled, sound server gone or frozen, errors of the driver."""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from firmware.fakes import FakeAlsa, FakeAlsaError, FakeCard, wait_until
from firmware.microphone import AlsaMicrophone
from tests.core.running import Running
from tests.faults.box import PATIENCE_S, Box, Ear
from tests.faults.outcome import GOAL_S, Outcome
from tests.sound_server import SoundServer

CARD = "hw:fake"
"""A card's name; nobody knocks at a fake."""


def _is(state: str) -> Callable[[dict[str, Any]], bool]:
    return lambda snapshot: snapshot["microphone"]["state"] == state


def microphone_pulled(folder: Path, times: int = 100) -> Outcome:
    """Take the sound server's microphone away and put it back."""
    seen = Outcome("microphone pulled", GOAL_S)
    with Box(folder) as box:
        threads = _threads(box.watcher.pid)
        lost_s = []
        for _ in range(times):
            box.server.unplug()
            lost_s.append(_noticed(box.ear, "lost", time.monotonic(), seen))
            plugged_mono_s = time.monotonic()
            box.server.plug()
            seen.took(box.ear.heard_after(plugged_mono_s))
        left = _threads(box.watcher.pid) - threads
        seen.check(left <= 0, f"{left} threads are left behind")
        seen.check(box.watcher.start_count == 1, "the watcher ended")
    seen.lost = "the sound while it is out"
    seen.remark = f"said within {max(lost_s):.2f} s of the pull, no thread left behind"
    return seen


def server_killed(folder: Path, times: int = 20) -> Outcome:
    """End the sound server as a crash would, and start it again."""
    return _without_the_server(
        folder,
        times,
        Outcome("sound server killed", GOAL_S, lost="the sound while it is gone"),
        away=SoundServer.kill,
        back=SoundServer.start,
        state="lost",
    )


def server_frozen(folder: Path, times: int = 10) -> Outcome:
    """Halt the sound server, so that a read does not return, and let it go on."""
    return _without_the_server(
        folder,
        times,
        Outcome("sound server frozen", GOAL_S, lost="the sound while it is frozen"),
        away=SoundServer.halt,
        back=SoundServer.go_on,
        state="stuck",
    )


def _without_the_server(
    folder: Path,
    times: int,
    seen: Outcome,
    *,
    away: Callable[[SoundServer], object],
    back: Callable[[SoundServer], object],
    state: str,
) -> Outcome:
    with Box(folder) as box:
        lost_s = []
        for _ in range(times):
            away_mono_s = time.monotonic()
            away(box.server)
            lost_s.append(_noticed(box.ear, state, away_mono_s, seen))
            back(box.server)
            seen.took(box.ear.heard_after(time.monotonic()))
        seen.check(box.watcher.start_count == 1, "the watcher ended")
    seen.remark = f"said within {max(lost_s):.2f} s"
    return seen


def driver_errors(folder: Path, times: int = 10) -> Outcome:
    """Let reads of a played card fail: -EIO and -ENODEV both ways, -EPIPE once and for ever."""
    seen = Outcome("driver error", GOAL_S)
    card = FakeCard()
    cards = folder / "cards"
    cards.write_text("--- no soundcards ---\n")
    box = Running(
        folder,
        open_source=lambda _: AlsaMicrophone(
            device=CARD, alsa=FakeAlsa({CARD: card}), kernel_list=cards
        ),
    )
    ear = Ear(box.socket)
    try:
        seen.check(ear.heard_after(0.0) is not None, "nothing is heard at all")
        ear.wait_for(_is("hearing"))
        overruns = 0
        for errors in _driver_errors() * times:
            overruns += sum(each == -errno.EPIPE for each in errors)
            ear.begin_count()
            failed_mono_s = time.monotonic()
            card.reads.extend(errors)
            seen.check(wait_until(lambda: not card.reads, within_s=PATIENCE_S), "not read any more")
            seen.took(ear.heard_after(failed_mono_s + 0.02))
        counted = ear.wait_for(lambda s: s["microphone"]["overrun_count"] >= overruns)
        seen.check(counted is not None, "not every overrun is counted")
    finally:
        ear.close()
        box.close()
    seen.lost = f"{overruns} overruns, each counted"
    seen.remark = "a played card; a real one's errors need a card of the kernel's own"
    return seen


def _driver_errors() -> list[list[Any]]:
    """What alsa-lib's package answers: an exception, a negative length, or -EPIPE."""
    return [
        [FakeAlsaError(f"{os.strerror(errno.EIO)} [{CARD}]")],
        [FakeAlsaError(f"{os.strerror(errno.ENODEV)} [{CARD}]")],
        [-errno.EIO],
        [-errno.ENODEV],
        [-errno.EPIPE],
        [-errno.EPIPE] * 12,
    ]


def _noticed(ear: Ear, state: str, since_mono_s: float, seen: Outcome) -> float:
    """Seconds until the snapshot says the state."""
    noticed_mono_s = ear.wait_for(_is(state))
    seen.check(noticed_mono_s is not None, f"it never said {state}")
    return float("nan") if noticed_mono_s is None else noticed_mono_s - since_mono_s


def _threads(pid: int) -> int:
    return len(list(Path(f"/proc/{pid}/task").iterdir()))
