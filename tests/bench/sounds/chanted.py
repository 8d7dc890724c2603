"""Recipe for singing by speech synthesis: recorded diphones on the notes of a tune."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.bench.sounds.recipe import Recipe
from tests.bench.sounds.shelf import SAMPLE_RATE_HZ, Shelf
from tests.bench.sounds.singer import Note, tune
from tests.bench.sounds.store import Store, decoded, run

LETTERS = "C C# D D# E F F# G G# A A# B".split()
HEAD = '<?xml version="1.0"?>\n<!DOCTYPE SINGING PUBLIC "-//SINGING//DTD SINGING mark up//EN" '
HEAD += '"Singing.v0_1.dtd" []>\n<SINGING BPM="60">\n'


@dataclass(frozen=True, slots=True)
class Chanted:
    """Minutes of one voice of the Festival speech synthesiser in its singing mode."""

    package: str
    licence: str
    voice: str
    keys: tuple[int, int]
    """MIDI keys; above 71 some voices crash the synthesiser."""
    words: str
    minutes: int

    @property
    def prefix(self) -> str:
        """How its files begin."""
        return f"chant_{self.voice}"

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put them on the shelf, every second one with vibrato."""
        store.tools("festival", "festlex-cmu", "festlex-poslex", "festival-czech", self.package)
        for k in range(self.minutes):
            name = f"{self.prefix}_{k:02d}"
            if shelf.has(name):
                continue
            rng = np.random.default_rng([73, k, *self.voice.encode()])
            samples = self._sung(tune(self.keys, 60.0, rng), rng)
            if k % 2:
                samples = trembled(samples, rng.uniform(4.8, 6.4), rng.uniform(20.0, 70.0))
            note = "speech synthesis, singing mode, held notes"
            shelf.put(name, samples, "singing", self.package, self.licence, note)

    def _sung(self, notes: list[Note], rng: np.random.Generator) -> np.ndarray:
        with tempfile.TemporaryDirectory() as folder:
            song, wave = Path(folder) / "song.xml", Path(folder) / "song.wav"
            song.write_text(marked_up(notes, self.words.split(), rng), encoding="utf-8")
            chosen = f"(voice_{self.voice})"
            run(["text2wave", "-mode", "singing", "-eval", chosen, song, "-o", wave])
            return decoded(wave)


def marked_up(notes: list[Note], words: list[str], rng: np.random.Generator) -> str:
    """The tune as Festival reads it, a word a note; a beat is a second."""
    lines, end_s = [HEAD], 0.0
    for note in notes:
        if note.at_s - end_s > 0.15:
            lines.append(f'<REST BEATS="{note.at_s - end_s:.2f}"></REST>')
        octave, step = divmod(round(note.key), 12)
        # Festival counts octaves one higher than MIDI's custom, by which key 60 is C4.
        name = f"{LETTERS[step]}{octave}"
        sung = f'<PITCH NOTE="{name}">{words[int(rng.integers(len(words)))]}</PITCH>'
        lines.append(f'<DURATION BEATS="{note.long_s:.2f}">{sung}</DURATION>')
        end_s = note.at_s + note.long_s
    return "\n".join([*lines, "</SINGING>\n"])


def trembled(samples: np.ndarray, rate_hz: float, cents: float) -> np.ndarray:
    """The same with vibrato of ``cents`` to either side, by a delay that comes and goes."""
    depth_s = (2.0 ** (cents / 1200.0) - 1.0) / (2.0 * np.pi * rate_hz)
    t = np.arange(len(samples)) / SAMPLE_RATE_HZ
    at = (t + depth_s * np.sin(2.0 * np.pi * rate_hz * t)) * SAMPLE_RATE_HZ
    return np.interp(at, np.arange(len(samples)), samples).astype(np.float32)


ITALIAN = "la mare sole mano luna vita amore tu mai sera"
FINNISH = "laa kuu maa tuuli sini meri tule talo"
WOMAN = (52, 69)
CHANTED: list[Recipe] = [
    Chanted(
        "festvox-kallpc16k",
        "free (CSTR, CMU; see package copyright)",
        "kal_diphone",
        (48, 72),
        "la moon fall low morning day so home you say rain light",
        6,
    ),
    Chanted("festvox-suopuhe-mv", "LGPL-2+", "hy_fi_mv_diphone", (40, 64), FINNISH, 5),
    Chanted("festvox-suopuhe-lj", "LGPL-2+", "suo_fi_lj_diphone", WOMAN, FINNISH, 6),
    Chanted("festvox-italp16k", "GPL-2+", "lp_diphone", WOMAN, ITALIAN, 6),
    Chanted("festvox-itapc16k", "GPL-2+", "pc_diphone", (48, 72), ITALIAN, 6),
    Chanted(
        "festvox-czech-dita",
        "GPL-3+",
        "czech_dita",
        WOMAN,
        "la slunce den ty noc nebe dobro more",
        6,
    ),
]
