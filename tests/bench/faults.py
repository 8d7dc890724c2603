"""Faults that happen on stage, each driven: what is lost, and how long until it is over.

Run with ``python -m tests.bench.faults [NAME ...] [--json FILE]``; all of them take about twenty
minutes.  Watcher and page are processes of their own, kept up by a stand-in for the service
manager that goes by the unit files' numbers; the microphone is a sound server's.  Lamp, panel and
the driver's errors are played, in the watcher's own process.  Times are from the fault's
end - a plug that is back in, a process that was killed - to the first sound that is listened to,
a tenth of a second too many at most.  What the tests hold already is named with its test.
"""

from __future__ import annotations

import argparse
import json
import logging
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.faults import cards, load, parts, processes, sound
from tests.faults.outcome import Outcome, all_held, print_head, print_row
from tests.sound_server import what_is_missing

FAULTS: dict[str, Callable[[Path], Outcome]] = {
    "microphone_pulled": sound.microphone_pulled,
    "server_killed": sound.server_killed,
    "server_frozen": sound.server_frozen,
    "driver_errors": sound.driver_errors,
    "processors_busy": load.processors_busy,
    "memory_tight": load.memory_tight,
    "lamp_errors": parts.lamp_errors,
    "panel_errors": parts.panel_errors,
    "page_killed": processes.page_killed,
    "page_frozen": processes.page_frozen,
    "watcher_killed": processes.watcher_killed,
    "watcher_frozen": processes.watcher_frozen,
    "socket_removed": processes.socket_removed,
    "settings_broken": processes.settings_broken,
    "disk_full": cards.disk_full,
    "disk_read_only": cards.disk_read_only,
    "card_fails": cards.card_fails,
    "journal_damaged_at_start": cards.journal_damaged_at_start,
    "journal_damaged_running": cards.journal_damaged_running,
}
TESTS = {
    "killed while writing": "tests/journal/test_killed.py",
    "disks": "tests/journal/test_disks.py",
    "damaged journal": "tests/journal/test_store.py",
    "clock jumps": "tests/journal/test_boots.py tests/gigs/test_gig_clerk.py",
    "lamp and panel": "tests/firmware/test_lamp_faults.py tests/firmware/test_panel.py",
    "settings": "tests/core/test_settings_kept.py",
    "kept files": "tests/core/test_kept_file.py",
}
"""What else is held by tests: run here too, so that the table says how it stands today."""


def run_tests() -> bool:
    """Run the tests that hold the rest; print and return how that went."""
    went_well = True
    for name, files in TESTS.items():
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *files.split()],
            capture_output=True,
            text=True,
            check=False,
        )
        last = (done.stdout.strip().splitlines() or ["no answer"])[-1].strip("= ")
        print(f"{name:24s}{last}: {files}", flush=True)
        went_well &= done.returncode == 0
    return went_well


def drive(name: str) -> Outcome:
    """Drive one fault in a folder of its own; a fault of the drive itself is not held either."""
    with tempfile.TemporaryDirectory(prefix="flt") as folder:
        try:
            return FAULTS[name](Path(folder))
        except (RuntimeError, OSError, subprocess.SubprocessError) as error:
            return Outcome(name, 0.0, broken=[f"could not be driven: {error}"])


def main() -> int:
    """Print the table; 1 if something was not held."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument(
        "names", nargs="*", metavar="NAME", help=f"of {', '.join(FAULTS)}, tests (default: all)"
    )
    parser.add_argument("--json", type=Path, metavar="FILE", help="write every figure there, too")
    asked = parser.parse_args()
    unknown = [name for name in asked.names if name not in (*FAULTS, "tests")]
    if unknown:
        parser.error(f"unknown fault {unknown[0]!r}; known: {', '.join(FAULTS)}, tests")
    missing = what_is_missing()
    if missing:
        print(missing, file=sys.stderr)
        return 1
    # What the played watchers log of their faults is no part of the table.
    logging.getLogger().addHandler(logging.NullHandler())
    print_head()
    seen = []
    for name in asked.names or FAULTS:
        if name != "tests":
            seen.append(drive(name))
            print_row(seen[-1])
    if asked.json is not None:
        asked.json.write_text(json.dumps([one.fields() for one in seen], indent=1))
    passed = run_tests() if not asked.names or "tests" in asked.names else True
    return 0 if all_held(seen) and passed else 1


if __name__ == "__main__":
    sys.exit(main())
