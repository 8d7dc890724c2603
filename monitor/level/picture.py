"""What ``howl-lantern level --picture`` draws: the voice's spectrum, what lies below, and the
cut."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from monitor.channel.low_cut import gain
from monitor.placing.picture_file import write_png, write_svg
from monitor.placing.shapes import Anchor, Ink, Outline, Picture, Point, Shape, Words

WIDTH_CM, HEIGHT_CM = 100.0, 62.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 9.0, 97.0, 13.0, 54.0
_LOWEST_HZ, _HIGHEST_HZ = 20.0, 20000.0
_MARKS = {50: "50", 100: "100", 200: "200", 500: "500", 1000: "1k", 2000: "2k", 5000: "5k"}
_MARKS |= {10000: "10k"}
_SPAN_DB = 80.0
_HALF_BAND = 10.0**0.05
"""From a third octave's midband to its edge (IEC 61260-1)."""

_WORD_DB = 6.0
"""What a word over the loudest band takes: nothing else is drawn through it."""


def _x(hz: float) -> float:
    part = math.log(hz / _LOWEST_HZ) / math.log(_HIGHEST_HZ / _LOWEST_HZ)
    return _LEFT + (_RIGHT - _LEFT) * min(max(part, 0.0), 1.0)


class _Scale:
    """dBFS to height; its top is the next ten that leaves room over the loudest band."""

    def __init__(self, levels_dbfs: Sequence[float]) -> None:
        self.top_dbfs = 10.0 * math.ceil((max([*levels_dbfs, -60.0]) + _WORD_DB) / 10.0)

    def y(self, dbfs: float) -> float:
        part = (self.top_dbfs - dbfs) / _SPAN_DB
        return _TOP + (_BOTTOM - _TOP) * min(max(part, 0.0), 1.0)


def picture(fields: dict[str, Any], *, slope_db: int = 12) -> Picture:
    """The fields of a ``ChannelMeter`` with their source, drawn.

    Parameters
    ----------
    fields : dict
    slope_db : 12, 18 or 24
        Of the low cut, in dB per octave.
    """
    spectrum, low_cut = fields["spectrum"], fields["low_cut"]
    voice, below = spectrum.get("voice_dbfs", []), spectrum.get("below_dbfs", [])
    scale = _Scale([*voice, *below])
    shapes: list[Shape] = [*_grid(scale)]
    if voice:
        shapes.extend(_voice(spectrum["centre_hz"], voice, scale))
    if below:
        shapes.extend(_below(spectrum["centre_hz"], below, scale))
    if "choice_hz" in low_cut:
        shapes.extend(_cut(low_cut, scale, slope_db))
    if "lowest_hz" in low_cut:
        shapes.extend(_range(low_cut))
    if "hum_hz" in low_cut:
        hz = low_cut["hum_hz"]
        shapes.append(Words((_x(hz), _BOTTOM - 1.2), f"hum {hz}", 1.9, ink="paper"))
    said = (
        low_cut["sentence"] if fields["source"]["kind"] != "box" else fields["advice"]["sentence"]
    )
    shapes.append(Words((_LEFT, 5.0), said, 2.2, ink="paper", anchor="start", bold=True))
    shapes.append(Words((_LEFT, 8.6), _second_line(fields), 2.0, anchor="start"))
    return Picture(0.0, 0.0, WIDTH_CM, HEIGHT_CM, f"spectrum of a voice; {said}", tuple(shapes))


def _second_line(fields: dict[str, Any]) -> str:
    source = fields["source"]
    if source["kind"] == "box":
        return "the box's own microphone, third octaves in dBFS"
    return f"{fields['advice']['sentence']}; third octaves in dBFS, {fields['seconds']:.0f} s"


def _line(points: Sequence[Point], ink: Ink, width_cm: float, **more: Any) -> Outline:
    return Outline(tuple(points), stroke=ink, width_cm=width_cm, **more)


