"""Minutes of sound against the quietest one."""

from __future__ import annotations

import math

import pytest

from monitor.gigs.minutes import LOUD_DB, Minute, Minutes

BANDS = 31


def heard(minutes: Minutes, start_s: int, levels_dbfs: list[float]) -> list[Minute]:
    found = []
    for i, level in enumerate(levels_dbfs):
        minute = minutes.push(
            float(start_s + i), level_dbfs=level, peak_dbfs=level + 10.0, bands_dbfs=[level] * BANDS
        )
        if minute is not None:
            found.append(minute)
    return found


def test_twenty_loud_seconds_of_a_minute_are_sound() -> None:
    minutes = Minutes()
    heard(minutes, 0, [-60.0] * 61)
    assert minutes.quietest_dbfs == -60.0
    heard(minutes, 61, [-60.0 + LOUD_DB] * 19)
    assert minutes.sound_since_s is None
    heard(minutes, 80, [-60.0 + LOUD_DB])
    assert minutes.sound_since_s == 61.0
    heard(minutes, 81, [-60.0] * 61)
    assert minutes.sound_since_s is None


def test_a_little_less_is_none() -> None:
    minutes = Minutes()
    heard(minutes, 0, [-60.0] * 61)
    heard(minutes, 61, [-60.1 + LOUD_DB] * 120)
    assert minutes.sound_since_s is None


def test_without_a_quiet_minute_nothing_is_known_to_be_loud() -> None:
    minutes = Minutes()
    found = heard(minutes, 0, [-10.0] * 200)
    assert minutes.sound_since_s is None
    assert [minute.loud for minute in found] == [False] * 3


def test_a_minute_s_levels_are_means_of_power() -> None:
    minutes = Minutes()
    _, minute = heard(minutes, 0, [-20.0, -40.0] * 61)
    # The mean of 10^-2 and 10^-4 is 0.00505: -22.97 dB.
    assert minute.level_dbfs == pytest.approx(10.0 * math.log10((1e-2 + 1e-4) / 2.0), abs=1e-9)
    assert minute.third_octave_dbfs == pytest.approx([minute.level_dbfs] * BANDS)
    assert minute.peak_dbfs == -10.0
    fields = minute.fields()
    assert fields["level_dbfs"] == -23.0
    assert len(fields["third_octave_dbfs"]) == BANDS


def test_a_box_that_heard_nothing_has_no_minute() -> None:
    minutes = Minutes()
    heard(minutes, 0, [-60.0] * 40)
    minutes.lost()
    assert heard(minutes, 40, [-60.0] * 59) == []
    assert minutes.quietest_dbfs is None


def test_levels_count_by_time_however_often_they_come() -> None:
    """Once a second, or twice while a page is open: the same minute."""
    minutes = Minutes()
    found = []
    at_s = 0.0
    for level, step_s, count in ((-40.0, 1.0, 40), (-20.0, 0.5, 40), (-40.0, 1.0, 61)):
        for _ in range(count):
            at_s += step_s
            found.append(
                minutes.push(at_s, level_dbfs=level, peak_dbfs=level, bands_dbfs=[level] * BANDS)
            )
    first = next(minute for minute in found if minute is not None)
    # 39 s at 10^-4 (the first level has no time before it) and 20 s at 10^-2.
    mean = (39.0 * 1e-4 + 20.0 * 1e-2) / 59.0
    assert first.level_dbfs == pytest.approx(10.0 * math.log10(mean), abs=1e-9)
    assert first.third_octave_dbfs == pytest.approx([first.level_dbfs] * BANDS)
    assert minutes.quietest_dbfs == -40.0


def test_a_quarter_of_a_minute_is_none_however_often_it_was_looked_at() -> None:
    minutes = Minutes()
    for i in range(32):
        minutes.push(0.5 * i, level_dbfs=-60.0, peak_dbfs=-60.0, bands_dbfs=[-60.0] * BANDS)
    minutes.push(70.0, level_dbfs=-60.0, peak_dbfs=-60.0, bands_dbfs=[-60.0] * BANDS)
    assert minutes.quietest_dbfs is None


def test_gaps_and_a_clock_that_stands_do_not_make_seconds() -> None:
    minutes = Minutes()
    heard(minutes, 0, [-60.0] * 61)
    for _ in range(100):
        heard(minutes, 61, [-20.0])
    assert minutes.sound_since_s is None
    heard(minutes, 600, [-20.0])
    assert minutes.sound_since_s is None
