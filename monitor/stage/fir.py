"""Convolution in equal blocks, for loops that must answer block by block.

Uniformly partitioned overlap-save convolution: the response is cut into blocks, each kept as a
spectrum, and multiplied with the spectra of the last input blocks.
"""

from __future__ import annotations

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft


class PartitionedFir:
    """A response that may be changed while it runs; ``push`` takes and returns one block."""

    def __init__(self, taps: np.ndarray, *, block: int) -> None:
        self.block = block
        self._count = max(1, -(-len(taps) // block))
        self._inputs = np.zeros((2 * self._count, block + 1), np.complex64)
        self._products = np.empty((self._count, block + 1), np.complex64)
        self._frame = np.zeros(2 * block, np.float32)
        self._newest = self._count
        self.spectra = self.spectra_of(taps)

    def spectra_of(self, taps: np.ndarray) -> np.ndarray:
        """Return the spectra [partitions, block + 1] that stand for ``taps``."""
        if len(taps) > self._count * self.block:
            raise ValueError(
                f"{len(taps)} taps do not fit into {self._count} blocks of {self.block}"
            )
        padded = np.zeros(self._count * self.block, np.float32)
        padded[: len(taps)] = taps
        spectra: np.ndarray = rfft(padded.reshape(self._count, self.block), 2 * self.block)
        return spectra.astype(np.complex64)

    def push(self, samples: np.ndarray) -> np.ndarray:
        """Take one block in and return the same block filtered."""
        self._frame[: self.block] = self._frame[self.block :]
        self._frame[self.block :] = samples
        self._newest = (self._newest - 1) % self._count
        spectrum = rfft(self._frame)
        # Written twice, so that the last blocks always lie in one piece, newest first.
        self._inputs[self._newest] = spectrum
        self._inputs[self._newest + self._count] = spectrum
        return self.through(self.spectra)

    def through(self, spectra: np.ndarray) -> np.ndarray:
        """Return the newest block as a (shorter or equal) other response would filter it."""
        count = len(spectra)
        products = self._products[:count]
        np.multiply(self._inputs[self._newest : self._newest + count], spectra, out=products)
        filtered: np.ndarray = irfft(products.sum(axis=0), 2 * self.block)[self.block :]
        return filtered


def convolved(samples: np.ndarray, taps: np.ndarray) -> np.ndarray:
    """Return ``samples`` filtered by ``taps``, as long as ``samples``, float32."""
    size = next_fast_len(len(samples) + len(taps) - 1, real=True)
    product = rfft(samples.astype(np.float32), size) * rfft(taps.astype(np.float32), size)
    filtered: np.ndarray = irfft(product, size)[: len(samples)]
    return filtered.astype(np.float32)


def folded(
    taps: np.ndarray, response: np.ndarray, *, size: int, length: int, delay: int = 0
) -> np.ndarray:
    """Return ``taps`` with a causal response (on the real FFT grid of ``size``) folded in.

    ``delay`` samples of silence are put in front; the result has ``length`` samples.
    """
    product: np.ndarray = irfft(rfft(taps.astype(np.float64), size) * response, size)
    # What the finite grid wraps round to before the first sound is far below float32.
    silent = int(np.argmax(np.abs(taps) > 0.0))
    product[:silent] = 0.0
    out = np.zeros(length, np.float32)
    out[delay:] = product[: length - delay]
    return out
