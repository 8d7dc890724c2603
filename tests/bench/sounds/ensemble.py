"""Recipe for small bands of a sound font: slow songs with held and swelling parts in them.

A swell that comes out of silence alone is one thing, a pad that swells under drums and a tune is
what a stage has more of.
"""

from __future__ import annotations

import random

from tests.bench.sounds.instruments import INSTRUMENTS
from tests.bench.sounds.midi import DRUMS, EXPRESSION, Score, rendered
from tests.bench.sounds.rendered import Composed, Font

PROGRESSIONS = ((0, 5, 3, 4), (0, 3, 0, 4), (5, 3, 0, 4), (0, 2, 3, 4), (0, 4, 5, 3))
"""Degrees of the scale a bar stands on; the commonest of popular songs."""
MAJOR = (0, 2, 4, 5, 7, 9, 11)
PADS = ("string_ensemble", "church_organ", "accordion", "reed_organ", "drawbar_organ", "halo_pad")
LEADS = ("flute", "violin", "clarinet", "trumpet", "oboe", "recorder", "alto_sax", "cello")
SONG_S = 75.0


def ensembles(font: Font, count: int, seed: int) -> Composed:
    """Songs of drums, bass, a swelling pad and a lead that holds its notes."""
    return Composed(
        font,
        count,
        seed,
        prefix="ensemble",
        note="slow song made by this program: swelling pad, held lead, bass, drums",
        compose=lambda chance, path: rendered(song(chance), path, True, SONG_S),
    )


def song(chance: random.Random) -> Score:
    """Seventy-five seconds in one key."""
    beat_s = 60.0 / chance.uniform(56.0, 104.0)
    bar_s, tonic = 4.0 * beat_s, chance.randint(43, 54)
    degrees = chance.choice(PROGRESSIONS)
    pad, lead = INSTRUMENTS[chance.choice(PADS)], INSTRUMENTS[chance.choice(LEADS)]
    score = Score(pad.program, pad.bank, 0)
    score.program(lead.program, 1)
    score.program(chance.choice([32, 33, 35]), 2)
    score.program(0, DRUMS)
    drums, every = chance.random() < 0.7, chance.choice([1, 2])
    octave = 12 * round((0.5 * (lead.low + lead.high) - tonic) / 12.0)
    bars = int(SONG_S // bar_s)
    for bar in range(bars):
        at_s, degree = 0.2 + bar * bar_s, degrees[bar % 4]
        for third in (0, 2, 4):
            score.note(at_s, tonic + 12 + _step(degree + third), bar_s * 0.98, 80)
        if bar % 2 == 0:
            _swell(score, at_s, 2.0 * bar_s, 0, chance)
        for beat in range(0, 4, every):
            score.note(at_s + beat * beat_s, tonic - 12 + _step(degree), beat_s * every, 90, 2)
        if drums and bar >= 2:
            _drums(score, at_s, beat_s)
        if bar % 4 == 3 or chance.random() < 0.3:
            score.note(at_s, tonic + octave + _step(degree + 2), bar_s, 95, 1)
            _swell(score, at_s, bar_s, 1, chance)
            score.control(at_s + bar_s, EXPRESSION, 115, 1)  # or the tune after it is lost
        else:
            for beat in range(4):
                step = degree + chance.choice([0, 1, 2, 4])
                score.note(at_s + beat * beat_s, tonic + octave + _step(step), beat_s, 90, 1)
    return score


def _step(degree: int) -> int:
    """Half tones above the tonic."""
    return 12 * (degree // 7) + MAJOR[degree % 7]


def _swell(score: Score, at_s: float, long_s: float, channel: int, chance: random.Random) -> None:
    """Expression from ``low`` up to full, or there and back; its loudness goes with the square."""
    low, peak = chance.randint(8, 60), chance.choice([0.5, 0.9])
    for j in range(60):
        part = j / 60.0
        height = part / peak if part < peak else (1.0 - part) / (1.0 - peak)
        score.control(at_s + part * long_s, EXPRESSION, int(low + (120 - low) * height), channel)


def _drums(score: Score, at_s: float, beat_s: float) -> None:
    for key, beats in ((36, (0, 2)), (38, (1, 3)), (42, (0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5))):
        for beat in beats:
            score.note(at_s + beat * beat_s, key, 0.1, 75 if key == 42 else 100, DRUMS)
