"""The practice stage in the place of the microphone: an audio source in real time.

A thread of its own computes the stage ahead of nobody: each block is handed out when its last
sample would have been captured.  Who reads never computes.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from firmware.ports import FULL_SCALE, AudioBlock, HearingState, MicrophoneStatus
from monitor.advice.equaliser import Equaliser
from monitor.stage.as_plan import as_plan
from monitor.stage.handles import handled
from monitor.stage.line import GAIN_MAX_DB, GAIN_MIN_DB, StageLine
from monitor.stage.loop import FADER_MIN_DB, StageLoop
from monitor.stage.loop_level import LoopLevel
from monitor.stage.mover import Mover
from monitor.stage.nyquist import Critical
from monitor.stage.performer import Programme
from monitor.stage.scenario import DEFAULT_ROOM, practice_room
from monitor.stage.seat import seat_of, take_seat
from monitor.stage.sound import SoundDoor
from monitor.stage.telling import next_step, stage_fields

LOG = logging.getLogger(__name__)

SAMPLE_RATE_HZ = 48000
SEED = 1
BLOCK_SAMPLES = 512
QUEUED_BLOCKS = 190
"""About two seconds at 48 kHz; a reader that is slower loses blocks, and is told."""
LATE_S = 0.5
"""A machine that slept or stalled for longer goes on from now, with a gap that is counted."""


class StageMicrophone:
    """An audio source that is a whole stage.

    Parameters
    ----------
    equaliser : Equaliser, optional
        The user's own; 31 third octaves by default.
    programme : str
        What the performer does.
    loop : StageLoop, optional
        A loop of one's own in the place of the scenario's first room as the band found it.
    sound : SoundDoor, optional
        Where the sound can be listened to; closed with the stage.
    """

    def __init__(
        self,
        *,
        equaliser: Equaliser | None = None,
        programme: Programme = "song",
        loop: StageLoop | None = None,
        sound: SoundDoor | None = None,
    ) -> None:
        if loop is not None:
            self._seat = seat_of(loop)
        else:
            room = practice_room(DEFAULT_ROOM.name)
            self._seat = take_seat(
                room,
                room.placements[0],
                sample_rate_hz=SAMPLE_RATE_HZ,
                equaliser=equaliser,
                programme=programme,
                seed=SEED,
            )
        self._rate_hz = self._seat.loop.sample_rate_hz
        self._sound = sound
        self._mover = Mover(
            sample_rate_hz=self._rate_hz,
            equaliser=self._seat.loop.equaliser,
            programme=programme,
            seed=SEED,
            present=lambda: self._seat,
        )
        self._tried: dict[tuple[str, str], float] = {}
        self._note_tried()
        self._lock = threading.Lock()
        self._blocks: queue.Queue[AudioBlock] = queue.Queue(QUEUED_BLOCKS)
        self._stopping = threading.Event()
        self._stalled = 0
        self._dropped = 0
        self._since_mono_s = time.monotonic()
        self._failure = ""
        self._margin_db = self._seat.loop.margin_db()
        self._level = LoopLevel()
        self._take_line: Callable[[AudioBlock], None] | None = None
        self._line: StageLine | None = None
        self._line_gap = True
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
        detail = f"simulated: {self._seat.loop.room.name}; nothing is recorded"
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
            overrun_count=self._stalled,
            dropped_block_count=self._dropped,
        )

    def close(self) -> None:
        """Stop the stage; may be called twice."""
        self._stopping.set()
        if self._thread is not threading.current_thread():
            self._thread.join(timeout=2.0)
        if self._sound is not None:
            self._sound.close()

    # The handles.

    def control(self, command: dict[str, Any]) -> dict[str, Any]:
        """Do what ``handles.handled`` understands; return the state after it.

        {"room": name} goes to another room, {"placement": name} puts the things of this room
        somewhere else; both are built meanwhile and played when they are ready.

        Raises
        ------
        ValueError
            For a command that cannot be followed; one clear line.
        """
        name, values = handled(command)
        if name == "fader":
            self._set_fader(values["fader_db"])
        elif name == "gain":
            self._set_gain(values["gain_db"])
        elif name == "slider":
            self._set_slider(**values)
        elif name == "room":
            room = practice_room(values["room"])
            self._mover.move(room, room.placements[0])
        else:
            self._move_within(values["placement"])
        return self.state()

    def _set_fader(self, fader_db: float) -> None:
        with self._lock:
            highest_db = self._seat.fader_max_db
            if not FADER_MIN_DB <= fader_db <= highest_db:
                raise ValueError(
                    f"fader_db={fader_db:g} must lie between {FADER_MIN_DB:g} and {highest_db:g}"
                )
            self._seat.fader_db = fader_db
            self._margin_db = self._seat.loop.margin_db()

    def _set_gain(self, gain_db: float) -> None:
        if not GAIN_MIN_DB <= gain_db <= GAIN_MAX_DB:
            raise ValueError(
                f"gain_db={gain_db:g} must lie between {GAIN_MIN_DB:g} and {GAIN_MAX_DB:g}"
            )
        with self._lock:
            self._seat.turn_gain(gain_db)
            self._margin_db = self._seat.loop.margin_db()

    def _set_slider(
        self, slider: int, cut_db: float, centre_hz: float | None = None, q: float | None = None
    ) -> None:
        with self._lock:
            loop = self._seat.loop
            loop.set_cut(slider, cut_db)
            if centre_hz is not None:
                filters = list(loop.equaliser.sliders)
                filters[slider] = filters[slider].moved(centre_hz, q)
                loop.equalise(loop.equaliser.with_sliders(filters), loop.cuts_db)
            self._margin_db = self._seat.loop.margin_db()

    def _move_within(self, name: str) -> None:
        moving = self._mover.moving_to
        room = self._seat.room if moving is None else moving[0]
        if room is None:
            raise ValueError("this stage has nothing that could be moved; choose a room first")
        self._mover.move(room, room.placement(name))

    def state(self) -> dict[str, Any]:
        """Return how the stage stands and what to do next, in plain words.

        Called by the analysis loop, so it takes no lock: what is read a moment too early is
        right in the next snapshot.
        """
        seat, moving = self._seat, self._mover.moving_to
        advice = next_step(
            fader_db=seat.fader_db,
            fader_max_db=seat.fader_max_db,
            pulled=any(cut_db < 0.0 for cut_db in seat.loop.cuts_db),
            margin_db=self._margin_db,
            is_loud=self._level.is_loud,
            is_dying=self._level.is_dying,
            moving=moving is not None,
            problem=self._mover.problem,
        )
        return stage_fields(
            seat,
            tried=self._tried,
            moving=f"{moving[0].name}, {moving[1].name}" if moving else None,
            has_sound=self._sound is not None,
            advice=advice,
        )

    def _note_tried(self) -> None:
        seat = self._seat
        if seat.room is not None and seat.placement is not None:
            self._tried[seat.room.name, seat.placement.name] = round(seat.gain_db, 1)

    def critical(self) -> list[Critical]:
        """Return the truth, for tests only: what is critical now, most critical first."""
        with self._lock:
            return self._seat.loop.critical()

    def tap_line(self, take: Callable[[AudioBlock], None] | None) -> None:
        """Hand each block of the desk's line to ``take``, which must return at once; None ends it.

        It is the vocal channel before the fader, on the same clock as the blocks of ``read``.
        """
        if take is not None and self._line is None:  # takes a moment, so not where the stage waits
            self._line = StageLine(sample_rate_hz=self._rate_hz, seed=SEED)
        with self._lock:
            self._take_line = take
            self._seat.loop.line = None if take is None else self._line
            self._line_gap = True

    def plan(self) -> dict[str, Any]:
        """Return the placement that is played, as a stage plan."""
        return as_plan(self._seat.loop.room)

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
            gap |= self._change_seats()
            with self._lock:
                samples = self._seat.loop.process(BLOCK_SAMPLES)
                self._level.note(self._seat.loop.drive_dbfs, block_s, margin_db=self._margin_db)
                line, take_line = self._seat.loop.line, self._take_line
            wait_s = due_mono_s - time.monotonic()
            if wait_s > 0.0:
                if self._stopping.wait(wait_s):
                    return
            elif wait_s < -LATE_S:
                due_mono_s = time.monotonic()
                gap = self._line_gap = True
                self._stalled += 1
            if line is not None and take_line is not None:
                self._hand_line(line, take_line, due_mono_s)
            block = AudioBlock(
                samples=samples,
                sample_rate_hz=self._rate_hz,
                captured_mono_s=due_mono_s,
                gap=gap,
                clipped_samples=int(np.count_nonzero(np.abs(samples) >= FULL_SCALE)),
            )
            gap = not self._hand_out(block)
            if self._sound is not None:
                self._sound.publish(samples)
            due_mono_s += block_s

    def _change_seats(self) -> bool:
        """Play the newly built placement if there is one; true when something changed."""
        seat = self._mover.ready()
        if seat is None:
            return False
        with self._lock:
            if seat.room is self._seat.room:
                # A slider that was moved while the placement was being built.
                played = self._seat.loop
                if (seat.loop.cuts_db, seat.loop.equaliser) != (played.cuts_db, played.equaliser):
                    seat.loop.equalise(played.equaliser, played.cuts_db)
            # The singer's channel stays as it is wherever things are carried.
            seat.loop.line = self._seat.loop.line
            seat.turn_gain(self._seat.loop.input_db)
            self._seat = seat
            self._margin_db = seat.loop.margin_db()
            self._level = LoopLevel()
            self._note_tried()
        return True

    def _hand_line(
        self, line: StageLine, take: Callable[[AudioBlock], None], due_mono_s: float
    ) -> None:
        samples = line.take()
        if len(samples):
            clipped = int(np.count_nonzero(np.abs(samples) >= FULL_SCALE))
            take(AudioBlock(samples, self._rate_hz, due_mono_s, self._line_gap, clipped))
            self._line_gap = False

    def _hand_out(self, block: AudioBlock) -> bool:
        """Queue a block; false if it had to be dropped because nobody reads."""
        try:
            self._blocks.put_nowait(block)
        except queue.Full:
            self._dropped += 1
            return False
        return True
