"""The words on a stage plan: what limits, the best change, the things' names, the caption."""

from __future__ import annotations

import re
from itertools import pairwise

from monitor.placing.ghosts import Ghost
from monitor.placing.ground import NAME_PX, PHONE_PX, SMALL_PX, View, length_words
from monitor.placing.name_places import NamePlaces, shortened, wrapped
from monitor.placing.outlines import between
from monitor.placing.reckon import Pair, Reckoning
from monitor.placing.shapes import Outline, Point, Shape, Thing, Words
from monitor.placing.stage import Stage
from monitor.placing.things import spot
from monitor.placing.words import spare_words

LONGEST_NAME = 22
"""Signs of a name on the drawing; a thing's label for screen readers has all of it."""
LONGEST_CHANGE = (19, 4)
"""Signs in a line and lines of a change's words on the drawing."""
_MOST_SPOTS = 6
"""Beside so many of the things that a change moves a place for its words is looked for."""
FEW_PATHS = 8
"""Up to so many paths are drawn as lines that can be followed; more are a faint net."""
_FEW_THINGS = 20
"""Up to so many, mouths among them, every name stands; of more, those for which there is room."""
_KEPT_FREE_PX = {"microphone": 13.0, "loudspeaker": 14.0, "mouth": 8.0, "listener": 9.0}
_AWAY_PX = {"microphone": 20.0, "loudspeaker": 18.0, "listener": 13.0}
_SEEN = re.compile(r"^'[^']*': | as the (?:singer|audience) sees it$")
_WITH_UNIT = re.compile(r"(\d) (m|cm|ft|in)\b")


def path_ends(stage: Stage, pair: Pair) -> tuple[Point, Point]:
    """Return where a pair's path begins, at the loudspeaker, and ends, at the microphone."""
    loudspeaker = next(one for one in stage.loudspeakers if one.name == pair.loudspeaker)
    microphone = next(one for one in stage.microphones if one.name == pair.microphone)
    return spot(loudspeaker), spot(microphone)


def short_change(words: str) -> str:
    """Return a change's words without what the drawing shows: whose it is, and from which side.

    A number and its unit are held together.
    """
    return _WITH_UNIT.sub("\\1\N{NO-BREAK SPACE}\\2", _SEEN.sub("", words))


def caption_words(sentence: str, view: View) -> list[Words]:
    """Return the reckoning's sentence in lines below the plan."""
    px = view.px
    signs = int((PHONE_PX - 24.0) / (0.58 * SMALL_PX))
    left, top = view.left + 12.0 * px, view.top + view.height
    return [
        Words((left, top + (10.0 + 16.0 * row) * px), line, SMALL_PX * px, "paper", "start")
        for row, line in enumerate(wrapped(sentence, signs, 8))
    ]


class PlanWords:
    """Finds places for the words of one plan: off the things, and rather not on a path."""

    def __init__(
        self,
        stage: Stage,
        reckoning: Reckoning,
        view: View,
        things: list[Thing],
        ghost: Ghost | None,
    ) -> None:
        self._stage = stage
        self._reckoning = reckoning
        self._view = view
        self._things = things
        self._ghost = ghost
        left, _, right, _ = view.box
        self._places = NamePlaces((left, 0.0, right, view.room[3]))
        self._keep_free()

    def all(self) -> list[Shape]:
        """Return all words; names first: bold words are found from farther off."""
        return [
            *self._names(of_limiting=True),
            *self._limiting(),
            *self._names(of_limiting=False),
            *self._change(),
        ]

    def _keep_free(self) -> None:
        for thing in self._things:
            radius = _KEPT_FREE_PX[thing.kind] * self._view.px
            # A head is its microphone's, and so is a name beside it.
            mouth = thing.kind == "mouth"
            own = spot(self._stage.microphones[thing.index]) if mouth else thing.middle
            self._places.keep_free(thing.middle, radius, own)
        few = len(self._reckoning.pairs) <= FEW_PATHS
        for pair in self._reckoning.pairs:
            if pair.limits or few:
                ends = path_ends(self._stage, pair)
                self._places.keep_off(*ends, weight=4.0 if pair.limits else 0.15)
        for shape in self._ghost.shapes if self._ghost else ():
            if isinstance(shape, Outline):
                for here, there in pairwise(shape.points):
                    self._places.keep_off(here, there, weight=2.0)

    def _limiting(self) -> list[Shape]:
        pair = self._reckoning.limiting
        lines = (
            f"limits: {length_words(pair.distance_m, self._stage.units)}",
            spare_words(self._reckoning.gain.spare_db),
        )
        here, there = path_ends(self._stage, pair)
        spots = tuple(between(here, there, part) for part in (0.5, 0.35, 0.65))
        return self._lines(spots, 11.0, lines, strong=True)

    def _change(self) -> list[Shape]:
        if self._ghost is None:
            return []
        best = self._reckoning.changes[0]
        lines = (*wrapped(short_change(best.words), *LONGEST_CHANGE), f"+{best.gain_db:.1f} dB")
        return self._lines(self._ghost.spots[:_MOST_SPOTS], 18.0, lines, strong=True)

    def _names(self, *, of_limiting: bool) -> list[Shape]:
        """Return the names of the limiting pair, or all the others."""
        limiting = self._reckoning.limiting
        found: list[Shape] = []
        for thing in self._things:
            name = self._name_of(thing)
            if name and of_limiting == (name in (limiting.loudspeaker, limiting.microphone)):
                line = (shortened(name, LONGEST_NAME),)
                away_px = _AWAY_PX[thing.kind]
                must = of_limiting or len(self._things) <= _FEW_THINGS
                found += self._lines((thing.middle,), away_px, line, must=must)
        return found

    def _name_of(self, thing: Thing) -> str:
        """Return the word beside a thing; a mouth has none."""
        if thing.kind == "loudspeaker":
            return self._stage.loudspeakers[thing.index].name
        if thing.kind == "microphone":
            one = self._stage.microphones[thing.index]
            return one.name if one.open else f"{one.name} (muted)"
        return "farthest listener" if thing.kind == "listener" else ""

    def _lines(
        self,
        spots: tuple[Point, ...],
        away_px: float,
        lines: tuple[str, ...],
        *,
        strong: bool = False,
        must: bool = True,
    ) -> list[Shape]:
        height, away = NAME_PX * self._view.px, away_px * self._view.px
        place = self._places.place(spots, away, lines, height, must=must, bold=strong)
        if place is None:
            return []
        points, anchor = place
        return [
            Words(point, line, height, "candle" if strong else "paper", anchor, bold=strong)
            for point, line in zip(points, lines, strict=True)
        ]
