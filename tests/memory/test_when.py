"""Which hour and song block rang most, by rate, and what chance does."""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import pytest
from scipy.stats import binom

from monitor.memory.gig_memory import GigMemory, SongMemory
from monitor.memory.when import SURE_BELOW, WIDE, _chance, bouts_at_s, when_it_rang
from tests.memory.made import gig, ring

HOUR_S = 3600.0
THREE = (HOUR_S, HOUR_S, HOUR_S)


def evening(*hours_of_rings: float, hours_s: tuple[float, ...] = THREE, **more: Any) -> GigMemory:
    """Rings at these hours since the beginning, each at a place of its own."""
    rings = tuple(
        ring(200.0 * 1.5 ** (i % 9), at_h * HOUR_S) for i, at_h in enumerate(hours_of_rings)
    )
    return gig("anchor", hours_set_s=hours_s, rings=rings, **more)


def test_rates_are_per_time_heard_and_not_counts() -> None:
    # Three rings in the first hour, two in the ten minutes that were heard of the second.
    found = when_it_rang([evening(0.1, 0.4, 0.8, 1.05, 1.1, hours_s=(HOUR_S, 600.0))])
    assert [(part.n, part.bout_count) for part in found.hours] == [(1, 3), (2, 2)]
    assert [part.per_hour for part in found.hours] == pytest.approx([3.0, 12.0])
    assert found.words[0].startswith("hour 2 of the evening rang most: 2 times in 0.2 h heard")


def test_chance_is_the_binomial_tail_times_the_hours() -> None:
    # scipy.stats.binom: 7 or more of 8 in one of three equal hours, by three hours looked at.
    found = when_it_rang([evening(0.1, 2.0, 2.1, 2.2, 2.3, 2.4, 2.5, 2.6)])
    by_chance = 3.0 * binom.sf(6, 8, 1 / 3)
    assert found.hours[2].by_chance == pytest.approx(by_chance)
    assert found.words[0].endswith(f"chance alone does so once in {1.0 / by_chance:.0f}")


def test_several_gigs_are_a_sum_of_binomials() -> None:
    gigs = [
        evening(0.1, 1.1, 1.2, 1.3, hours_s=(HOUR_S, HOUR_S)),
        evening(0.2, 1.4, 1.5, hours_s=(HOUR_S, 0.5 * HOUR_S)),
    ]
    spread = np.convolve(binom.pmf(range(5), 4, 0.5), binom.pmf(range(4), 3, 1 / 3))
    found = when_it_rang(gigs)
    assert found.hours[1].by_chance == pytest.approx(min(2.0 * float(spread[5:].sum()), 1.0))


def test_one_or_two_rings_are_called_chance() -> None:
    found = when_it_rang([evening(2.1, 2.5)])
    assert found.words[0].endswith("that may be chance")


def test_a_busy_gig_alone_does_not_make_its_hour_busy() -> None:
    # The long gig rang everywhere alike; only it has a third hour.
    long = evening(*[0.05 + 0.1 * i for i in range(30)])
    short = [evening(0.5, 1.5, hours_s=(HOUR_S, HOUR_S)) for _ in range(5)]
    assert all(part.by_chance > 0.5 for part in when_it_rang([long, *short]).hours)


def test_chance_alone_is_seldom_called_more() -> None:
    # Uniform rings, invented: the promise is one in twenty at most.
    draw = random.Random(11)
    called = 0
    for _ in range(200):
        gigs = [
            evening(*[draw.uniform(0.0, 3.0) for _ in range(draw.randrange(8))])
            for _ in range(draw.randint(1, 6))
        ]
        called += any(part.by_chance < SURE_BELOW for part in when_it_rang(gigs).hours)
    assert called <= 18  # 200 * 0.05 = 10 and three standard deviations (3.1 each, less one)


def test_one_thing_that_speaks_again_and_again_is_one_bout() -> None:
    rings = tuple(ring(1000.0, 60.0 * i) for i in range(6))
    assert bouts_at_s(gig("anchor", rings=rings)) == [0.0]
    apart = (ring(1000.0, 0.0), ring(1000.0, 400.0), ring(3000.0, 410.0))
    assert bouts_at_s(gig("anchor", rings=apart)) == [0.0, 400.0, 410.0]


def test_rings_of_the_soundcheck_are_made_on_purpose() -> None:
    rings = (ring(1000.0, 60.0, way="soundcheck"), ring(2000.0, 90.0))
    assert bouts_at_s(gig("anchor", rings=rings)) == [90.0]


def test_song_blocks_by_their_marks() -> None:
    songs = (
        SongMemory(1, 0.0, 1200.0),
        SongMemory(2, 1200.0, 300.0),
        SongMemory(3, 2400.0, 1200.0),
    )
    found = when_it_rang(
        [evening(0.1, 0.35, 0.36, 0.37, 0.38, songs=songs), evening(0.36, 0.38, songs=songs)]
    )
    assert [(part.n, part.bout_count) for part in found.songs] == [(1, 1), (2, 6), (3, 0)]
    assert found.fields()["songs"][1]["heard_h"] == pytest.approx(0.17)
    assert found.words[-1].startswith("song block 2 rang most: 6 times")
    assert "once in" in found.words[-1]


def test_nothing_heard_says_nothing() -> None:
    assert when_it_rang([]).fields() == {"hours": [], "songs": [], "words": []}
    assert when_it_rang([evening()]).words == ()


@pytest.mark.parametrize(
    ("bouts", "share"), [(401, 0.03), (401, 0.49), (3600, 0.03), (18000, 0.33)]
)
def test_with_few_and_with_many_it_is_the_binomial_tail(bouts: int, share: float) -> None:
    # scipy.stats.binom, which is exact for gigs whose hours are shared alike.
    gigs = [
        {1: (share, bouts - bouts // 2), 2: (1.0 - share, 0)},
        {1: (share, bouts // 2), 2: (1.0 - share, 0)},
    ]
    mean, spread = bouts * share, (bouts * share * (1.0 - share)) ** 0.5
    for count in (int(mean + k * spread) for k in (-2, 0, 1, 2, 4)):
        exact = float(binom.sf(count - 1, bouts, share))
        is_exact = bouts * share * (1.0 - share) < WIDE
        assert _chance(gigs, 1, count) == pytest.approx(exact, abs=1e-9 if is_exact else 0.01)


def test_what_chance_never_does_is_told_without_dividing_by_it() -> None:
    # Nothing but the second hour rang, two hundred times: 1 / chance has no end.
    rings = tuple(ring(200.0 * 1.5 ** (i % 9), HOUR_S + 17.0 * i) for i in range(200))
    gigs = [gig("anchor", hours_set_s=(20 * HOUR_S, HOUR_S), rings=rings) for _ in range(40)]
    (line,) = when_it_rang(gigs).words
    assert line.endswith("chance alone does so once in 1,000,000")
