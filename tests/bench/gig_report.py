"""What a gig's report costs: ``python -m tests.bench.gig_report [--rings N] [--hours H]``.

A gig is kept in a journal, read back and written in every form; each part is timed alone, and
the whole command once more as a process of its own, start of the interpreter included.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

from monitor.journal.asks import MergeRecords
from monitor.journal.reading import open_reading
from monitor.journal.record import check_record
from monitor.journal.store import Journal
from monitor.report.evening import evening_of
from monitor.report.page import report_html
from monitor.report.pictures import gig_png, gig_svg
from monitor.report.tables import csv_text, json_text
from tests.report.made_gig import RECOLLECTION, record

TIMES = 5
"""Each part so often; the middle counts, since the machine does other things as well."""
WANTED_S = 3.0


def kept(folder: Path, made: dict[str, Any]) -> Path:
    """Keep a record in a new journal; return the journal's path."""
    path = folder / "journal.sqlite3"
    journal = Journal(path, keep_rings=1_000_000)
    done = threading.Event()
    journal.ask(MergeRecords([check_record(made)]), lambda *_: done.set())
    if not done.wait(60.0):
        raise TimeoutError("the journal did not take the gig in")
    journal.close()
    return path


def timed(do: Callable[[], object]) -> tuple[float, object]:
    """Return the median time in seconds and what came of it."""
    times_s, result = [], None
    for _ in range(TIMES):
        begun_s = time.perf_counter()
        result = do()
        times_s.append(time.perf_counter() - begun_s)
    return median(times_s), result


def read(path: Path, uid: str) -> dict[str, Any]:
    """Read the record as the command does."""
    with open_reading(path) as reading:
        return reading.record(uid)


def command(path: Path, output: Path) -> None:
    """Run ``howl-lantern report`` as a process of its own."""
    words = ["report", "-o", str(output), "--set", f"journal.file={path}"]
    subprocess.run([sys.executable, "-m", "monitor.cli", *words], check=True, timeout=60)


def main() -> int:
    """Print the table; 1 if the whole report takes longer than is wanted."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rings", type=int, default=200, metavar="N")
    parser.add_argument("--hours", type=float, default=3.0, metavar="H")
    asked = parser.parse_args()
    made = record(asked.rings, asked.hours)
    uid = made["gig"]["uid"]
    with tempfile.TemporaryDirectory(prefix="report") as name:
        folder = Path(name)
        path = kept(folder, made)
        found = read(path, uid)
        parts: list[tuple[str, Callable[[], object]]] = [
            ("read from the journal", lambda: read(path, uid)),
            ("looked through", lambda: evening_of(found)),
            ("timeline, SVG", lambda: gig_svg(found)),
            ("curve, SVG", lambda: gig_svg(found, "curve")),
            ("page, HTML", lambda: report_html(found, RECOLLECTION)),
            ("timeline, PNG", lambda: gig_png(found)),
            ("rings, CSV", lambda: csv_text(found, "rings")),
            ("happenings, CSV", lambda: csv_text(found, "happenings")),
            ("everything, JSON", lambda: json_text(found)),
            ("command, HTML", lambda: command(path, folder / "a.html")),
            ("command, PNG", lambda: command(path, folder / "a.png")),
        ]
        print(f"a gig of {asked.hours:g} h with {asked.rings} rings, median of {TIMES}")
        for what, do in parts:
            seconds, result = timed(do)
            size = f"{len(result):>9} bytes" if isinstance(result, str | bytes) else ""
            print(f"  {what:<24} {1000.0 * seconds:>8.1f} ms  {size}".rstrip())
            if what == "command, HTML":
                whole_s = seconds
        size = (folder / "a.html").stat().st_size
    print(f"the report as a command: {whole_s:.2f} s of {WANTED_S:g} s wanted, {size} bytes")
    return int(whole_s > WANTED_S)


if __name__ == "__main__":
    sys.exit(main())
