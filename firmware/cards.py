"""Which sound cards can record, by names that survive a reboot and another USB socket.

Two cards of one make are the exception: the kernel calls the first that it finds "Device" and the
next "Device_1", and which is first may differ from boot to boot.

Read from the kernel's own list at every call.  alsa-lib keeps its list for the life of
the process, so a microphone plugged in later would never appear there; and ``hw:CARD=``
names are resolved by the kernel at each opening.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

KERNEL_LIST = Path("/proc/asound")


@dataclass(frozen=True, slots=True)
class CaptureDevice:
    """One recording device.

    ``card_index`` may change at any boot; ``card_id`` only among cards of one make (``twins``).
    """

    card_id: str
    card_index: int
    device_number: int
    name: str
    is_usb: bool

    @property
    def alsa_name(self) -> str:
        """The name to open, as in ``[microphone] device``."""
        return f"hw:CARD={self.card_id},DEV={self.device_number}"


def list_capture_devices(kernel_list: Path = KERNEL_LIST) -> list[CaptureDevice]:
    """Every recording device there is now, USB first; empty if there is none."""
    found: list[CaptureDevice] = []
    for folder in kernel_list.glob("card[0-9]*"):
        try:
            card_id = (folder / "id").read_text().strip()
            is_usb = (folder / "usbid").exists()
            for pcm in folder.glob("pcm[0-9]*c"):
                info = (pcm / "info").read_text()
                label = re.search(r"^name: (.*)$", info, re.MULTILINE)
                found.append(
                    CaptureDevice(
                        card_id=card_id,
                        card_index=int(folder.name.removeprefix("card")),
                        device_number=int(pcm.name[3:-1]),
                        name=label.group(1).strip() if label else card_id,
                        is_usb=is_usb,
                    )
                )
        except (OSError, ValueError):
            continue  # the card was pulled between two lines of ours
    return sorted(found, key=lambda each: (not each.is_usb, each.card_index, each.device_number))


def twins(devices: Sequence[CaptureDevice]) -> list[list[str]]:
    """Return the short names that cards of one make may swap at the next boot, by make.

    The kernel sets a hexadecimal number behind a name that is taken ("Device_1").
    """
    makes: dict[str, set[str]] = {}
    for each in devices:
        makes.setdefault(re.sub(r"_[0-9A-F]{1,2}$", "", each.card_id), set()).add(each.card_id)
    return [sorted(names) for names in makes.values() if len(names) > 1]


def card_id_of(alsa_name: str) -> str | None:
    """The card an ALSA name points at (its id, or its number as text), None if at no card."""
    named = re.match(r"^(?:plug|sys|dsnoop)?\w*:(?:CARD=)?([A-Za-z0-9_-]+)", alsa_name)
    return named.group(1) if named else None
