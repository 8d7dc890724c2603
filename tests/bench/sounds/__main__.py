"""``make sounds``: builds the folder of sounds without feedback for training and scoring.

``python -m tests.bench.sounds [FOLDER] [--only PACKAGE ...] [--keep]``

Fetches packages with music, speech and sound fonts from Debian's archive and the npm registry,
takes or renders sound from them, and leaves mono 48 kHz FLAC files and a ``manifest.csv`` in
FOLDER (``sounds``).  It needs Debian 12 with its package sources, root (to install ffmpeg,
synthesisers and voices) and npm; docs/listening.md says how much time and room.  Broken off, it
goes on where it was.  What cannot be had is named and left out.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import time
from pathlib import Path

from tests.bench.sounds.chanted import CHANTED
from tests.bench.sounds.fonts import RENDERED
from tests.bench.sounds.games import GAMES
from tests.bench.sounds.recipe import Recipe, title_of
from tests.bench.sounds.shelf import Shelf
from tests.bench.sounds.sources import RECORDED
from tests.bench.sounds.store import Missing, Store
from tests.bench.sounds.tones import Tones
from tests.bench.sounds.voices import SUNG

RECIPES: list[Recipe] = [*RECORDED, *GAMES, *RENDERED, *SUNG, *CHANTED, Tones(101)]


def main(words: list[str] | None = None) -> int:
    """Follow every recipe; 1 if something was missing."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.sounds", description=__doc__)
    parser.add_argument("folder", nargs="?", default="sounds", type=Path, help="where they go")
    parser.add_argument("--only", nargs="*", metavar="PACKAGE", help="only what comes from these")
    parser.add_argument("--keep", action="store_true", help="keep the unpacked packages")
    asked = parser.parse_args(words)
    shelf, store = Shelf(asked.folder), Store(asked.folder / "packages")
    recipes = [one for one in RECIPES if not asked.only or one.package in asked.only]
    missing: list[str] = []
    try:
        store.tools("ffmpeg")
    except Missing as error:
        print(f"nothing is made without {error}", file=sys.stderr)
        return 1
    for number, recipe in enumerate(recipes, 1):
        title = title_of(recipe)
        if title in shelf.finished():
            continue
        began_s, before = time.monotonic(), len(shelf.rows)
        try:
            recipe.make(shelf, store)
        except Missing as error:
            missing.append(f"{title}: {error}")
            print(f"{number}/{len(recipes)} left out: {missing[-1]}", flush=True)
            continue
        shelf.finish(title)
        made, took_s = len(shelf.rows) - before, time.monotonic() - began_s
        minutes = sum(row.duration_s for row in shelf.rows[before:]) / 60.0
        print(
            f"{number}/{len(recipes)} {title}: {made} files, {minutes:.1f} min, in {took_s:.0f} s",
            flush=True,
        )
    if not asked.keep:
        shutil.rmtree(store.folder, ignore_errors=True)
    print(summary(shelf))
    for line in missing:
        print(f"missing: {line}", file=sys.stderr)
    return 1 if missing else 0


def summary(shelf: Shelf) -> str:
    """Hours by kind, a line each."""
    hours: dict[str, float] = {}
    for row in shelf.rows:
        hours[row.kind] = hours.get(row.kind, 0.0) + row.duration_s / 3600.0
    lines = [f"{kind:24} {hours[kind]:6.2f} h" for kind in sorted(hours)]
    return "\n".join([*lines, f"{len(shelf.rows)} files {sum(hours.values()):16.2f} h"])


if __name__ == "__main__":
    sys.exit(main())
