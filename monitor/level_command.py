"""``howl-lantern level``: the vocal channel's gain and low cut, live, from a file or a pipe."""

from __future__ import annotations

import json
import shutil
import signal
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any, TextIO

from monitor import level_source
from monitor.channel.feed import Frame
from monitor.channel.meter import ChannelMeter
from monitor.errors import LanternError, UsageError
from monitor.level_source import Source
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
    show = _JsonLines(sys.stdout) if as_json else _LiveLine(sys.stdout)
    measured = _Measured(source, line)
    try:
        with _ends_on_signals():
            for fields in measured.every(EVERY_S, live=source.kind != "file"):
                show.fields(fields)
    except (_Enough, KeyboardInterrupt):
        pass
    finally:
        show.clear()
    if measured.meter is None:
        raise LanternError("nothing was heard: no sample came")
    measured.meter.finish()
    fields = measured.fields()
    show.end(fields)
    if picture is not None:
        from monitor.level_picture import write_picture

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
        return level_source.from_file(file)
    if feed:
        if box:
            named = name or settings.microphone.device
            return level_source.from_feed(sys.stdin.buffer, "box", named)
        return level_source.from_feed(
            sys.stdin.buffer, "desk", name or settings.line.device or "feed"
        )
    from firmware.cards import list_capture_devices

    if box:
        return level_source.from_box(settings.microphone, _opened)
    return level_source.from_line(
        settings.line, settings.microphone, device, devices=list_capture_devices(), opened=_opened
    )


def _opened(device: str, channel: int, rates_hz: tuple[int, ...]) -> AudioSource:
    from firmware.microphone import AlsaMicrophone

    return AlsaMicrophone(device=device, channel=channel, rates_hz=rates_hz)


def check_picture(name: str) -> None:
    """Refuse a picture of a kind that cannot be drawn, before anything is measured."""
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

    def every(self, seconds: float, *, live: bool) -> Iterator[dict[str, Any]]:
        """The fields each time that so much more was heard; of a file none before its end."""
        due_s = seconds
        for frame in self._source.frames:
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
        """The meter for a frame's rate; another rate begins anew, its levels are not the old
        ones."""
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


class _ends_on_signals:
    """SIGTERM ends the measuring as Ctrl-C does, with the summary."""

    def __enter__(self) -> None:
        self._is_main = threading.current_thread() is threading.main_thread()
        if self._is_main:
            self._before = signal.signal(signal.SIGTERM, _enough)

    def __exit__(self, *_: object) -> None:
        if self._is_main:
            signal.signal(signal.SIGTERM, self._before)


def _enough(_signal: int, _frame: FrameType | None) -> None:
    raise _Enough


class _JsonLines:
    """One JSON object a line, each written at once."""

    def __init__(self, out: TextIO) -> None:
        self._out = out

    def fields(self, fields: dict[str, Any]) -> None:
        """Write a line."""
        self._out.write(json.dumps(fields, allow_nan=False) + "\n")
        self._out.flush()

    def clear(self) -> None:
        """Nothing stands to be cleared."""

    def end(self, fields: dict[str, Any]) -> None:
        """Write the last line."""
        self.fields(fields)


class _LiveLine:
    """One line that is drawn again and again; where there is no terminal, one for each new word."""

    def __init__(self, out: TextIO) -> None:
        self._out = out
        self._is_terminal = out.isatty()
        self._said = ""

    def fields(self, fields: dict[str, Any]) -> None:
        """Show the newest."""
        said = f"{fields['state']}: {fields['advice']['sentence']}"
        if self._is_terminal:
            width = max(20, shutil.get_terminal_size().columns - 1)
            line = f"{fields['peak_dbfs']:6.1f} peak {fields['rms_dbfs']:6.1f} RMS  "
            line += f"{fields['voice']:<8} {fields['advice']['sentence']}"
            self._out.write(f"\r\033[K{line[:width]}")
        elif said != self._said:
            self._out.write(f"{fields['seconds']:7.1f} s  {said}\n")
        self._said = said
        self._out.flush()

    def clear(self) -> None:
        """Take the line away, so that what follows stands alone."""
        if self._is_terminal and self._said:
            self._out.write("\r\033[K")
            self._out.flush()

    def end(self, fields: dict[str, Any]) -> None:
        """Print the summary."""
        print("\n".join(summary(fields)), file=self._out, flush=True)


_NAMES = {
    "desk": "the desk's line",
    "box": "the box's own microphone",
    "file": "the recording",
}


def summary(fields: dict[str, Any]) -> list[str]:
    """All that was found, in a few lines for people."""
    source, advice, low_cut = fields["source"], fields["advice"], fields["low_cut"]
    lines = [f"{_NAMES[source['kind']]}, {source['name']}: {fields['seconds']:.1f} s heard"]
    for key, name in (("sung", "loudest sung line"), ("spoken", "speech")):
        if key in fields:
            part = fields[key]
            lines.append(
                f"  {name + ':':<19} peak {part['peak_dbfs']:.1f}, RMS {part['rms_dbfs']:.1f} dBFS "
                f"({part['seconds']:.0f} s)"
            )
    if "noise_dbfs" in fields:
        lines.append(f"  {'pauses:':<19} {fields['noise_dbfs']:.1f} dBFS")
    if fields["clipped_count"]:
        lines.append(f"  {'clipped:':<19} {fields['clipped_count']} times at full scale")
    if fields.get("gap_count"):
        lines.append(f"  {'gaps:':<19} {fields['gap_count']}, sound was lost there")
    if "lowest_note" in low_cut:
        lines.append(
            f"  {'voice:':<19} {low_cut['lowest_note']} ({low_cut['lowest_hz']:.0f} Hz) to "
            f"{low_cut['highest_note']} ({low_cut['highest_hz']:.0f} Hz)"
        )
    if "hum_hz" in low_cut:
        lines.append(f"  {'hum:':<19} of the mains, {low_cut['hum_hz']} Hz: look at the cables")
    detail = f" ({advice['detail']})" if "detail" in advice else ""
    lines.append(f"{advice['sentence']}{detail}")
    if source["kind"] != "box":
        lines.append(low_cut["sentence"])
    return lines
