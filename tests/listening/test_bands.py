"""Third-octave bands against the printed values of IEC 61260-1:2014 / ISO 266."""

import math

import pytest

from monitor.listening.bands import THIRD_OCTAVES, third_octave_of

# k, label, exact midband, lower and upper edge; exact values computed by the standard's own
# formula 1000 * 10**(k/10), edges *10**(+-1/20); nominal labels of ISO 266.
PRINTED = """
-17 20 19.953 17.783 22.387
-16 25 25.119 22.387 28.184
-15 31.5 31.623 28.184 35.481
-14 40 39.811 35.481 44.668
-13 50 50.119 44.668 56.234
-12 63 63.096 56.234 70.795
-11 80 79.433 70.795 89.125
-10 100 100.000 89.125 112.202
-9 125 125.893 112.202 141.254
-8 160 158.489 141.254 177.828
-7 200 199.526 177.828 223.872
-6 250 251.189 223.872 281.838
-5 315 316.228 281.838 354.813
-4 400 398.107 354.813 446.684
-3 500 501.187 446.684 562.341
-2 630 630.957 562.341 707.946
-1 800 794.328 707.946 891.251
0 1k 1000.000 891.251 1122.018
1 1.25k 1258.925 1122.018 1412.538
2 1.6k 1584.893 1412.538 1778.279
3 2k 1995.262 1778.279 2238.721
4 2.5k 2511.886 2238.721 2818.383
5 3.15k 3162.278 2818.383 3548.134
6 4k 3981.072 3548.134 4466.836
7 5k 5011.872 4466.836 5623.413
8 6.3k 6309.573 5623.413 7079.458
9 8k 7943.282 7079.458 8912.509
10 10k 10000.000 8912.509 11220.185
11 12.5k 12589.254 11220.185 14125.375
12 16k 15848.932 14125.375 17782.794
13 20k 19952.623 17782.794 22387.211
""".split()
ROWS = [PRINTED[i : i + 5] for i in range(0, len(PRINTED), 5)]


def test_there_is_a_row_for_every_band():
    assert len(ROWS) == len(THIRD_OCTAVES) == 31


@pytest.mark.parametrize(("band", "row"), list(zip(THIRD_OCTAVES, ROWS, strict=True)))
def test_band_is_as_printed(band, row):
    number, label, *frequencies = row
    assert (band.number, band.label) == (int(number), label)
    ours = [band.midband_hz, band.lower_hz, band.upper_hz]
    for value, printed in zip(ours, map(float, frequencies), strict=True):
        assert value == pytest.approx(printed, abs=0.0006)


@pytest.mark.parametrize("row", ROWS)
def test_both_sides_of_each_edge(row):
    number, lower, upper = int(row[0]), float(row[3]), float(row[4])
    assert third_octave_of(lower * 1.0001).number == number
    assert third_octave_of(upper * 0.9999).number == number


def test_choice_is_by_exact_grid_not_by_printed_label():
    # 1424 Hz is nearer to the label 1600 than to 1250 in octaves by print, yet lies in 1.6k
    # only from the exact edge 1412.5 Hz on.
    assert third_octave_of(1412.0).label == "1.25k"
    assert third_octave_of(1413.0).label == "1.6k"


def test_beyond_the_ends_the_end_bands_answer():
    assert third_octave_of(3.0).label == "20"
    assert third_octave_of(40000.0).label == "20k"


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_no_band_for_what_is_no_frequency(bad):
    with pytest.raises(ValueError, match="not a positive finite number"):
        third_octave_of(bad)
