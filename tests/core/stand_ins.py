"""Stand-ins for microphone and service manager, and the words to make rings for tests."""

from __future__ import annotations

import dataclasses
import queue
import time
from typing import Any, Literal

import numpy as np

from firmware.ports import AudioBlock, LampPattern, MicrophoneStatus
from monitor.listening.bands import third_octave_of
from monitor.listening.rings import Ring

RATE_HZ = 48000

PLAN: dict[str, Any] = {
    "room": {"width": 5.0, "depth": 8.0, "height": 2.5},
    "microphone": [{"name": "voice", "x": 2.5, "y": 2.0, "pattern": "cardioid"}],
    "loudspeaker": [{"name": "mains", "kind": "mains", "x": 4.0, "y": 3.0}],
}


class FakeSource:
    """Hands out the blocks it was given; ``say`` changes what it reports of itself."""

    def __init__(self) -> None:
        self.blocks: queue.Queue[AudioBlock] = queue.Queue()
        self.closed = False
        self._status = MicrophoneStatus(
            "hearing", time.monotonic(), "fake", "48000 Hz as asked", RATE_HZ, "S16_LE", 1, "none"
        )

    def give(
        self, samples: np.ndarray, *, gap: bool = False, rate_hz: int = RATE_HZ, clipped: int = 0
    ) -> None:
        samples = np.asarray(samples, dtype=np.float32)
        self.blocks.put(AudioBlock(samples, rate_hz, time.monotonic(), gap, clipped))

    def say(
        self,
        state: Literal["searching", "hearing", "lost", "stuck"],
        detail: str,
        **more: Any,
    ) -> None:
        self._status = dataclasses.replace(self._status, state=state, detail=detail, **more)

    def read(self, timeout_s: float) -> AudioBlock | None:
        try:
            return self.blocks.get(timeout=timeout_s)
        except queue.Empty:
            return None

    def status(self) -> MicrophoneStatus:
        return self._status

    def close(self) -> None:
        self.closed = True


class FakeSupervisor:
    """Notes what the service manager would be told."""

    def __init__(self) -> None:
        self.told: list[str] = []
        self.n_alive = 0

    def ready(self) -> None:
        self.told.append("ready")

    def status(self, text: str) -> None:
        self.told.append(text)

    def alive(self) -> None:
        self.n_alive += 1

    def stopping(self) -> None:
        self.told.append("stopping")


class FakeLamp:
    """Notes every pattern and when it was shown."""

    def __init__(self) -> None:
        self.shown: list[tuple[LampPattern, float]] = []
        self.closed = False

    def show(self, pattern: LampPattern) -> None:
        self.shown.append((pattern, time.monotonic()))

    def health(self) -> str:
        return "ok"

    def close(self) -> None:
        self.closed = True


class FakePanel:
    """Takes pictures, as slowly as told."""

    def __init__(self, takes_s: float = 0.0) -> None:
        self.n_shown = 0
        self.takes_s = takes_s

    def show(self, image: object) -> None:
        time.sleep(self.takes_s)
        self.n_shown += 1

    def health(self) -> str:
        return "ok"

    def close(self) -> None:
        pass


def noise(n: int, *, level: float = 1e-3, seed: int = 1) -> np.ndarray:
    """Steady noise, as of a room."""
    return level * np.random.default_rng(seed).standard_normal(n)


def ring(number: int = 1, hz: float = 2480.0, **changes: object) -> Ring:
    """A ring as the listening reports it."""
    plain = Ring(
        id=number,
        degree="ringing",
        frequency_hz=hz,
        band=third_octave_of(hz),
        level_dbfs=-30.0,
        growth_db_per_s=40.0,
        start_s=1.0,
        flagged_s=1.2,
    )
    return dataclasses.replace(plain, **changes)  # type: ignore[arg-type]


def growing_ring(
    seconds: float, *, hz: float = 2480.0, growth_db_per_s: float = 30.0
) -> np.ndarray:
    """A line that grows in steady noise, up to half of full scale: feedback as it begins."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    amplitude = np.minimum(0.5, 1e-4 * 10.0 ** (growth_db_per_s * t / 20.0))
    return noise(len(t), seed=3) + amplitude * np.sin(2.0 * np.pi * hz * t)
