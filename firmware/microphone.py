"""The microphone: captured in its own thread, watched by another, back after every loss.

Two threads:

- the *reader* opens the device, reads and appends to a bounded queue, nothing else
  (``waiting_sound.py``);
- the *keeper* starts a reader, and another one when it ended or has not read for a second.

A read may never return, nor the closing (a halted sound server, a driver that hangs).  Nothing can
end such a thread from outside, so it is left behind and its blocks, should it ever wake, are not
taken.  An opening or a mixer that never returned would hold up the whole program; so before each
opening a child process tries whether the device answers at all, and then speaks to the mixer.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from firmware.cards import KERNEL_LIST, CaptureDevice, card_id_of, list_capture_devices
from firmware.knocking import Knocker
from firmware.opening import (
    BusyError,
    MicrophoneError,
    Opened,
    UnknownNameError,
    is_card,
    open_capture,
)
from firmware.pace import SilentLoss, TrueRate
from firmware.ports import AudioBlock, HearingState, MicrophoneStatus
from firmware.waiting_sound import WaitingSound
from firmware.which_card import WhichCard

__all__ = ["AlsaMicrophone", "CaptureDevice", "list_capture_devices"]

SEARCH_EVERY_S = 0.25
KNOCK_EVERY_S = 1.0
"""Until one is heard; each knock starts a process, dear on a slow board that is deaf all night."""
STUCK_AFTER_S = 0.8
WATCHED_EVERY_S = 0.2
OVERSLEPT_S = 2.0 * WATCHED_EVERY_S
"""A keeper that stood still itself for so long cannot tell the machine's stall from the card's, and
looks once more."""
FIRST_READ_WITHIN_S = 3.0
"""A sound server that has just been woken needs up to 2 s for its first samples."""

GIVE_UP_AFTER_OVERRUNS = 8
"""A device whose server died may answer every read like this, at once and for ever."""

OVERRUN = -32  # -EPIPE, returned by PCM.read() instead of a length


@dataclass
class _Reader:
    """One attempt at capturing: its thread and its signs of life."""

    thread: threading.Thread | None = None
    is_wanted: bool = True
    begun_mono_s: float = field(default_factory=time.monotonic)
    progress_mono_s: float | None = None
    is_open: bool = False
    """From the opening on until it is closed again."""


class AlsaMicrophone:
    """An ``AudioSource`` on alsa-lib.  Opens by itself, in the background, and stays at it.

    Parameters
    ----------
    device : "auto" (first USB card that records), a card's short name, or any ALSA name
    channel : which channel of the card, counted from 1
    rates_hz : acceptable sample rates, best first
    leave : a card, named as in ``device``, that "auto" never takes: it carries something else
    alsa : the ``alsaaudio`` module or a fake; None imports the real one
    kernel_list : where the kernel lists its cards
    knocker : asks, in another process, whether a device answers and what its mixer says; None:
        really for the real ``alsa``, not at all for a fake
    """

    def __init__(
        self,
        *,
        device: str,
        channel: int = 1,
        rates_hz: Sequence[int] = (48000, 44100, 32000, 16000),
        leave: str = "",
        alsa: Any = None,
        kernel_list: Path = KERNEL_LIST,
        knocker: Knocker | None = None,
    ) -> None:
        if channel < 1:
            raise ValueError(f"channel={channel}: channels are counted from 1")
        self._channel = channel
        self._rates_hz = tuple(rates_hz)
        self._alsa = alsa
        self._kernel_list = kernel_list
        self._which = WhichCard(
            device, leave=leave, kernel_list=kernel_list, lists_all=alsa is None
        )
        self._knocker = knocker or (Knocker() if alsa is None else None)
        self._sound = WaitingSound(channel - 1)
        self._lock = threading.RLock()
        self._is_closing = threading.Event()
        self._left_behind: list[threading.Thread] = []
        self._knock_next_mono_s = 0.0
        self._status = MicrophoneStatus(
            state="searching",
            since_mono_s=time.monotonic(),
            device=device,
            detail="looking for the microphone",
        )
        self._keeper = threading.Thread(target=self._keep, name="microphone", daemon=True)
        self._keeper.start()

    def read(self, timeout_s: float) -> AudioBlock | None:
        """Return the next block, or None: none came within ``timeout_s``, or an empty one."""
        return self._sound.read(timeout_s)

    def status(self) -> MicrophoneStatus:
        """Return what is known about the microphone at this moment."""
        with self._lock:
            return self._status

    def close(self) -> None:
        """Stop and release the device; may be called twice.  Gives a read one second."""
        self._is_closing.set()
        self._sound.close()
        self._keeper.join(1.5)

    # ------------------------------------------------------------------ keeper

    def _keep(self) -> None:
        while not self._is_closing.is_set():
            reader = _Reader()
            reader.thread = threading.Thread(
                target=self._capture, args=(reader,), name="capture", daemon=True
            )
            try:
                reader.thread.start()
            except RuntimeError as error:  # the system has no thread to give at this moment
                self._say_lost(reader, f"the microphone waits ({error}); stop other programs")
                self._is_closing.wait(SEARCH_EVERY_S)
                continue
            self._watch_over(reader)
            if reader.thread.is_alive():
                self._left_behind.append(reader.thread)
            # One thread at a time may hang: more would only pile up on the same fault.
            while len(self._left_behind) > 1 and not self._is_closing.wait(SEARCH_EVERY_S):
                self._left_behind = [each for each in self._left_behind if each.is_alive()]
            self._is_closing.wait(SEARCH_EVERY_S)

    def _watch_over(self, reader: _Reader) -> None:
        """Return when the reader has ended, hangs, or is not wanted any more."""
        thread = reader.thread
        while thread is not None and thread.is_alive():
            if self._is_closing.is_set():
                reader.is_wanted = False
                thread.join(1.0)
                return
            looked_mono_s = time.monotonic()
            thread.join(WATCHED_EVERY_S)
            now_mono_s = time.monotonic()
            if now_mono_s - looked_mono_s > OVERSLEPT_S:
                continue
            last = reader.progress_mono_s
            allowed_s = FIRST_READ_WITHIN_S if last is None else STUCK_AFTER_S
            silent_s = now_mono_s - (reader.begun_mono_s if last is None else last)
            if reader.is_open and silent_s > allowed_s and thread.is_alive():
                with self._lock:
                    reader.is_wanted = False
                    self._sound.lose()
                self._say(
                    "stuck",
                    f"{self._status.device} is open but has delivered nothing for "
                    f"{silent_s:.1f} s; replug the microphone if this stays",
                )
                return

    # ------------------------------------------------------------------ reader

    def _capture(self, reader: _Reader) -> None:
        """Open and read until something fails or the keeper wants no more."""
        try:
            alsa = self._alsa if self._alsa is not None else _import_alsa()
            name = self._which.name()
            if time.monotonic() < self._knock_next_mono_s:
                return
            self._knock_next_mono_s = time.monotonic() + KNOCK_EVERY_S
            if self._knocker and not self._knocker.answers(name, self._card_index(name)):
                self._say_silent(reader, name)
                return
            opened = open_capture(alsa, name, channel=self._channel, rates_hz=self._rates_hz)
        except UnknownNameError as error:
            self._say_lost(reader, str(self._which.unknown() or error))
            return
        except BusyError as error:
            if any(each.is_alive() for each in self._left_behind):  # it is ourselves who hold it
                self._say_silent(reader, name)
            else:
                self._say_lost(reader, str(error))
            return
        except MicrophoneError as error:
            self._say_lost(reader, str(error))
            return
        except Exception as error:  # a fault of ours or the driver's must not end the search
            self._say_lost(reader, f"the microphone cannot be opened ({error})")
            return
        try:
            reader.begun_mono_s = time.monotonic()
            reader.is_open = True
            reason = self._read_on(reader, opened, name)
        except Exception as error:
            reason = f"{name} stopped ({error}); plug it in again"
        self._say_lost(reader, reason)
        reader.begun_mono_s, reader.progress_mono_s = time.monotonic(), None
        try:
            opened.pcm.close()  # this may hang as well, and is watched over like a first read
        except Exception:  # it is gone already
            pass
        reader.is_open = False

    def _read_on(self, reader: _Reader, opened: Opened, name: str) -> str:
        """Read block after block; return why it ended."""
        losses, true_rate = SilentLoss(opened.rate_hz), TrueRate(opened.rate_hz)
        is_news = True
        gain: str | None = None
        overruns_in_a_row = 0
        while reader.is_wanted:
            length, data = opened.pcm.read()
            now = time.monotonic()
            if length == OVERRUN:
                reader.progress_mono_s = now
                losses, true_rate = SilentLoss(opened.rate_hz), TrueRate(opened.rate_hz)
                self._count_overrun(reader)
                overruns_in_a_row += 1
                if overruns_in_a_row >= GIVE_UP_AFTER_OVERRUNS:
                    return f"{name} delivers nothing but overruns; it is opened anew"
                continue
            if length < 0:
                return f"{name} stopped (error {length}); plug it in again"
            if length == 0:
                # Not progress: a device that only ever says "nothing yet" is stuck.
                self._is_closing.wait(0.005)
                continue
            reader.progress_mono_s = now
            overruns_in_a_row = 0
            if losses.push(length, now) > 0.0:
                self._count_overrun(reader)
            if (rate_hz := true_rate.push(length, now)) is not None:
                opened = replace(opened, rate_hz=rate_hz, says_hz=opened.says_hz or opened.rate_hz)
                losses, true_rate = SilentLoss(rate_hz), TrueRate(rate_hz)
                self._sound.lose()
                is_news = True
            if gain is None and (gain := self._automatic_gain()) is not None:
                is_news = True
            if is_news:
                is_news = False
                self._say_hearing(reader, opened, name, gain or "unknown")
            self._append(reader, data, length, opened, now)
        return f"{name} is released"

    def _append(
        self, reader: _Reader, data: bytes, frames: int, opened: Opened, now: float
    ) -> None:
        with self._lock:
            if not reader.is_wanted:
                return
            if self._sound.append(data, frames, opened, now):
                dropped = self._status.dropped_block_count + 1
                self._status = replace(self._status, dropped_block_count=dropped)

    def _automatic_gain(self) -> str | None:
        return "unknown" if self._knocker is None else self._knocker.automatic_gain()

    def _card_index(self, name: str) -> int | None:
        card = card_id_of(name)
        for each in list_capture_devices(self._kernel_list):
            if card in (each.card_id, str(each.card_index)):
                return each.card_index
        return None

    # ------------------------------------------------------------------ words

    def _count_overrun(self, reader: _Reader) -> None:
        with self._lock:
            if reader.is_wanted:
                self._sound.lose()
                count = self._status.overrun_count + 1
                self._status = replace(self._status, overrun_count=count)

    def _say_hearing(self, reader: _Reader, opened: Opened, name: str, gain: str) -> None:
        detail = f"{name} at {opened.in_words}"
        if gain == "still on":
            detail += "; its automatic gain control is on and hides rings: turn it off in the mixer"
        elif gain == "turned off":
            detail += "; its automatic gain control is turned off"
        with self._lock:
            if not reader.is_wanted:
                return
            self._knock_next_mono_s = 0.0
            self._say(
                "hearing",
                detail,
                device=name,
                sample_rate_hz=opened.rate_hz,
                sample_format=opened.sample_format,
                channels=opened.channels,
                automatic_gain=gain,
            )

    def _say_silent(self, reader: _Reader, name: str) -> None:
        """A device that is there and gives no sign."""
        to_do = "plug it in again" if is_card(name) else "restart the sound server"
        with self._lock:
            if reader.is_wanted and not self._is_closing.is_set():
                self._sound.lose()
                self._say("stuck", f"{name} does not answer; {to_do}")

    def _say_lost(self, reader: _Reader, detail: str) -> None:
        with self._lock:
            if not reader.is_wanted or self._is_closing.is_set():
                return
            self._sound.lose()
            was_heard = self._status.state != "searching"
            self._say("lost" if was_heard else "searching", detail)

    def _say(self, state: HearingState, detail: str, **what_is_set: Any) -> None:
        """Publish a new status; ``since_mono_s`` is kept while the state stays the same."""
        with self._lock:
            since = self._status.since_mono_s
            if state != self._status.state:
                since = time.monotonic()
            self._status = replace(
                self._status, state=state, since_mono_s=since, detail=detail, **what_is_set
            )


def _import_alsa() -> Any:
    try:
        import alsaaudio
    except ImportError as error:
        raise MicrophoneError(
            f"the Python package pyalsaaudio is missing ({error}); install it: "
            "pip install pyalsaaudio (needs gcc, python3-dev and libasound2-dev)"
        ) from error
    return alsaaudio
