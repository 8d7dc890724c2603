"""One pull for one ring: which slider, how far, and what if it is at its end."""

from __future__ import annotations

import math

import numpy as np
import pytest

from monitor.advice import harm
from monitor.advice.choice import EqualiserChoice
from monitor.advice.equaliser import Equaliser
from monitor.advice.pulls import Pull
from monitor.advice.single_pull import single_pull
from monitor.advice.widths import WIDTHS, Width

THIRDS = Equaliser.from_settings("31")
KINDS = ("31", "15", "10", "9", "7", "5", "parametric", "strip")


def told(got: object) -> list[tuple[str, float]]:
    return [(p.label, p.pull_db) for p in got.pulls]  # type: ignore[attr-defined]


@pytest.mark.parametrize("index", range(4, 29))
def test_at_a_centre_the_pull_is_the_depth(index: int) -> None:
    slider = THIRDS.sliders[index]
    got = single_pull(THIRDS, slider.centre_hz, 4.0)
    assert told(got) == [(slider.label, 4.0)]
    assert got.met
    assert got.depth_db == pytest.approx(4.0)


def test_halfway_two_neighbours_share_it() -> None:
    """By hand: half of each cut arrives at the edge of a proportional section."""
    got = single_pull(THIRDS, 1000.0 * 10**0.25, 3.0)
    assert told(got) == [("1.6k", 3.0), ("2k", 3.0)]
    assert got.depth_db == pytest.approx(3.0, abs=0.05)


@pytest.mark.parametrize("shape", WIDTHS)
@pytest.mark.parametrize("kind", KINDS)
def test_no_smaller_step_would_do(kind: str, shape: Width) -> None:
    equaliser = Equaliser.from_choice(EqualiserChoice(kind, shape=shape))
    for hz in np.geomspace(90.0, 9000.0, 25).tolist():
        got = single_pull(equaliser, hz, 3.0)
        if not got.met:
            continue
        for spared in got.pulls:
            sliders = {s.label: s for s in equaliser.sliders}
            depth_db = 0.0
            for pull in got.pulls:
                slider = sliders[pull.label].moved(pull.centre_hz, pull.q)
                less = pull.pull_db - (slider.step_db if pull is spared else 0.0)
                one = Equaliser("one", (slider,))
                depth_db -= float(one.response_db([less], np.array([hz]))[0])
            assert depth_db < 3.0 - 0.05


@pytest.mark.parametrize("hz", [205.0, 500.0, 1060.0, 1122.0, 3000.0])
def test_no_one_or_two_sliders_harm_less(hz: float) -> None:
    """Every step of every slider and every pair of neighbours, one by one."""
    got = single_pull(THIRDS, hz, 4.0)
    mine = math.fsum(
        harm.weight(s) * float(harm.pull_harm(s, p.pull_db))
        for s in THIRDS.sliders
        for p in got.pulls
        if p.label == s.label
    )
    best = math.inf
    for i in range(30):
        low, high = THIRDS.sliders[i : i + 2]
        for a in range(13):
            for b in range(13):
                pulls_db = [0.0] * 31
                pulls_db[i], pulls_db[i + 1] = float(a), float(b)
                if -THIRDS.response_db(pulls_db, np.array([hz]))[0] >= 4.0 - 0.05:
                    cost = harm.total_harm((low, high), [float(a), float(b)])
                    best = min(best, cost)
    # A second slider must be worth 3 %, so that much may be left.
    assert best - 1e-12 <= mine <= best / 0.97


def test_the_second_best_when_the_slider_is_at_its_end() -> None:
    standing = [Pull("2.5k", 12.0, 2512.0, 4.3)]
    got = single_pull(THIRDS, 2600.0, 2.0, standing)
    assert got.at_end == "2.5k"
    assert [p.label for p in got.pulls] == ["3.15k"]
    assert got.met
    assert got.depth_db >= 1.95


def test_when_nothing_is_left_it_says_so() -> None:
    lone = Equaliser.from_settings("typed", ["1k"])
    got = single_pull(lone, 1000.0, 3.0, [Pull("1k", 12.0, 1000.0, 1.4)])
    assert got.pulls == ()
    assert not got.met
    assert got.depth_db == 0.0
    assert got.at_end == "1k"


def test_when_too_little_is_left_it_gives_what_there_is() -> None:
    lone = Equaliser.from_settings("typed", ["1k"])
    got = single_pull(lone, 1000.0, 6.0, [Pull("1k", 9.0, 1000.0, 1.4)])
    assert [(p.pull_db, p.more_db) for p in got.pulls] == [(12.0, 3.0)]
    assert not got.met
    assert got.depth_db == pytest.approx(3.0)


def test_a_slider_a_hair_from_its_end_is_at_its_end() -> None:
    # "pull 2.5k by 0" was told: a phone's slider had been dragged to 11.98.
    got = single_pull(THIRDS, 2511.9, 2.0, [Pull("2.5k", 11.98, 2511.9, 4.3)])
    assert got.at_end == "2.5k"
    assert all(round(pull.more_db, 1) > 0.0 for pull in got.pulls)


def test_what_stands_is_counted_from() -> None:
    got = single_pull(
        THIRDS, 1000.0, 2.0, [Pull("1k", 4.0, 1000.0, 4.3), Pull("63", 3.0, 63.1, 4.3)]
    )
    assert [(p.label, p.pull_db, p.more_db) for p in got.pulls] == [("1k", 6.0, 2.0)]


def test_a_ring_that_no_slider_reaches() -> None:
    got = single_pull(Equaliser.from_settings("typed", ["2k", "4k"]), 50.0, 3.0)
    assert got.pulls == ()
    assert not got.met
    assert got.at_end is None


def test_a_free_filter_goes_to_the_ring() -> None:
    equaliser = Equaliser.from_settings("parametric")
    got = single_pull(equaliser, 2480.0, 4.0, [Pull("filter 1", 3.0, 400.0, 10.0)])
    (pull,) = got.pulls
    assert (pull.label, pull.centre_hz, pull.pull_db) == ("filter 2", 2480.0, 4.0)


def test_a_filter_already_there_goes_deeper() -> None:
    equaliser = Equaliser.from_settings("parametric")
    got = single_pull(equaliser, 402.0, 2.0, [Pull("filter 1", 3.0, 400.0, 10.0)])
    (pull,) = got.pulls
    assert (pull.label, pull.centre_hz) == ("filter 1", 400.0)
    assert pull.more_db >= 2.0


@pytest.mark.parametrize(
    ("hz", "depth_db", "message"),
    [
        (0.0, 3.0, "frequency 0.0 is not a positive"),
        (1000.0, math.nan, "depth nan is not a positive"),
        (1000.0, 0.0, "depth 0.0 is not a positive"),
    ],
)
def test_what_is_no_ring_is_refused(hz: float, depth_db: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        single_pull(THIRDS, hz, depth_db)
