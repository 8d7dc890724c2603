"""The loop's model against the formulas it has to become where only they apply."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from monitor.placing.acoustics import BANDS_HZ
from monitor.placing.loop import Reckoner, highest, performer_of, serves
from monitor.placing.paths import ears, paths, source_of, walls_of
from monitor.placing.stage import (
    Listener,
    Loudspeaker,
    Microphone,
    Room,
    Stage,
    along,
    direction,
)
from tests.placing.textbook import free_needed_db, free_potential_db

OPEN_AIR = Room(60.0, 60.0, 40.0, 0.001)
"""So dead that nothing comes back."""
ROOM = Room(7.0, 10.0, 3.0, 0.6)


def microphone(name: str, x: float, y: float, **more: object) -> Microphone:
    plain = Microphone(name, x, y, 1.5, "cardioid", 180.0, 0.0, 0.05, True)
    return replace(plain, **more)  # type: ignore[arg-type]


def mains(name: str, x: float, y: float, **more: object) -> Loudspeaker:
    plain = Loudspeaker(name, "mains", x, y, 1.5, 0.0, 0.0, (90.0, 60.0))
    return replace(plain, **more)  # type: ignore[arg-type]


def spare(stage: Stage) -> float:
    return Reckoner(stage.room).loop(stage).spare_db


STAGE = Stage(
    ROOM,
    (microphone("lead", 3.5, 2.0),),
    (mains("left", 1.2, 3.0), mains("right", 5.8, 3.0)),
    Listener(3.5, 9.0, 1.5),
    1.5,
)


@pytest.mark.parametrize(
    ("bandwidth_hz", "t60_s", "expected_db"),
    # T. van Waterschoot, M. Moonen, Proc. IEEE 99(2), 2011, eq. 18: -10 log10(log10(B T60 / 22))
    # - 3.8 dB for a mean loop gain of one, worked out with that formula.
    [
        (10000.0, 0.3, -7.09),
        (10000.0, 0.5, -7.52),
        (10000.0, 1.0, -8.04),
        (10000.0, 2.0, -8.51),
        (5000.0, 0.5, -6.93),
    ],
)
def test_a_reverberant_loop_s_peak(bandwidth_hz: float, t60_s: float, expected_db: float) -> None:
    peak = highest([0.0], [1.0], (bandwidth_hz * t60_s / 22.0,))
    assert -20.0 * math.log10(peak) == pytest.approx(expected_db, abs=0.2)


def test_bands_together_are_one_wide_band() -> None:
    looks = (20.0, 40.0, 80.0)
    together = highest([0.0] * 3, [1.0] * 3, looks)
    assert together == pytest.approx(highest([0.0], [1.0], (sum(looks),)), rel=1e-4)


def test_a_loop_that_stands_still_has_its_own_height_as_peak() -> None:
    assert highest([0.3, 0.7], [0.0, 0.0], (5.0, 50.0)) == pytest.approx(0.7, rel=1e-4)


@pytest.mark.parametrize("aim_deg", [0.0, 30.0, 135.0, 260.0])
def test_a_horn_sends_as_far_aside_whichever_way_it_looks_and_less_above(aim_deg: float) -> None:
    """Of geometry: what is turned as a whole sounds the same."""
    here = (30.0, 30.0, 20.0)
    horn = mains("horn", 30.0, 30.0, height_m=20.0, aim_deg=aim_deg, coverage_deg=(90.0, 40.0))

    walls = walls_of(OPEN_AIR)

    def straight_db(aside_deg: float, up_deg: float) -> float:
        place = along(here, direction(aim_deg + aside_deg, up_deg), 4.0)
        still = paths(walls, source_of(walls, horn), ears(place)).still
        return 20.0 * math.log10(4.0 * still[BANDS_HZ.index(4000.0)])

    # Beside 1 m on the axis, the distance taken out.  The -6 dB points lie at the coverage's edge;
    # the ellipse between them is met by hand at 33 degrees for this corner.
    assert straight_db(0.0, 0.0) == pytest.approx(0.0, abs=0.01)
    for edge in ((-45.0, 0.0), (45.0, 0.0), (0.0, 20.0), (30.0, 15.0)):
        assert straight_db(*edge) == pytest.approx(-6.0, abs=0.4), edge


def test_walls_keep_what_eyring_s_formula_says() -> None:
    # C. F. Eyring, J. Acoust. Soc. Am. 1, 1930: T60 = 0.161 V / (-S ln(1 - a)), 1 - a being kept.
    volume_m3, surface_m2 = 7.0 * 10.0 * 3.0, 2.0 * (70.0 + 30.0 + 21.0)
    kept = walls_of(ROOM).kept[BANDS_HZ.index(1000.0)]
    assert 0.161 * volume_m3 / (-surface_m2 * math.log(kept)) == pytest.approx(ROOM.t60_s)


def test_in_the_open_air_the_textbooks_formula_is_left() -> None:
    # Loudspeaker, microphone and listener in line; the microphone hears all round.
    stage = Stage(
        OPEN_AIR,
        (microphone("lead", 30.0, 24.0, pattern="omni", mouth_m=1.0, aim_deg=180.0),),
        (mains("one", 30.0, 20.0),),
        Listener(30.0, 30.0, 1.5),
        1.5,
    )
    loop = Reckoner(stage.room).loop(stage)
    away = math.dist(stage.microphones[0].mouth_at_m, stage.listener.position_m)
    # J. Eargle, Sound System Design Reference Manual, pp. 4-2 to 4-4.
    potential = free_potential_db(
        talker_to_microphone=1.0,
        talker_to_listener=away,
        microphone_to_loudspeaker=4.0,
        loudspeaker_to_listener=10.0,
    )
    needed = free_needed_db(talker_to_listener=away, ead=1.5)
    assert loop.needed_db == pytest.approx(needed, abs=0.05)
    assert loop.spare_db + loop.needed_db == pytest.approx(potential, abs=0.05)


def test_half_the_mouth_s_distance_brings_6_db() -> None:
    # Inverse square law, Eargle p. 4-5.
    near = replace(STAGE, microphones=(replace(STAGE.microphones[0], mouth_m=0.025),))
    assert spare(near) - spare(STAGE) == pytest.approx(6.02, abs=0.01)


def test_half_the_equivalent_distance_costs_6_db_in_the_open_air() -> None:
    stage = replace(STAGE, room=OPEN_AIR)
    assert spare(stage) - spare(replace(stage, ead_m=0.75)) == pytest.approx(6.02, abs=0.02)


def test_a_second_microphone_like_the_first_costs_about_3_db() -> None:
    # 10 log10 of the open microphones (Ballou ch. 34), for mirrored places.
    one = replace(STAGE, microphones=(microphone("lead", 2.9, 2.0),))
    two = replace(STAGE, microphones=(*one.microphones, microphone("second", 4.1, 2.0)))
    assert spare(one) - spare(two) == pytest.approx(3.0, abs=1.0)


def test_a_closed_microphone_costs_nothing() -> None:
    closed = replace(
        STAGE, microphones=(*STAGE.microphones, microphone("second", 4.4, 2.0, open=False))
    )
    assert spare(closed) == spare(STAGE)


def test_left_and_right_are_alike() -> None:
    dice = random.Random(5)
    for _ in range(20):
        stage = replace(
            STAGE,
            microphones=(
                microphone("lead", dice.uniform(1, 6), dice.uniform(1, 4), aim_deg=160.0),
            ),
            loudspeakers=(
                mains("one", dice.uniform(0.5, 6.5), dice.uniform(0.5, 5), aim_deg=20.0),
                mains("wedge", dice.uniform(0.5, 6.5), 4.0, kind="wedge", aim_deg=200.0),
            ),
        )
        assert spare(_mirrored(stage)) == pytest.approx(spare(stage), abs=0.2)


def _mirrored(stage: Stage) -> Stage:
    width = stage.room.width_m

    def turn(one: object) -> object:
        return replace(one, x_m=width - one.x_m, aim_deg=-one.aim_deg % 360.0)  # type: ignore

    return replace(
        stage,
        microphones=tuple(turn(one) for one in stage.microphones),  # type: ignore
        loudspeakers=tuple(turn(one) for one in stage.loudspeakers),  # type: ignore
        listener=replace(stage.listener, x_m=width - stage.listener.x_m),
    )


def test_a_livelier_room_leaves_less() -> None:
    found = [spare(replace(STAGE, room=replace(ROOM, t60_s=t60))) for t60 in (0.25, 0.5, 1.0, 1.5)]
    assert found == sorted(found, reverse=True)


def test_mains_serve_the_listener_and_a_wedge_the_nearest_performer() -> None:
    wedge = mains("wedge", 4.5, 3.0, kind="wedge")
    stage = replace(
        STAGE,
        microphones=(microphone("lead", 1.5, 2.0), microphone("second", 4.4, 2.0)),
        loudspeakers=(mains("left", 1.2, 3.0), wedge),
    )
    assert serves(stage, stage.loudspeakers[0]) == stage.listener.position_m
    assert performer_of(stage, wedge) == 1
    assert serves(stage, wedge) == stage.microphones[1].ears_at_m


def test_a_wedge_behind_a_cardioid_beats_one_before_it() -> None:
    # A one-sided microphone is deaf behind (The Microphone Book, ch. 6; common practice).
    ahead = mains("wedge", 3.5, 3.2, kind="wedge", aim_deg=180.0, tilt_deg=40.0, height_m=0.3)
    beside = mains("wedge", 4.7, 2.0, kind="wedge", aim_deg=270.0, tilt_deg=40.0, height_m=0.3)
    dry = replace(STAGE, room=replace(ROOM, t60_s=0.3))
    gained = spare(replace(dry, loudspeakers=(ahead,))) - spare(
        replace(dry, loudspeakers=(beside,))
    )
    assert gained > 1.0


def test_ways_known_are_not_reckoned_again_and_agree() -> None:
    reckoner = Reckoner(ROOM)
    first = reckoner.loop(STAGE)
    assert reckoner.loop(STAGE) == first
    assert Reckoner(ROOM).loop(STAGE) == first
