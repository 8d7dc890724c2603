"""What a card delivers, held against the clock: samples that are missing, and its true rate."""

from __future__ import annotations

KNOWN_HZ = (8000, 11025, 16000, 22050, 24000, 32000, 44100, 48000, 88200, 96000, 176400, 192000)
NEAR = 0.01
"""How near to a known rate the measured one must be: a quartz is off by a ten thousandth, two known
rates are 8 % apart, and deliveries that come in bursts blur five seconds by less."""


class SilentLoss:
    """Notices samples that went missing without an error, by clock against sample count.

    Some drivers drop what was not read in time and say nothing.  Deliveries come in bursts,
    so being late proves nothing; but the best moment of each second does: if even that
    is later than the best of the second before, sound is missing.
    """

    WINDOW_S = 1.0
    LEAST_LOSS_S = 0.1

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._frames = 0
        self._start_mono_s: float | None = None
        self._window_end_mono_s = 0.0
        self._best_s: float | None = None
        self._best_before_s: float | None = None

    def push(self, frames: int, now_mono_s: float) -> float:
        """Count a delivery; return the seconds found missing now, mostly 0.0."""
        if self._start_mono_s is None:
            # The first delivery may have waited any time; the count begins behind it.
            self._start_mono_s = now_mono_s
            self._window_end_mono_s = now_mono_s + self.WINDOW_S
            return 0.0
        self._frames += frames
        late_s = now_mono_s - self._start_mono_s - self._frames / self._rate_hz
        self._best_s = late_s if self._best_s is None else min(self._best_s, late_s)
        if now_mono_s < self._window_end_mono_s:
            return 0.0
        before_s, self._best_before_s, self._best_s = self._best_before_s, self._best_s, None
        self._window_end_mono_s = now_mono_s + self.WINDOW_S
        lost_s = 0.0 if before_s is None else self._best_before_s - before_s
        return lost_s if lost_s > self.LEAST_LOSS_S else 0.0


class TrueRate:
    """How many samples a second a card delivers, whatever it says.

    Some USB cards run at one rate and claim another; the kernel's driver warns of it ("current rate
    is different from the runtime rate") and goes on.  Every frequency would be read wrong by the
    same factor, and another slider named.

    Parameters
    ----------
    said_hz : int
        The rate that ALSA says was set.
    """

    WINDOW_S = 5.0

    def __init__(self, said_hz: int) -> None:
        self._said_hz = said_hz
        self._start_mono_s: float | None = None
        self._frames = 0
        self._found_before: int | None = None

    def push(self, frames: int, now_mono_s: float) -> int | None:
        """Count a delivery; return another rate once two windows in a row have shown it.

        After an overrun the count begins anew, with another object.
        """
        if self._start_mono_s is None:
            self._start_mono_s = now_mono_s  # the first delivery may have waited any time
            return None
        self._frames += frames
        elapsed_s = now_mono_s - self._start_mono_s
        if elapsed_s < self.WINDOW_S:
            return None
        measured_hz = self._frames / elapsed_s
        self._start_mono_s, self._frames = now_mono_s, 0
        found = min(KNOWN_HZ, key=lambda hz: abs(hz - measured_hz))
        is_other = abs(found - measured_hz) <= NEAR * found and found != self._said_hz
        before, self._found_before = self._found_before, found if is_other else None
        return found if is_other and found == before else None
