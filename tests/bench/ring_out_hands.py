"""The automatic performers of the ring-out's bench: one does what the advice says, one the habit.

Both have the same hands and the same box that hears.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from monitor.advice import harm
from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import WANTED_MARGIN_DB
from monitor.advice.pulls import Pull, stood
from monitor.advice.ring_out import RingOut
from monitor.advice.ring_out_rings import SAME_RING_HZ, SAME_RING_PART
from monitor.advice.ring_out_state import RingOutState
from monitor.advice.ring_out_words import BACK_OFF_DB
from tests.bench.ring_out_room import BenchRoom, Sounding

STEP_S = 0.1
PRESSES_S = 8.0
"""Longer than the box waits by itself: then one takes the phone and presses "pulled"."""
MOST_S = 900.0
MOST_MODES = 200
"""Rings that were pulled deep have long left the most critical frequencies."""
HABIT_DB = 3.0
HABIT_SLIDERS = 7
HABIT_TOGETHER = 3
"""The nearest slider a few dB at a time, until three ring together or five to seven are pulled:
common practice, no source."""
HABIT_Q = 4.3
"""Whoever has filters to put anywhere sets them about as narrow as a third octave."""


@dataclass(frozen=True, slots=True)
class Hands:
    """How somebody moves.

    ``acts_s`` is the time to a movement, ``wrong`` the share that lands on a neighbour,
    ``off_db`` what it lands off by, each as likely; the fader goes up by ``fader_step_db`` and
    waits.
    """

    name: str
    acts_s: tuple[float, float]
    wrong: float
    off_db: tuple[float, ...]
    fader_step_db: float
    fader_waits_s: tuple[float, float]


STEADY = Hands("steady", (0.8, 1.6), 0.0, (0.0,), 0.5, (1.5, 2.5))
CLUMSY = Hands("clumsy", (1.5, 5.0), 0.1, (-2.0, 0.0, 2.0), 1.0, (1.0, 3.0))
ALL_HANDS = (STEADY, CLUMSY)


@dataclass
class Outcome:
    """What one ring-out came to.

    ``first_tries`` and ``ratios``: for each ring that was pulled for, whether the pull as advised
    stops it, and its depth beside what gives the wanted margin.  ``margins_held``: for each ring
    whose margin was told at the end, whether the interval told holds the true one.
    """

    won_db: float = 0.0
    pulls: int = 0
    total_cut_db: float = 0.0
    tone_cost_db: float = 0.0
    sliders: int = 0
    why_ended: str = ""
    took_s: float = 0.0
    first_tries: list[bool] = field(default_factory=list)
    ratios: list[float] = field(default_factory=list)
    margins_held: list[bool] = field(default_factory=list)


class Sounds(Protocol):
    """A frequency that is heard to ring, and the gain at which it began to."""

    @property
    def frequency_hz(self) -> float: ...

    @property
    def margin_db(self) -> float: ...


class Played(Protocol):
    """A room that is played: its clock, fader and sliders, and what rings."""

    clock_s: float
    gain_db: float
    equaliser: Equaliser
    pulls_db: list[float]

    def set(self, equaliser: Equaliser, pulls_db: Sequence[float]) -> None:
        """Pull sliders."""

    def rings(self) -> Sequence[Sounds]:
        """What is heard now."""


class Limited(Protocol):
    """Whoever knows at which gain a room begins to ring."""

    def limit_db(self, equaliser: Equaliser, pulls_db: Sequence[float]) -> float:
        """Return that gain with these pulls."""


class Performer:
    """One person at the desk; what they do with sliders goes through their hands."""

    def __init__(
        self,
        room: Limited,
        equaliser: Equaliser,
        hands: Hands,
        rng: np.random.Generator,
        *,
        sound: Played,
    ) -> None:
        self.room, self.equaliser, self.hands = room, equaliser, hands
        self.sound = sound
        self.outcome = Outcome()
        self._rng = rng
        self._next_s = 0.0
        self._mistake: tuple[int, float] | None = None
        self._acts_s: float | None = None
        self._done: tuple[Sequence[Pull], bool] = (), False
        self._done_s = 0.0

    def follow(self, state: RingOutState) -> None:
        """Do what it says, when these hands come to it."""
        if state.phase == "raise":
            self.raise_fader()
            self._acts_s, self._done = None, ((), False)
        elif state.phase == "pull" and (state.pulls_now, state.asks_twice) != self._done:
            self._acts_s = self.acts_at_s() if self._acts_s is None else self._acts_s
            if self.sound.clock_s >= self._acts_s:
                self.weigh(state.pulls_now)
                self.pull(self._left_of(state))
                self._acts_s, self._done = None, (state.pulls_now, state.asks_twice)
                self._done_s = self.sound.clock_s

    def _left_of(self, state: RingOutState) -> Sequence[Pull]:
        """What of it is not done: nobody moves again what they have just moved.

        All of it where they are told to look, or find that they had the wrong slider.
        """
        if state.asks_twice or self._mistake is not None:
            return state.pulls_now
        return [pull for pull in state.pulls_now if pull not in self._done[0]]

    def presses_pulled(self, state: RingOutState) -> bool:
        """Whether they say that they did it: it still rings, and the box asks for nothing else."""
        if state.phase != "pull" or (state.pulls_now, state.asks_twice) != self._done:
            return False
        return self.sound.clock_s >= self._done_s + PRESSES_S

    def raise_fader(self) -> None:
        """A step up when it is time for it."""
        if self.sound.clock_s >= self._next_s:
            self.sound.gain_db += self.hands.fader_step_db
            self._next_s = self.sound.clock_s + float(self._rng.uniform(*self.hands.fader_waits_s))

    def acts_at_s(self) -> float:
        """When a movement that is wanted now will come."""
        return self.sound.clock_s + float(self._rng.uniform(*self.hands.acts_s))

    def pull(self, pulls: Sequence[Pull]) -> None:
        """Set sliders to where they are wanted, as well as these hands can."""
        sliders, pulls_db = list(self.sound.equaliser.sliders), list(self.sound.pulls_db)
        if self._mistake is not None:
            # Asked again, one looks at the labels and puts the wrong one back.
            pulls_db[self._mistake[0]] = self._mistake[1]
            self._mistake = None
        there, _ = stood(self.equaliser, pulls)
        labels = [slider.label for slider in there.sliders]
        for pull in pulls:
            i = labels.index(pull.label)
            sliders[i] = there.sliders[i]
            wanted_db = pull.pull_db + float(self._rng.choice(self.hands.off_db))
            wanted_db = min(max(wanted_db, 0.0), sliders[i].deepest_db)
            self.outcome.pulls += 1
            if self._rng.random() < self.hands.wrong and not sliders[i].is_swept:
                upwards = i == 0 or (i + 1 < len(labels) and self._rng.random() < 0.5)
                j = i + 1 if upwards and len(labels) > 1 else max(i - 1, 0)
                self._mistake = (j, pulls_db[j])
                pulls_db[j] = max(wanted_db, pulls_db[j])
            else:
                pulls_db[i] = wanted_db
        self.sound.set(self.equaliser.with_sliders(sliders), pulls_db)

    def finish(self, why: str) -> Outcome:
        """Reckon what it came to."""
        found, sound = self.outcome, self.sound
        found.won_db = self.room.limit_db(sound.equaliser, sound.pulls_db)
        found.sliders = sum(1 for pull_db in sound.pulls_db if pull_db > 0.0)
        found.total_cut_db = float(sum(sound.pulls_db))
        found.tone_cost_db = harm.tone_cost_db(
            sound.equaliser.response_db(sound.pulls_db, harm.GRID_HZ)
        )
        found.why_ended, found.took_s = why, sound.clock_s
        return found

    def weigh(self, pulls: Sequence[Pull]) -> None:
        """Note whether this pull, as advised, stops what rings, and how it suits the need."""
        sound = self.sound
        there, _ = stood(self.equaliser, pulls)
        wanted = {pull.label: pull.pull_db for pull in pulls}
        sliders = [
            new if new.label in wanted else old
            for new, old in zip(there.sliders, sound.equaliser.sliders, strict=True)
        ]
        pulls_db = [
            wanted.get(slider.label, now_db)
            for slider, now_db in zip(sliders, sound.pulls_db, strict=True)
        ]
        after = self.equaliser.with_sliders(sliders)
        for mode in sound.rings():
            at = np.array([mode.frequency_hz])
            before_db = float(sound.equaliser.response_db(sound.pulls_db, at)[0])
            given_db = before_db - float(after.response_db(pulls_db, at)[0])
            excess_db = sound.gain_db - mode.margin_db
            if excess_db > 0.0:
                self.outcome.first_tries.append(given_db > excess_db)
                self.outcome.ratios.append(given_db / (excess_db + WANTED_MARGIN_DB))


def advised(
    room: BenchRoom, equaliser: Equaliser, hands: Hands, rng: np.random.Generator
) -> Outcome:
    """Do what the ring-out says and nothing else."""
    who = Performer(room, equaliser, hands, rng, sound=Sounding(room, equaliser, rng))
    box, sound = RingOut(equaliser), who.sound
    box.command("begin", 0.0)
    while sound.clock_s < MOST_S:
        for news in sound.pass_s(STEP_S):
            box.heard(news)
        box.passed(sound.clock_s)
        state = box.state
        if state.phase in ("back_off", "done"):
            who.outcome.margins_held = margins_held(room, sound, state)
            return who.finish(state.why_ended)
        who.follow(state)
        if who.presses_pulled(state):
            box.command("pulled", sound.clock_s)
    return who.finish("time")


def margins_held(room: BenchRoom, sound: Played, state: RingOutState) -> list[bool]:
    """Return for each margin told whether its interval holds the loop's own, backed off."""
    hz, limits_db, _ = room.modes(sound.equaliser, sound.pulls_db, most=MOST_MODES)
    held = []
    for ring in state.rings:
        near = np.abs(hz - ring.frequency_hz) <= max(
            SAME_RING_HZ, SAME_RING_PART * ring.frequency_hz
        )
        if ring.margin is not None and near.any():
            left_db = float(limits_db[near].min()) - sound.gain_db + BACK_OFF_DB
            held.append(ring.margin.low_db <= left_db <= ring.margin.high_db)
    return held


