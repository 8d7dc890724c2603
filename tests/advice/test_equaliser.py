"""The user's own equaliser: labels as people write them, and the slider for a frequency."""

from __future__ import annotations

import math
import re
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from monitor.advice.choice import EqualiserChoice
from monitor.advice.equaliser import Equaliser
from monitor.advice.labels import KINDS, decibels, parse_frequency, written
from monitor.advice.widths import WIDTHS, Width

# ISO 266 preferred frequencies, from 20 Hz to 20 kHz, third octaves.
ISO_266_HZ = [
    *(20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800),
    *(1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000),
]


@pytest.mark.parametrize(
    ("text", "hz"),
    [
        ("6k3", 6300.0),
        ("6.3k", 6300.0),
        ("6,3k", 6300.0),
        ("6.3 kHz", 6300.0),
        ("6.3KHZ", 6300.0),
        ("6300", 6300.0),
        ("6300 Hz", 6300.0),
        (" 6300hz ", 6300.0),
        ("31.5", 31.5),
        ("2k5", 2500.0),
        ("2k", 2000.0),
        ("2.48k", 2480.0),
        ("1k25", 1250.0),
        ("12.5k", 12500.0),
        ("20", 20.0),
        ("10", 10.0),
        ("40k", 40000.0),
    ],
)
def test_labels_as_people_write_them(text: str, hz: float) -> None:
    assert parse_frequency(text) == pytest.approx(hz, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        *("", " ", "k", "Hz", "2k5k", "2.5.1", "-100", "+100", "1e3", "nan", "inf", "two"),
        *("2 5", "0x10", "2.k", ".5k", "6.3k5", "10 m", "\u0661k", "1k\n2k"),
    ],
)
def test_nonsense_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a frequency"):
        parse_frequency(text)


@pytest.mark.parametrize("text", ["10,000", "12,500", "16.000", "1,000 Hz", "100.125"])
def test_a_dot_that_could_part_thousands_is_not_guessed_at(text: str) -> None:
    digits = text.removesuffix(" Hz").replace(",", ".")
    expected = f"could be {digits} Hz or {digits.replace('.', '')} Hz; write "
    with pytest.raises(ValueError, match=re.escape(expected)):
        parse_frequency(text)


@pytest.mark.parametrize(
    ("text", "hz"), [("12.500k", 12500.0), ("31.5", 31.5), ("12500.000", 12500.0), ("83.13", 83.13)]
)
def test_a_dot_that_can_mean_one_thing_only_is_read(text: str, hz: float) -> None:
    assert parse_frequency(text) == hz


@pytest.mark.parametrize("text", ["9", "0", "41k", "100000", "0k001"])
def test_frequencies_out_of_hearing_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not between 10 Hz and 40 kHz"):
        parse_frequency(text)


@given(st.text(max_size=40))
def test_any_text_gives_a_frequency_or_one_clear_line(text: str) -> None:
    try:
        hz = parse_frequency(text)
    except ValueError as error:
        line = str(error)
    else:
        assert 10.0 <= hz <= 40000.0
        return
    assert line.isprintable()
    assert len(line) < 120


@given(st.integers(10, 39999))
def test_every_way_of_writing_a_frequency_agrees(hz: int) -> None:
    kilo, rest = divmod(hz, 1000)
    assert parse_frequency(str(hz)) == hz
    assert parse_frequency(f"{hz} Hz") == hz
    assert parse_frequency(f"{kilo}k{rest:03d}") == pytest.approx(hz)
    assert parse_frequency(f"{kilo}.{rest:03d} kHz") == pytest.approx(hz)


def test_third_octaves_are_those_of_iso_266() -> None:
    assert [parse_frequency(label) for label in KINDS["31"]] == ISO_266_HZ


def test_fifteen_bands_are_every_second_third_octave() -> None:
    assert [parse_frequency(label) for label in KINDS["15"]] == ISO_266_HZ[1:30:2]


def test_ten_bands_are_the_octaves() -> None:
    # Rumsey and McCormick, Sound and Recording: 31.5 Hz to 16 kHz in octaves.
    assert [parse_frequency(label) for label in KINDS["10"]] == ISO_266_HZ[2:30:3]
    assert KINDS["9"] == KINDS["10"][1:]


@pytest.mark.parametrize("kind", list(KINDS))
def test_sliders_are_as_many_as_they_say(kind: str) -> None:
    equaliser = Equaliser.from_settings(kind, [])
    assert len(equaliser.sliders) == int(kind)
    assert equaliser.name == f"{kind} bands"


def test_standard_labels_stand_for_exact_midbands() -> None:
    # IEC 61260-1: 1000 * 10**(k/10), k = 4 for the nominal 2.5 kHz.
    sliders = {s.label: s.centre_hz for s in Equaliser.from_settings("31").sliders}
    assert sliders["2.5k"] == pytest.approx(2511.886, abs=0.001)
    assert sliders["20"] == pytest.approx(19.953, abs=0.001)
    assert {s.label: s.centre_hz for s in Equaliser.from_settings("5").sliders}["330"] == 330.0


