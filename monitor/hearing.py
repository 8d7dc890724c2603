"""Whether the box hears anything at all, and if not, why: from blocks and microphone status.

A box that hears nothing must say so; a dark lamp would look like a quiet room.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from firmware.ports import AudioBlock, MicrophoneStatus

GRACE_S = 3.0
"""After the start a microphone may take this long before its absence is worth a word."""
NO_BLOCK_S = 1.0
"""A period is tens of milliseconds; a second without one means that nothing arrives."""
SILENCE_S = 5.0
"""Real rooms and preamplifiers toggle the last bit; so long without any change is no sound."""
CLIPPING_SPAN_S = 3.0
CLIPPING_SHARE = 0.02
"""Above this share of samples at full scale the sound is mostly distortion; single loud
peaks (a drum, a cough) stay two orders of magnitude below."""
CLIPPING_SHOWN_S = 1.0


@dataclass(frozen=True, slots=True)
class Deafness:
    """Why nothing can be heard: ``headline`` and ``advice`` for the panel, and a sentence."""

    headline: str
    advice: str
    sentence: str


class Hearing:
    """Follows the microphone; give it every block and look at ``deafness`` whenever needed.

    ``first_mono_s`` is when the first block came, None before it.
    """

    def __init__(self, started_mono_s: float) -> None:
        self._started_mono_s = started_mono_s
        self.first_mono_s: float | None = None
        self._last_block_mono_s: float | None = None
        self._last_value: float | None = None
        self._changed_mono_s = started_mono_s
        self._last_clip_mono_s: float | None = None
        self._spans: deque[tuple[float, int, int]] = deque()

    def take(self, block: AudioBlock, now_mono_s: float) -> None:
        """Take in a block that arrived just now."""
        if self.first_mono_s is None:
            self.first_mono_s = now_mono_s
        self._last_block_mono_s = now_mono_s
        first = float(block.samples[0])
        # Sound nearly always differs at its ends already, and the rest need not be compared.
        constant = first == block.samples[-1] and bool((block.samples == block.samples[0]).all())
        if not constant or first != self._last_value:
            self._changed_mono_s = now_mono_s
        self._last_value = first
        if block.clipped_samples:
            self._last_clip_mono_s = now_mono_s
        self._spans.append((now_mono_s, len(block.samples), block.clipped_samples))
        while self._spans[0][0] < now_mono_s - CLIPPING_SPAN_S:
            self._spans.popleft()

    def audio_age_s(self, now_mono_s: float) -> float | None:
        """Return how long ago the last block came, None before the first."""
        if self._last_block_mono_s is None:
            return None
        return now_mono_s - self._last_block_mono_s

    def is_clipping(self, now_mono_s: float) -> bool:
        """Whether any sample was at full scale within the last second."""
        last = self._last_clip_mono_s
        return last is not None and now_mono_s - last < CLIPPING_SHOWN_S

    def has_sound(self, now_mono_s: float) -> bool:
        """Whether blocks arrive at present."""
        age_s = self.audio_age_s(now_mono_s)
        return age_s is not None and age_s < NO_BLOCK_S

    def deafness(self, status: MicrophoneStatus, now_mono_s: float) -> Deafness | None:
        """Return why the box cannot hear, or None while it can (or has only just started)."""
        if not self.has_sound(now_mono_s):
            return self._nothing_arrives(status, now_mono_s)
        if now_mono_s - self._changed_mono_s >= SILENCE_S:
            return Deafness(
                "silent",
                "muted? other channel?",
                "the microphone delivers nothing but digital silence: is it muted, switched off, "
                "or on another channel?",
            )
        n_samples = sum(n for _, n, _ in self._spans)
        n_clipped = sum(c for _, _, c in self._spans)
        full_span = now_mono_s - self._spans[0][0] > 0.8 * CLIPPING_SPAN_S
        if full_span and n_clipped > CLIPPING_SHARE * n_samples:
            return Deafness(
                "too loud",
                "turn my mic down",
                f"{100 * n_clipped / n_samples:.0f} % of the samples are clipped: turn the box's "
                "microphone down or move it away",
            )
        return None

    def _nothing_arrives(self, status: MicrophoneStatus, now_mono_s: float) -> Deafness | None:
        if status.state == "stuck":
            return Deafness("mic stuck", "replug it", status.detail)
        if status.state == "lost":
            return Deafness("no mic", "plug it in again", status.detail)
        if now_mono_s - self._started_mono_s < GRACE_S:
            return None
        if status.state == "searching":
            return Deafness("no mic", "plug in a USB mic", status.detail)
        return Deafness(
            "no sound", "replug the mic", "the microphone is open but no sound arrives: replug it"
        )
