"""Whether the box hears, and how it says that it does not."""

from __future__ import annotations

import numpy as np
import pytest

from firmware.example_faces import EXAMPLE_FACES
from firmware.ports import AudioBlock, HearingState, MicrophoneStatus
from monitor.hearing import CLIPPING_SPAN_S, GRACE_S, SILENCE_S, Hearing
from tests.core.stand_ins import noise

PERIOD_S = 0.02
N = 960


def status(state: HearingState = "hearing", detail: str = "as it is") -> MicrophoneStatus:
    return MicrophoneStatus(state, 0.0, "fake", detail)


def hear(hearing: Hearing, until_s: float, samples: np.ndarray, *, clipped: int = 0) -> float:
    """Feed the same block from where the clock stands until ``until_s``; return the time."""
    now_s = max(0.0, hearing._last_block_mono_s or 0.0)
    while now_s < until_s:
        now_s += PERIOD_S
        hearing.take(AudioBlock(samples.astype(np.float32), 48000, now_s, False, clipped), now_s)
    return now_s


def test_a_room_is_heard() -> None:
    hearing = Hearing(0.0)
    now_s = hear(hearing, 20.0, noise(N))
    assert hearing.deafness(status(), now_s) is None
    assert hearing.has_sound(now_s)
    assert hearing.audio_age_s(now_s + 0.5) == pytest.approx(0.5)


@pytest.mark.parametrize("value", [0.0, 0.25, -1.0], ids=["zeros", "stuck value", "full scale"])
def test_no_change_at_all_is_silence(value: float) -> None:
    hearing = Hearing(0.0)
    now_s = hear(hearing, SILENCE_S - 0.1, np.full(N, value))
    assert hearing.deafness(status(), now_s) is None
    now_s = hear(hearing, SILENCE_S + 0.1, np.full(N, value))
    found = hearing.deafness(status(), now_s)
    assert found is not None
    assert found.headline == "silent"
    # One changed bit (16-bit capture) is a sign of life.
    block = np.full(N, value)
    block[5] += 2.0**-15
    now_s = hear(hearing, now_s + PERIOD_S, block)
    assert hearing.deafness(status(), now_s) is None


def test_much_clipping_is_too_loud_and_little_is_not() -> None:
    hearing = Hearing(0.0)
    now_s = hear(hearing, CLIPPING_SPAN_S + 1.0, noise(N), clipped=N // 100)
    assert hearing.deafness(status(), now_s) is None
    assert hearing.is_clipping(now_s)
    now_s = hear(hearing, now_s + CLIPPING_SPAN_S, noise(N), clipped=N // 10)
    found = hearing.deafness(status(), now_s)
    assert found is not None
    assert found.headline == "too loud"
    assert "10 % of the samples are clipped" in found.sentence
    now_s = hear(hearing, now_s + CLIPPING_SPAN_S + 0.1, noise(N))
    assert hearing.deafness(status(), now_s) is None
    assert not hearing.is_clipping(now_s)


@pytest.mark.parametrize(
    ("state", "headline"),
    [("lost", "no mic"), ("stuck", "mic stuck"), ("searching", "no mic"), ("hearing", "no sound")],
)
def test_nothing_arrives(state: HearingState, headline: str) -> None:
    hearing = Hearing(0.0)
    now_s = hear(hearing, 10.0, noise(N))
    assert hearing.deafness(status(state), now_s + 0.5) is None
    found = hearing.deafness(status(state, "plug it in"), now_s + 1.5)
    assert found is not None
    assert found.headline == headline
    assert found.sentence == "plug it in" or state == "hearing"


def test_what_the_guides_show_of_a_deaf_panel_it_says() -> None:
    """``howl-lantern faces`` and the README's picture are drawn from examples."""
    silent, loud = Hearing(0.0), Hearing(0.0)
    silent_s = hear(silent, SILENCE_S + 0.1, np.zeros(N))
    loud_s = hear(loud, CLIPPING_SPAN_S + 1.0, noise(N), clipped=N // 10)
    found = [
        Hearing(0.0).deafness(status("searching"), GRACE_S + 0.1),
        silent.deafness(status(), silent_s),
        loud.deafness(status(), loud_s),
    ]
    said = {(one.headline, one.advice) for one in found if one is not None}
    assert said == {(f.headline, f.line_1) for f in EXAMPLE_FACES.values() if f.kind == "deaf"}


def test_a_start_is_given_time() -> None:
    hearing = Hearing(100.0)
    assert hearing.deafness(status("searching"), 100.0 + GRACE_S - 0.1) is None
    assert hearing.deafness(status("searching"), 100.0 + GRACE_S + 0.1) is not None
    assert hearing.audio_age_s(101.0) is None
