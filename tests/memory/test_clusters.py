"""What is one thing and what are two."""

from __future__ import annotations

import random
from itertools import combinations

import pytest

from monitor.memory.clusters import REACH_OCTAVES, clusters_of, groups_of, octaves_apart
from tests.memory.made import gig


def test_rings_of_several_evenings_near_each_other_are_one() -> None:
    found = clusters_of("anchor", [gig("anchor", [1000.0]), gig("anchor", [1050.0, 4000.0])])
    assert [(round(c.frequency_hz), len(c.rings)) for c in found] == [(1025, 2), (4000, 1)]


def test_an_octave_is_twice_the_frequency() -> None:
    assert octaves_apart(500.0, 1000.0) == pytest.approx(1.0)


def test_an_evening_of_twenty_rings_does_not_move_the_middle() -> None:
    found = clusters_of("anchor", [gig("anchor", [1000.0] * 20), gig("anchor", [1080.0])])
    assert found[0].frequency_hz == pytest.approx(1040.0)
    assert found[0].howl_count == 21


def test_what_the_venues_have_alike_is_put_together_whole() -> None:
    one = clusters_of("anchor", [gig("anchor", [1000.0]), gig("anchor", [1060.0])])
    other = clusters_of("barn", [gig("barn", [1110.0])])
    group = groups_of([*one, *other])[0]
    assert group.venues == {"anchor", "barn"}
    assert len(group.clusters) == 2


def test_every_ring_is_in_one_cluster_and_near_its_middle() -> None:
    draw = random.Random(5)
    gigs = [gig("anchor", [2.0 ** draw.uniform(6.5, 13.0) for _ in range(9)]) for _ in range(12)]
    found = clusters_of("anchor", gigs)
    rings = [ring for cluster in found for each in cluster.rings.values() for ring in each]
    assert len(rings) == 12 * 9
    assert set(rings) == {ring for each in gigs for ring in each.rings}
    for cluster in found:
        for each in cluster.rings.values():
            for ring in each:
                # The middle is a median of what lies within reach of one place.
                assert octaves_apart(ring.frequency_hz, cluster.frequency_hz) < 2.1 * REACH_OCTAVES


def test_clear_clusters_are_found_as_they_were_made() -> None:
    draw = random.Random(6)
    places_hz = [250.0, 630.0, 1000.0, 2500.0]
    gigs = [
        gig("anchor", [hz * 2.0 ** draw.gauss(0.0, 0.02) for hz in places_hz]) for _ in range(8)
    ]
    found = sorted(clusters_of("anchor", gigs), key=lambda cluster: cluster.frequency_hz)
    assert [len(cluster.rings) for cluster in found] == [8, 8, 8, 8]
    for cluster, hz in zip(found, places_hz, strict=True):
        assert octaves_apart(cluster.frequency_hz, hz) < 0.03
    assert all(
        octaves_apart(a.frequency_hz, b.frequency_hz) > 0.5 for a, b in combinations(found, 2)
    )
