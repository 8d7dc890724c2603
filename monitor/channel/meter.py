"""The vocal channel, sample by sample: level, voice, pitch and what lies below it.

All is a function of the samples: the same sound in any blocks gives the same fields.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import Any, Literal

import numpy as np

from monitor.channel import gain_advice, report
from monitor.channel.clipping import Clipping
from monitor.channel.gain_advice import Advice, Heard, Scale
from monitor.channel.gate import ALevel, Gate, Hum
from monitor.channel.hops import Hops, Windows, checked
from monitor.channel.looks import Looks
from monitor.channel.loudness import CELL_HOPS, Cell, Hop, Kind, Parts, Running, peak_dbfs
from monitor.channel.low_cut_view import LowCutView
from monitor.channel.pitch import LOWEST_HZ, PitchTracker
from monitor.channel.pitch_range import Settled, semitones
from monitor.channel.spectra import LONG_S, SHORT_S, Spectra
from monitor.channel.tone import ToneWatch
from monitor.channel.voice import VoiceJudge
from monitor.listening.listener import HIGHEST_RATE_HZ, LOWEST_RATE_HZ

WHOLE_S = SHORT_S * 1.05
"""What a hop looks back on at the stream's rate: the short window, and more than two hops for the
clipping, which must see whole runs."""

DEAD_PEAK = 2.0**-15
"""One step of 16 bits: a live microphone amplifier's noise moves more."""
DEAD_AFTER_S = 2.0
DEAD_AFTER_SOUND_S = 15.0
"""Once something was heard, a desk's noise gate may have closed between two lines."""

OFFSET = 0.02
"""From 2 % of full scale on a fault; a sound input has less than a tenth of it.  Common practice,
no source."""

LAG_CELLS = 6
"""A cell's kind is decided 1.8 s later, in the middle of what the voice's decision looks at."""

HOLD_S = 3.0
VOICED_CELL_SHARE = 0.25
"""So much of a cell must be voiced to count for speech or singing."""


