"""Faults of the processes: killed, frozen, their socket removed, their settings broken."""

from __future__ import annotations

import random
import signal
import time
from pathlib import Path

from firmware.fakes import wait_until
from tests.bench.pages import EVERY_S, write_howls
from tests.faults.box import PATIENCE_S, Box, answers
from tests.faults.outcome import GOAL_S, RESTART_GOAL_S, Outcome

ALIVE_S = 3.0
"""How long one that was started again is left alone before it is hit again."""


def page_killed(folder: Path, times: int = 10) -> Outcome:
    """Kill the page; the watcher must not notice."""
    seen = Outcome("page killed", RESTART_GOAL_S, back="page answers")
    with Box(folder, with_page=True) as box:
        box.ear.begin_count()
        lost_before = box.lost_blocks()  # as it started
        for _ in range(times):
            before = box.page.start_count
            killed_mono_s = box.page.send(signal.SIGKILL)
            begun = wait_until(
                lambda before=before: box.page.start_count > before, within_s=PATIENCE_S
            )
            back = begun and wait_until(box.page_answers, within_s=PATIENCE_S)
            seen.took(time.monotonic() - killed_mono_s if back else None)
        pause_s = box.ear.longest_pause_s
        seen.check(box.watcher.start_count == 1, "the watcher ended too")
        seen.check(pause_s < GOAL_S, f"the listening paused for {pause_s:.1f} s")
        lost = box.lost_blocks() - lost_before
        seen.check(lost == 0, f"{lost} blocks were lost")
    seen.lost = "no sound"
    seen.remark = f"the listening never paused for more than {pause_s:.2f} s"
    return seen


def page_frozen(folder: Path, times: int = 3) -> Outcome:
    """Halt the page; the service manager should end it as it ends a watcher that hangs."""
    seen = Outcome("page frozen", RESTART_GOAL_S, back="page answers, from end")
    seen.lost = "no sound"
    with Box(folder, with_page=True) as box:
        if box.page.unit.watchdog_s is None:
            seen.check(False, "its unit has no WatchdogSec=: nobody notices, until it is killed")
            return seen
        for _ in range(times):
            time.sleep(ALIVE_S)
            frozen_mono_s = box.page.send(signal.SIGSTOP)
            ended = wait_until(
                lambda since=frozen_mono_s: box.page.ended_mono_s > since,
                within_s=box.page.unit.watchdog_s + PATIENCE_S,
            )
            back = ended and wait_until(box.page_answers, within_s=PATIENCE_S)
            seen.took(time.monotonic() - box.page.ended_mono_s if back else None)
        seen.check(box.watcher.start_count == 1, "the watcher ended too")
    return seen


def watcher_killed(folder: Path, times: int = 20) -> Outcome:
    """Kill the watcher at any moment while it rings and writes."""
    seen = Outcome("watcher killed", RESTART_GOAL_S)
    chance = random.Random(6)
    write_howls(folder / "howls.wav", EVERY_S * (3 * times + 5))
    rings = 0
    with Box(folder) as box:
        box.server.play(folder / "howls.wav")
        box.ear.wait_for(lambda s: bool(s["recent"]))
        for _ in range(times):
            time.sleep(ALIVE_S + chance.uniform(0.0, EVERY_S))
            told = box.rings()
            killed_mono_s = box.watcher.send(signal.SIGKILL)
            seen.took(box.ear.heard_after(killed_mono_s + 0.1))
            missing = told - box.rings()
            seen.check(not missing, f"rings {sorted(missing)} are not in the journal any more")
            rings = max(rings, len(told))
        seen.check(box.watcher.start_count == times + 1, "it started more often than it ended")
    seen.check(rings > 0, "no ring was there to be lost")
    seen.lost = f"no ring of the {rings} that the journal had told of, and no sound but meanwhile"
    return seen


def watcher_frozen(folder: Path, times: int = 5) -> Outcome:
    """Halt the watcher; the service manager ends it, for want of pings, and starts another."""
    seen = Outcome("watcher frozen", RESTART_GOAL_S)
    with Box(folder, with_page=True) as box:
        for _ in range(times):
            time.sleep(ALIVE_S)
            frozen_mono_s = box.watcher.send(signal.SIGSTOP)
            heard = box.ear.heard_after(frozen_mono_s + 0.2, 2.0 * PATIENCE_S)
            ended = box.watcher.ended_mono_s > frozen_mono_s
            seen.check(ended, "nobody ended it")
            seen.took(None if heard is None or not ended else 0.2 + heard)
        seen.check(box.page.start_count == 1, "the page ended too")
    seen.remark = f"the watchdog waits {box.watcher.unit.watchdog_s:g} s for a ping"
    seen.lost = "the sound until then; the page goes on"
    return seen


def socket_removed(folder: Path, times: int = 20) -> Outcome:
    """Remove the socket's file while the watcher runs."""
    seen = Outcome("socket removed", GOAL_S, back="somebody new connects")
    with Box(folder) as box:
        box.ear.begin_count()
        for _ in range(times):
            removed_mono_s = time.monotonic()
            box.socket_path.unlink()
            back = wait_until(lambda: answers(box.socket_path), within_s=PATIENCE_S)
            seen.took(time.monotonic() - removed_mono_s if back else None)
        pause_s = box.ear.longest_pause_s
        seen.check(pause_s < 1.0, f"who was connected waited {pause_s:.1f} s")
        seen.check(box.watcher.start_count == 1, "the watcher ended")
    seen.lost = "nothing; who was connected stays so"
    return seen


def settings_broken(folder: Path, times: int = 5) -> Outcome:
    """Break the settings and kill the watcher: it starts with the last good ones, and says so."""
    seen = Outcome("settings broken at start", RESTART_GOAL_S)
    with Box(folder) as box:
        kept = box.state / "settings.good.toml"
        seen.check(wait_until(kept.exists, within_s=PATIENCE_S), "no settings are kept")
        good = box.settings_path.read_text()
        for number in range(times):
            broken = ("[gigs]\nquiet_ends_min = [\n", 'way = "loud"\n', "\0")[number % 3]
            box.settings_path.write_text(good + broken)
            killed_mono_s = box.watcher.send(signal.SIGKILL)
            seen.took(box.ear.heard_after(killed_mono_s + 0.1))
            said = box.ear.snapshot.get("settings", {}).get("health", "")
            seen.check("last good settings" in said, f"it only says: {said!r}")
            seen.check(kept.read_text() == good, "the last good ones are lost")
            time.sleep(ALIVE_S)
    seen.lost = "nothing; the mistake is said on panel and page"
    return seen
