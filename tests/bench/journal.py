"""What the journal stands and what it costs: pulled plugs, the size of years, answers' time.

Run with ``python -m tests.bench.journal [--kills N] [--gigs N] [--json FILE]``.  A killed process
loses what it had not handed to the kernel; what a pulled plug loses besides is what the disk had
not flushed, and ``synchronous = FULL`` asks it to.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from dataclasses import asdict
from pathlib import Path
from typing import Any

from monitor.journal.asks import GetRecord, ListGigs, ListVenues, Recollect
from tests.journal.evenings import play_evening
from tests.journal.killed import kill_often
from tests.journal.telling import Told

GIGS, RINGS, HOURS = 200, 200, 3.0


def size(folder: Path, gigs: int) -> dict[str, Any]:
    """Keep so many evenings with everything in them; return sizes and the answers' times."""
    told = Told(folder / "journal.sqlite3", keep_rings=1_000_000)
    began_s = time.perf_counter()
    for number in range(gigs):
        play_evening(told, f"gig{number}", rings=RINGS, hours=HOURS, seed=number)
    seconds = {"write all": time.perf_counter() - began_s}
    for name, question in (
        ("list 100 gigs", ListGigs(100)),
        ("list venues", ListVenues()),
        ("newest record", GetRecord(f"gig{gigs - 1}")),
        ("recollect", Recollect("venue0")),
    ):
        began_s = time.perf_counter()
        told.ask(question, patience_s=600.0)
        seconds[name] = time.perf_counter() - began_s
    record = told.ask(GetRecord(f"gig{gigs - 1}"))
    told.close()
    (file,) = folder.glob("journal.sqlite3")
    return {
        "gigs": gigs,
        "file_bytes": file.stat().st_size,
        "record_chars": len(json.dumps(record, separators=(",", ":"))),
        "seconds": {name: round(value, 3) for name, value in seconds.items()},
    }


def main() -> int:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--gigs", type=int, default=GIGS)
    parser.add_argument("--json", type=Path)
    asked = parser.parse_args()
    results: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder:
        sizes = results["size"] = size(Path(folder), asked.gigs)
        print(
            f"{sizes['gigs']} gigs of {HOURS:g} h and {RINGS} rings: "
            f"{sizes['file_bytes'] / 1e6:.1f} MB; the newest record {sizes['record_chars']} chars"
        )
        for name, seconds in sizes["seconds"].items():
            print(f"  {name:<16} {seconds:8.3f} s")
    with tempfile.TemporaryDirectory() as folder:
        tally = kill_often(Path(folder) / "journal.sqlite3", asked.kills, seed=20_310_517)
        results["kills"] = asdict(tally)
        print(
            f"{tally.kills} times killed: opened {tally.opened}, acknowledged "
            f"{tally.acknowledged} rings with a happening each, missing {tally.missing}"
        )
    if asked.json:
        asked.json.write_text(json.dumps(results, indent=1), encoding="utf-8")
    return 1 if tally.missing or tally.opened != tally.kills else 0


if __name__ == "__main__":
    raise SystemExit(main())
