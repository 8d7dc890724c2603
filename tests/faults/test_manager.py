"""The stand-in for the service manager, and the table's own judgement."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path

from firmware.fakes import wait_until
from tests.faults.box import Ear
from tests.faults.manager import Manager, Unit, read_unit
from tests.faults.outcome import Outcome, all_held

WITHIN_S = 20.0
QUICK = Unit(restart_s=0.05, stop_s=2.0, watchdog_s=None, nice=0)
SLEEPER = [sys.executable, "-c", "import time; time.sleep(600)"]
PINGS = """
import os, socket, time
channel = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
while True:
    channel.sendto(b"WATCHDOG=1", os.environ["NOTIFY_SOCKET"])
    time.sleep(int(os.environ["WATCHDOG_USEC"]) / 4e6)
"""


def test_the_numbers_are_those_of_the_units() -> None:
    # As the unit files say in words beside them: soon, three seconds, the page after two.
    watcher, page = read_unit("howl-lantern"), read_unit("howl-lantern-page")
    assert (watcher.restart_s, watcher.watchdog_s, watcher.nice) == (1.0, 3.0, -10)
    assert (page.restart_s, page.nice) == (2.0, 5)


def test_who_is_killed_is_started_again(tmp_path: Path) -> None:
    with Manager(QUICK, SLEEPER, os.environ, tmp_path / "log") as manager:
        assert wait_until(lambda: manager.pid > 0, within_s=WITHIN_S)
        first = manager.pid
        manager.send(signal.SIGKILL)
        assert wait_until(lambda: manager.pid not in (0, first), within_s=WITHIN_S)
        assert manager.start_count == 2
        assert manager.ended_mono_s == 0.0
    assert manager.pid == 0


def test_who_is_frozen_is_ended_and_who_pings_is_not(tmp_path: Path) -> None:
    unit = Unit(restart_s=0.05, stop_s=2.0, watchdog_s=4.0, nice=0)
    words = [sys.executable, "-c", PINGS]
    with Manager(unit, words, os.environ, tmp_path / "log") as manager:
        assert wait_until(lambda: manager.pid > 0, within_s=WITHIN_S)
        time.sleep(1.5 * 4.0)
        assert manager.start_count == 1
        frozen_mono_s = manager.send(signal.SIGSTOP)
        assert wait_until(lambda: manager.start_count == 2, within_s=WITHIN_S)
        assert manager.ended_mono_s > frozen_mono_s


def test_an_outcome_is_held_only_if_all_of_it_is() -> None:
    seen = Outcome("a fault", 2.0)
    assert not seen.is_held, "driven never"
    seen.took(1.0)
    seen.check(True, "nothing")
    assert seen.is_held
    late = Outcome("late", 2.0, back_s=[0.1, 2.1])
    lost = Outcome("lost", 2.0, back_s=[0.1], broken=["a ring is gone"])
    never = Outcome("never", 2.0, back_s=[0.1])
    never.took(None)
    assert not late.is_held
    assert not lost.is_held
    assert not never.is_held
    assert not all_held([seen, late])
    assert (late.median_s, seen.fields()["held"]) == (2.1, True)


def test_the_ear_tells_pauses_and_what_came_after(tmp_path: Path) -> None:
    ear = Ear(tmp_path / "nobody.sock")
    try:
        assert ear.heard_after(0.0, within_s=0.05) is None
        bands = [-60.0] * 31
        for at_s, age_s in ((10.0, 0.01), (10.1, 0.01), (12.6, 0.5)):
            ear._take({"audio_age_s": age_s, "third_octave_dbfs": bands}, at_s)
        assert round(ear.longest_pause_s, 3) == 2.01
        assert ear.heard_after(12.0, within_s=0.05) is not None
        # Snapshots that bring no sound are no sound.
        ear._take({"audio_age_s": None}, 99.0)
        assert ear.heard_mono_s == 12.1
    finally:
        ear.close()
