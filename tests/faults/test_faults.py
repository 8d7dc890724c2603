"""Each fault once or twice, against real processes; ``python -m tests.bench.faults`` drives all.

Limits are generous: here it counts that nothing is lost and that it comes back at all; how soon
is the table's business.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.faults import cards, load, processes
from tests.faults.outcome import Outcome
from tests.sound_server import what_is_missing

GENEROUS_S = 25.0


@pytest.fixture(autouse=True)
def _sound() -> None:
    missing = what_is_missing()
    if missing:
        pytest.skip(missing)


def holds(seen: Outcome, within_s: float = GENEROUS_S) -> None:
    """Nothing went wrong, and it came back each time."""
    assert seen.broken == []
    assert len(seen.back_s) == seen.driven > 0
    assert max(seen.back_s) < within_s


def test_a_killed_page_comes_back_and_the_listening_goes_on(tmp_path: Path) -> None:
    holds(processes.page_killed(tmp_path, 1))


def test_a_killed_watcher_comes_back_with_every_ring_it_had_told_of(tmp_path: Path) -> None:
    holds(processes.watcher_killed(tmp_path, 1))


def test_a_frozen_watcher_is_ended_and_comes_back_while_the_page_goes_on(tmp_path: Path) -> None:
    seen = processes.watcher_frozen(tmp_path, 1)
    holds(seen)
    assert "the watchdog waits 3 s" in seen.remark, "by the number of the unit file"


def test_a_journal_that_is_spoilt_while_it_is_open_is_kept_aside(tmp_path: Path) -> None:
    holds(cards.journal_damaged_running(tmp_path, 1))


def test_busy_processors_lose_no_ring(tmp_path: Path) -> None:
    seen = load.processors_busy(tmp_path, seconds=5.0)
    # Blocks may be lost on a machine that is busy anyway, if they are counted.
    assert [each for each in seen.broken if "blocks were lost" not in each] == []
    assert seen.driven > 0


@pytest.mark.skipif(os.geteuid() != 0, reason="a memory cgroup needs root")
def test_little_memory_is_enough(tmp_path: Path) -> None:
    seen = load.memory_tight(tmp_path, seconds=5.0)
    if any("cannot be made" in each for each in seen.broken):
        pytest.skip("this machine has no memory controller for cgroups")
    holds(seen)
