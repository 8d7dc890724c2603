"""The picture: what it holds, to scale, as text and as dots."""

from __future__ import annotations

import math
from xml.etree import ElementTree

import numpy as np
import pytest

from monitor.channel.meter import ChannelMeter
from monitor.errors import LanternError
from monitor.level import picture as level_picture
from monitor.placing.shapes import Outline, Words, shapes_of
from tests.channel.voices import RATE_HZ, noise, sung


@pytest.fixture(scope="module")
def fields():
    meter = ChannelMeter(RATE_HZ, scale="digital", low_cuts_hz=(80.0, 100.0))
    meter.push((0.3 * sung("tenor", 30.0)[0] + noise(30.0, 1e-3)).astype(np.float32))
    return {"source": {"kind": "desk", "name": "CODEC"}, **meter.fields()}


def texts(picture):
    return [shape.text for shape in shapes_of(picture) if isinstance(shape, Words)]


def test_an_octave_is_as_wide_everywhere():
    x = level_picture._x
    assert x(40.0) - x(20.0) == pytest.approx(x(20000.0) - x(10000.0))
    assert x(20.0) == level_picture._LEFT
    assert x(20000.0) == level_picture._RIGHT


def test_it_shows_range_cut_and_the_sentence(fields):
    picture = level_picture.picture(fields)
    said = texts(picture)
    low_cut = fields["low_cut"]
    assert low_cut["sentence"] in said
    assert f"low cut {low_cut['choice_label']}" in said
    assert any(text.startswith(f"{low_cut['lowest_note']}, ") for text in said)


def test_the_cut_is_3_db_down_at_its_frequency(fields):
    """Butterworth's corner, read from the drawn curve."""
    curve = next(
        shape
        for shape in shapes_of(level_picture.picture(fields))
        if isinstance(shape, Outline) and shape.stroke == "candle" and shape.dash_cm is None
    )
    corner_x = level_picture._x(fields["low_cut"]["choice_hz"])
    xs, ys = zip(*curve.points, strict=True)
    y = np.interp(corner_x, xs, ys)
    cm_per_db = (level_picture._BOTTOM - level_picture._TOP) / level_picture._SPAN_DB
    assert (y - level_picture._TOP) / cm_per_db == pytest.approx(10.0 * math.log10(2.0), abs=0.1)


def test_before_anything_was_heard_there_is_a_picture_too():
    bare = {"source": {"kind": "desk", "name": "x"}, **ChannelMeter(8000, scale="digital").fields()}
    assert "sing a minute" in texts(level_picture.picture(bare))[-2]


def test_the_box_s_own_says_whose_it_is(fields):
    meter = ChannelMeter(RATE_HZ, scale="digital", kind="box")
    meter.push(noise(3.0, 0.01))
    box = {"source": {"kind": "box", "name": "x"}, **meter.fields()}
    assert any("the box's own microphone" in text for text in texts(level_picture.picture(box)))


def test_text_and_dots_are_written(tmp_path, fields):
    for name in ("a.svg", "b.PNG"):
        level_picture.write_picture(tmp_path / name, fields, slope_db=18)
    root = ElementTree.parse(tmp_path / "a.svg").getroot()
    assert root.tag.endswith("svg")
    assert (tmp_path / "b.PNG").read_bytes().startswith(b"\x89PNG")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.svg", "b.PNG"]


def test_a_place_that_cannot_be_written_is_told(fields, tmp_path):
    (tmp_path / "a.svg").mkdir()
    with pytest.raises(LanternError, match="the picture cannot be written"):
        level_picture.write_picture(tmp_path / "a.svg", fields)
    assert [path.name for path in tmp_path.iterdir()] == ["a.svg"]
