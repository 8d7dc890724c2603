"""For in_an_arm_root: whether two machines hear the same in the same recordings.

``render FOLDER`` writes howling loops of the practice stage and what this machine's ``scan`` finds
in them; ``compare FOLDER`` holds against that what another's has found (``there.jsonl``).
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import soundfile

from monitor.stage.provoke import render_run
from monitor.stage.run_spec import random_spec

SEEDS = (42, 43, 44, 45)
APART_S = 0.05
"""Two hops: where a score comes within rounding of its threshold, a flag may be a look late."""
APART_CENTS = 1.0
"""A fifth of the smallest step in pitch that can be heard."""


def render(folder: Path) -> int:
    """Write the recordings and ``here.jsonl``; return 1 if nothing is found in one."""
    for seed in SEEDS:
        run = render_run(random_spec(seed, programmes=("talk",)))
        soundfile.write(folder / f"loop-{seed}.wav", run.closed, run.sample_rate_hz)
    words = ["scan", "--json", "--way", "soundcheck", *(f"loop-{seed}.wav" for seed in SEEDS)]
    found = subprocess.run(
        [Path(sys.executable).with_name("howl-lantern"), *words],
        cwd=folder,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    (folder / "here.jsonl").write_text(found)
    heard = {line["file"] for line in map(json.loads, found.splitlines())}
    print(f"{len(found.splitlines())} degrees of rings in {len(heard)} of {len(SEEDS)} recordings")
    return 0 if len(heard) == len(SEEDS) else 1


def compare(folder: Path) -> int:
    """Print how far apart the two are; return 1 if something is found on one side alone."""
    here, there = (
        [json.loads(line) for line in (folder / name).read_text().splitlines()]
        for name in ("here.jsonl", "there.jsonl")
    )
    print(f"{len(here)} degrees of rings here, {len(there)} there")
    waiting = list(there)
    alone = []
    for line in here:
        same = next((other for other in waiting if _is_same(line, other)), None)
        if same is None:
            alone.append(line)
        else:
            waiting.remove(same)
    for line in (*alone, *waiting):
        print(f"on one side alone: {line['file']} {line['kind']} {line['frequency_hz']} Hz")
    return 1 if alone or waiting or not here else 0


def _is_same(one: dict[str, Any], other: dict[str, Any]) -> bool:
    return (
        all(one[key] == other[key] for key in ("file", "kind", "band"))
        and abs(one["flagged_s"] - other["flagged_s"]) <= APART_S
        and abs(one["frequency_hz"] / other["frequency_hz"] - 1.0) <= APART_CENTS / 1731.0
    )


if __name__ == "__main__":
    sys.exit({"render": render, "compare": compare}[sys.argv[1]](Path(sys.argv[2])))
