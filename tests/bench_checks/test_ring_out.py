"""The ring-out's bench: its room against the stage's own loop, its figures by hand."""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import asdict, replace

import numpy as np
import pytest

from monitor.advice import harm
from monitor.advice.choice import EqualiserChoice
from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import growth_of
from monitor.advice.pulls import Pull
from monitor.advice.ring_out import RingOut
from monitor.advice.ring_out_state import MarginLeft, RingSoFar
from monitor.advice.ring_out_words import BACK_OFF_DB
from monitor.stage.loop import StageLoop
from monitor.stage.room import random_room
from tests.bench import ring_out
from tests.bench.ring_out import ROOM_SEEDS_FROM, Job, figures, goals, print_tables, score
from tests.bench.ring_out_best import best_gain_db, frontier
from tests.bench.ring_out_hands import CLUMSY, STEADY, Hands, Outcome, Performer, margins_held
from tests.bench.ring_out_room import END_DB, LATENCY_S, LOW_CUT_HZ, BenchRoom, Sounding

TUNED_ON = range(50_000, 63_100)
"""The rooms that the ring-out's constants, and the spreads of loop times, were chosen on."""


@pytest.fixture(scope="module")
def room() -> BenchRoom:
    return BenchRoom(50_000)


def test_no_room_is_one_that_constants_were_chosen_on() -> None:
    assert TUNED_ON[-1] < ROOM_SEEDS_FROM
    assert ROOM_SEEDS_FROM >= 100_000


@pytest.mark.parametrize("kind", ["31", "5"])
def test_the_room_rings_where_the_stage_does(room: BenchRoom, kind: str) -> None:
    """The stage folds its equaliser into taps of finite length; otherwise they are the same."""
    equaliser = Equaliser.from_settings(kind)
    pulls_db = [float(n * 5 % 7) for n in range(len(equaliser.sliders))]
    loop = StageLoop(
        room=random_room(50_000),
        equaliser=equaliser,
        block=64,
        latency_s=LATENCY_S,
        low_cut_hz=LOW_CUT_HZ,
    )
    assert room.limit_db(equaliser, [0.0] * len(pulls_db)) == pytest.approx(0.0, abs=1e-9)
    loop.equalise(equaliser, [-pull_db for pull_db in pulls_db])
    truth_db = loop.margin_db() + loop.fader_db
    assert room.limit_db(equaliser, pulls_db) == pytest.approx(truth_db, abs=0.1)
    hz, margin_db, loop_time_s = room.modes(equaliser, pulls_db, most=3)
    for k, one in enumerate(loop.critical(most=3)):
        assert hz[k] == pytest.approx(one.frequency_hz, abs=0.5)
        assert margin_db[k] - loop.fader_db == pytest.approx(one.margin_db, abs=0.1)
        assert loop_time_s[k] == pytest.approx(one.loop_time_s, rel=0.1)


def test_a_level_climbs_as_its_loop_says_and_is_heard_and_dies(room: BenchRoom) -> None:
    equaliser = Equaliser.from_settings("31")
    sound = Sounding(room, equaliser, np.random.default_rng(1))
    hz, margin_db, loop_time_s = room.modes(equaliser, sound.pulls_db, most=1)
    sound.gain_db = float(margin_db[0]) + 0.15
    per_s = growth_of(0.15, float(loop_time_s[0]))
    opened = []
    while not opened:
        opened = sound.pass_s(0.01)
    first = opened[0]
    assert first.frequency_hz == pytest.approx(hz[0], abs=0.1)
    assert sound.rings()[0].level_db == pytest.approx(min(per_s * sound.clock_s, END_DB), rel=0.05)
    assert first.slope is not None
    assert 0.4 < first.slope.db_per_s / per_s < 1.8
    sound.gain_db -= 3.0
    closed = []
    while not closed:
        closed = sound.pass_s(0.01)
    assert [news.kind for news in closed] == ["closed"]
    assert sound.rings() == []
    assert closed[0].slope is not None
    assert closed[0].slope.db_per_s < 0.0


def test_the_best_is_what_trying_everything_finds(room: BenchRoom) -> None:
    """Two sliders can be tried in all their steps: no plan of the bench's may be far below."""
    hz, _, _ = room.modes(Equaliser.from_settings("31"), [0.0] * 31, most=1)
    choice = EqualiserChoice("typed", (f"{hz[0] * 0.7:.0f}", f"{hz[0] * 1.3:.0f}"))
    equaliser = Equaliser.from_choice(choice)
    tried = []
    for pulls_db in itertools.product(range(0, 13, 2), repeat=2):
        pulls = [float(pull_db) for pull_db in pulls_db]
        cost_db = harm.tone_cost_db(equaliser.response_db(pulls, harm.GRID_HZ))
        tried.append((cost_db, room.limit_db(equaliser, pulls)))
    found = frontier(room, equaliser, from_db=1.0, up_to_cost_db=6.0)
    assert len(found) > 2
    for cost_db in (1.0, 2.0, 3.0, 4.0):
        best_db = max(gain_db for cost, gain_db in tried if cost <= cost_db)
        assert best_gain_db(found, cost_db) >= best_db - 0.7


def test_hands_miss_as_they_are_said_to(room: BenchRoom) -> None:
    equaliser = Equaliser.from_settings("31")
    places = {STEADY: set(), CLUMSY: set()}
    for hands, found in places.items():
        for seed in range(60):
            rng = np.random.default_rng(seed)
            who = Performer(room, equaliser, hands, rng, sound=Sounding(room, equaliser, rng))
            who.pull([Pull("1k", 5.0, 1000.0, 4.3)])
            found |= {
                (s.label, db)
                for s, db in zip(equaliser.sliders, who.sound.pulls_db, strict=True)
                if db
            }
    assert places[STEADY] == {("1k", 5.0)}
    assert {label for label, _ in places[CLUMSY]} == {"800", "1k", "1.25k"}
    assert {db for _, db in places[CLUMSY]} == {3.0, 5.0, 7.0}


