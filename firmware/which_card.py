"""Which card the setting means at this moment, or what to say while it is not there."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from firmware.cards import CaptureDevice, card_id_of, list_capture_devices
from firmware.opening import MicrophoneError

UNKNOWN_EVERY_S = 30.0
"""A name that alsa-lib did not know is asked for again when the cards have changed, and this often
in case they have not: each question starts a process."""


class WhichCard:
    """Resolves a setting to ALSA's name, anew at every opening.

    Parameters
    ----------
    device : str
        "auto" (the first USB card that records), a card's short name, or any ALSA name.
    leave : str
        A card, named as in ``device``, that "auto" never takes; "" for none.
    kernel_list : Path
        Where the kernel lists its cards.
    lists_all : bool
        Whether every card that can be opened is on that list; not so beside a fake alsa-lib.
    clock : callable
        Monotonic seconds.
    """

    def __init__(
        self,
        device: str,
        *,
        leave: str,
        kernel_list: Path,
        lists_all: bool = True,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._device = device
        self._leave = (card_id_of(leave) or leave) if leave else ""
        self._kernel_list = kernel_list
        self._lists_all = lists_all
        self._clock = clock
        self._unknown_among: list[CaptureDevice] | None = None
        self._unknown_until_mono_s = 0.0

    def name(self) -> str:
        """Return the ALSA name to open now.

        Raises
        ------
        MicrophoneError
            If the card is not there.
        """
        devices = list_capture_devices(self._kernel_list)
        if self._device == "auto":
            return self._first_usb(devices)
        for each in devices:
            if self._device == each.card_id:
                return each.alsa_name
        wanted = card_id_of(self._device) or self._device
        known = {name for each in devices for name in (each.card_id, str(each.card_index))}
        is_card = self._lists_all and self._device.startswith(("hw:", "plughw:"))
        if (is_card and wanted not in known) or self._is_still_unknown(devices):
            raise self._absent(wanted, devices)
        return self._device

    def unknown(self) -> MicrophoneError | None:
        """Take note that alsa-lib knows no such name; return what to say, None for a card's name.

        A bare word is a card that is not plugged in, or a name that alsa-lib was to be taught.
        """
        if ":" in self._device or self._device == "auto":
            return None
        self._unknown_among = list_capture_devices(self._kernel_list)
        self._unknown_until_mono_s = self._clock() + UNKNOWN_EVERY_S
        return self._absent(self._device, self._unknown_among)

    def _first_usb(self, devices: list[CaptureDevice]) -> str:
        ours = [d for d in devices if self._leave not in (d.card_id, str(d.card_index))]
        if ours and ours[0].is_usb:
            return ours[0].alsa_name
        beside = f" beside the card {self._leave}" if len(ours) < len(devices) else ""
        if not ours:
            raise MicrophoneError(f"no microphone is there{beside}; plug one in (any USB socket)")
        # Another card's input is open and silent as a rule: "quiet" would be said of nothing.
        raise MicrophoneError(
            f"no USB microphone is there{beside}; plug one in, or put the name of a card that is "
            f"({_names(ours)}) into [microphone] device"
        )

    def _is_still_unknown(self, devices: list[CaptureDevice]) -> bool:
        return devices == self._unknown_among and self._clock() < self._unknown_until_mono_s

    def _absent(self, wanted: str, devices: list[CaptureDevice]) -> MicrophoneError:
        return MicrophoneError(
            f"the microphone {wanted} is not plugged in (there: {_names(devices) or 'none'}); "
            "plug it in or change [microphone] device"
        )


def _names(devices: list[CaptureDevice]) -> str:
    return ", ".join(dict.fromkeys(each.card_id for each in devices))
