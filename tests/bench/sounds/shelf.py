"""The folder the sounds go into: mono 48 kHz 16-bit FLAC, one level, listed in its manifest."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import soundfile

from tests.bench.sounds import manifest

SAMPLE_RATE_HZ = 48000
PEAK = 10.0 ** (-3.0 / 20.0)
SILENT = 1e-3
"""A synthesiser without an instrument still dithers its last bits."""
SHORTEST_S = 0.5
"""Shorter ones hold no line that could stand still long enough to be doubted."""


def file_name(name: str) -> str:
    """``name`` as a file name any system takes."""
    return re.sub(r"[^A-Za-z0-9_.-]+", "_", name) + ".flac"


class Shelf:
    """Finished sounds; what stands on it already is not made again."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self._list = folder / "manifest.csv"
        self._finished = folder / "finished.txt"
        self.rows = [row for row in manifest.read(self._list) if (folder / row.file).is_file()]
        self._names = {row.file for row in self.rows}

    def has(self, name: str) -> bool:
        """True if the sound of this name is finished."""
        return file_name(name) in self._names

    def seconds(self, name: str) -> float:
        """How long a finished sound is."""
        return next(row.duration_s for row in self.rows if row.file == file_name(name))

    def put(
        self, name: str, samples: np.ndarray, kind: str, package: str, licence: str, note: str = ""
    ) -> None:
        """Write one sound (float [n], 48 kHz) at -3 dBFS peak and list it.

        What is silent or shorter than half a second is left out.
        """
        peak = float(np.abs(samples).max()) if len(samples) else 0.0
        if len(samples) < SHORTEST_S * SAMPLE_RATE_HZ or peak < SILENT:
            return
        path = self.folder / file_name(name)
        half = path.with_suffix(".part")
        soundfile.write(half, samples * (PEAK / peak), SAMPLE_RATE_HZ, "PCM_16", format="FLAC")
        half.replace(path)
        seconds = round(len(samples) / SAMPLE_RATE_HZ, 2)
        self.rows = [row for row in self.rows if row.file != path.name]
        self.rows.append(manifest.Row(path.name, kind, seconds, package, licence, note))
        self._names.add(path.name)
        manifest.write(self._list, self.rows)

    def finished(self) -> set[str]:
        """Names of the recipes that need not be followed again."""
        if not self._finished.is_file():
            return set()
        return set(self._finished.read_text(encoding="utf-8").splitlines())

    def finish(self, recipe: str) -> None:
        """Remember that all sounds of a recipe are made."""
        with self._finished.open("a", encoding="utf-8") as file:
            file.write(recipe + "\n")
