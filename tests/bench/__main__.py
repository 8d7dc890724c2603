"""``make bench``: every table, one after the other; says what is left out and why."""

from __future__ import annotations

import os
import subprocess
import sys

TABLES = ("cost", "daemon", "detector")


def main() -> int:
    """Run each table in a process of its own; 1 if one of them failed."""
    failed = []
    for name in TABLES:
        if name == "detector" and "HOWL_LANTERN_SOUNDS" not in os.environ:
            print("left out: detector (name a folder of sounds in HOWL_LANTERN_SOUNDS)")
            continue
        print(f"--- {name}", flush=True)
        if subprocess.run([sys.executable, "-m", f"tests.bench.{name}"], check=False).returncode:
            failed.append(name)
    if failed:
        print(f"failed: {', '.join(failed)}", file=sys.stderr)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
