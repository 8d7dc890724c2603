"""A writer that is killed at random instants, and what has to be there afterwards.

The writer tells the journal rings, happenings and gigs without waiting, and prints the number of
each once the journal has called back that it is on the disk.  That is what may not be missing.
"""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from monitor.journal.asks import GetRecord, ListGigs
from tests.journal.telling import Told

ROOT = Path(__file__).parents[2]
PER_GIG = 40
WRITER = f"""
import faulthandler, sys
from pathlib import Path
faulthandler.dump_traceback_later(30.0)  # if it hangs, where
sys.path.insert(0, sys.argv[2])
from monitor.journal import store
from monitor.journal.asks import GigChange, Happening, Instant, VenueChange
from tests.journal.telling import Told
store.BATCH_S = float(sys.argv[4])
told = Told(Path(sys.argv[1]))
out = open(1, "w", buffering=1, closefd=False)
def acknowledge(number):
    def done(problem):
        if problem == "":
            out.write(f"{{number}}\\n")
    return done
number = int(sys.argv[3])
while True:
    gig = f"g{{number // {PER_GIG}}}"
    told.clock.run(1.0)
    if number % {PER_GIG} == 0:
        told.journal.tell(VenueChange(f"v{{number}}", "The Slipway"))
        told.journal.tell(GigChange(gig, begun=told.clock.at(), venue_uid=f"v{{number}}"))
    told.rings(gig, number)
    at = told.clock.at()
    told.tell(Happening(gig, "song", at.boot_id, at.uptime_s, {{"n": number}}))
    told.journal.tell(
        GigChange(gig, ended=at, ended_by="quiet", title=str(number)), acknowledge(number)
    )
    number += 1
"""


@dataclass
class Tally:
    """What came of it."""

    kills: int = 0
    opened: int = 0
    acknowledged: int = 0
    missing: int = 0
    unacknowledged: int = 0
    """On the disk although the writer was killed before it could say so."""


def kill_often(path: Path, kills: int, *, seed: int, batch_s: float = 0.001) -> Tally:
    """Kill a writer again and again and look at the file each time."""
    tally, chance, next_number = Tally(), random.Random(seed), 0
    for _ in range(kills):
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), str(ROOT), str(next_number), str(batch_s)],
            stdout=subprocess.PIPE,
            text=True,
        ) as writer:
            assert writer.stdout is not None
            # How many are told before the kill is no matter of how fast the disk is.
            lines = [writer.stdout.readline() for _ in range(chance.randint(1, 4))]
            time.sleep(chance.uniform(0.0, 0.1))
            writer.send_signal(signal.SIGKILL)
            lines += writer.stdout.read().splitlines(keepends=True)
        # A line that was cut off is no acknowledgement.
        numbers = [int(line) for line in lines if line.endswith("\n")]
        last = max(numbers, default=tally.acknowledged - 1)
        tally.kills += 1
        next_number = _look(path, last, tally)
    return tally


def _look(path: Path, last: int, tally: Tally) -> int:
    """Open the file as the next start does, and count; return the first number not there."""
    told = Told(path)
    gigs = told.ask(ListGigs(100_000))
    tally.opened += told.journal.health() == "ok"
    rings, songs, titles = set(), set(), set()
    for gig in gigs:
        record = told.ask(GetRecord(gig["uid"]))
        rings |= {ring["id"] for ring in record["rings"]}
        songs |= {h["n"] for h in record["happenings"] if h["kind"] == "song"}
        titles.add(int(record["gig"].get("title", -1)))
    told.close()
    # What it says last of a gig is the newest number of all that were told.
    newest_title = max(titles, default=-1)
    wanted = set(range(last + 1))
    tally.missing += len(wanted - rings) + len(wanted - songs) + (newest_title < last)
    tally.acknowledged = last + 1
    newest = max(rings | songs, default=-1)
    tally.unacknowledged += newest - last
    return newest + 1
