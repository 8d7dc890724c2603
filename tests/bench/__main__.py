"""``make bench``: every table, one after the other; says what is left out and why.

``python -m tests.bench [TABLE ...] [--out DIR]``: some of the tables, and where JSON and pictures
go.  Each runs in a process of its own, and alone with ``python -m tests.bench.TABLE --help``.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

TABLES = (
    "cost",
    "precision",
    "daemon",
    "endurance",
    "faults",
    "excess",
    "ring_out",
    "placing",
    "channel",
    "journal",
    "memory",
    "gig_report",
    "packing",
    "live_page",
    "pages",
    "fuzz",
    "detector",
    "published",
    "protocol",
    "microphones",
)
NEED_SOUNDS = ("detector", "published", "protocol", "microphones")


def words_for(name: str, folder: Path) -> list[str]:
    """The words a table is called with, so that its results land in a folder."""
    if name == "detector":
        drawn = ["--pictures", str(folder)] if find_spec("matplotlib") else []
        return ["--json", str(folder / "detector.json"), *drawn]
    return (
        ["--json", str(folder / f"{name}.json")]
        if name in ("excess", "faults", "ring_out", "published")
        else []
    )


def why_not(name: str) -> str | None:
    """Why a table is left out; None when it is not."""
    if find_spec(f"tests.bench.{name}") is None:
        return "there is no such table yet"
    if name in NEED_SOUNDS and "HOWL_LANTERN_SOUNDS" not in os.environ:
        return "make a folder with 'make sounds' and name it in HOWL_LANTERN_SOUNDS"
    return None


def main() -> int:
    """Run each table in a process of its own; 1 if one of them failed."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument(
        "tables", nargs="*", metavar="TABLE", help=f"of {', '.join(TABLES)} (default: all)"
    )
    parser.add_argument("--out", type=Path, default=Path("build/bench"), metavar="DIR")
    asked = parser.parse_args()
    unknown = [name for name in asked.tables if name not in TABLES]
    if unknown:
        parser.error(f"unknown table {unknown[0]!r}; known: {', '.join(TABLES)}")
    asked.out.mkdir(parents=True, exist_ok=True)
    failed = []
    for name in asked.tables or TABLES:
        reason = why_not(name)
        if reason:
            print(f"--- left out: {name} ({reason})", flush=True)
            continue
        print(f"--- {name}", flush=True)
        command = [sys.executable, "-m", f"tests.bench.{name}", *words_for(name, asked.out)]
        if subprocess.run(command, check=False).returncode:
            failed.append(name)
    if failed:
        print(f"failed: {', '.join(failed)}", file=sys.stderr)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
