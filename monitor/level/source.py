"""Where ``howl-lantern level`` takes its sound from: a desk's line, the box's own microphone, a
file or a pipe.  A desk's line and the box's microphone are never taken for one another."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, BinaryIO, Literal

from monitor.channel.feed import Frame, frames
from monitor.errors import LanternError, UsageError

if TYPE_CHECKING:
    from firmware.cards import CaptureDevice
    from firmware.ports import AudioSource
    from monitor.settings import Line, Microphone

Kind = Literal["desk", "box", "file"]

WAIT_S = 5.0
"""A card that is there answers within 3 s, also behind a sound server that must wake."""

BLOCK_WAIT_S = 0.5


@dataclass(frozen=True, slots=True)
class Source:
    """What is measured, and its sound."""

    kind: Kind
    name: str
    frames: Iterator[Frame]


def from_file(path: str) -> Source:
    """A recording of the line: the mean of its channels.

    Raises
    ------
    UsageError
        If it cannot be read.
    """
    from monitor.recordings import Recording, RecordingError

    try:
        recording = Recording(path)
    except RecordingError as error:
        raise UsageError(str(error)) from error

    def blocks() -> Iterator[Frame]:
        try:
            for block in recording.blocks():
                yield Frame(block, recording.sample_rate_hz, gap=False)
        except RecordingError as error:
            raise UsageError(str(error)) from error

    return Source("file", recording.path.name, blocks())


def from_feed(pipe: BinaryIO, kind: Kind, name: str) -> Source:
    """Frames on a pipe."""
    return Source(kind, name, frames(pipe))


def from_line(
    line: Line,
    microphone: Microphone,
    device: str | None,
    *,
    devices: list[CaptureDevice],
    opened: Callable[[str, int, tuple[int, ...]], AudioSource],
) -> Source:
    """The line from the desk.

    Parameters
    ----------
    device : str, optional
        In place of the settings' one.
    devices : list of CaptureDevice
        What can record, as the box's microphone is chosen from it.
    opened : opens a device, its channel, at one of some rates

    Raises
    ------
    UsageError
        If none is set, or it is the box's own microphone.
    """
    name = line.device if device is None else device
    if name == "":
        raise UsageError(
            "no line from the desk is set: put its card into [line] device in your settings, or "
            "give --device, a recording, or --box for the box's own microphone"
        )
    if name == "auto":
        raise UsageError(
            'a line from the desk must be named, "auto" may be the box\'s microphone; '
            "`howl-lantern check` lists the cards"
        )
    own = _card(microphone.device, devices)
    if _card(name, devices) == own and line.channel == microphone.channel:
        raise UsageError(
            f'"{name}", channel {line.channel}, is the box\'s own microphone ([microphone] device '
            f'= "{microphone.device}"); name the desk\'s card, or measure the box with --box'
        )
    return Source("desk", name, heard(opened(name, line.channel, line.rates_hz)))


def from_box(
    microphone: Microphone, opened: Callable[[str, int, tuple[int, ...]], AudioSource]
) -> Source:
    """The box's own microphone."""
    source = opened(microphone.device, microphone.channel, microphone.rates_hz)
    return Source("box", microphone.device, heard(source))


def _card(name: str, devices: list[CaptureDevice]) -> str:
    """What tells a card: its short name, for a name that points at none the name itself."""
    from firmware.cards import card_id_of

    if name == "auto":
        return next((each.card_id for each in devices if each.is_usb), name)
    wanted = card_id_of(name) or name
    for each in devices:
        if wanted in (each.card_id, str(each.card_index)):
            return each.card_id
    return name


def heard(source: AudioSource) -> Iterator[Frame]:
    """Frames of a device until it is lost.

    Raises
    ------
    LanternError
        If nothing comes from it for ``WAIT_S``, with its own reason.
    """
    last_mono_s = time.monotonic()
    try:
        while True:
            block = source.read(BLOCK_WAIT_S)
            if block is not None:
                last_mono_s = time.monotonic()
                yield Frame(block.samples, block.sample_rate_hz, block.gap)
            elif time.monotonic() - last_mono_s > WAIT_S:
                raise LanternError(_why(source))
    finally:
        source.close()


def _why(source: AudioSource) -> str:
    detail = source.status().detail
    if "busy" in detail:
        detail += "; if that is the watcher, measure on the page, or stop howl-lantern.service"
    return detail
