"""The benchmark's pictures show what they should; which cases are the worst is a plain choice."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("matplotlib", reason="matplotlib is missing: pip install 'howl-lantern[bench]'")

from matplotlib.colors import to_rgb
from PIL import Image

from tests.bench.figures import LoopResult, SoundResult
from tests.bench.gallery import in_words, worst_false_alarms, worst_misses
from tests.bench.look import CANDLE, GROUND, INK
from tests.bench.pictures import draw_curves
from tests.bench.replay import PLAIN
from tests.bench.results import Results
from tests.bench.scoring import Flagged
from tests.bench.spectrograms import draw_case
from tests.bench_checks.made_up import (
    FACTS,
    LENGTH_S,
    MISSED,
    RATE_HZ,
    RINGS_HZ,
    ROWS,
    SCORE,
    howling,
    results,
)


def pixels(path: Path) -> np.ndarray:
    """Colours, 0 to 1, float [height, width, 3]."""
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"), dtype=float) / 255.0


def count(picture: np.ndarray, colour: str) -> int:
    """How many pixels have a colour."""
    return int((np.abs(picture - np.array(to_rgb(colour))).max(axis=2) < 0.02).sum())


def test_the_curves_are_drawn_in_the_accent(tmp_path: Path) -> None:
    some = results()
    caught = [LoopResult(FACTS, dict.fromkeys(ROWS, SCORE))] * 3
    files = draw_curves(Results([*some.loops, *caught], some.calm, some.sounds), tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(path.name for path in files)
    for path in files:
        picture = pixels(path)
        assert count(picture, GROUND) > 0.1 * picture[..., 0].size
        assert count(picture, CANDLE) > 100, f"{path.name} does not show the set"


def test_a_howl_and_its_flag_are_in_the_picture(tmp_path: Path) -> None:
    run = howling()
    flag = Flagged(RINGS_HZ, 0, 2.6, 3.1, 6.4)

    def drawn(name: str, flagged: dict[str, list[Flagged]]) -> np.ndarray:
        path = draw_case(
            run.closed,
            RATE_HZ,
            flagged,
            title="a howl",
            words="made up",
            run=run,
            hz=RINGS_HZ,
            span_s=(0.0, LENGTH_S),
            path=tmp_path / name,
        )
        return pixels(path)

    without, with_flag = drawn("without.png", {}), drawn("with.png", {"set": [flag]})
    # The level of the feedback is drawn in the accent in both; the mark and its bar in one.
    assert count(with_flag, CANDLE) > count(without, CANDLE) + 150
    # The line stands bright across the middle of the upper panel.
    height, width = without.shape[:2]
    upper = without[int(0.15 * height) : int(0.55 * height), int(0.35 * width) : int(0.6 * width)]
    rows = np.flatnonzero(upper.mean(axis=(1, 2)) > 0.8 * np.mean(to_rgb(INK)))
    assert 1 <= len(rows) <= 12
    again = drawn("again.png", {"set": [flag]})
    assert np.array_equal(again, with_flag)


def test_the_worst_misses_come_first() -> None:
    late = replace(SCORE, howl_s=5.0)
    loops = [
        LoopResult(replace(FACTS, seed=1), dict.fromkeys(ROWS, SCORE)),
        LoopResult(replace(FACTS, seed=2), dict.fromkeys(ROWS, late)),
        LoopResult(replace(FACTS, seed=3), dict.fromkeys(ROWS, MISSED)),
        LoopResult(replace(FACTS, seed=4, overtake_s=2.0), dict.fromkeys(ROWS, MISSED)),
        LoopResult(replace(FACTS, seed=5, overtake_s=None), dict.fromkeys(ROWS, MISSED)),
    ]
    worst = worst_misses(Results(loops, [], []), 3)
    assert [loop.facts.seed for loop in worst] == [4, 3, 2]


def test_the_worst_false_alarms_are_the_sets_longest_one_a_sound() -> None:
    def sound(name: str, group: str, **rings: list[Flagged]) -> SoundResult:
        flagged = {(row, PLAIN): rings.get(row, []) for row, _ in ROWS}
        return SoundResult(name, "packed", group, "band", 0.1, flagged)

    short, long = Flagged(440.0, -4, 1.0, 1.5, 2.0), Flagged(880.0, -1, 1.0, 1.5, 4.0)
    ringing = Flagged(220.0, -7, 1.0, None, math.inf)
    sounds = [
        sound("a b.flac", "music", set=[ringing]),
        sound("b", "music", soundcheck=[long], set=[short, long]),
        sound("c", "music", soundcheck=[long]),
        sound("d", "music", set=[short]),
        sound("e", "apart", set=[long]),
        sound("f", "music"),
    ]
    worst = worst_false_alarms(sounds, 9)
    assert [(alarm.sound, alarm.row) for alarm in worst] == [
        ("b", "set"),
        ("d", "set"),
        ("c", "soundcheck"),
        ("a b.flac", "set"),
    ]
    assert worst[0].ring == long
    assert worst[3].stem == "a-b"
    assert worst_false_alarms(sounds, 1) == worst[:1]


def test_a_run_in_words() -> None:
    loop = LoopResult(replace(FACTS, provocation="hand", compressor_ratio=4.0), {})
    assert in_words(loop) == (
        "wedge loudspeaker, T60 0.50 s, music through it, hand on the grille, 2.0 dB over, "
        "soft limiter, compressor 4 to 1, box noise -70 dBFS"
    )