def test_asked_again_a_wrong_slider_is_put_back(room: BenchRoom) -> None:
    equaliser = Equaliser.from_settings("31")
    rng = np.random.default_rng(3)
    always = Hands("wrong", (1.0, 1.0), 1.0, (0.0,), 0.5, (1.0, 1.0))
    who = Performer(room, equaliser, always, rng, sound=Sounding(room, equaliser, rng))
    pull = Pull("1k", 5.0, 1000.0, 4.3)
    who.pull([pull])
    assert sum(who.sound.pulls_db) == 5.0
    who.hands = STEADY
    who.pull([replace(pull, pull_db=7.0)])
    down = [
        (s.label, db) for s, db in zip(equaliser.sliders, who.sound.pulls_db, strict=True) if db
    ]
    assert down == [("1k", 7.0)]
    assert who.outcome.pulls == 2


def test_what_was_just_moved_is_not_moved_again_when_something_joins(room: BenchRoom) -> None:
    equaliser = Equaliser.from_settings("31")
    rng = np.random.default_rng(3)
    who = Performer(room, equaliser, STEADY, rng, sound=Sounding(room, equaliser, rng))
    box = RingOut(equaliser)
    box.command("begin", 0.0)
    one, other = (Pull("1k", 5.0, 1000.0, 4.3), Pull("2k", 3.0, 2000.0, 4.3))
    for wanted in ((one,), (one, other)):
        asked = replace(box.state, phase="pull", pulls_now=wanted)
        who.follow(asked)
        who.sound.clock_s += max(STEADY.acts_s)
        who.follow(asked)
    assert who.outcome.pulls == 2
    assert sum(who.sound.pulls_db) == 8.0
    # Told to look, a hand goes to all of them.
    who.follow(replace(asked, asks_twice=True))
    who.sound.clock_s += max(STEADY.acts_s)
    who.follow(replace(asked, asks_twice=True))
    assert who.outcome.pulls == 4


def job(won_db: float, best_db: float, habit_db: float, *, as_far: bool = True) -> Job:
    own = Outcome(won_db, 10, 30.0, 2.0, 8, "it", 60.0, [True, False], [0.5, 2.5])
    usual = Outcome(habit_db, 6, 18.0, 1.5, 5, "three together")
    far = Outcome(won_db, 14, 40.0, 3.0, 9, "as much" if as_far else "at its end")
    return Job(100_000, "31", "steady", own, usual, far, best_db, best_db - 1.0)


def test_the_figures_by_hand() -> None:
    found = figures([job(6.0, 6.9, 4.0), job(5.0, 6.1, 5.2), job(8.0, 9.5, 8.3, as_far=False)])
    assert found["won"] == 6.0
    assert found["mean"] == pytest.approx(19.0 / 3.0)
    assert found["within 1 dB"] == pytest.approx(100.0 / 3.0)
    assert found["as handled"] == pytest.approx(100.0)
    assert found["worse"] == pytest.approx(100.0 / 3.0)  # 0.3 dB less counts, 0.2 does not
    assert found["as far"] == pytest.approx(200.0 / 3.0)
    assert (found["pulls there"], found["its pulls"]) == (10.0, 14.0)
    assert (found["stops"], found["< 2x"], found["ratio"]) == (50.0, 50.0, 1.5)
    assert all(math.isnan(value) for value in figures([]).values())


def test_margins_are_held_against_the_room_s_own_limit(room: BenchRoom) -> None:
    equaliser = Equaliser.from_settings("31")
    sound = Sounding(room, equaliser, np.random.default_rng(1))
    hz, limits_db, _ = room.modes(equaliser, sound.pulls_db, most=1)
    sound.gain_db = -2.0
    left_db = float(limits_db[0]) + 2.0 + BACK_OFF_DB
    ends = [(left_db - 0.1, left_db + 0.1), (left_db + 0.1, left_db + 2.0), (0.0, left_db - 0.1)]
    rings = [
        RingSoFar(float(hz[0]), "gone", 1, None, 0.0, MarginLeft((low + high) / 2.0, low, high))
        for low, high in ends
    ]
    rings.append(RingSoFar(float(hz[0]), "left", 1, None, 0.0))
    state = replace(RingOut(equaliser).state, rings=tuple(rings))
    assert margins_held(room, sound, state) == [True, False, False]


def test_goals_are_met_and_missed() -> None:
    good = {name: met for name, met, _ in goals([job(6.5, 7.0, 4.0)])}
    bad = {name: met for name, met, _ in goals([job(3.0, 7.0, 4.0)])}
    for name in ("31 bands, steady: won >= 6 dB in the middle", "31: not worse than the habit"):
        assert good[name]
        assert not bad[name]
    assert not good["all: the advised pull stops the ring in 90 %"]


def test_a_room_is_scored_and_shown(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(ring_out, "KINDS", ("5",))
    jobs = score(60_004)
    assert [found.hands for found in jobs] == ["steady", "clumsy"]
    assert all(found.advised.won_db > 1.0 for found in jobs)
    assert all(found.best_db >= found.advised.won_db - 1.0 for found in jobs)
    print_tables(jobs)
    shown = capsys.readouterr().out
    assert "1 rooms from the loop's response" in shown
    assert "5: not worse than the habit" in shown
    json.dumps([asdict(found) for found in jobs], allow_nan=False)
