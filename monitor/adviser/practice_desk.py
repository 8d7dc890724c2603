"""The practice stage's desk as the advice sees it: how it stands, and how rings answer its moves.

On a real stage nobody tells the box where the fader is; here the stage does, so that gain is
counted by itself and every move of a known size measures a loop time.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from monitor.advice.equaliser import Equaliser
from monitor.advice.growth import Slope
from monitor.advice.margin import LoopTimes
from monitor.advice.moves import Move
from monitor.advice.pulls import Pull, same_place
from monitor.adviser.followed import Followings
from monitor.news import DeskStands

SETTLED_S = 0.4
"""A hand has stopped when nothing moved for this long."""
REACHED_DB = 0.25
FADERS_S = 5.0


@dataclass(slots=True)
class _Moved:
    """A move whose answer is being listened to."""

    at_s: float
    before: Slope
    moved_db: float


def desk_stands(stage: Mapping[str, Any], slider_count: int) -> DeskStands | None:
    """Return how a practice stage's desk stands, from its state; None if it is another desk."""
    sliders = stage.get("sliders", ())
    if len(sliders) != slider_count:
        return None
    return DeskStands(
        place=f"{stage.get('room')}/{stage.get('placement')}",
        # What the input gain gives, the loop gets, as from the fader.
        fader_db=float(stage["fader_db"]) + float(stage.get("gain_db", 0.0)),
        pulls_db=tuple(-float(slider["cut_db"]) for slider in sliders),
        filters=tuple(
            (float(slider["centre_hz"]), float(slider["q"])) if slider.get("centre_hz") else None
            for slider in sliders
        ),
        is_up=float(stage["fader_db"]) >= float(stage.get("fader_max_db", np.inf)),
    )


class PracticeDesk:
    """Follows the desk of a practice stage with the person's own sliders.

    ``place`` is the room and placement where it stood before a restart, if it did anywhere.
    """

    def __init__(self, equaliser: Equaliser, *, place: str | None = None) -> None:
        self._equaliser = equaliser
        self.place = place
        self._stands: DeskStands | None = None
        self._moved_s = -np.inf
        self._faders: deque[tuple[float, float]] = deque()
        self._moves: dict[int, _Moved] = {}

    @property
    def fader_db(self) -> float | None:
        """Where the fader stands, None while there is no stage."""
        return None if self._stands is None else self._stands.fader_db

    @property
    def standing(self) -> dict[str, Pull]:
        """The sliders that stand pulled."""
        if self._stands is None:
            return {}
        sliders = self._there(self._stands).sliders
        return {
            s.label: Pull(s.label, pull_db, s.centre_hz, s.q)
            for s, pull_db in zip(sliders, self._stands.pulls_db, strict=True)
            if pull_db > 0.0
        }

    def _there(self, desk: DeskStands) -> Equaliser:
        """The equaliser with its filters where they stand."""
        if not any(desk.filters):
            return self._equaliser
        return self._equaliser.with_sliders(
            [
                slider if place is None else slider.moved(*place)
                for slider, place in zip(self._equaliser.sliders, desk.filters, strict=True)
            ]
        )

    def see(
        self, desk: DeskStands, at_s: float, rings: Followings
    ) -> Literal["as before", "moved", "elsewhere"]:
        """Take in how it stands now; "elsewhere" is another room or placement."""
        before, self._stands = self._stands, desk
        was_at, self.place = self.place, desk.place
        self._faders.append((at_s, desk.fader_db))
        while self._faders[0][0] < at_s - FADERS_S:
            self._faders.popleft()
        if before == desk:
            return "as before"
        self._moved_s = at_s
        if before is None or was_at != desk.place:
            self._moves.clear()
            self._faders.clear()
            return "moved" if was_at in (None, desk.place) else "elsewhere"
        self._note(before, desk, at_s, rings)
        return "moved"

    def fell_db(self, since_s: float) -> float:
        """Return by how much the fader came down since a moment."""
        earlier = [fader_db for at_s, fader_db in self._faders if at_s >= since_s - SETTLED_S]
        return max(0.0, max(earlier) - earlier[-1]) if earlier else 0.0

    def moved_fader(self, since_s: float) -> bool:
        """Return whether the fader was moved since a moment of the last seconds."""
        return len({fader_db for at_s, fader_db in self._faders if at_s >= since_s}) > 1

    def has(self, pulls: tuple[Move, ...], at_s: float) -> bool:
        """Whether all these pulls have been made and the hand has stopped."""
        if not pulls or at_s < self._moved_s + SETTLED_S:
            return False
        standing = self.standing
        for pull in pulls:
            now_db = standing[pull.label].pull_db if pull.label in standing else 0.0
            beyond_db = now_db - pull.pull_db if pull.more_db >= 0.0 else pull.pull_db - now_db
            is_away = pull.is_elsewhere and not same_place(pull, standing.get(pull.label, pull))
            if beyond_db < -REACHED_DB or is_away:
                return False
        return True

    def learn(self, times: LoopTimes, rings: Followings, at_s: float) -> None:
        """Where a move was answered by another slope, take in the loop time it measures."""
        for number, move in list(self._moves.items()):
            ring = rings.get(number)
            if ring is None:
                del self._moves[number]
            elif at_s > max(move.at_s, ring.closed_s or move.at_s) + SETTLED_S:
                after = ring.trace.answer(move.at_s, at_s)
                if after is not None and move.moved_db != 0.0:
                    times.learn(
                        frequency_hz=ring.frequency_hz,
                        before=move.before,
                        after=after,
                        moved_db=move.moved_db,
                    )
                    del self._moves[number]

    def _note(self, before: DeskStands, now: DeskStands, at_s: float, rings: Followings) -> None:
        for ring in rings.open:
            there = np.array([ring.frequency_hz])
            moved_db = (now.fader_db - before.fader_db) + float(
                self._there(now).response_db(now.pulls_db, there)[0]
                - self._there(before).response_db(before.pulls_db, there)[0]
            )
            earlier = self._moves.get(ring.id)
            if earlier is not None:
                earlier.at_s, earlier.moved_db = at_s, earlier.moved_db + moved_db
            elif ring.climb is not None:
                self._moves[ring.id] = _Moved(at_s, ring.climb, moved_db)