def _grid(scale: _Scale) -> Iterator[Shape]:
    for hz, label in _MARKS.items():
        yield _line([(_x(hz), _TOP), (_x(hz), _BOTTOM)], "line", 0.15)
        yield Words((_x(hz), _BOTTOM + 3.0), label, 2.0)
    yield Words((_RIGHT, _BOTTOM + 3.0), "Hz", 2.0, anchor="end")
    for step in range(int(_SPAN_DB / 20.0) + 1):
        dbfs = scale.top_dbfs - 20.0 * step
        yield _line([(_LEFT, scale.y(dbfs)), (_RIGHT, scale.y(dbfs))], "line", 0.15)
        yield Words((_LEFT - 1.0, scale.y(dbfs) + 0.7), f"{dbfs:.0f}", 2.0, anchor="end")


def _steps(centre_hz: Sequence[float], levels: Sequence[float], scale: _Scale) -> list[Point]:
    return [
        (_x(edge), scale.y(level))
        for hz, level in zip(centre_hz, levels, strict=True)
        for edge in (hz / _HALF_BAND, hz * _HALF_BAND)
    ]


def _voice(centre_hz: Sequence[float], levels: Sequence[float], scale: _Scale) -> Iterator[Shape]:
    steps = _steps(centre_hz, levels, scale)
    ground = [(steps[-1][0], _BOTTOM), (steps[0][0], _BOTTOM)]
    yield Outline((*steps, *ground), closed=True, fill="paper", strength=0.14)
    yield _line(steps, "paper", 0.3)
    loudest = max(range(len(levels)), key=lambda k: levels[k])
    at = (_x(centre_hz[loudest]) + 1.5, scale.y(levels[loudest]) - 1.0)
    yield Words(at, "voice", 2.0, ink="paper", anchor="start")


def _below(centre_hz: Sequence[float], levels: Sequence[float], scale: _Scale) -> Iterator[Shape]:
    yield _line(_steps(centre_hz, levels, scale), "quiet", 0.25, dash_cm=(1.0, 0.7))
    yield Words((_LEFT + 0.8, scale.y(levels[0]) - 1.0), "below and between", 1.9, anchor="start")


def _cut(low_cut: dict[str, Any], scale: _Scale, slope_db: int) -> Iterator[Shape]:
    corner = low_cut["choice_hz"]
    curve = []
    for k in range(121):
        hz = _LOWEST_HZ * (1000.0 / _LOWEST_HZ) ** (k / 120.0)
        loss_db = 10.0 * math.log10(float(gain(hz, corner, slope_db)))
        if loss_db > -_SPAN_DB:
            curve.append((_x(hz), scale.y(scale.top_dbfs + loss_db)))
    yield _line(curve, "candle", 0.5)
    yield _line([(_x(corner), _TOP), (_x(corner), _BOTTOM)], "candle", 0.2, dash_cm=(0.5, 0.5))
    label = f"low cut {low_cut['choice_label']}"
    at = (_x(corner) - 0.8, _BOTTOM - 5.0)
    yield Words(at, label, 2.2, ink="candle", anchor="end", bold=True)


def _range(low_cut: dict[str, Any]) -> Iterator[Shape]:
    first, last, y = _x(low_cut["lowest_hz"]), _x(low_cut["highest_hz"]), _BOTTOM + 5.2
    yield _line([(first, y), (max(last, first + 0.5), y)], "paper", 0.9)
    ends: tuple[tuple[float, str, Anchor], ...] = (
        (first - 1.0, "lowest", "end"),
        (last + 1.0, "highest", "start"),
    )
    for x, name, anchor in ends:
        said = f"{low_cut[f'{name}_note']}, {low_cut[f'{name}_hz']:.0f} Hz"
        yield Words((x, y + 0.8), said, 2.0, ink="paper", anchor=anchor)


def write_picture(path: Path, fields: dict[str, Any], *, slope_db: int = 12) -> None:
    """Write the picture whole or not at all, as SVG or PNG by the name's ending.

    Raises
    ------
    LanternError
        If it cannot be written.
    """
    drawn = picture(fields, slope_db=slope_db)
    write = write_svg if path.suffix.lower() == ".svg" else write_png
    write(path, drawn)