@pytest.mark.parametrize("kind", list(KINDS))
def test_nearest_on_both_sides_of_every_border(kind: str) -> None:
    equaliser = Equaliser.from_settings(kind)
    for low, high in pairwise(equaliser.sliders):
        border_hz = math.sqrt(low.centre_hz * high.centre_hz)
        assert equaliser.nearest(border_hz * (1 - 1e-9)) is low
        assert equaliser.nearest(border_hz * (1 + 1e-9)) is high


@given(st.sampled_from(list(KINDS)), st.floats(20.0, 20000.0))
def test_no_slider_is_nearer_than_the_nearest(kind: str, hz: float) -> None:
    equaliser = Equaliser.from_settings(kind)
    found = abs(math.log(equaliser.nearest(hz).centre_hz / hz))
    assert found <= min(abs(math.log(s.centre_hz / hz)) for s in equaliser.sliders) + 1e-12


def test_beyond_the_ends_the_end_sliders_answer() -> None:
    equaliser = Equaliser.from_settings("7")
    assert equaliser.nearest(1.0).label == "63"
    assert equaliser.nearest(1e9).label == "16k"


@pytest.mark.parametrize("hz", [0.0, -1.0, math.nan, math.inf])
def test_nearest_refuses_what_is_no_frequency(hz: float) -> None:
    with pytest.raises(ValueError, match="not a positive finite number"):
        Equaliser.from_settings("31").nearest(hz)


def test_typed_labels_are_sorted_and_keep_their_print() -> None:
    equaliser = Equaliser.from_settings("typed", ["10k", "100", "3k3 ", "330 Hz", "1K"])
    assert [s.label for s in equaliser.sliders] == ["100", "330 Hz", "1K", "3k3", "10k"]
    assert equaliser.nearest(2480.0).label == "3k3"


def test_one_slider_is_always_the_nearest() -> None:
    equaliser = Equaliser.from_settings("typed", ["1k"])
    assert equaliser.nearest(20.0).label == equaliser.nearest(20000.0).label == "1k"


@pytest.mark.parametrize(
    ("kind", "labels", "message"),
    [
        ("typed", [], "at least one slider"),
        ("typed", ["1k", "1000 Hz"], "mean the same frequency"),
        ("typed", ["2512", "2.5k"], '"2.5k" and "2512" lie less than 2 % apart'),
        ("typed", ["1k", "high"], '"high" is not a frequency'),
        ("typed", [str(100 + i) for i in range(65)], "at most 64"),
        ("12", [], "known: 31, 15"),
        ("", [], "unknown"),
    ],
)
def test_impossible_equalisers(kind: str, labels: list[str], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Equaliser.from_settings(kind, labels)


def test_an_equaliser_of_no_sliders_cannot_be_made() -> None:
    with pytest.raises(ValueError, match="needs at least one slider; give it a label"):
        Equaliser("none", ())


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"shape": "round"}, "known: proportional, constant"),
        ({"step_db": 0.0}, "step_db 0 must be more than 0"),
        ({"step_db": 15.0}, "at most deepest_db, 12"),
        ({"kind": "parametric", "filters": 0}, "filters is 0, 1 to 16"),
        ({"kind": "parametric", "filter_range": ("20k", "20")}, "give the lower one first"),
        ({"kind": "parametric", "filter_range": ("20",)}, "has 1 frequencies; give two"),
        ({"kind": "parametric", "filter_q": (9.0, 1.0)}, "the widest and the narrowest Q"),
        ({"kind": "strip", "strip_low": "deep"}, '"deep" is not a frequency'),
        ({"kind": "strip", "strip_mid": ("1k", "1k")}, "give the lower one first"),
        (
            {
                "kind": "strip",
                "strip_high": "",
                "strip_low": "",
                "strip_low_cut": "",
                "strip_mid": (),
            },
            "at least one of high, mid",
        ),
    ],
)
def test_impossible_choices(wrong: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message) as caught:
        Equaliser.from_choice(EqualiserChoice(**{"kind": "31", **wrong}))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("width", WIDTHS)
def test_pulls_add_up_in_decibels_and_agree_with_scipy(width: Width) -> None:
    equaliser = Equaliser.from_choice(EqualiserChoice("10", shape=width))
    pulls_db = [0.0, 3.0, 0.0, 6.0, 2.0, 0.0, 12.0, 0.0, 0.0, 1.0]
    grid_hz = np.geomspace(20.0, 18000.0, 200)
    expected = np.ones(200, complex)
    for slider, pull_db in zip(equaliser.sliders, pulls_db, strict=True):
        g, turn = 10 ** (pull_db / 20), 2 * math.pi * slider.centre_hz
        wide, deep = (1.0, g) if width == "constant" else (math.sqrt(1 / g), math.sqrt(g))
        over = [1.0, wide * turn / slider.q, turn**2]
        under = [1.0, deep * turn / slider.q, turn**2]
        expected *= signal.freqs(over, under, worN=2 * np.pi * grid_hz)[1]
    got_db = equaliser.response_db(pulls_db, grid_hz)
    assert got_db == pytest.approx(20 * np.log10(np.abs(expected)), abs=1e-6)


