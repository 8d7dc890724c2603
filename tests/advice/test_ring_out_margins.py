"""What the rings have left when a ring-out ends, and how sure that is."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import Excess
from monitor.advice.ring_out_margins import OFF_DB, margin_left
from monitor.advice.ring_out_rings import KnownRing
from monitor.advice.ring_out_state import MarginLeft
from monitor.advice.ring_out_words import BACK_OFF_DB, margin_line
from monitor.present_advice import ring_out_fields
from tests.advice.test_ring_out import SPOT_HZ, Played

GONE = KnownRing(1000.0, -1.0, fate="gone", open=False, excess=Excess(1.0, 0.5, 2.5, "given"))


def test_the_margin_is_the_limit_and_the_depth_less_the_gain() -> None:
    # It begins at -1 dB flat; 6 dB deeper and at 2 dB of gain 3 dB are left.  The excess is known
    # to 0.5 dB above and 1.5 dB below, and OFF_DB comes to that: sqrt(1.5^2 + 1.5^2) = 2.121.
    left = margin_left(GONE, 6.0, 2.0, is_marked=True)
    assert left is not None
    assert OFF_DB == 1.5
    assert left.db == pytest.approx(3.0)
    assert left.low_db == pytest.approx(3.0 - 2.121, abs=1e-3)
    assert left.high_db == pytest.approx(3.0 + 1.581, abs=1e-3)


@pytest.mark.parametrize(
    ("excess", "gain_db", "is_marked", "below_db", "above_db"),
    [
        # By hand as above: 2 dB for hands that raise too fast, half of the gain guessed on top.
        (GONE.excess, 4.0, True, 2.121, 1.581),
        (GONE.excess, 0.0, False, 2.915, 1.581),
        (GONE.excess, 4.0, False, 4.528, 2.550),
        # The usual excess where nothing told it: 1.6 dB, between none and three times as much.
        (None, 4.0, True, 3.534, 2.193),
    ],
)
def test_a_guessed_gain_makes_it_less_sure_and_marks_do_not(
    excess: Excess | None, gain_db: float, is_marked: bool, below_db: float, above_db: float
) -> None:
    ring = replace(GONE, placed_gain_db=0.0, excess=excess)
    left = margin_left(ring, 9.0, gain_db, is_marked=is_marked)
    assert left is not None
    assert left.db - left.low_db == pytest.approx(below_db, abs=1e-3)
    assert left.high_db - left.db == pytest.approx(above_db, abs=1e-3)


def test_hands_that_raise_too_fast_make_it_less_and_never_more() -> None:
    marked, guessed = (margin_left(GONE, 9.0, 0.0, is_marked=m) for m in (True, False))
    assert marked is not None
    assert guessed is not None
    assert guessed.low_db < marked.low_db
    assert guessed.high_db == marked.high_db


def test_what_is_quiet_has_no_less_than_none() -> None:
    left = margin_left(GONE, 0.0, 9.0, is_marked=True)
    assert left is not None
    assert left.db == 0.0
    assert left.low_db < 0.0 < left.high_db


@pytest.mark.parametrize(
    "ring",
    [
        replace(GONE, open=True),
        replace(GONE, skipped=True),
        replace(GONE, fate="left"),
        replace(GONE, fate="rings"),
    ],
)
def test_nothing_is_said_of_what_rings_or_was_left_alone(ring: KnownRing) -> None:
    assert margin_left(ring, 6.0, 2.0, is_marked=True) is None


@pytest.mark.parametrize(
    ("margin", "line"),
    [
        (MarginLeft(4.2, 3.0, 6.0), "2.5k: 4 dB left, 3 to 6"),
        (MarginLeft(4.2, 2.0, 8.0), "2.5k: about 4 dB left, 2 to 8"),
        (MarginLeft(4.2, 0.0, 9.0), "2.5k: perhaps 4 dB left, 0 to 9"),
    ],
)
def test_how_sure_it_is_is_said(margin: MarginLeft, line: str) -> None:
    assert margin_line(2500.0, margin) == line


def test_the_margins_come_with_the_end_and_count_the_backing_off() -> None:
    played = Played()
    played.round(SPOT_HZ)
    equaliser = Equaliser.from_settings("31")
    (before,) = ring_out_fields(equaliser, played.now)["rings"]
    assert not any(key.startswith("margin") for key in before)
    played.do("stop")
    (ring,) = ring_out_fields(equaliser, played.now)["rings"]
    # Pulled by 5 dB for an excess of 1 dB.
    assert ring["margin_db"] == pytest.approx(4.0 + BACK_OFF_DB, abs=0.1)
    assert ring["margin_low_db"] < ring["margin_db"] < ring["margin_high_db"]
    assert ring["margin_sure"] in ("sure", "about", "a guess")
    assert ring["margin_line"].endswith(
        f"{ring['margin_low_db']:.0f} to {ring['margin_high_db']:.0f}"
    )
