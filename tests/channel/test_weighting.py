"""The weightings against the standard's table and against a library's analogue filter."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from monitor.channel.weighting import a_power, c_power
from monitor.listening.bands import THIRD_OCTAVES

# IEC 61672-1:2013, table 3, from 20 Hz in third octaves: A and C in dB at the exact centres.
A_DB = [
    -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9, -8.6, -6.6, -4.8,
    -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3,
]  # fmt: skip
C_DB = [
    -6.2, -4.4, -3.0, -2.0, -1.3, -0.8, -0.5, -0.3, -0.2, -0.1, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    0.0, 0.0, -0.1, -0.2, -0.3, -0.5, -0.8, -1.3, -2.0, -3.0, -4.4, -6.2, -8.5, -11.2,
]  # fmt: skip
CENTRES_HZ = np.array([band.midband_hz for band in THIRD_OCTAVES])


@pytest.mark.parametrize(("power", "table_db"), [(a_power, A_DB), (c_power, C_DB)])
def test_the_standard_s_table_is_met_to_its_rounding(power, table_db):
    ours_db = 10.0 * np.log10(power(CENTRES_HZ))
    assert np.max(np.abs(ours_db - np.array(table_db))) <= 0.05


@pytest.mark.parametrize(
    ("power", "zeros", "poles_hz", "at_1k_db"),
    [
        # IEC 61672-1:2013, annex E: poles, and what is added to bring 1 kHz to 0 dB.
        (a_power, 4, (20.60, 20.60, 107.7, 737.9, 12194.0, 12194.0), 2.000),
        (c_power, 2, (20.60, 20.60, 12194.0, 12194.0), 0.062),
    ],
)
def test_a_library_s_filter_of_the_same_poles_agrees(power, zeros, poles_hz, at_1k_db):
    poles = [-2.0 * math.pi * hz for hz in poles_hz]
    gain = (2.0 * math.pi * 12194.0) ** 2 * 10.0 ** (at_1k_db / 20.0)
    frequencies_hz = np.geomspace(10.0, 40000.0, 200)
    _, response = signal.freqs_zpk([0.0] * zeros, poles, gain, 2.0 * np.pi * frequencies_hz)
    library_db = 20.0 * np.log10(np.abs(response))
    assert 10.0 * np.log10(power(frequencies_hz)) == pytest.approx(library_db, abs=0.005)


def test_nothing_weighs_nothing():
    assert a_power(np.array([0.0])) == c_power(np.array([0.0])) == 0.0
