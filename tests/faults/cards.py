"""Faults of the memory card: full, read-only, and a journal that is damaged."""

from __future__ import annotations

import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from firmware.fakes import wait_until
from tests.bench.pages import EVERY_S, write_howls
from tests.disks import WornCard, fill, small_disk, turn
from tests.faults.box import PATIENCE_S, Box
from tests.faults.outcome import GOAL_S, RESTART_GOAL_S, Outcome

DISK_KIB = 600
NO_RING = "nothing rang before it was driven"
RUBBISH = b"not a journal at all\n" * 400


def disk_full(folder: Path, times: int = 3) -> Outcome:
    """Fill the disk while it rings, and make room again; no ring may be missing afterwards."""
    seen = Outcome("disk full", GOAL_S, back="hearing (never away)")
    write_howls(folder / "howls.wav", 4.0 * EVERY_S * (times + 2))
    written_s = []
    with small_box(folder) as box:
        box.server.play(folder / "howls.wav")
        seen.check(wait_until(lambda: bool(box.rings()), within_s=PATIENCE_S), NO_RING)
        for _ in range(times):
            told = box.rings()
            box.ear.begin_count()
            filler = fill(box.state.parent)
            _said(box, "cannot be written", seen)
            more = wait_until(lambda told=told: box.rings() > told, within_s=PATIENCE_S)
            seen.check(more, "a ring that waits is not in the answers")
            waiting = box.rings()
            filler.unlink()
            written_s.append(_written_again(box, seen))
            seen.check(waiting <= box.rings(), "a ring that waited is gone")
            seen.took(box.ear.longest_pause_s)
        _all_on_disk(box, seen)
    seen.lost = "no ring: they wait in memory and are in the answers"
    seen.remark = f"written again at most {max(written_s):.1f} s after there is room"
    return seen


def disk_read_only(folder: Path, times: int = 3) -> Outcome:
    """Kill the watcher, turn its disk read-only, let it start and ring, and turn it back.

    A disk on which a file is open for writing does not turn read-only by a plain remount.
    """
    seen = Outcome("disk read-only at start", RESTART_GOAL_S)
    write_howls(folder / "howls.wav", 8.0 * EVERY_S * (times + 2))
    written_s = []
    with small_box(folder) as box:
        disk = box.state.parent
        box.server.play(folder / "howls.wav")
        for _ in range(times):
            seen.check(wait_until(lambda: bool(box.rings()), within_s=PATIENCE_S), NO_RING)
            told = box.rings()
            killed_mono_s = box.watcher.send(signal.SIGKILL)
            ended = wait_until(lambda: box.watcher.pid == 0, within_s=PATIENCE_S)
            seen.check(ended, "the watcher did not end")
            turn(disk, "ro")
            seen.took(box.ear.heard_after(killed_mono_s + 0.1))
            _said(box, "cannot be", seen)
            more = wait_until(lambda told=told: bool(box.rings() - told), within_s=PATIENCE_S)
            seen.check(more, "a ring that waits is not in the answers")
            waiting = box.rings()
            turn(disk, "rw")
            written_s.append(_written_again(box, seen))
            seen.check((waiting | told) <= box.rings(), "a ring is gone")
        _all_on_disk(box, seen)
    seen.lost = "no ring: they wait in memory and are in the answers"
    seen.remark = f"written again at most {max(written_s):.1f} s after it can be written"
    return seen


def card_fails(folder: Path, times: int = 3) -> Outcome:
    """Let the card fail under an open journal while it rings; then a power cycle.

    What rang after it waits in memory and ends with the power.
    """
    seen = Outcome("card fails while in use", GOAL_S, back="hearing (never away)")
    write_howls(folder / "howls.wav", 12.0 * EVERY_S)
    written: set[int] = set()
    with WornCard(folder) as card:
        for number in range(times + 1):
            run = folder / str(number)
            run.mkdir()
            with Box(run, state=card.place / "state") as box:
                there = wait_until(
                    lambda box=box, told=written: told <= box.rings(), within_s=PATIENCE_S
                )
                seen.check(there, "a ring that was written is gone")
                if number == times:
                    break
                box.server.play(folder / "howls.wav")
                written = _fails(box, card, written, seen)
            card.power_cycle()
    seen.lost = "what rang after the failure, with the power; until then it is in the answers"
    return seen


