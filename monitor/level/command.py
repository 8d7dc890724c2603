"""``howl-lantern level``: the vocal channel's gain and low cut, live, from a file or a pipe."""

from __future__ import annotations

import functools
import signal
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

from monitor.channel.feed import Frame
from monitor.channel.meter import ChannelMeter
from monitor.errors import LanternError, UsageError
from monitor.level import source
from monitor.level.display import JsonLines, LiveLine
from monitor.level.source import Source
from monitor.output_file import check_outputs
from monitor.settings import Line, Settings

if TYPE_CHECKING:
    from firmware.ports import AudioSource

EVERY_S = 0.2
"""Between two lines: five a second are read at ease."""


class _Enough(Exception):
    """The person or the system has asked for the end."""


def run(source: Source, line: Line, *, as_json: bool, picture: str | None) -> int:
    """Measure until the sound ends or somebody ends it; return the exit code.

    Raises
    ------
    LanternError
        If the sound breaks off, with the reason.
    """
    show = JsonLines(sys.stdout) if as_json else LiveLine(sys.stdout)
    measured = _Measured(source, line)
    try:
        with _Patience() as patience:
            frames = patience.frames(source.frames)
            for fields in measured.every(frames, EVERY_S, live=source.kind != "file"):
                show.fields(fields)
    finally:
        show.clear()
    if measured.meter is None:
        raise LanternError("nothing was heard: no sample came")
    measured.meter.finish()
    fields = measured.fields()
    show.end(fields)
    if picture is not None:
        from monitor.level.picture import write_picture

        write_picture(Path(picture), fields, slope_db=line.low_cut_slope_db)
    return 0


def chosen(
    settings: Settings,
    *,
    file: str | None,
    device: str | None,
    box: bool,
    feed: bool,
    name: str | None,
) -> Source:
    """The source that was asked for; without a word the settings' line from the desk.

    Raises
    ------
    UsageError
        If more than one was asked for, or what was asked for is not there.
    """
    asked = [
        word
        for word, is_asked in (
            ("a recording", file is not None),
            ("--device", device is not None),
            ("--box", box and not feed),
            ("--feed", feed),
        )
        if is_asked
    ]
    if len(asked) > 1:
        raise UsageError(f"{' and '.join(asked)}: one source at a time, leave the others out")
    if file is not None:
        return source.from_file(file)
    if feed:
        if box:
            named = name or settings.microphone.device
            return source.from_feed(sys.stdin.buffer, "box", named)
        return source.from_feed(sys.stdin.buffer, "desk", name or settings.line.device or "feed")
    from firmware.cards import list_capture_devices

    if box:
        return source.from_box(
            settings.microphone, functools.partial(_opened, leave=settings.line.device)
        )
    return source.from_line(
        settings.line, settings.microphone, device, devices=list_capture_devices(), opened=_opened
    )


def _opened(
    device: str, channel: int, rates_hz: tuple[int, ...], *, leave: str = ""
) -> AudioSource:
    from firmware.microphone import AlsaMicrophone

    return AlsaMicrophone(device=device, channel=channel, rates_hz=rates_hz, leave=leave)


def check_picture(name: str, recording: str | None) -> None:
    """Refuse a picture that cannot be drawn, or over the recording, before anything is measured."""
    check_outputs(
        {"--picture": name}, {} if recording is None else {"the recording": Path(recording)}
    )
    if Path(name).suffix.lower() not in (".svg", ".png"):
        raise UsageError(f"{name}: a picture's name ends in .svg or .png")
    if not Path(name).resolve().parent.is_dir():
        raise UsageError(f"{name}: the folder for the picture does not exist; make it first")


class _Measured:
    """A source, and the meter that follows it."""

    def __init__(self, source: Source, line: Line) -> None:
        self._source = source
        self._line = line
        self._rate_hz = 0
        self.meter: ChannelMeter | None = None

    def fields(self) -> dict[str, Any]:
        """The meter's fields with the source's name."""
        assert self.meter is not None
        source = {"kind": self._source.kind, "name": self._source.name}
        return {"source": source, **self.meter.fields()}

    def every(
        self, frames: Iterator[Frame], seconds: float, *, live: bool
    ) -> Iterator[dict[str, Any]]:
        """The fields each time that so much more was heard; of a file none before its end."""
        due_s = seconds
        for frame in frames:
            meter = self._of(frame)
            try:
                meter.push(frame.samples, gap=frame.gap)
            except ValueError as error:
                raise LanternError(f"{self._source.name}: {error}") from error
            if live and meter.seconds >= due_s - 1e-9:
                due_s = meter.seconds + seconds
                yield self.fields()
            elif due_s > meter.seconds + seconds:
                due_s = seconds  # a new rate began anew

    def _of(self, frame: Frame) -> ChannelMeter:
        """The meter for a frame's rate; at another rate it begins anew."""
        if self.meter is None or frame.sample_rate_hz != self._rate_hz:
            self._rate_hz = frame.sample_rate_hz
            self.meter = ChannelMeter(
                frame.sample_rate_hz,
                scale=self._line.meter,
                zero_dbfs=self._line.zero_dbfs,
                low_cuts_hz=self._line.low_cuts_hz,
                low_cut_slope_db=self._line.low_cut_slope_db,
                kind=self._source.kind,
            )
        return self.meter


class _Patience:
    """Ends the measuring on SIGINT and SIGTERM, while it waits for sound and never within a hop."""

    SIGNALS = (signal.SIGINT, signal.SIGTERM)

    def __init__(self) -> None:
        self._is_waiting = False
        self._is_enough = False
        self._before: dict[signal.Signals, Any] = {}

    def __enter__(self) -> _Patience:
        if threading.current_thread() is threading.main_thread():
            self._before = {each: signal.signal(each, self._end) for each in self.SIGNALS}
        return self

    def __exit__(self, *_: object) -> None:
        for each, handler in self._before.items():
            signal.signal(each, handler)

    def _end(self, _signal: int, _frame: FrameType | None) -> None:
        self._is_enough = True
        if self._is_waiting:
            raise _Enough

    def frames(self, frames: Iterator[Frame]) -> Iterator[Frame]:
        """The frames until they end or somebody ends it."""
        try:
            while not self._is_enough:
                self._is_waiting = True
                frame = next(frames, None)
                self._is_waiting = False
                if frame is None:
                    return
                yield frame
        except (_Enough, KeyboardInterrupt):
            return
        finally:
            self._is_waiting = False
