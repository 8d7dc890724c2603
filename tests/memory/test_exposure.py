"""What pulls hide, beside the real sections of the advice."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.advice.effect import depth_db as true_depth_db
from monitor.advice.equaliser import Equaliser
from monitor.memory.exposure import (
    MOST_TIMES,
    depth_db,
    exposure,
    exposure_times,
    half_width_octaves,
    hidden_part,
)
from monitor.memory.gig_memory import PullMemory, RingOutMemory
from tests.memory.made import gig, pull


@pytest.mark.parametrize("away_octaves", [0.0, 0.08, 1 / 6, 1 / 3, 0.66])
@pytest.mark.parametrize("pull_db", [3.0, 6.0])
def test_the_bell_is_near_the_filter_that_the_advice_reckons_with(
    away_octaves: float, pull_db: float
) -> None:
    slider = Equaliser.from_settings("31").nearest(1000.0)
    there_hz = 1000.0 * 2.0**away_octaves
    kept = PullMemory(slider.label, slider.centre_hz, pull_db, slider.q)
    real_db = float(true_depth_db(slider, pull_db, np.array([there_hz]))[0])
    assert depth_db(kept, there_hz) == pytest.approx(real_db, abs=0.25 * pull_db)


@pytest.mark.parametrize(("q", "octaves"), [(1.414, 1.0), (4.318, 1 / 3), (0.667, 2.0)])
def test_half_width_from_q(q: float, octaves: float) -> None:
    # Octaves and q as equaliser tables print them: 1 and 1.414, a third and 4.318, 2 and 0.667.
    width = half_width_octaves(PullMemory("1", 1000.0, 6.0, q))
    assert width == pytest.approx(octaves / 2, rel=0.002)


def test_a_coarser_equaliser_reaches_further() -> None:
    octave = PullMemory("1k", 1000.0, 6.0, reach_octaves=0.5)
    assert depth_db(octave, 1414.0) == pytest.approx(3.0, abs=0.01)
    assert depth_db(pull("1k", 1000.0, 6.0), 1414.0) < 1.0


def test_a_cut_from_the_beginning_hides_and_a_later_one_in_part() -> None:
    early = gig("anchor", pulls=[pull("1k", 1000.0, 6.0, 0.0)])
    half = gig("anchor", pulls=[pull("1k", 1000.0, 6.0, 3600.0)])
    assert hidden_part(early, 1000.0) == 1.0
    assert hidden_part(half, 1000.0) == pytest.approx(0.5)
    assert hidden_part(early, 4000.0) < 0.02
    assert exposure(early, 1000.0) == 0.0


def test_a_cut_made_for_a_ring_hid_nothing_of_it() -> None:
    after = gig("anchor", [1000.0], [pull("1k", 1000.0, 6.0, 700.0)])
    assert hidden_part(after, 1000.0, until_s=600.0) == 0.0


def test_what_was_deepened_for_a_ring_hid_what_it_was_at_first() -> None:
    deepened = gig("anchor", pulls=[PullMemory("1k", 1000.0, 9.0, None, 0.0, begun_db=3.0)])
    assert hidden_part(deepened, 1000.0) == pytest.approx(0.5)


def test_times_grow_with_what_was_heard_up_to_a_bound() -> None:
    short = gig("anchor", hours_heard_s=(1800.0,))
    long = gig("anchor", hours_heard_s=(3600.0,) * 9)
    assert exposure_times(short) == pytest.approx(0.25)
    assert exposure_times(gig("anchor")) == 1.0
    assert exposure_times(gig("anchor", ring_out=RingOutMemory())) == 2.0
    assert exposure_times(long) == MOST_TIMES
    assert exposure_times(gig("anchor", hours_heard_s=())) == 1.0