def _fails(box: Box, card: WornCard, before: set[int], seen: Outcome) -> set[int]:
    """Let the card fail after a ring was written; return the rings that were."""
    seen.check(wait_until(lambda: bool(box.rings() - before), within_s=PATIENCE_S), NO_RING)
    box.ear.wait_for(lambda s: s["journal"]["health"] == "ok")
    written = box.rings()
    box.ear.begin_count()
    turn(card.place, "abort")
    _said(box, "cannot be written", seen)
    more = wait_until(lambda: bool(box.rings() - written), within_s=PATIENCE_S)
    seen.check(more, "a ring that waits is not in the answers")
    seen.check(written <= box.rings(), "a ring that was written is not in the answers")
    seen.took(box.ear.longest_pause_s)
    return written


@contextmanager
def small_box(folder: Path) -> Iterator[Box]:
    """A box whose files lie on a small disk; CannotMount where none may be mounted."""
    with small_disk(folder / "disk", DISK_KIB) as disk, Box(folder, state=disk / "state") as box:
        yield box


def _said(box: Box, words: str, seen: Outcome) -> None:
    said = box.ear.wait_for(lambda s: words in s["journal"]["health"])
    seen.check(said is not None, f"it only says: {box.ear.snapshot['journal']['health']!r}")


def _written_again(box: Box, seen: Outcome) -> float:
    """Seconds until the journal is well."""
    since_mono_s = time.monotonic()
    well = box.ear.wait_for(lambda s: s["journal"]["health"] == "ok")
    seen.check(well is not None, "nothing is written again")
    return float("nan") if well is None else well - since_mono_s


def _all_on_disk(box: Box, seen: Outcome) -> None:
    """Kill the watcher: the next one knows only what is on the disk."""
    kept = box.rings()
    box.ear.heard_after(box.watcher.send(signal.SIGKILL) + 0.1)
    seen.check(bool(kept) and kept <= box.rings(), "a ring was not on the disk after all")


def journal_damaged_at_start(folder: Path, times: int = 5) -> Outcome:
    """Write rubbish over the journal of a watcher that is not there."""
    seen = Outcome("journal damaged at start", RESTART_GOAL_S)
    with Box(folder) as box:
        for number in range(times):
            time.sleep(1.0)
            killed_mono_s = box.watcher.send(signal.SIGKILL)
            spoil(box.journal_path)
            seen.took(box.ear.heard_after(killed_mono_s + 0.1))
            _said_and_kept(box, number + 1, seen)
    seen.lost = "what was damaged, kept aside and said; a new one is begun"
    return seen


def journal_damaged_running(folder: Path, times: int = 5) -> Outcome:
    """Write rubbish over the journal while it is open and it rings."""
    seen = Outcome("journal damaged, running", GOAL_S, back="hearing (never away)")
    write_howls(folder / "howls.wav", EVERY_S * (4 * times + 5))
    with Box(folder) as box:
        box.server.play(folder / "howls.wav")
        said_s = []
        for number in range(times):
            seen.check(wait_until(lambda: bool(box.rings()), within_s=PATIENCE_S), NO_RING)
            box.ear.begin_count()
            spoiled_mono_s = time.monotonic()
            spoil(box.journal_path)
            said_s.append(_said_and_kept(box, number + 1, seen) - spoiled_mono_s)
            seen.took(box.ear.longest_pause_s)
    seen.lost = "what was damaged, kept aside and said; a new one is begun"
    seen.remark = f"said {max(said_s):.1f} s after at most, at the next ring"
    return seen


def spoil(journal: Path) -> None:
    """Write rubbish over a journal and what lies beside it."""
    for path in journal.parent.glob(f"{journal.name}*"):
        if "damaged" not in path.name:
            with path.open("r+b") as file:
                file.write(RUBBISH)


def _said_and_kept(box: Box, number: int, seen: Outcome) -> float:
    """When it was said that the journal is damaged; looks for the file aside, too."""
    aside = f"{box.journal_path.name}.damaged-{number}"
    said = box.ear.wait_for(lambda s: aside in s["journal"]["health"])
    seen.check(said is not None, f"it only says: {box.ear.snapshot['journal']['health']!r}")
    seen.check((box.state / aside).exists(), "the damaged file is not kept aside")
    return float("nan") if said is None else said
