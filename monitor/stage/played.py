"""What a run plays: the programme, and what drives the loudspeaker with the loop closed or opened.

Signals are float32 [n], full scale 1; ``block`` is how many samples are worked out at a time, no
more than the loop's own delay.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from monitor.stage.dynamics import Compressor, limiter
from monitor.stage.fir import PartitionedFir
from monitor.stage.moving_loop import MovingLoop
from monitor.stage.performer import PROGRAMMES, perform
from monitor.stage.room import Responses
from monitor.stage.run_spec import RunSpec

BLOCKS = (512, 480, 384, 320, 256, 192, 160, 128, 96, 64)
"""Lengths of a block, in samples, the longest first: all quick to transform."""


def block_of(stage: Responses, latency_s: float, sample_rate_hz: int) -> int:
    """The most samples that can be worked out at a time.

    Raises
    ------
    ValueError
        If the way back is too short for any.
    """
    shortest = int((stage.shortest_s + latency_s) * sample_rate_hz) - 1
    block = next((b for b in BLOCKS if b <= shortest), 0)
    if block == 0:
        raise ValueError("the loudspeaker is too near to the microphone for this simulation")
    return block


def _compressor(spec: RunSpec, block: int) -> Compressor | None:
    if spec.compressor_ratio <= 1.0:
        return None
    return Compressor(
        threshold_db=spec.compressor_threshold_db,
        ratio=spec.compressor_ratio,
        block_s=block / spec.sample_rate_hz,
    )


def closed_drive(
    spec: RunSpec, loop: MovingLoop, voice: np.ndarray, block: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return what the loudspeaker is driven with, and the compressor's reduction per block."""
    count = len(voice) // block
    end = limiter(spec.limiter)
    squeeze = _compressor(spec, block)
    gain = (10.0 ** (loop.gain_db / 20.0)).astype(np.float32).reshape(count, block)
    blocks = voice.reshape(count, block)
    drive = np.zeros((count, block), np.float32)
    reduction_db = np.zeros(count)
    # The loop's own delay is at least a block, so a block's feedback is known before it begins.
    fir = PartitionedFir(loop.first[block:], block=block)
    moves = loop.weight.reshape(count, block)[:, 0]
    other = fir.spectra_of(loop.second[block:]) - fir.spectra if loop.tap is None else None
    still = fir.spectra.copy()
    tap_spectra, tapped = None, np.zeros(0, np.float32)
    if loop.tap is not None and loop.delay is not None:
        tap_fir = PartitionedFir(loop.tap, block=block)
        tap_spectra = tap_fir.spectra[: len(still)]
        tapped = np.zeros(len(voice) + block, np.float32)
        place = np.arange(len(voice)) - loop.delay
        whole = np.floor(place).astype(np.int64)
        part = (place - whole).astype(np.float32)
        share = loop.weight.astype(np.float32)
    feedback = np.zeros(block, np.float32)
    last_move = 0.0
    for k in range(count):
        mixed = (blocks[k] + feedback) * gain[k]
        if squeeze is not None:
            mixed = squeeze.push(mixed)
            reduction_db[k] = squeeze.reduction_db
        drive[k] = end(mixed)
        if other is not None and moves[k] != last_move:
            last_move = float(moves[k])
            fir.spectra = still + np.float32(last_move) * other
        feedback = fir.push(drive[k])
        if tap_spectra is not None and k + 1 < count:
            tapped[k * block : (k + 1) * block] = fir.through(tap_spectra)
            here = slice((k + 1) * block, (k + 2) * block)
            at = whole[here]
            heard = (
                tapped[np.maximum(at, -1)] * (1.0 - part[here])
                + tapped[np.maximum(at + 1, -1)] * part[here]
            )
            feedback = feedback + share[here] * np.where(at >= 0, heard, 0.0)
    return drive.reshape(-1), reduction_db


def opened_drive(spec: RunSpec, loop: MovingLoop, voice: np.ndarray, block: int) -> np.ndarray:
    """Return the twin's drive: the same electronics, no way back."""
    mixed = voice * (10.0 ** (loop.gain_db / 20.0)).astype(np.float32)
    squeeze = _compressor(spec, block)
    if squeeze is not None:
        for k in range(0, len(mixed), block):
            mixed[k : k + block] = squeeze.push(mixed[k : k + block])
    return limiter(spec.limiter)(mixed).astype(np.float32)


def room_noise(n: int, rng: np.random.Generator) -> np.ndarray:
    """Hiss with more below than above, RMS 1."""
    size = next_fast_len(n, real=True)
    noise = rng.standard_normal(size, np.float32)
    spectrum = rfft(noise)
    spectrum *= 1.0 / np.sqrt(1.0 + np.linspace(0.0, 200.0, len(spectrum), dtype=np.float32))
    shaped: np.ndarray = irfft(spectrum, size)[:n]
    return shaped / np.float32(math.sqrt(float(np.mean(shaped**2))))


def programme_of(spec: RunSpec, n: int, sound: np.ndarray | None) -> np.ndarray:
    """What the vocal microphone hears besides, [n]; ``sound`` goes with "given".

    Raises
    ------
    ValueError
        If the programme is unknown, or the sound is not there or not wanted.
    """
    if spec.programme == "given":
        if sound is None or sound.ndim != 1 or len(sound) == 0:
            raise ValueError('programme "given" needs sound, a 1-d array with samples in it')
        return np.resize(sound.astype(np.float32), n)
    if sound is not None:
        raise ValueError(f'sound was given, but the programme is "{spec.programme}", not "given"')
    if spec.programme not in PROGRAMMES:
        raise ValueError(
            f"programme {spec.programme!r} is unknown; known: {', '.join(PROGRAMMES)}, given"
        )
    return perform(
        spec.programme,  # type: ignore[arg-type]
        seconds=(n + 1) / spec.sample_rate_hz,
        sample_rate_hz=spec.sample_rate_hz,
        seed=spec.seed,
    )[:n]
