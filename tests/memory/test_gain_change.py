"""Gain from one ring-out to the next, and when it cannot be told."""

from __future__ import annotations

import pytest

from monitor.memory.gain_change import gain_change
from monitor.memory.gig_memory import GigMemory, RingOutMemory
from tests.memory.made import gig


def rung_out(
    won_db: float | None = None, top_db: float | None = None, voice_dbfs: float | None = None
) -> GigMemory:
    return gig("anchor", ring_out=RingOutMemory(won_db, top_db), voice_dbfs=voice_dbfs)


def test_fader_marks_alone_hold_if_the_input_gain_was_the_same() -> None:
    found = gain_change([rung_out(6.0, -8.0), rung_out(5.0, -4.0)])
    assert found is not None
    assert (found.last_db, found.before_db, found.change_db) == (-4.0, -8.0, 4.0)
    assert found.words == (
        "the last ring-out here went 4 dB louder than the one before it"
        " (if the input gain was the same)"
    )


def test_a_fader_up_behind_a_gain_down_is_no_gain_won() -> None:
    found = gain_change([rung_out(6.0, -8.0, -20.0), rung_out(5.0, -4.0, -24.0)])
    assert found is not None
    assert found.change_db == pytest.approx(0.0)
    assert found.words == (
        "the last ring-out here went about as loud as the one before it (input gain counted)"
    )


def test_what_cuts_won_is_set_side_by_side_but_not_called_louder() -> None:
    found = gain_change([rung_out(4.0), rung_out(6.5)])
    assert found is not None
    assert found.change_db is None
    assert found.words.startswith("the last ring-out here won 6.5 dB, the one before it 4 dB;")
    assert "change_db" not in found.fields()


def test_without_marks_nothing_compares() -> None:
    found = gain_change([rung_out(), rung_out()])
    assert found is not None
    assert found.fields() == {
        "words": "the last two ring-outs here do not compare: give fader marks each time"
    }


def test_one_ring_out_has_nothing_before_it_and_none_says_nothing() -> None:
    only = gain_change([gig("anchor"), rung_out(6.0, -4.0)])
    assert only is not None
    assert only.words == "the ring-out here won 6 dB; nothing earlier to compare with"
    assert gain_change([gig("anchor")]) is None


def test_quieter_is_said_too() -> None:
    found = gain_change([rung_out(6.0, -4.0), gig("anchor"), rung_out(6.0, -7.0)])
    assert found is not None
    assert "went 3 dB quieter than the one before it" in found.words
