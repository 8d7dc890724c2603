"""Lengths of windows against what is said of them, tried out."""

import pytest

from monitor.listening.spectrum import friendly_length


def is_quick(half: int) -> bool:
    for factor in (2, 3, 5):
        while half % factor == 0:
            half //= factor
    return half == 1


@pytest.mark.parametrize("rate_hz", [8000, 11025, 16000, 22050, 32000, 44100, 48000])
@pytest.mark.parametrize("seconds", [0.0853, 0.1707, 0.683])
def test_a_window_has_the_nearest_length_that_is_quick(seconds: float, rate_hz: int) -> None:
    half = seconds * rate_hz / 2.0
    nearest = min(filter(is_quick, range(8, 40000)), key=lambda one: abs(one - round(half)))
    assert friendly_length(seconds, rate_hz) == 2 * nearest
