"""The practice desk's line: the vocal channel before its fader, as a cable to the box brings it.

Conventions
-----------
float32, full scale 1.0.  With the input gain at 0 dB loud singing peaks at about -9 dBFS: a
little too hot for most desks, so that there is something to put right.  What the singer does not
sing is here too: hum of the mains with its overtones, the stage's low rumble, and a hand at the
stand now and then.  All of it is invented and seeded; nothing is recorded.
"""

from __future__ import annotations

import math

import numpy as np

from monitor.stage.performer import LOUD_RMS

GAIN_MIN_DB = -20.0
GAIN_MAX_DB = 20.0
"""The input gain's way; its middle is where the scenario's band found it."""
LINE_LOUD_DBFS = -19.0
"""Level of loud singing: with the synthesised voice's crest of some 10 dB it peaks at -9 dBFS."""

_HUM_HZ = 50.0
_HUM_DBFS = ((1, -58.0), (2, -66.0), (3, -62.0))
"""Overtone and level; a line one can hear, and quieter than any voice.  Invented."""
_RUMBLE_DBFS = -50.0
_RUMBLE_HZ = (8.0, 35.0)
_THUMP_DBFS = -24.0
_THUMPS = 4
_KNOB_S = 0.03
_LOOP_S = 23
"""A whole number of seconds, so that hum at 50 Hz goes on without a seam."""


def stage_rumble(sample_rate_hz: int, seed: int) -> np.ndarray:
    """Return ``_LOOP_S`` seconds of hum, rumble and handling that go round without a seam."""
    n = _LOOP_S * sample_rate_hz
    rng = np.random.default_rng([seed, 21])
    t = np.arange(n) / sample_rate_hz
    sound = np.zeros(n)
    for overtone, level_dbfs in _HUM_DBFS:
        turn = 2.0 * np.pi * overtone * _HUM_HZ * t + rng.uniform(0.0, 2.0 * np.pi)
        sound += 10.0 ** (level_dbfs / 20.0) * np.sin(turn)
    frequency_hz = np.fft.rfftfreq(n, 1.0 / sample_rate_hz)
    inside = (frequency_hz >= _RUMBLE_HZ[0]) & (frequency_hz <= _RUMBLE_HZ[1])
    spectrum = np.where(inside, np.exp(2j * np.pi * rng.random(len(frequency_hz))), 0.0)
    rumble = np.fft.irfft(spectrum, n)
    sound += rumble * (10.0 ** (_RUMBLE_DBFS / 20.0) / np.sqrt(np.mean(rumble**2)))
    # A hand at the stand: a dull knock of a fifth of a second.
    local = np.arange(sample_rate_hz // 5) / sample_rate_hz
    for start_s in (np.arange(_THUMPS) + rng.uniform(0.1, 0.8, _THUMPS)) * (_LOOP_S / _THUMPS):
        pitch_hz = rng.uniform(28.0, 55.0)
        knock = np.sin(2.0 * np.pi * pitch_hz * local) * np.exp(-local / 0.05)
        at = int(start_s * sample_rate_hz)
        sound[at : at + len(knock)] += 10.0 ** (_THUMP_DBFS / 20.0) * knock
    return sound.astype(np.float32)


class StageLine:
    """Adds up what the vocal channel's line carries; not for more than one thread at a time.

    Parameters
    ----------
    sample_rate_hz, seed : int
        As of the stage.
    """

    def __init__(self, *, sample_rate_hz: int, seed: int) -> None:
        self._rate_hz = sample_rate_hz
        self._rumble = stage_rumble(sample_rate_hz, seed)
        self._place = 0
        self._gain: float | None = None
        self._parts: list[np.ndarray] = []

    def hear(self, sung: np.ndarray, came_back: np.ndarray, input_db: float) -> None:
        """Take in one block, float32 [n] each.

        ``sung`` is what the singer's microphone hears close up, with loud parts at ``LOUD_RMS``;
        ``came_back`` what the loudspeakers send back, on the same scale.  It has gone through low
        cut and sliders already, which is near enough for a meter and saves a convolution.
        """
        n = len(sung)
        index = (self._place + np.arange(n)) % len(self._rumble)
        self._place = (self._place + n) % len(self._rumble)
        scale = np.float32(10.0 ** (LINE_LOUD_DBFS / 20.0) / LOUD_RMS)
        sound = (sung + came_back) * scale + self._rumble[index]
        wanted = 10.0 ** (input_db / 20.0)
        before = wanted if self._gain is None else self._gain
        self._gain = before + (wanted - before) * -math.expm1(-n / self._rate_hz / _KNOB_S)
        gain = np.linspace(before, self._gain, n + 1)[1:]
        # Full scale is the converter's end.
        self._parts.append(np.clip(sound * gain, -1.0, 1.0).astype(np.float32))

    def take(self) -> np.ndarray:
        """Return what the line carried since it was last taken, float32."""
        parts, self._parts = self._parts, []
        return np.concatenate(parts) if parts else np.zeros(0, np.float32)