class ChannelMeter:
    """Follows one channel; ``fields`` tells all that is known at that moment.

    Parameters
    ----------
    sample_rate_hz : int
        8000 to 192000.
    scale : "digital" or "analogue"
        What the desk's meter counts in.
    zero_dbfs : float
        For "analogue": what the line reads in dBFS while the meter stands at 0.
    low_cuts_hz : sequence of float
        The desk's choices; empty where its low cut turns freely.
    low_cut_slope_db : 12, 18 or 24
        dB per octave.
    kind : "desk", "file" or "box"
        "box" is the box's own microphone, of which nothing follows for the desk's gain.

    Raises
    ------
    ValueError
        If one of them cannot be.
    """

    def __init__(
        self,
        sample_rate_hz: int,
        *,
        scale: Literal["digital", "analogue"],
        zero_dbfs: float = -18.0,
        low_cuts_hz: Sequence[float] = (),
        low_cut_slope_db: int = 12,
        kind: Literal["desk", "file", "box"] = "desk",
    ) -> None:
        _check(sample_rate_hz, scale, zero_dbfs, low_cuts_hz, low_cut_slope_db)
        self._kind = kind
        self._scale = Scale(scale, zero_dbfs if scale == "analogue" else 0.0)
        self._hops = Hops(sample_rate_hz, whole_s=WHOLE_S, low_s=LONG_S * 1.05)
        low_rate_hz, hop_s = self._hops.low_rate_hz, self._hops.hop_s
        self._tracker = PitchTracker(low_rate_hz)
        self._a_level = ALevel(low_rate_hz)
        self._looks = Looks(Spectra(sample_rate_hz=sample_rate_hz, low_rate_hz=low_rate_hz), hop_s)
        self._clipping = Clipping(hop_s)
        self._running = Running()
        self._parts = Parts(CELL_HOPS * hop_s)
        self._waiting: deque[Cell] = deque()
        self._gate = Gate()
        self._hum = Hum(hop_s)
        self._tones = ToneWatch(sample_rate_hz, hop_s)
        self._judge = VoiceJudge(hop_s)
        self._settled = Settled()
        self._low_cut = LowCutView(hop_s, low_cuts_hz, low_cut_slope_db)
        self._peaks: deque[float] = deque(maxlen=round(HOLD_S / hop_s))
        self._means: deque[float] = deque(maxlen=round(HOLD_S / hop_s))
        self._highest_peak = 0.0
        self._still_hops = self._hop_count = self._voiced_hops = self._gap_count = 0

    @property
    def seconds(self) -> float:
        """How much was heard."""
        return self._hop_count * self._hops.hop_s

    @property
    def _dead_after_s(self) -> float:
        return DEAD_AFTER_S if self._still_hops == self._hop_count else DEAD_AFTER_SOUND_S

    @property
    def _voiced_s(self) -> float:
        return self._voiced_hops * self._hops.hop_s

    def push(self, samples: np.ndarray, *, gap: bool = False) -> None:
        """Take in the next samples, float [n], full scale 1; ``gap``: some were lost before.

        Raises
        ------
        ValueError
            If they are no samples; nothing is taken in then.
        """
        samples = checked(samples)
        if gap:
            self._forget_windows()
        for windows in self._hops.push(samples):
            self._hop(windows)

    def finish(self) -> None:
        """Count what still waits for its kind: the sound has ended."""
        while self._waiting:
            self._sort_in(self._waiting.popleft())

    def _forget_windows(self) -> None:
        self._gap_count += 1
        for part in (
            self._hops,
            self._running,
            self._judge,
            self._settled,
            self._looks,
            self._tones,
        ):
            part.reset()

    def _hop(self, windows: Windows) -> None:
        self._hop_count += 1
        new = windows.whole[-self._hops.hop_samples :].astype(np.float64)
        peak = float(np.max(np.abs(new)))
        is_clipped = self._clipping.push(windows.whole, len(new), peak)
        mean = float(new.mean())
        self._peaks.append(peak)
        self._highest_peak = max(self._highest_peak, peak)
        self._means.append(mean)
        is_still = float(np.max(np.abs(new - mean))) <= DEAD_PEAK
        self._still_hops = self._still_hops + 1 if is_still else 0
        a_mean = self._a_level.power(windows.low)
        found = self._tracker.pitch(
            windows.low[-self._tracker.needed_samples :], after_hz=self._settled.newest_hz
        )
        is_hum = self._hum.push(None if found is None else found.hz)
        is_active = self._gate.is_open(a_mean) and not is_hum
        is_tone = self._tones.push(windows.whole)
        is_voice = found is not None and found.hz >= LOWEST_HZ and is_active
        key = semitones(found.hz) if found is not None and is_voice else None
        is_clear = found is not None and found.is_clear
        self._judge.push(key if is_clear and not is_tone else None, is_active=is_active)
        settled_key = self._settled.push(key)
        # A high "oo" may look like a tone for a moment: among other notes it is one of them.
        if not is_tone or self._judge.sound != "other":
            self._note(settled_key)
        self._voiced_hops += key is not None
        self._looks.push(windows, is_voiced=key is not None)
        square = float(np.mean(np.square(new)))
        cell = self._running.push(
            Hop(peak, mean, square, a_mean, is_active, key is not None, is_clipped)
        )
        if cell is not None:
            self._take(cell)

    def _note(self, key: float | None) -> None:
        if key is not None:
            self._low_cut.push(key, is_sung=self._judge.sound == "singing")

    def _take(self, cell: Cell) -> None:
        self._gate.push(cell.lowest_a_power)
        self._waiting.append(cell)
        if len(self._waiting) > LAG_CELLS:
            self._sort_in(self._waiting.popleft())

    def _sort_in(self, cell: Cell) -> None:
        kind: Kind | None = None
        sound = self._judge.sound
        if cell.voiced_share >= VOICED_CELL_SHARE and sound != "other":
            kind = "sung" if sound == "singing" else "spoken"
        elif sound == "other" and cell.active_share > 0.5:
            kind = "other"
        self._parts.push(cell, kind)

    # ------------------------------------------------------------------ what is known

    def heard(self) -> Heard:
        """What the advice goes by at this moment."""
        noise = self._parts.noise()
        flat_top = self._clipping.flat_top()
        return Heard(
            seconds=self.seconds,
            peak_dbfs=peak_dbfs(self._highest_peak),
            is_dead=self._still_hops * self._hops.hop_s >= self._dead_after_s,
            has_offset=len(self._means) == self._means.maxlen
            and abs(sum(self._means)) >= OFFSET * len(self._means),
            clipped_ago_s=self._clipping.since_s(),
            flat_top_dbfs=None if flat_top is None else peak_dbfs(flat_top),
            sung=self._parts.loudest("sung"),
            spoken=self._parts.loudest("spoken"),
            other=self._parts.loudest("other"),
            noise_a_dbfs=None if noise is None else noise[1],
            noise_c_minus_a_db=self._looks.spectra.pause_c_minus_a_db(),
        )

    def _advised(self, heard: Heard) -> Advice:
        if self._kind == "box":
            return gain_advice.advise_box(heard)
        return gain_advice.advise(heard, self._scale)

    def fields(self) -> dict[str, Any]:
        """All that is known, as JSON's types; what is not known is absent."""
        heard = self.heard()
        advice = self._advised(heard)
        noise = self._parts.noise()
        held_peak = max(self._peaks, default=0.0)
        low_cut = self._low_cut.view(self._looks.spectra, self._voiced_s)
        return {
            "seconds": round(self.seconds, 2),
            **report.level_fields(self._running, held_peak),
            **({"noise_dbfs": round(noise[0], 1)} if noise else {}),
            "clipped_count": self._clipping.count,
            "clipped_now": heard.clipped_ago_s is not None and heard.clipped_ago_s < 1.0,
            **({"gap_count": self._gap_count} if self._gap_count else {}),
            "voice": self._judge.state,
            **report.heard_fields(heard),
            **report.advice_fields(advice),
            **({} if self._kind == "box" else report.scale_fields(heard, self._scale)),
            "low_cut": low_cut.fields(),
            **report.spectrum_fields(self._looks.spectra, low_cut.lowest_hz),
        }


def _check(
    sample_rate_hz: int,
    scale: str,
    zero_dbfs: float,
    low_cuts_hz: Sequence[float],
    low_cut_slope_db: int,
) -> None:
    """Raise ValueError with one line for what a meter cannot be made with."""
    if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
        raise ValueError(
            f"sample rate {sample_rate_hz} Hz; {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz expected"
        )
    if scale not in gain_advice.WANTED_DB:
        raise ValueError(f'scale "{scale}" is not one of "digital", "analogue"')
    if not -100.0 <= zero_dbfs <= 0.0:
        raise ValueError(f"zero_dbfs {zero_dbfs}; -100 to 0 expected: where the meter's 0 lies")
    wrong = [hz for hz in low_cuts_hz if not 10.0 <= hz <= 1000.0]
    if wrong:
        raise ValueError(f"low cut at {wrong[0]} Hz; 10 to 1000 Hz expected")
    if low_cut_slope_db not in (12, 18, 24):
        raise ValueError(f"low cut of {low_cut_slope_db} dB an octave; 12, 18 or 24 expected")