def habit(
    room: BenchRoom,
    equaliser: Equaliser,
    hands: Hands,
    rng: np.random.Generator,
    until_db: float | None = None,
) -> Outcome:
    """Pull the nearest slider by 3 dB whenever something rings, until it is gone; raise again.

    It stops as practice says, or with ``until_db`` only once it has won as much, or cannot.
    """
    sound = Sounding(room, equaliser, rng)
    who = Performer(room, equaliser, hands, rng, sound=sound)
    filters = _Filters(equaliser)
    acts_s: float | None = None
    quiet_from_s = 0.0
    while sound.clock_s < MOST_S:
        sound.pass_s(STEP_S)
        heard = sound.rings()
        if until_db is None and len(heard) >= HABIT_TOGETHER:
            return who.finish("three together")
        if not heard:
            acts_s = None
            if sound.clock_s >= quiet_from_s:
                who.raise_fader()
            continue
        acts_s = who.acts_at_s() if acts_s is None else acts_s
        if sound.clock_s < acts_s:
            continue
        loudest = max(heard, key=lambda mode: mode.level_db)
        pull = filters.pull(who, loudest.frequency_hz)
        down = [p for p in sound.pulls_db if p > 0.0]
        if pull is None:
            return who.finish("at its end")
        if until_db is None and len(down) >= HABIT_SLIDERS and pull.pull_db <= HABIT_DB:
            return who.finish("sliders")
        who.pull((pull,))
        if until_db is not None and room.limit_db(sound.equaliser, sound.pulls_db) >= until_db:
            return who.finish("as much")
        # Listen for a second whether it has gone.
        acts_s = who.acts_at_s() + 1.0
        quiet_from_s = sound.clock_s + 2.0
    return who.finish("time")


class _Filters:
    """Which slider the habit takes; a filter that is free is put to the ring."""

    def __init__(self, equaliser: Equaliser) -> None:
        self._free = [i for i, slider in enumerate(equaliser.sliders) if slider.is_swept]
        self._used: dict[int, float] = {}

    def pull(self, who: Performer, frequency_hz: float) -> Pull | None:
        """Return the pull for a ring, None where nothing is left."""
        if self._free or self._used:
            i = next((i for i, hz in self._used.items() if _near(hz, frequency_hz)), None)
            if i is None:
                if not self._free:
                    return None
                i = self._free.pop(0)
                self._used[i] = frequency_hz
            slider = who.equaliser.sliders[i].moved(self._used[i], HABIT_Q)
        else:
            slider = who.equaliser.nearest(frequency_hz)
            i = who.equaliser.sliders.index(slider)
        now_db = who.sound.pulls_db[i]
        if now_db >= slider.deepest_db:
            return None
        to_db = min(now_db + HABIT_DB, slider.deepest_db)
        return Pull(slider.label, to_db, slider.centre_hz, slider.q, to_db - now_db)


def _near(a_hz: float, b_hz: float) -> bool:
    return abs(a_hz - b_hz) < 0.03 * b_hz
