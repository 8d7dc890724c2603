"""What is measured on one sound, as it was when the weights were trained: ``numbers.json``.

The trees of ``scorer.json`` ask for numbers.  One that is reckoned otherwise than in training is
answered wrongly, without an error and in no way that a howl in a test need show.  ``make train``
writes the file anew.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np

from monitor.listening.layers import Layer
from monitor.listening.scorer import Scorers
from tests.bench.lines import Eye, F, follower, found_in, plain

NUMBERS_FILE = Path(__file__).with_name("numbers.json")
RATE_HZ = 48000
LINES_HZ = (146.0, 293.0, 587.0, 1003.0, 2950.0)
"""Three loops, one for either resolution and a quick one, and two partials of a note."""
LOOKED_AT_S = (1.0, 2.4, 4.2, 7.0)
"""The last is the sound's end."""


def measured() -> dict[str, dict[str, list[float]]]:
    """The features of looks and of courses, by line and time."""
    return {"looks": _told(plain), "courses": _told(follower(Scorers.packaged().look))}


def write() -> None:
    """Keep what is measured now: call it when the weights have been made."""
    parts = (
        f'"{whose}":{{\n'
        + ",\n".join(f"{json.dumps(at)}:{json.dumps(values)}" for at, values in told.items())
        + "\n}"
        for whose, told in measured().items()
    )
    NUMBERS_FILE.write_text("{" + ",\n".join(parts) + "}\n", "utf-8")


def _told(eye: Callable[[Layer], Eye[F]]) -> dict[str, list[float]]:
    """At each of ``LINES_HZ`` the last look up to each time."""
    last = {}
    for layer, count, found in found_in(_sound(), sample_rate_hz=RATE_HZ, eye=eye):
        due_s = next(at_s for at_s in LOOKED_AT_S if at_s >= count / RATE_HZ)
        for hz in LINES_HZ:
            apart_hz = np.abs(found.frequency_hz - hz)
            if apart_hz.min() < layer.history.bin_hz:
                values = found.features[apart_hz.argmin()]
                last[f"{hz:g} Hz by {due_s:g} s"] = [float(f"{value:.6g}") for value in values]
    return last


def _sound() -> np.ndarray:
    """Loops that climb, stand and fall, notes with partials and vibrato, knocks, over noise."""
    t = np.arange(round(LOOKED_AT_S[-1] * RATE_HZ)) / RATE_HZ
    # numpy's one generator whose numbers are promised to stay as they are (NEP 19).
    noise = np.random.RandomState(5).standard_normal(len(t))

    def tone(hz: float, level_db: np.ndarray, vibrato_cents: float = 0.0) -> np.ndarray:
        swing_s = vibrato_cents / 1731.0 * np.sin(2.0 * np.pi * 5.5 * t) / (2.0 * np.pi * 5.5)
        return np.asarray(10.0 ** (level_db / 20.0) * np.sin(2.0 * np.pi * hz * (t + swing_s)))

    def loop(from_s: float, db_per_s: float, limit_db: float, until_s: float) -> np.ndarray:
        level_db = np.minimum(-75.0 + db_per_s * (t - from_s), limit_db)
        return np.where(t < from_s, -160.0, level_db - 30.0 * np.maximum(t - until_s, 0.0))

    sound = 10.0 ** ((-50.0 + 5.0 * np.sin(2.0 * np.pi * 0.7 * t)) / 20.0) * noise
    sound += tone(146.0, loop(0.3, 9.0, -25.0, until_s=6.3))
    sound += tone(1003.0, loop(0.8, 16.0, -20.0, until_s=5.0))
    sound += tone(2950.0, loop(0.0, 45.0, -30.0, until_s=9.0))
    for partial, below_db in ((1, 0.0), (2, 9.0), (3, 15.0), (4, 26.0)):
        sound += tone(293.0 * partial, -22.0 - 14.0 * (t % 1.7) - below_db, vibrato_cents=6.0)
    for at_s in (0.9, 2.2, 4.1):
        sound += np.where(t < at_s, 0.0, 0.1 * np.exp(np.minimum(at_s - t, 0.0) / 0.02)) * noise
    return sound.astype(np.float32)