def test_at_a_high_sample_rate_it_is_the_analogue_one() -> None:
    equaliser = Equaliser.from_settings("strip")
    pulls_db = [slider.deepest_db for slider in equaliser.sliders]
    grid_hz = np.geomspace(20.0, 20000.0, 50)
    digital = equaliser.response(pulls_db, grid_hz, 4_000_000)
    analogue_db = equaliser.response_db(pulls_db, grid_hz)
    assert 20 * np.log10(np.abs(digital)) == pytest.approx(analogue_db, abs=0.01)


def test_sliders_beyond_the_sample_rate_do_nothing() -> None:
    equaliser = Equaliser.from_settings("31")
    pulls_db = [0.0] * 30 + [12.0]
    assert equaliser.response(pulls_db, np.array([1000.0, 7000.0]), 16000) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("hz", "label"),
    [(40.0, "low"), (80.0, "low"), (1000.0, "mid"), (4000.0, "mid"), (15000.0, "high")],
)
def test_a_strip_names_what_does_most_there(hz: float, label: str) -> None:
    strip = Equaliser.from_settings("strip")
    assert [s.label for s in strip.sliders] == ["low cut", "low", "mid", "high"]
    assert strip.nearest(hz).label == label
    if label == "mid":
        assert strip.nearest(hz).centre_hz == pytest.approx(hz)


def test_a_fixed_middle_stays_where_it_is() -> None:
    strip = Equaliser.from_choice(EqualiserChoice("strip", strip_mid=("2.5k",), strip_low_cut=""))
    assert [s.label for s in strip.sliders] == ["low", "mid", "high"]
    assert strip.nearest(2000.0).centre_hz == 2500.0


def test_a_low_cut_alone_is_all_there_is_to_name() -> None:
    choice = EqualiserChoice("strip", strip_high="", strip_mid=(), strip_low="")
    assert Equaliser.from_choice(choice).nearest(1000.0).label == "low cut"


def test_a_filter_is_named_by_the_frequency_to_put_it_to() -> None:
    choice = EqualiserChoice("parametric", filters=3, filter_range=("40", "16k"))
    equaliser = Equaliser.from_choice(choice)
    assert equaliser.name == "3 filters"
    assert [s.label for s in equaliser.sliders] == ["filter 1", "filter 2", "filter 3"]
    assert equaliser.nearest(2481.3).label == "2.48k"
    assert equaliser.nearest(2481.3).centre_hz == 2481.3
    assert equaliser.nearest(20.0).label == "40"
    assert equaliser.nearest(20000.0).centre_hz == 16000.0


@pytest.mark.parametrize(
    ("hz", "text"),
    [
        (83.14, "83.1"),
        (248.4, "248"),
        (803.7, "804"),
        (999.7, "1k"),
        (2481.3, "2.48k"),
        (12543.0, "12.5k"),
    ],
)
def test_frequencies_as_one_would_dial_them(hz: float, text: str) -> None:
    assert written(hz) == text
    assert parse_frequency(text) == pytest.approx(hz, rel=0.005)


def test_decibels_have_no_needless_tail_and_no_minus_before_nothing() -> None:
    assert [decibels(v) for v in (4.0, 4.45, -12.0, -0.01)] == ["4", "4.5", "-12", "0"]


@pytest.mark.parametrize(
    ("deepest_db", "step_db", "standing_db", "steps"),
    [
        (12.0, 3.0, 0.0, [0, 3, 6, 9, 12]),
        (5.0, 2.0, 0.0, [0, 2, 4, 5]),
        (12.0, 3.0, 4.5, [4.5, 6, 9, 12]),
        (12.0, 3.0, 12.0, [12]),
        (12.0, 1.0, 11.98, [11.98]),
        (12.0, 1.0, 11.6, [11.6, 12]),
        (12.0, 1.0, 3.98, [3.98, *range(5, 13)]),
        (12.0, 1.0, 3.4, [3.4, *range(4, 13)]),
        (0.9, 0.3, 0.0, [0, 0.3, 0.6, 0.9]),
    ],
)
def test_steps_of_a_slider(
    deepest_db: float, step_db: float, standing_db: float, steps: list[float]
) -> None:
    choice = EqualiserChoice("31", deepest_db=deepest_db, step_db=step_db)
    slider = Equaliser.from_choice(choice).sliders[0]
    assert slider.steps_db(standing_db) == pytest.approx(steps)
