"""The invented rooms: that they are possible, that placements matter, and one scale compares."""

from __future__ import annotations

from itertools import chain

import numpy as np
import pytest

from monitor.advice.choice import graphic
from monitor.advice.equaliser import Equaliser
from monitor.stage.loop import FADER_DEFAULT_DB, FADER_MAX_DB, StageLoop
from monitor.stage.room import check_room, responses
from monitor.stage.scenario import PRACTICE_ROOMS, ROOMS, Placement, PracticeRoom, practice_room
from monitor.stage.seat import flat_loop_gain_db, seat_of, take_seat

RATE_HZ = 48000
ALL = [(room, one) for room in PRACTICE_ROOMS.values() for one in room.placements]
FEW = Equaliser("two bands", graphic([("low", 250.0), ("high", 2000.0)]))


def test_there_is_something_to_try_in_every_room() -> None:
    assert len(PRACTICE_ROOMS) >= 6
    for name, room in PRACTICE_ROOMS.items():
        assert room.name == name
        assert room.description
        assert 2 <= len(room.placements) <= 3
        assert len({one.name for one in room.placements}) == len(room.placements)
        assert all(one.description for one in room.placements)
        assert ROOMS[name] is room.placements[0].room


def test_words_fit_the_link_and_the_page() -> None:
    names = chain(PRACTICE_ROOMS, (one.name for _, one in ALL))
    assert all(1 <= len(name) <= 40 and name.isprintable() for name in names)


@pytest.mark.parametrize(("room", "one"), ALL, ids=lambda x: x.name)
def test_every_placement_is_possible_and_leaves_the_singer_alone(
    room: PracticeRoom, one: Placement
) -> None:
    check_room(one.room)
    found = room.placements[0].room
    for field in ("name", "size_m", "t60_s", "box_m", "mouth_m", "seed"):
        assert getattr(one.room, field) == getattr(found, field), field
    assert one.room.microphone.position_m == found.microphone.position_m


def gains_db(name: str) -> dict[str, float]:
    return {
        one.name: flat_loop_gain_db(responses(one.room, RATE_HZ))
        for one in PRACTICE_ROOMS[name].placements
    }


@pytest.mark.parametrize(
    ("room", "better", "worse"),
    [
        # Loudspeakers forward of the microphones, never behind the performer; a wedge in the
        # microphone's null; a pattern that is deaf to the loudspeaker: common practice, no source.
        ("Cellar under the Rope Shop", "well forward", "too near"),
        ("Cellar under the Rope Shop", "too near", "behind"),
        ("Back Room of the Blue Heron", "in the null", "straight ahead"),
        ("Tin Chapel", "well forward", "beside the band"),
        ("Loft above the Boatyard", "forward", "behind"),
        ("Tea Room on the Slipway", "one-sided", "all-round"),
        ("Tea Room on the Slipway", "one-sided", "aimed wrong"),
        ("Old Sail Store", "no wedge", "wedge beside"),
    ],
)
def test_placements_bring_what_the_trade_says(room: str, better: str, worse: str) -> None:
    gains = gains_db(room)
    assert gains[better] < gains[worse] - 1.0


@pytest.mark.parametrize("name", list(PRACTICE_ROOMS)[:2])
def test_the_flat_limit_is_the_loop_s_own(name: str) -> None:
    """Beside the stage's own loop: the same limit, seen through its public response."""
    room = PRACTICE_ROOMS[name].placements[0].room
    known = responses(room, RATE_HZ)
    loop = StageLoop(room=room, known=known, equaliser=FEW)
    loop.fader_db = 0.0
    at = loop.critical(1)[0].frequency_hz
    # At the limit |L| = 1 with the fader at 0; undo the fader's scale with the bare room and
    # the low cut, whose Butterworth magnitude is a textbook formula.
    turn = np.exp(-2j * np.pi * at / RATE_HZ * np.arange(len(known.feedback)))
    warped = np.tan(np.pi * at / RATE_HZ) / np.tan(np.pi * 100.0 / RATE_HZ)
    bare_db = 20.0 * np.log10(abs(np.dot(known.feedback, turn)))
    bare_db -= 10.0 * np.log10(1.0 + warped**-4)
    assert flat_loop_gain_db(known) == pytest.approx(bare_db, abs=0.1)


def test_a_better_placement_rings_higher_on_the_same_scale() -> None:
    room = practice_room("Cellar under the Rope Shop")
    first, forward = (
        take_seat(room, one, sample_rate_hz=RATE_HZ, equaliser=FEW) for one in room.placements[:2]
    )
    assert first.gain_db == 0.0
    assert forward.first_gain_db == pytest.approx(first.first_gain_db)
    for seat in (first, forward):
        assert seat.fader_db == FADER_DEFAULT_DB
        assert seat.fader_db + seat.loop.margin_db() == pytest.approx(seat.gain_db, abs=0.1)
        assert seat.fader_max_db >= seat.gain_db + FADER_MAX_DB
    # The same voice at the same fader drives the loudspeaker alike, wherever that stands.
    levels = []
    for seat in (first, forward):
        seat.fader_db = -15.0
        out = [seat.loop.process(512) is not None and seat.loop.drive_dbfs for _ in range(150)]
        levels.append(float(np.mean(out[50:])))
    assert levels[0] == pytest.approx(levels[1], abs=1.5)


def test_cuts_go_along_and_a_known_limit_is_not_worked_out_again() -> None:
    room = practice_room("Back Room of the Blue Heron")
    seat = take_seat(
        room,
        room.placements[1],
        sample_rate_hz=RATE_HZ,
        equaliser=FEW,
        first_gain_db=3.0,
        cuts_db=(0.0, -6.0),
    )
    assert seat.loop.cuts_db == [0.0, -6.0]
    assert seat.gain_db == pytest.approx(3.0 - gains_db(room.name)["in the null"])


def test_a_loop_of_one_s_own_has_its_room_where_that_is_known() -> None:
    known = StageLoop(room=ROOMS["Tin Chapel"], equaliser=FEW)
    seat = seat_of(known)
    assert seat.room is PRACTICE_ROOMS["Tin Chapel"]
    assert seat.gain_db == 0.0


def test_names_that_are_not_there() -> None:
    with pytest.raises(ValueError, match='no room "Moon" on the practice stage; there are "Cell'):
        practice_room("Moon")
    with pytest.raises(ValueError, match='no placement "up" in Tin Chapel; there are "beside'):
        practice_room("Tin Chapel").placement("up")
