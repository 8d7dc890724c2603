"""The practice stage in real time: a closed loop that answers block by block.

Performer at the vocal microphone, plus what comes back -> input gain (here the line is taken) ->
low cut -> graphic equaliser -> fader -> compressor (if any) -> loudspeaker with its end stop ->
room -> vocal microphone.  The box has a microphone of its own on the stand.  Everything linear
between loudspeaker and fader is folded into one response: 31 sliders cost no more than none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from monitor.advice.equaliser import Equaliser
from monitor.stage.dynamics import Compressor, LimiterKind, limiter
from monitor.stage.filters import low_cut_response
from monitor.stage.fir import PartitionedFir, folded
from monitor.stage.line import StageLine
from monitor.stage.nyquist import Critical, criticals, highest_gain_db
from monitor.stage.performer import LOUD_RMS, Performer, Programme
from monitor.stage.room import Responses, Room, responses

FADER_MIN_DB = -30.0
FADER_MAX_DB = 10.0
FADER_DEFAULT_DB = -6.0
"""0 dB on the fader is the limit with all sliders flat, so the top third of the way rings."""
LOW_CUT_HZ = 100.0
LATENCY_S = 0.004
PROGRAMME_DB = -22.0
"""A small digital desk, and a singer well below the loudspeaker's end stop: our choice."""
EQUALISER_S = 0.12
"""Kept of the equaliser's own ringing; what a slider at 40 Hz rings on for to -60 dB or so."""
_FADE_BLOCKS = 8
_FADER_S = 0.03


