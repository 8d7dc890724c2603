"""The practice stage in the place of the microphone: an audio source in real time.

A thread of its own computes the stage ahead of nobody: each block is handed out when its last
sample would have been captured.  Who reads never computes.
"""

from __future__ import annotations

import logging
import math
import queue
import threading
import time
from collections.abc import Sequence
from typing import Any

import numpy as np

from firmware.ports import AudioBlock, HearingState, MicrophoneStatus
from monitor.stage.loop import CUT_MAX_DB, FADER_MAX_DB, FADER_MIN_DB, StageLoop
from monitor.stage.nyquist import Critical
from monitor.stage.performer import Programme
from monitor.stage.room import Room
from monitor.stage.scenario import BAND, DEFAULT_ROOM

LOG = logging.getLogger(__name__)

BLOCK_SAMPLES = 512
QUEUED_BLOCKS = 190
"""About two seconds at 48 kHz; a reader that is slower loses blocks, and is told."""
LATE_S = 0.5
"""A machine that slept or stalled for longer goes on from now, with a gap."""
_RING_DB = 6.0
_HISTORY_S = 0.25


class StageMicrophone:
    """An audio source that is a whole stage.

    Parameters
    ----------
    sliders : sequence of (str, float), optional
        Label and centre in Hz of the user's own sliders; 31 third octaves by default.
    room : Room
        One of the scenario's or one's own.
    programme : str
        What the performer does.
    """

    def __init__(
        self,
        *,
        sliders: Sequence[tuple[str, float]] | None = None,
        room: Room = DEFAULT_ROOM,
        programme: Programme = "song",
        sample_rate_hz: int = 48000,
        seed: int = 1,
        loop: StageLoop | None = None,
    ) -> None:
        self._loop = loop or StageLoop(
            room=room,
            sample_rate_hz=sample_rate_hz,
            sliders=sliders,
            programme=programme,
            seed=seed,
        )
        self._rate_hz = self._loop.sample_rate_hz
        self._lock = threading.Lock()
        self._blocks: queue.Queue[AudioBlock] = queue.Queue(QUEUED_BLOCKS)
        self._stopping = threading.Event()
        self._dropped = 0
        self._since_mono_s = time.monotonic()
        self._failure = ""
        self._margin_db = self._loop.margin_db()
        self._level_db = -120.0
        self._calm_db = -120.0
        self._thread = threading.Thread(target=self._run, name="stage", daemon=True)
        self._thread.start()

    # The audio source.

    def read(self, timeout_s: float) -> AudioBlock | None:
        """Return the next block, or None when nothing came within ``timeout_s``."""
        try:
            return self._blocks.get(timeout=max(timeout_s, 0.0))
        except queue.Empty:
            return None

    def status(self) -> MicrophoneStatus:
        """Say that this is a simulation, and whether it runs."""
        state: HearingState = "hearing"
        detail = f"simulated: {self._loop.room.name}; no sound is played or recorded"
        if self._failure or self._stopping.is_set():
            state = "lost"
            detail = self._failure or "the practice stage is closed"
        return MicrophoneStatus(
            state=state,
            since_mono_s=self._since_mono_s,
            device="practice stage",
            detail=detail,
            sample_rate_hz=self._rate_hz,
            sample_format="FLOAT",
            channels=1,
            automatic_gain="none",
            dropped_block_count=self._dropped,
        )

    def close(self) -> None:
        """Stop the stage; may be called twice."""
        self._stopping.set()
        if self._thread is not threading.current_thread():
            self._thread.join(timeout=2.0)

    # The handles.

    def control(self, command: dict[str, Any]) -> dict[str, Any]:
        """Move the fader ({"fader_db": x}) or a slider ({"slider": i, "cut_db": c}).

        Returns the state after it.

        Raises
        ------
        ValueError
            For a command that cannot be followed; one clear line.
        """
        keys = set(command)
        if keys == {"fader_db"}:
            fader_db = _number(command, "fader_db")
            if not FADER_MIN_DB <= fader_db <= FADER_MAX_DB:
                raise ValueError(
                    f"fader_db={fader_db:g} must lie between {FADER_MIN_DB:g} and {FADER_MAX_DB:g}"
                )
            with self._lock:
                self._loop.fader_db = fader_db
                self._margin_db = self._loop.margin_db()
        elif keys == {"slider", "cut_db"}:
            slider = command["slider"]
            if isinstance(slider, bool) or not isinstance(slider, int):
                raise ValueError(f"slider={slider!r} must be a whole number")
            cut_db = _number(command, "cut_db")
            with self._lock:
                self._loop.set_cut(slider, cut_db)
                self._margin_db = self._loop.margin_db()
        else:
            raise ValueError(
                "a stage command needs either fader_db, or slider and cut_db, "
                f"not {', '.join(sorted(map(str, keys))) or 'nothing'}"
            )
        return self.state()

    def state(self) -> dict[str, Any]:
        """Return where fader and sliders stand and what to do next, in plain words."""
        loop = self._loop
        return {
            "room": loop.room.name,
            "description": loop.room.description,
            "band": BAND,
            "fader_db": round(loop.fader_db, 2),
            "fader_min_db": FADER_MIN_DB,
            "fader_max_db": FADER_MAX_DB,
            "sliders": [
                {"label": label, "cut_db": cut_db}
                for (label, _), cut_db in zip(loop.sliders, loop.cuts_db, strict=True)
            ],
            "cut_max_db": CUT_MAX_DB,
            "advice": self._advice(),
        }

    def critical(self) -> list[Critical]:
        """Return the truth, for tests only: what is critical now, most critical first."""
        with self._lock:
            return self._loop.critical()

    def _advice(self) -> str:
        fader_db, pulled = self._loop.fader_db, any(c < 0.0 for c in self._loop.cuts_db)
        if self._margin_db < 0.0:
            if self._level_db > self._calm_db + _RING_DB:
                return "It rings: look at the lantern and pull the slider it names, 3 to 6 dB."
            return "Leave the fader there and listen: something begins to ring."
        if fader_db >= FADER_MAX_DB:
            return "The fader is at its end and nothing rings. Bring it down 3 dB and play."
        if self._level_db > self._calm_db + _RING_DB:
            return "It is dying away. When the lamp is dark, push the fader on, slowly."
        if pulled:
            return (
                "Quiet. Push the fader on, slowly, until it rings again; "
                "or stop here, and bring it down 3 dB."
            )
        return "Push the fader up, slowly, until something rings."

    # The thread.

    def _run(self) -> None:
        try:
            self._play()
        except Exception as error:  # the thread's edge: whatever it is, the reader must be told
            LOG.exception("the practice stage stopped")
            self._failure = f"the practice stage stopped: {error}"

    def _play(self) -> None:
        block_s = BLOCK_SAMPLES / self._rate_hz
        due_mono_s = time.monotonic() + block_s
        gap = True
        while not self._stopping.is_set():
            with self._lock:
                samples = self._loop.process(BLOCK_SAMPLES)
                self._note_level(self._loop.drive_dbfs, block_s)
            wait_s = due_mono_s - time.monotonic()
            if wait_s > 0.0:
                if self._stopping.wait(wait_s):
                    return
            elif wait_s < -LATE_S:
                due_mono_s = time.monotonic()
                gap = True
            block = AudioBlock(
                samples=samples,
                sample_rate_hz=self._rate_hz,
                captured_mono_s=due_mono_s,
                gap=gap,
                clipped_samples=int(np.count_nonzero(np.abs(samples) >= 1.0)),
            )
            gap = not self._hand_out(block)
            due_mono_s += block_s

    def _hand_out(self, block: AudioBlock) -> bool:
        """Queue a block; false if it had to be dropped because nobody reads."""
        try:
            self._blocks.put_nowait(block)
        except queue.Full:
            self._dropped += 1
            return False
        return True

    def _note_level(self, drive_dbfs: float, block_s: float) -> None:
        """Follow the loop's level, and the loud programme's level while it is stable.

        The calm level rises at once and falls within some ten seconds, and only where the loop
        cannot ring; it follows the fader by itself.
        """
        self._level_db += (drive_dbfs - self._level_db) * min(1.0, block_s / _HISTORY_S)
        if self._margin_db > 1.0:
            fall_db = 2.0 * block_s
            self._calm_db = max(self._level_db, self._calm_db - fall_db)


def _number(command: dict[str, Any], key: str) -> float:
    value = command[key]
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{key}={value!r} must be a number")
    return float(value)
