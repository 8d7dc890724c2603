"""Sound that was read from the card and waits to be listened to: bounded, its losses marked."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass, replace

from firmware.formats import clipped_count, decode
from firmware.opening import Opened
from firmware.ports import AudioBlock

QUEUED_S = 2.0
"""Sound that waits to be read: longer than any pause of a listener that is still alive."""


@dataclass(frozen=True, slots=True)
class _Delivery:
    """What one read has brought, as the card sent it."""

    data: bytes
    opened: Opened
    captured_mono_s: float
    gap: bool


class WaitingSound:
    """A queue of what the card delivered.

    Samples are made of the bytes by whoever takes them, whose numpy is warm already.

    Parameters
    ----------
    channel : int
        Which channel of the card is taken, 0 is the first.
    """

    def __init__(self, channel: int) -> None:
        self._channel = channel
        self._deliveries: deque[_Delivery] = deque()
        self._change = threading.Condition()
        self._gap_ahead = False
        self._is_closed = False

    def append(self, data: bytes, frames: int, opened: Opened, captured_mono_s: float) -> bool:
        """Hold one delivery more; return whether the oldest had to go for it."""
        with self._change:
            waiting = self._deliveries
            waiting.append(_Delivery(data, opened, captured_mono_s, self._gap_ahead))
            self._gap_ahead = False
            is_full = len(waiting) * frames > QUEUED_S * opened.rate_hz
            if is_full:
                # The oldest goes: late news of a ring is worth less than fresh.
                waiting.popleft()
                waiting[0] = replace(waiting[0], gap=True)
            self._change.notify()
        return is_full

    def lose(self) -> None:
        """Mark that sound is missing before what comes next."""
        with self._change:
            self._gap_ahead = True

    def read(self, timeout_s: float) -> AudioBlock | None:
        """Return the next block, or None: none came within ``timeout_s``, or an empty one."""
        with self._change:
            self._change.wait_for(lambda: self._deliveries or self._is_closed, timeout_s)
            if not self._deliveries:
                return None
            one = self._deliveries.popleft()
        samples = decode(
            one.data,
            sample_format=one.opened.sample_format,
            channels=one.opened.channels,
            channel=self._channel,
        )
        if len(samples) == 0:  # a driver that counts frames and brings none
            return None
        return AudioBlock(
            samples, one.opened.rate_hz, one.captured_mono_s, one.gap, clipped_count(samples)
        )

    def close(self) -> None:
        """Nobody waits any more; may be called twice."""
        with self._change:
            self._is_closed = True
            self._change.notify_all()