class StageLoop:
    """A stage that is played block by block; not for more than one thread at a time.

    Parameters
    ----------
    room : Room
        What stands where.
    sample_rate_hz : int
    block : int
        Samples per step; at most the loop's shortest delay.  Any number of samples can be
        asked for; the sound does not depend on it.
    equaliser : Equaliser, optional
        Of any kind; 31 third octaves by default.
    programme : str
        What the performer does.
    programme_db : float
        Loud level at the loudspeaker beside its end stop, with the fader at 0.
    latency_s : float
        The electronics' delay.
    known : Responses, optional
        Responses to use in place of the room's own.

    Raises
    ------
    ValueError
        If the block is longer than the loop's shortest delay, or the room cannot be; one line.
    """

    def __init__(
        self,
        *,
        room: Room,
        sample_rate_hz: int = 48000,
        block: int = 256,
        equaliser: Equaliser | None = None,
        programme: Programme = "song",
        programme_db: float = PROGRAMME_DB,
        low_cut_hz: float = LOW_CUT_HZ,
        latency_s: float = LATENCY_S,
        limiter_kind: LimiterKind = "soft",
        compressor_ratio: float = 1.0,
        compressor_threshold_db: float = -12.0,
        box_peak_dbfs: float = -16.0,
        box_noise_dbfs: float = -66.0,
        seed: int = 0,
        known: Responses | None = None,
    ) -> None:
        self.room = room
        self.sample_rate_hz = sample_rate_hz
        self.block = block
        self.equaliser = Equaliser.from_settings("31") if equaliser is None else equaliser
        self.cuts_db = [0.0] * len(self.equaliser.sliders)
        self.drive_dbfs = -120.0
        self._known = responses(room, sample_rate_hz) if known is None else known
        if self._known.sample_rate_hz != sample_rate_hz:
            raise ValueError(
                f"the responses are for {self._known.sample_rate_hz} Hz, not {sample_rate_hz} Hz"
            )
        self._low_cut_hz = low_cut_hz
        self._latency = round(latency_s * sample_rate_hz)
        shortest = int(np.argmax(np.abs(self._known.feedback) > 0.0)) + self._latency
        if not 1 <= block <= shortest:
            raise ValueError(
                f"block={block} must lie between 1 and the shortest delay, {shortest} samples"
            )
        tail = int(EQUALISER_S * sample_rate_hz)
        self._loop_length = len(self._known.feedback) + self._latency + tail
        self._channel_length = tail
        self._size = int(2 ** math.ceil(math.log2(self._loop_length + tail)))
        loop_taps, channel_taps = self._fold()
        self._loop_taps = loop_taps
        self._trim_db = -highest_gain_db(loop_taps)
        self._feedback_fir = PartitionedFir(loop_taps[block:], block=block)
        self._channel_fir = PartitionedFir(channel_taps, block=block)
        self._box_fir = PartitionedFir(self._known.box, block=block)
        self._voice_fir = PartitionedFir(self._known.voice_box, block=block)
        self._wanted: list[tuple[PartitionedFir, np.ndarray, int]] = []
        self._end = limiter(limiter_kind)
        self._squeeze = (
            Compressor(
                threshold_db=compressor_threshold_db,
                ratio=compressor_ratio,
                block_s=block / sample_rate_hz,
            )
            if compressor_ratio > 1.0
            else None
        )
        self.fader_db = FADER_DEFAULT_DB
        self.input_db = 0.0
        self._gain_db = self.fader_db
        self._pace = 1.0 - math.exp(-block / sample_rate_hz / _FADER_S)
        self.line: StageLine | None = None
        self._performer = Performer(programme, sample_rate_hz=sample_rate_hz, seed=seed)
        self._voice_gain = np.float32(10.0 ** ((programme_db - self._trim_db) / 20.0) / LOUD_RMS)
        # One stream each, so that the block size changes nothing.
        self._mic_rng = np.random.default_rng([seed, 12])
        self._box_rng = np.random.default_rng([seed, 13])
        # The microphone's own noise is what a howl begins from when nobody plays.
        self._mic_noise = np.float32(self._voice_gain * LOUD_RMS * 10.0 ** (-52.0 / 20.0))
        reach = math.sqrt(float(np.sum(self._known.box.astype(np.float64) ** 2)))
        self._box_gain = np.float32(10.0 ** (box_peak_dbfs / 20.0) / reach)
        self._box_noise = np.float32(10.0 ** (box_noise_dbfs / 20.0))
        self._feedback = np.zeros(block, np.float32)
        self._ready = np.zeros(0, np.float32)

    @property
    def _whole_db(self) -> float:
        """What the loop's taps are multiplied with."""
        return self.fader_db + self.input_db + self._trim_db

    def _fold(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the loop's whole response (without the fader) and the channel's alone."""
        frequency_hz = np.fft.rfftfreq(self._size, 1.0 / self.sample_rate_hz)
        channel = low_cut_response(
            corner_hz=self._low_cut_hz,
            frequency_hz=frequency_hz,
            sample_rate_hz=self.sample_rate_hz,
        ) * self.equaliser.response(
            [-cut_db for cut_db in self.cuts_db], frequency_hz, self.sample_rate_hz
        )
        loop = folded(
            self._known.feedback,
            channel,
            size=self._size,
            length=self._loop_length,
            delay=self._latency,
        )
        pulse = np.ones(1, np.float32)
        return loop, folded(pulse, channel, size=self._size, length=self._channel_length)

    def set_cut(self, index: int, cut_db: float) -> None:
        """Set one slider; heard within a few blocks, by a cross-fade.

        Raises
        ------
        ValueError
            For a slider that is not there, or a cut outside its travel.
        """
        sliders = self.equaliser.sliders
        if not 0 <= index < len(sliders):
            raise ValueError(
                f"slider {index} is not there; sliders go from 0 to {len(sliders) - 1}"
            )
        deepest_db = sliders[index].deepest_db
        if not -deepest_db <= cut_db <= 0.0:
            raise ValueError(f"cut_db={cut_db:g} must lie between {-deepest_db:g} and 0")
        self.cuts_db[index] = float(cut_db)
        self._refold()

    def equalise(self, equaliser: Equaliser, cuts_db: Sequence[float]) -> None:
        """Put another equaliser in, or the same with its filters moved; heard by a cross-fade.

        Raises
        ------
        ValueError
            If there is not one cut, of 0 dB or less, for each slider.
        """
        if len(cuts_db) != len(equaliser.sliders) or not all(cut_db <= 0.0 for cut_db in cuts_db):
            raise ValueError(
                f"{len(equaliser.sliders)} cuts of 0 dB or less expected, one for each slider, "
                f"not {list(cuts_db)}"
            )
        self.equaliser = equaliser
        self.cuts_db = [float(cut_db) for cut_db in cuts_db]
        self._refold()

    def _refold(self) -> None:
        self._loop_taps, channel_taps = self._fold()
        self._wanted = [
            (fir, fir.spectra_of(taps), _FADE_BLOCKS)
            for fir, taps in (
                (self._feedback_fir, self._loop_taps[self.block :]),
                (self._channel_fir, channel_taps),
            )
        ]

    def _fade(self) -> None:
        """Go one step from the old responses to the wanted ones."""
        left = []
        for fir, spectra, steps in self._wanted:
            fir.spectra = fir.spectra + (spectra - fir.spectra) * np.float32(1.0 / steps)
            if steps > 1:
                left.append((fir, spectra, steps - 1))
        self._wanted = left

    def _step(self) -> np.ndarray:
        """Advance by one block; return what the box hears."""
        if self._wanted:
            self._fade()
        voice = self._performer.read(self.block) * self._voice_gain
        voice = voice + self._mic_noise * self._mic_rng.standard_normal(self.block, np.float32)
        if self.line is not None:
            came_back = self._feedback / self._voice_gain
            self.line.hear(self._performer.close_up(self.block), came_back, self.input_db)
        before_db = self._gain_db
        self._gain_db += self._pace * (self.fader_db + self.input_db - self._gain_db)
        gain = np.linspace(before_db, self._gain_db, self.block + 1)[1:] + self._trim_db
        mixed = (self._channel_fir.push(voice) + self._feedback) * (10.0 ** (gain / 20.0))
        if self._squeeze is not None:
            mixed = self._squeeze.push(mixed)
        drive = self._end(mixed).astype(np.float32)
        self._feedback = self._feedback_fir.push(drive)
        power = float(np.dot(drive, drive)) / self.block
        self.drive_dbfs = 10.0 * math.log10(2.0 * power + 1e-12)
        heard = self._box_fir.push(drive) + self._voice_fir.push(voice)
        noise = self._box_noise * self._box_rng.standard_normal(self.block, np.float32)
        return np.clip(heard * self._box_gain + noise, -1.0, 1.0).astype(np.float32)

    def process(self, n: int) -> np.ndarray:
        """Return the next ``n`` samples of the box's microphone, float32 in [-1, 1]."""
        if n < 0:
            raise ValueError(f"n={n} must not be negative")
        parts, have = [self._ready], len(self._ready)
        while have < n:
            parts.append(self._step())
            have += self.block
        joined = np.concatenate(parts)
        self._ready = joined[n:]
        return joined[:n]

    def critical(self, most: int = 12) -> list[Critical]:
        """Return the frequencies that meet the phase condition now, most critical first."""
        return criticals(
            self._loop_taps,
            sample_rate_hz=self.sample_rate_hz,
            gain_db=self._whole_db,
            most=most,
        )

    def margin_db(self) -> float:
        """Return how far the fader may still go up before it rings; negative: it rings."""
        return -highest_gain_db(self._loop_taps) - self._whole_db

    def loop_response(self, frequency_hz: np.ndarray) -> np.ndarray:
        """Return the complex open-loop response L at any frequencies, fader included."""
        turn = 2.0 * np.pi * np.asarray(frequency_hz) / self.sample_rate_hz
        index = np.arange(len(self._loop_taps))
        gain = 10.0 ** (self._whole_db / 20.0)
        response: np.ndarray = np.array(
            [gain * np.dot(self._loop_taps, np.exp(-1j * t * index)) for t in np.atleast_1d(turn)]
        )
        return response
