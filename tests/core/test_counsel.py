"""The advice over the whole chain on the practice stage, and what it keeps and refuses."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from monitor.advice.equaliser import Equaliser
from monitor.advice.moves import moves
from monitor.advice.pulls import Pull
from monitor.advice.ring_out_state import RingOutState
from monitor.adviser.counsel import Counsel
from monitor.adviser.followed import Followings
from monitor.adviser.practice_desk import PracticeDesk
from monitor.link.messages import MAX_LINE_BYTES, encode
from monitor.news import DeskStands, LineHeard, News, RingSaid
from monitor.stage.loop import StageLoop
from monitor.stage.scenario import DEFAULT_ROOM
from tests.core.played_stage import EQUALISER, PlayedStage

HOP_S = 0.0213


def counsel(**changes: Any) -> Counsel:
    return Counsel(EQUALISER, margin_db=3.0, **changes)


def line(number: int, hz: float, level_dbfs: np.ndarray, *, until_s: float) -> LineHeard:
    n = len(level_dbfs)
    times_s = until_s - HOP_S * np.arange(n - 1, -1, -1.0)
    return LineHeard(number, hz, times_s, level_dbfs, np.full(n, -80.0))


def grow(mind: Counsel, *, number: int = 1, hz: float = 2480.0, at_s: float = 10.0) -> float:
    """A ring that climbs by 30 dB/s for a second; returns when it was told last."""
    climb = -60.0 + 30.0 * HOP_S * np.arange(48)
    mind.hear(
        News(
            at_s,
            said=(RingSaid("ringing", number, hz, -30.0, at_s),),
            lines=(line(number, hz, climb, until_s=at_s),),
        )
    )
    return at_s


def close(mind: Counsel, at_s: float, *, number: int = 1, hz: float = 2480.0) -> float:
    """It dies by 80 dB/s; returns when that was told."""
    fall = -31.0 - 80.0 * HOP_S * np.arange(20)
    mind.hear(News(at_s + 0.4, lines=(line(number, hz, fall, until_s=at_s + 0.4),)))
    mind.hear(News(at_s + 0.5, said=(RingSaid("closed", number, hz, -60.0, at_s + 0.4),)))
    mind.hear(News(at_s + 1.0))
    return at_s + 1.0


def told(mind: Counsel) -> str:
    assert mind.result.advice is not None
    return mind.result.advice.line


def dying(until_s: float) -> LineHeard:
    return line(1, 2480.0, -31.0 - 15.0 * HOP_S * np.arange(100), until_s=until_s)


def asked_to_pull_at_the_practice_desk() -> tuple[Counsel, float, RingOutState]:
    """A ring-out on a desk that tells how it stands, all flat, that has just asked for a pull."""
    mind = counsel()
    mind.hear(News(0.0, desk=DeskStands("cellar", 0.0, (0.0,) * 31)))
    mind.command({"class": "ring_out", "do": "open"}, 1.0)
    mind.command({"class": "ring_out", "do": "begin"}, 1.0)
    mind.hear(News(1.1, desk=DeskStands("cellar", 0.0, (0.0,) * 31)))
    at_s = grow(mind)
    state = mind.result.ring_out
    assert state is not None
    assert state.phase == "pull"
    return mind, at_s, state


def climbing(mind: Counsel, db_per_s: float, at_s: float, **news: Any) -> str:
    """A ring at 2.48 kHz that climbs so fast for a second; returns the line that is told."""
    climb = -60.0 + db_per_s * HOP_S * np.arange(48)
    said = () if mind.result.advice else (RingSaid("ringing", 1, 2480.0, -30.0, at_s),)
    mind.hear(News(at_s, said, (line(1, 2480.0, climb, until_s=at_s),), **news))
    assert mind.result.advice is not None
    return mind.result.advice.line


def test_the_line_stays_until_another_pull_is_worth_saying() -> None:
    mind = counsel()
    first = climbing(mind, 30.0, 10.0)
    assert climbing(mind, 60.0, 15.0) == first, "three quarters of a decibel more"
    assert climbing(mind, 120.0, 20.0) != first


def test_the_margin_asked_for_is_the_one_that_a_set_is_advised_with() -> None:
    narrow, wide = Counsel(EQUALISER, margin_db=1.0), Counsel(EQUALISER, margin_db=6.0)
    pulls = [int(climbing(mind, 30.0, 10.0).split()[-1]) for mind in (narrow, wide)]
    assert pulls[1] - pulls[0] == pytest.approx(5.0, abs=1.0)
    # A ring-out for more margin pulls deeper too.
    for mind in (narrow, wide):
        for do in ("open", "begin"):
            mind.command({"class": "ring_out", "do": do}, 11.0)
    states = [mind.result.ring_out for mind in (narrow, wide)]
    depths_db = [max(p.pull_db for p in state.pulls_now) for state in states if state]
    assert depths_db[1] - depths_db[0] >= 2.0


def test_the_ring_that_is_shown_first_is_advised_on() -> None:
    mind = counsel()
    climbing(mind, 30.0, 10.0)
    loud = RingSaid("howl", 2, 500.0, -10.0, 10.1)
    mind.hear(News(10.1, (loud,), (line(2, 500.0, np.full(40, -10.0), until_s=10.1),), first=1))
    assert mind.result.for_ring == 1
    mind.hear(News(10.15))
    assert mind.result.for_ring == 2, "a howl comes before what only rings"
    mind.hear(News(10.17, first=1))
    mind.hear(News(10.2, first=2))
    assert mind.result.for_ring == 2
    assert mind.result.advice is not None
    assert mind.result.advice.line.startswith("pull 500 by ")


def test_once_its_growth_is_heard_it_is_no_longer_said_to_be_unknown() -> None:
    mind = counsel()
    mind.hear(News(9.0, (RingSaid("ringing", 1, 2480.0, -30.0, 9.0),)))
    usual = told(mind)
    assert "not known yet" in mind.result.fields["advice"]["why"]
    # It grows about as the usual excess does: the same pull, for another reason.
    assert climbing(mind, 55.0, 10.0) == usual
    assert "grows by 55 dB a second" in mind.result.fields["advice"]["why"]


def test_of_another_place_on_the_practice_stage_nothing_is_known_but_its_t60() -> None:
    mind, flat = counsel(t60_s=0.6), (0.0,) * 31
    for at_s, moved_db in ((10.0, -2.0), (10.1, -2.0)):
        mind.hear(News(at_s, desk=DeskStands("cellar", moved_db, flat)))
    climbing(mind, 120.0, 12.0, desk=DeskStands("cellar", 0.0, flat))
    mind.hear(News(12.1, desk=DeskStands("hall", 0.0, flat)))
    assert "not known yet" in mind.result.fields["advice"]["why"]
    climbing(mind, 30.0, 16.0, desk=DeskStands("hall", 0.0, flat))
    assert "loop time as in rooms of T60 0.6 s" in mind.result.fields["advice"]["why"]


@pytest.mark.parametrize(
    ("moves", "place"),
    [
        ([(0.0, 4.0)], "cellar"),
        ([(-4.0, 0.0)], "cellar"),
        ([(0.0, 2.0), (0.0, 4.0)], "cellar"),
        ([(0.0, 4.0)], "hall"),
    ],
)
def test_in_a_set_a_move_at_the_practice_desk_tells_the_loop_time(
    moves: list[tuple[float, float]], place: str
) -> None:
    """By hand: 30 dB/s up and 20 dB/s down are 4 dB apart; the bend of the relation is small."""
    mind, flat = counsel(), (0.0,) * 31
    climbing(mind, 30.0, 10.0, desk=DeskStands("cellar", 0.0, flat))
    at_s = 10.0
    for fader_db, pull_db in moves:
        at_s += 0.1
        mind.hear(
            News(at_s, desk=DeskStands("cellar", fader_db, (*flat[:21], pull_db, *flat[22:])))
        )
    desk = DeskStands(place, fader_db, (*flat[:21], pull_db, *flat[22:]))
    mind.hear(News(at_s + 0.1, desk=desk))
    fall = line(1, 2480.0, -31.0 - 20.0 * HOP_S * np.arange(40), until_s=at_s + 0.9)
    mind.hear(News(at_s + 0.9, (), (fall,), desk=desk))
    learnt = mind.kept["loop_times"]
    if place != "cellar":
        assert learnt == [], "those of another place are others"
        return
    ((hz, log_time, _),) = learnt
    assert hz == pytest.approx(2480.0)
    assert np.exp(log_time) == pytest.approx(4.0 / 50.0, rel=0.1)


@pytest.mark.parametrize("tells_desk", [True, False])
def test_a_ring_out_wins_gain_on_the_played_stage(tells_desk: bool) -> None:
    stage = PlayedStage(tells_desk=tells_desk)
    stage.play(0.5)
    stage.do("open")
    assert stage.direct.result.ring_out is not None
    assert stage.direct.result.ring_out.cautions
    stage.do("begin")
    phases = stage.ring_out(most_s=120.0)
    assert phases[0] == "raise"
    assert phases[-2:] == ["back_off", "done"]
    assert "pull" in phases
    # The truth: how much further the same fader goes than with all sliders flat, by the
    # Nyquist criterion on the loop's own response.
    flat = StageLoop(room=DEFAULT_ROOM, equaliser=EQUALISER)
    won_db = (stage.loop.fader_db + stage.loop.margin_db()) - (flat.fader_db + flat.margin_db())
    assert won_db > 2.0
    # It does not ring any more, and the sliders it counts were really pulled so far.
    assert stage.loop.margin_db() > 0.0
    told = stage.direct.result.fields["ring_out"]
    pulled = {s.label: -db for s, db in zip(EQUALISER.sliders, stage.loop.cuts_db, strict=True)}
    state = stage.direct.result.ring_out
    assert state is not None
    counted = {pull.label: pull.pull_db for pull in state.pulls}
    off = [name for name, db in pulled.items() if db != pytest.approx(counted.get(name, 0.0))]
    # What is pulled in the moment in which it ends counts only where the desk tells it: one plan.
    assert len(off) <= (0 if tells_desk else 2)
    assert all(pulled[name] > counted.get(name, 0.0) for name in off)
    assert (told.get("gain_won_db") is not None) == tells_desk
    # A grid, and of each peak its middle and sides.
    assert 64 <= len(told["curve"]["hz"]) == len(told["curve"]["db"]) <= 64 + 3 * len(counted)
    assert len(encode({"class": "snapshot", **stage.direct.result.fields})) < MAX_LINE_BYTES // 4
    # What rang was told with an excess from its own slope.
    assert any(ring.get("excess_db") for ring in told["rings"])


def test_the_fader_or_a_slider_is_told_from_what_falls_with_the_ring() -> None:
    """A fader takes everything down with the ring, a slider the ring alone."""
    for rest_dbfs, asks in ((-50.0, False), (-58.0, True)):
        mind = ringing_out()
        at_s = grow(mind) + 1.5
        for before_s in (0.5, 0.3, 0.1):
            mind.hear(News(at_s - before_s, third_octave_dbfs=np.full(31, -50.0)))
        loud = line(1, 2480.0, np.full(40, -30.0), until_s=at_s)
        mind.hear(News(at_s, lines=(loud,), third_octave_dbfs=np.full(31, -50.0)))
        for after_s in (0.1, 0.3, 0.5, 0.7):
            mind.hear(News(at_s + after_s, third_octave_dbfs=np.full(31, rest_dbfs)))
        mind.hear(News(at_s + 0.8, (RingSaid("closed", 1, 2480.0, -60.0, at_s + 0.4),)))
        state = mind.result.ring_out
        assert state is not None
        assert (state.phase, state.asks) == ("listen", asks)


def test_a_ring_that_nothing_more_was_heard_of_after_a_move_is_forgotten() -> None:
    mind, flat = counsel(), (0.0,) * 31
    climbing(mind, 30.0, 10.0, desk=DeskStands("cellar", 0.0, flat))
    down = DeskStands("cellar", -4.0, flat)
    mind.hear(News(10.1, desk=down))
    mind.hear(News(10.2, (RingSaid("closed", 1, 2480.0, -60.0, 10.2),), desk=down))
    for at_s in (10.7, 15.0, 15.1, 15.2):
        mind.hear(News(at_s, desk=down))
    assert mind.kept["loop_times"] == []


def ringing_out(at_s: float = 1.0) -> Counsel:
    """A ring-out that is raising, without a desk that tells."""
    mind = counsel()
    for do in ("open", "begin"):
        mind.command({"class": "ring_out", "do": do}, at_s)
    return mind


def test_what_is_heard_within_a_second_mends_what_a_ring_out_asks_for() -> None:
    mind = ringing_out()
    grow(mind)
    before = mind.result.ring_out
    assert before is not None
    climb = -60.0 + 120.0 * HOP_S * np.arange(48)
    mind.hear(News(10.5, lines=(line(1, 2480.0, climb, until_s=10.5),)))
    after = mind.result.ring_out
    assert after is not None
    assert after.pulls_now[0].pull_db > before.pulls_now[0].pull_db


def test_what_a_ring_out_pulled_stands_and_its_fall_tells_the_loop_time() -> None:
    mind = ringing_out()
    at_s = grow(mind)
    state = mind.result.ring_out
    assert state is not None
    (pull,) = state.pulls_now
    # That it is over is told first, and how it dies is listened to after that.
    at_s += 2.1
    mind.hear(News(at_s, (RingSaid("closed", 1, 2480.0, -60.0, at_s),)))
    fall = -31.0 - 80.0 * HOP_S * np.arange(20)
    mind.hear(News(at_s + 0.3, lines=(line(1, 2480.0, fall, until_s=at_s + 0.3),)))
    mind.hear(News(at_s + 0.5))
    assert [(one["slider"], one["cut_db"]) for one in mind.result.fields["standing"]] == [
        (21, -pull.pull_db)
    ]
    # By hand: 30 dB/s up and 80 dB/s down are a pull apart; the bend of the relation is small.
    ((hz, log_time, _),) = mind.kept["loop_times"]
    assert hz == pytest.approx(2480.0)
    assert np.exp(log_time) == pytest.approx(pull.pull_db / 110.0, rel=0.25)


def test_a_ring_that_comes_back_at_once_was_pulled_for_and_is_asked_deeper() -> None:
    mind = ringing_out()
    at_s = grow(mind) + 2.0
    asked = mind.result.ring_out
    assert asked is not None
    mind.hear(News(at_s, (RingSaid("closed", 1, 2480.0, -60.0, at_s),)))
    again = RingSaid("ringing", 2, 2480.0, -30.0, at_s + 0.1)
    climb = -60.0 + 90.0 * HOP_S * np.arange(13)
    mind.hear(News(at_s + 0.3, (again,), (line(2, 2480.0, climb, until_s=at_s + 0.3),)))
    state = mind.result.ring_out
    assert state is not None
    assert [p.label for p in state.pulls] == [p.label for p in asked.pulls_now]
    assert (state.phase, state.rings[0].times) == ("pull", 2)
    assert state.pulls_now[0].pull_db > asked.pulls_now[0].pull_db


def test_a_fader_that_comes_down_at_the_practice_desk_is_no_pull() -> None:
    mind, at_s, asked = asked_to_pull_at_the_practice_desk()
    for after_s, fader_db in ((0.9, 0.0), (1.0, -6.0)):
        mind.hear(News(at_s + after_s, desk=DeskStands("cellar", fader_db, (0.0,) * 31)))
    close(mind, at_s + 1.0)
    state = mind.result.ring_out
    assert state is not None
    assert (state.phase, state.pulls_now) == ("pull", asked.pulls_now)


def test_what_the_practice_desk_pulled_besides_counts_once_no_pull_is_wanted() -> None:
    mind, at_s, state = asked_to_pull_at_the_practice_desk()
    pulls_db = [0.0] * 31
    wanted = {pull.label: pull.pull_db for pull in state.pulls_now}
    for place, slider in enumerate(EQUALISER.sliders):
        pulls_db[place] = wanted.get(slider.label, 0.0)
    pulls_db[3] = 2.0
    assert EQUALISER.sliders[3].label not in wanted
    mind.hear(News(at_s + 0.1, desk=DeskStands("cellar", 0.0, tuple(pulls_db))))
    at_s = close(mind, at_s + 0.1)
    mind.hear(News(at_s + 0.6, desk=DeskStands("cellar", 0.0, tuple(pulls_db))))
    after = mind.result.ring_out
    assert after is not None
    assert after.phase != "pull"
    assert {p.label: p.pull_db for p in after.pulls} == {**wanted, EQUALISER.sliders[3].label: 2.0}


def test_the_practice_desk_says_itself_that_a_slider_was_pulled() -> None:
    mind, at_s, state = asked_to_pull_at_the_practice_desk()
    pulls_db = [0.0] * 31
    for pull in state.pulls_now:
        pulls_db[[s.label for s in EQUALISER.sliders].index(pull.label)] = pull.pull_db
    mind.hear(News(at_s + 1.0, desk=DeskStands("cellar", 0.0, tuple(pulls_db))))
    assert mind.result.ring_out is not None
    assert mind.result.ring_out.phase == "pull", "the hand may still be moving"
    mind.hear(News(at_s + 1.5, desk=DeskStands("cellar", 0.0, tuple(pulls_db))))
    assert mind.result.ring_out.phase == "listen"
    assert {one["slider"] for one in mind.result.fields["standing"]} == {
        i for i, db in enumerate(pulls_db) if db > 0.0
    }


def test_the_practice_desk_s_fader_counts_from_where_it_stands_when_it_begins() -> None:
    mind, at_s, state = asked_to_pull_at_the_practice_desk()
    pulls = {pull.label: pull.pull_db for pull in state.pulls_now}
    pulls_db = tuple(pulls.get(slider.label, 0.0) for slider in EQUALISER.sliders)
    for after_s, fader_db in ((1.0, 0.0), (1.5, 0.0), (4.0, 1.5)):
        mind.hear(News(at_s + after_s, desk=DeskStands("cellar", fader_db, pulls_db)))
    assert mind.result.ring_out is not None
    assert mind.result.ring_out.gain_won_db == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("place", "why"), [("cellar", ""), ("hall", "things stand elsewhere now: another ring-out")]
)
def test_after_a_restart_in_another_room_of_the_practice_stage_a_ring_out_ends(
    place: str, why: str
) -> None:
    before, at_s, _ = asked_to_pull_at_the_practice_desk()
    mind = counsel(kept=json.loads(json.dumps(before.kept)))
    mind.hear(News(at_s + 9.0, desk=DeskStands(place, 0.0, (0.0,) * 31)))
    after = mind.result.ring_out
    assert after is not None
    assert (after.phase == "paused", after.why_ended or "") == (not why, why)


def test_where_things_stand_elsewhere_a_ring_out_ends_and_asks_for_nothing_more() -> None:
    mind, at_s, _ = asked_to_pull_at_the_practice_desk()
    mind.hear(News(at_s + 0.1, desk=DeskStands("hall", -6.0, (0.0,) * 31)))
    after = mind.result.ring_out
    assert after is not None
    assert (after.phase, after.pulls_now) == ("back_off", ())
    assert after.why_ended == "things stand elsewhere now: another ring-out"
    # Before anything rang nothing is lost by it.
    mind = counsel()
    mind.hear(News(0.0, desk=DeskStands("cellar", 0.0, (0.0,) * 31)))
    mind.command({"class": "ring_out", "do": "open"}, 1.0)
    mind.command({"class": "ring_out", "do": "begin"}, 1.0)
    mind.hear(News(2.0, desk=DeskStands("hall", -6.0, (0.0,) * 31)))
    assert mind.result.ring_out is not None
    assert mind.result.ring_out.phase == "raise"


def test_an_echo_of_a_dying_line_is_no_new_ring() -> None:
    mind = counsel()
    mind.command({"class": "ring_out", "do": "open"}, 1.0)
    mind.command({"class": "ring_out", "do": "begin"}, 1.0)
    at_s = close(mind, grow(mind) + 1.0)
    rings = mind.result.fields["ring_out"]["rings"]
    assert [(ring["band"], ring["times"]) for ring in rings] == [("2.5k", 1)]
    again = RingSaid("ringing", 2, 2485.0, -50.0, at_s - 0.3)
    fall = -50.0 - 40.0 * HOP_S * np.arange(10)
    mind.hear(News(at_s - 0.3, (again,), (line(2, 2485.0, fall, until_s=at_s),)))
    mind.hear(News(at_s - 0.1, (RingSaid("closed", 2, 2485.0, -58.0, at_s - 0.1),)))
    (ring,) = mind.result.fields["ring_out"]["rings"]
    assert ring["times"] == 1
    # One that grows is the ring come back.
    grow(mind, number=3, at_s=at_s + 2.0)
    (ring,) = mind.result.fields["ring_out"]["rings"]
    assert (ring["times"], ring["fate"]) == (2, "came back")


def test_in_a_set_an_echo_is_not_advised_on_but_another_ring_is_at_once() -> None:
    mind = counsel()
    at_s = close(mind, grow(mind) + 1.0)
    echo = RingSaid("ringing", 2, 2485.0, -50.0, at_s - 0.3)
    fall = line(2, 2485.0, -50.0 - 40.0 * HOP_S * np.arange(10), until_s=at_s)
    mind.hear(News(at_s - 0.3, (echo,), (fall,)))
    assert mind.result.advice is None
    mind.hear(News(at_s - 0.2, (RingSaid("ringing", 3, 500.0, -40.0, at_s - 0.2),)))
    assert told(mind).startswith("pull 500 by ")
    # Of a ring that is over lines are handed over for a while.
    over = tuple(RingSaid("closed", n, 2485.0, -60.0, at_s) for n in (2, 3))
    for after_s in (0.0, 0.5, 1.0):
        mind.hear(News(at_s + after_s, () if after_s else over, (fall,)))
    assert mind.result.advice is None
    # Nor does one that is long over make an echo of the next.
    mind.hear(News(at_s + 1.1, (RingSaid("ringing", 4, 2480.0, -40.0, at_s + 1.1),)))
    assert told(mind).startswith("pull 2.5k by ")


@pytest.mark.parametrize("fresh", [False, True])
def test_a_step_in_level_over_lost_samples_is_no_hand_on_the_grille(fresh: bool) -> None:
    mind = counsel()
    for at_s in (8.2, 8.6, 9.0):
        mind.hear(News(at_s, third_octave_dbfs=np.full(31, -50.0)))
    mind.hear(News(9.5, fresh=fresh))
    climbing(mind, 30.0, 10.0, third_octave_dbfs=np.full(31, -44.0))
    assert ("grille" in (mind.result.fields["advice"]["hint"] or "")) is not fresh


def test_a_pull_told_while_the_ring_dies_is_not_asked_for_again_on_top() -> None:
    mind = counsel()
    at_s = grow(mind)
    asked_db = 0.0
    for press in range(3):
        advice = mind.result.advice
        assert advice is not None
        for pull in advice.pulls:
            mind.command(
                {"class": "pull", "slider": 21, "cut_db": -pull.pull_db}, at_s + 0.1 + 0.3 * press
            )
            asked_db = pull.pull_db
    assert told(mind) == "enough: wait a moment"
    assert mind.result.fields["advice"]["pulls"] == []
    assert mind.result.fields["standing"][0]["cut_db"] == -asked_db
    assert asked_db < 6.0
    # It dies, and nothing more is said until it is gone.
    mind.hear(News(at_s + 2.9, lines=(dying(at_s + 2.9),)))
    assert told(mind) == "enough: wait a moment"
    close(mind, at_s + 3.0)
    assert mind.result.advice is None


def test_what_a_pull_left_is_what_is_asked_for_next() -> None:
    mind = counsel()
    at_s = grow(mind)
    wanted_db = int(told(mind).split()[-1])
    mind.command({"class": "pull", "slider": 21, "cut_db": -(wanted_db - 2.0)}, at_s + 1.0)
    assert told(mind) == "pull 2.5k by 2"
    # Put back, it is needed whole again.
    mind.command({"class": "pull", "slider": 21, "cut_db": 0.0}, at_s + 1.5)
    assert told(mind) == f"pull 2.5k by {wanted_db}"


@pytest.mark.parametrize(
    ("fader_db", "hint"),
    [(6.0, None), (0.0, "perhaps a hand on the grille, or someone before the loudspeaker")],
)
def test_a_step_in_level_that_the_practice_desk_s_fader_made_is_no_hand_on_the_grille(
    fader_db: float, hint: str | None
) -> None:
    mind, flat = counsel(), (0.0,) * 31
    for at_s in (8.2, 8.6, 9.0, 9.2, 9.6, 9.9):
        is_after = at_s > 9.1
        mind.hear(
            News(
                at_s,
                desk=DeskStands("cellar", fader_db if is_after else 0.0, flat),
                third_octave_dbfs=np.full(31, -44.0 if is_after else -50.0),
            )
        )
    after = np.full(31, -44.0)
    climbing(mind, 30.0, 10.0, desk=DeskStands("cellar", fader_db, flat), third_octave_dbfs=after)
    assert mind.result.fields["advice"]["hint"] == hint


def test_of_two_sliders_that_share_the_other_is_asked_for_next() -> None:
    mind = Counsel(EQUALISER, margin_db=9.0)
    climb = -60.0 + 240.0 * HOP_S * np.arange(12)
    said = (RingSaid("ringing", 1, 1402.0, -5.0, 10.0),)
    mind.hear(News(10.0, said, (line(1, 1402.0, climb, until_s=10.0),)))
    advice = mind.result.fields["advice"]
    first, other = advice["pulls"]
    assert (first["label"], other["label"]) == ("1.25k", "1.6k")
    mind.command({"class": "pull", "slider": 18, "cut_db": -first["pull_db"]}, 11.0)
    assert told(mind).startswith("pull 1.6k by ")


@pytest.mark.parametrize(
    ("db_per_s", "more"), [(10.0, True), (0.0, True), (-1.0, True), (-15.0, False)]
)
def test_a_pull_that_was_not_enough_is_heard(db_per_s: float, more: bool) -> None:
    mind = counsel()
    at_s = grow(mind)
    mind.command({"class": "pull", "slider": 21, "cut_db": -6.0}, at_s + 0.1)
    assert told(mind) == "enough: wait a moment"
    level = -30.0 + db_per_s * HOP_S * np.arange(110)
    # In the first moment the hand may still be on its way.
    early = int(0.6 / HOP_S)
    mind.hear(News(at_s + 0.8, lines=(line(1, 2480.0, level[:early], until_s=at_s + 0.7),)))
    assert told(mind) == "enough: wait a moment"
    mind.hear(News(at_s + 2.5, lines=(line(1, 2480.0, level[early:], until_s=at_s + 2.45),)))
    assert told(mind).startswith("pull 2.5k by ") is more
    if more:
        mind.command({"class": "pull", "slider": 21, "cut_db": -12.0}, at_s + 3.0)
        assert told(mind) == "enough: wait a moment"


def test_a_slider_dragged_in_small_steps_does_not_run_away_at_the_practice_desk() -> None:
    mind = counsel()
    flat = (0.0,) * 31
    mind.hear(News(9.9, desk=DeskStands("cellar", 0.0, flat)))
    at_s = grow(mind)
    wanted_db = int(told(mind).split()[-1])
    lines = []
    for step in range(4 * wanted_db + 1):
        pulls_db = (*flat[:21], 0.25 * step, *flat[22:])
        at_s += 0.05
        level = np.full(2, -30.0)
        mind.hear(
            News(
                at_s,
                (),
                (line(1, 2480.0, level, until_s=at_s),),
                desk=DeskStands("cellar", 0.0, pulls_db),
            )
        )
        lines.append(told(mind))
        standing_db = mind.result.fields["standing"][0]["cut_db"] if step else 0.0
        for pull in mind.result.fields["advice"]["pulls"]:
            assert pull["pull_db"] <= wanted_db
            assert pull["pull_db"] == pull["more_db"] - standing_db
    assert lines[0] == f"pull 2.5k by {wanted_db}"
    assert lines[-1] == "enough: wait a moment"


def test_what_is_asked_for_while_a_hand_is_on_its_way_is_not_counted() -> None:
    mind = counsel()
    flat = (0.0,) * 31
    mind.hear(News(9.9, desk=DeskStands("cellar", 0.0, flat)))
    # 545 Hz: from 500 standing at 1.5 dB on, sharing the rest with 630 is told.
    at_s = grow(mind, hz=545.0)
    first = {pull["label"] for pull in mind.result.fields["advice"]["pulls"]}
    asked = set()
    for step in range(15):
        desk = DeskStands("cellar", 0.0, (*flat[:14], 0.5 * step, *flat[15:]))
        mind.hear(News(at_s + 0.1 * step, desk=desk))
        asked |= {pull["label"] for pull in mind.result.fields["advice"]["pulls"]}
    assert asked > first, "or this shows nothing"
    close(mind, at_s + 2.0, hz=545.0)
    assert set(mind.kept["asked"]) == first


def test_the_practice_desk_s_fader_counts_like_a_pull() -> None:
    mind = counsel()
    mind.hear(News(9.9, desk=DeskStands("cellar", -2.0, (0.0,) * 31)))
    at_s = grow(mind)
    wanted_db = int(told(mind).split()[-1])
    mind.hear(News(at_s + 0.1, desk=DeskStands("cellar", -4.0, (0.0,) * 31)))
    assert told(mind) == f"pull 2.5k by {wanted_db - 2}"
    mind.hear(News(at_s + 0.2, desk=DeskStands("cellar", -9.0, (0.0,) * 31)))
    assert told(mind) == "enough: wait a moment"
    # Another room's loops are others.
    mind.hear(News(at_s + 0.3, desk=DeskStands("hall", -9.0, (0.0,) * 31)))
    assert told(mind).startswith("pull 2.5k by ")


def test_a_ring_that_is_pushed_further_up_never_needs_less() -> None:
    mind = counsel()
    mind.hear(News(9.9, desk=DeskStands("cellar", 0.0, (0.0,) * 31)))
    at_s = grow(mind)
    wanted_db = int(told(mind).split()[-1])
    mind.hear(News(at_s + 0.1, desk=DeskStands("cellar", 4.0, (0.0,) * 31)))
    assert int(told(mind).split()[-1]) == wanted_db + 4
    # At its end stop it hardly climbs, which is no small excess.
    slow = -20.0 + 3.0 * HOP_S * np.arange(96)
    mind.hear(News(at_s + 4.0, lines=(line(1, 2480.0, slow, until_s=at_s + 4.0),)))
    assert int(told(mind).split()[-1]) == wanted_db + 4
    # Of one whose growth is heard for the first time after that, it is believed.
    mind = counsel()
    said = (RingSaid("ringing", 1, 2480.0, -30.0, 9.9),)
    mind.hear(News(9.9, said, desk=DeskStands("cellar", 0.0, (0.0,) * 31)))
    mind.hear(News(10.0, desk=DeskStands("cellar", 2.0, (0.0,) * 31)))
    climbing(mind, 30.0, 12.0, desk=DeskStands("cellar", 2.0, (0.0,) * 31))
    assert "grows by 30 dB a second" in mind.result.fields["advice"]["why"]


def test_a_ring_at_its_end_stop_needs_what_it_grew_like() -> None:
    mind = counsel()
    at_s = 10.0
    first = climbing(mind, 120.0, at_s)
    for after_s in (1.0, 2.0, 3.0, 4.0):
        slow = 60.0 + 0.5 * after_s + 0.5 * HOP_S * np.arange(48)
        until_s = at_s + after_s
        mind.hear(News(until_s, lines=(line(1, 2480.0, slow, until_s=until_s),)))
    assert told(mind) == first
    assert "grows by 120 dB a second" in mind.result.fields["advice"]["why"]


def test_a_ring_out_opened_while_something_rings_asks_for_it_at_once() -> None:
    mind = counsel()
    at_s = grow(mind)
    mind.command({"class": "ring_out", "do": "open"}, at_s + 0.1)
    mind.command({"class": "ring_out", "do": "begin"}, at_s + 0.2)
    state = mind.result.ring_out
    assert state is not None
    assert (state.phase, [pull.label for pull in state.pulls_now]) == ("pull", ["2.5k"])
    assert mind.result.advice is None, "one voice at a time"


def test_what_is_said_of_sliders_before_a_ring_out_begins_is_where_it_begins() -> None:
    mind = counsel()
    mind.command({"class": "pull", "slider": 10, "cut_db": -6.0}, 1.0)
    mind.command({"class": "ring_out", "do": "open"}, 2.0)
    mind.command({"class": "pull", "slider": 10, "cut_db": 0.0}, 3.0)
    mind.command({"class": "pull", "slider": 20, "cut_db": -3.0}, 4.0)
    mind.command({"class": "ring_out", "do": "begin"}, 5.0)
    state = mind.result.ring_out
    assert state is not None
    assert [(pull.label, pull.pull_db) for pull in state.pulls] == [("2k", 3.0)]


def rung(
    mind: Counsel, number: int, at_s: float, *, hz: float = 2480.0, long_s: float = 1.0
) -> float:
    """A ring that lasts so long and is over; returns when that was told."""
    grow(mind, number=number, hz=hz, at_s=at_s)
    return close(mind, at_s + long_s - 0.4, number=number, hz=hz) + 5.0


def test_the_third_ring_at_one_slider_asks_for_another_cure_also_after_a_restart() -> None:
    mind = counsel()
    at_s = rung(mind, 2, rung(mind, 1, 10.0))
    assert mind.kept["asked"] == {"2.5k": 2}
    mind = counsel(kept=json.loads(json.dumps(mind.kept)))
    grow(mind, number=3, at_s=at_s)
    assert told(mind) == "step back from wedge"


def test_a_ring_that_went_before_anybody_could_pull_is_not_counted() -> None:
    mind = counsel()
    at_s = rung(mind, 1, 10.0, long_s=0.5)
    assert mind.kept["asked"] == {}
    # Nor is one that a ring-out took over.
    at_s = grow(mind, number=2, at_s=at_s)
    for do in ("open", "begin"):
        mind.command({"class": "ring_out", "do": do}, at_s)
    close(mind, at_s + 2.0, number=2)
    assert mind.kept["asked"] == {}


def test_each_ring_counts_for_its_own_slider_alone() -> None:
    mind = counsel()
    at_s = grow(mind)
    grow(mind, number=2, hz=500.0, at_s=at_s + 0.5)
    # The other one was never advised on: the first leads.
    close(mind, at_s + 1.0, number=2, hz=500.0)
    assert mind.kept["asked"] == {}
    close(mind, at_s + 3.0)
    assert mind.kept["asked"] == {"2.5k": 1}


def test_rings_of_a_parametric_equaliser_are_counted_where_they_ring() -> None:
    mind = Counsel(Equaliser.from_settings("parametric"), margin_db=3.0)
    at_s = 10.0
    for number, hz in enumerate((500.0, 1000.0, 2480.0, 2480.0), 1):
        grow(mind, number=number, hz=hz, at_s=at_s)
        assert told(mind).startswith("pull "), "nobody confirms, so it is always filter 1"
        at_s = close(mind, at_s + 0.6, number=number, hz=hz) + 5.0
    assert mind.kept["asked"] == {"500": 1, "1k": 1, "2.5k": 2}
    grow(mind, number=5, at_s=at_s)
    assert told(mind) == "step back from wedge"


def test_advice_in_a_set_names_slider_and_depth_and_knows_how_the_desk_stands() -> None:
    mind = counsel()
    assert "advice" not in mind.result.fields
    at_s = grow(mind)
    advice = mind.result.fields["advice"]
    assert mind.result.for_ring == 1
    (pull,) = (one for one in advice["pulls"] if one["label"] == "2.5k")
    assert pull["slider"] == 21
    assert pull["more_db"] == pull["pull_db"] > 3.0, "the excess and the margin"
    assert len(advice["line"]) <= 21
    # Told that it stands, the box counts from there.
    mind.command({"class": "pull", "slider": 21, "cut_db": -4.0}, at_s + 1.0)
    assert mind.result.fields["standing"][0]["cut_db"] == -4.0
    close(mind, at_s + 1.5)
    grow(mind, number=2, at_s=at_s + 5.0)
    (pull,) = (p for p in mind.result.fields["advice"]["pulls"] if p["label"] == "2.5k")
    assert pull["pull_db"] == pytest.approx(pull["more_db"] + 4.0)
    mind.command({"class": "pull", "slider": 21, "cut_db": 0.0}, at_s + 6.0)
    assert mind.result.fields["standing"] == []
    close(mind, at_s + 6.0, number=2)
    assert "advice" not in mind.result.fields


@pytest.mark.parametrize(
    ("command", "expected"),
    [
        ({"class": "ring_out", "do": "begin"}, "no ring-out is open; open one first"),
        ({"class": "ring_out", "do": "close"}, "no ring-out is open"),
        ({"class": "pull", "slider": 31, "cut_db": 0.0}, "sliders go from 0 to 30"),
        ({"class": "pull", "slider": 1, "cut_db": -20.0}, "0 to 12 dB are possible"),
    ],
)
def test_what_makes_no_sense_is_refused_and_changes_nothing(
    command: dict[str, Any], expected: str
) -> None:
    mind = counsel()
    before = mind.kept
    with pytest.raises(ValueError, match=expected):
        mind.command(command, 1.0)
    assert mind.kept == before


def test_what_the_practice_desk_tells_itself_nobody_need_say() -> None:
    mind = counsel()
    mind.hear(News(1.0, desk=DeskStands("cellar", 0.0, (0.0,) * 31)))
    with pytest.raises(ValueError, match="own sliders say how they stand; move them"):
        mind.command({"class": "pull", "slider": 21, "cut_db": -4.0}, 2.0)
    assert mind.result.fields["standing"] == []


def test_while_a_ring_out_is_paused_the_set_is_advised_on_and_pulls_can_be_told() -> None:
    """A box that lost power in a ring-out comes back paused, and the gig goes on."""
    mind = counsel()
    mind.command({"class": "ring_out", "do": "open"}, 1.0)
    mind.command({"class": "ring_out", "do": "begin"}, 1.0)
    at_s = grow(mind)
    state = mind.result.ring_out
    assert state is not None
    asked = {move.label: move.pull_db for move in state.pulls_now}
    mind = counsel(kept=json.loads(json.dumps(mind.kept)))
    climbing(mind, 30.0, at_s + 10.0)
    assert told(mind).startswith("pull 2.5k by ")
    index = [slider.label for slider in EQUALISER.sliders].index("500")
    mind.command({"class": "pull", "slider": index, "cut_db": -4.0}, at_s + 11.0)
    assert mind.result.fields["standing"][0]["cut_db"] == -4.0
    # It goes on from there: what was told stands, and what was asked for is asked for again.
    mind.command({"class": "ring_out", "do": "go_on"}, at_s + 12.0)
    state = mind.result.ring_out
    assert state is not None
    assert ("500", 4.0) in {(pull.label, pull.pull_db) for pull in state.pulls}
    assert state.phase == "pull"
    assert {move.label: move.pull_db for move in state.pulls_now} == asked


def test_a_ring_out_under_way_is_not_lost_by_a_second_tap() -> None:
    mind = counsel()
    mind.command({"class": "ring_out", "do": "open"}, 1.0)
    mind.command({"class": "ring_out", "do": "begin"}, 1.0)
    for do in ("open", "close"):
        with pytest.raises(ValueError, match="stop it before"):
            mind.command({"class": "ring_out", "do": do}, 2.0)
    with pytest.raises(ValueError, match="its own buttons"):
        mind.command({"class": "pull", "slider": 1, "cut_db": -1.0}, 2.0)
    mind.command({"class": "ring_out", "do": "stop"}, 3.0)
    mind.command({"class": "ring_out", "do": "close"}, 3.0)
    assert "ring_out" not in mind.result.fields


def test_what_is_kept_brings_back_the_desk_and_a_paused_ring_out() -> None:
    mind = counsel()
    mind.command({"class": "pull", "slider": 3, "cut_db": -2.0}, 0.5)
    mind.command({"class": "ring_out", "do": "open"}, 1.0)
    mind.command({"class": "ring_out", "do": "begin"}, 1.0)
    at_s = grow(mind)
    mind.command({"class": "ring_out", "do": "pulled"}, at_s + 1.0)
    close(mind, at_s + 1.5)
    before = mind.result.fields
    back = counsel(kept=json.loads(json.dumps(mind.kept)))
    after = back.result.fields
    assert after["standing"] == before["standing"]
    assert after["ring_out"]["phase"] == "paused"
    assert after["ring_out"]["pulls"] == before["ring_out"]["pulls"]
    back.command({"class": "ring_out", "do": "go_on"}, 500.0)
    assert back.result.fields["ring_out"]["phase"] == "raise"


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"sliders": ["1k"]}, "another equaliser"),
        ({"standing": [["1k"]]}, "damaged"),
        ({"standing": [["1k", 99.0, 1000.0, 4.0]]}, "cannot stand at 99"),
        ({"asked": None}, "damaged"),
        ({"ring_out": {"phase": "nonsense"}}, "the ring-out cannot go on"),
    ],
)
def test_what_was_kept_of_something_else_is_refused(change: dict[str, Any], expected: str) -> None:
    with pytest.raises(ValueError, match=expected):
        counsel(kept={**counsel().kept, **change})


def test_a_filter_that_can_be_put_anywhere_is_told_with_its_place() -> None:
    equaliser = Equaliser.from_settings("parametric")
    mind = Counsel(equaliser, margin_db=3.0)
    mind.command({"class": "pull", "slider": 1, "cut_db": -6.0, "centre_hz": 2480.0, "q": 4.0}, 1.0)
    assert mind.result.fields["standing"] == [
        {"slider": 1, "cut_db": -6.0, "centre_hz": 2480.0, "q": 4.0}
    ]


def test_a_filter_that_is_to_go_elsewhere_counts_only_once_it_is_there() -> None:
    equaliser = Equaliser.from_settings("parametric")
    desk, rings = PracticeDesk(equaliser), Followings()
    before = (Pull("filter 1", 6.0, 300.0, 10.0),)
    there = moves(before, (Pull("filter 1", 6.0, 1200.0, 10.0),))
    for at_s, centre_hz in ((0.0, 300.0), (10.0, 1200.0)):
        filters = ((centre_hz, 10.0), None, None, None)
        desk.see(DeskStands("cellar", 0.0, (6.0, 0.0, 0.0, 0.0), filters), at_s, rings)
        assert desk.has(there, at_s + 1.0) is (centre_hz == 1200.0)
