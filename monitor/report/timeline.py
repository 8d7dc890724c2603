"""The evening as a picture: time across, bands up, rings as drops, pulls as wedges.

From the top down: how it listened, the bands with rings and pulls, songs as fine lines, the
stretches when the box could not hear, how loud it was, the time, the key.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from datetime import tzinfo
from itertools import pairwise

from monitor.counted import counted
from monitor.placing.shapes import Ink, Outline, Picture, Shape, Words
from monitor.report.evening import Evening
from monitor.report.marks import drop, hatched, line, pull_tick, width_of
from monitor.report.scales import Across, Sizes, Up, bands_for, time_marks
from monitor.report.timeline_key import key_shapes
from monitor.report.timeline_parts import (
    deaf_stretches,
    drawn_rings,
    humps,
    levels_of,
    usual_step_s,
)
from monitor.report.title import subtitle_of, title_of
from monitor.report.words import number, put_words

SHORTEST_S = 600.0
"""No picture shows less time across: its marks are minutes."""
MANY = 400
"""From so many rings on, marks shrink, down to half of their size."""
_LEVEL_DB = (-70.0, 0.0)


WIDE = Sizes(1000.0, 15.0, 19.0, 58.0, 13)
NARROW = Sizes(560.0, 19.0, 22.0, 66.0, 6)
"""For a phone held upright, where the wide one's type would be too small."""


class _Timeline:
    """The picture's parts; its places are worked out when it is made."""

    def __init__(self, evening: Evening, sizes: Sizes, zone: tzinfo | None, caption: bool) -> None:
        self.evening, self.sizes = evening, sizes
        self.clock = evening.clock(zone)
        self.caption = caption
        heard = [ring.frequency_hz for ring in evening.rings]
        moved = [move.centre_hz for move in evening.moves if move.centre_hz]
        stood = [pulled.centre_hz for pulled in evening.standing if pulled.centre_hz]
        below = _folded(subtitle_of(evening, self.clock), sizes) if caption else []
        self.subtitles = below
        self.top = (2.1 + 1.3 * len(below)) * sizes.type if caption else 0.0
        strip = self.top + 0.4 * sizes.type
        self.strip = (strip, strip + 1.5 * sizes.type)
        self.up = Up(
            self.strip[1] + 0.5 * sizes.type, sizes.row, bands_for([*heard, *moved, *stood])
        )
        self.across = Across(sizes.left, sizes.width - 12.0, max(evening.length_s, SHORTEST_S))
        self.levels = levels_of(evening)
        self.floor = self.up.bottom + (3.6 * sizes.type if self.levels else 0.0)
        self.size = max(0.5, min(1.0, (MANY / max(1, len(evening.rings))) ** 0.5))

    def picture(self) -> Picture:
        key, bottom = key_shapes(self.evening, self.sizes, self.floor + 3.1 * self.sizes.type)
        parts: list[Shape] = [
            *(self._caption() if self.caption else ()),
            *self._deaf(),
            *self._rows(),
            *self._strip(),
            *self._songs(),
            *self._level(),
            *self._times(),
            *self._stretches(),
            *self._rings(),
            *self._moves(),
            *key,
        ]
        said = f"timeline of the gig: {counted(len(self.evening.rings), 'ring')}, "
        said += f"{counted(self.evening.howl_count, 'howl')}; {title_of(self.evening)}"
        return Picture(0.0, 0.0, self.sizes.width, bottom, said, tuple(parts))

    # --- what lies below --------------------------------------------------------------------

    def _caption(self) -> Iterator[Shape]:
        height = self.sizes.type
        room = int((self.sizes.width - 24.0) / (0.62 * 1.25 * height))
        title = title_of(self.evening)
        title = title if len(title) <= room else title[: room - 1] + "…"
        yield Words((12.0, 1.5 * height), title, 1.25 * height, ink="paper", anchor="start",
                    bold=True)  # fmt: skip
        for i, said in enumerate(self.subtitles):
            yield Words((12.0, (2.9 + 1.3 * i) * height), said, height, anchor="start")

    def _rows(self) -> Iterator[Shape]:
        height, up, across = self.sizes.type, self.up, self.across
        every = 1 if up.row >= 1.2 * height else 2
        for i, band in enumerate(up.bands):
            y = up.y(band.midband_hz)
            yield line(((across.left, y), (across.right, y)), "line", 0.7)
            if i % every == 0:
                yield Words((across.left - 8.0, y + 0.36 * height), band.label, height,
                            anchor="end")  # fmt: skip
        yield Words((8.0, up.top - 0.1 * height), "Hz", height, anchor="start")

    def _strip(self) -> Iterator[Shape]:
        """How it listened: lined for soundcheck, plain for the set."""
        ways = [(one.at_s, one.content.get("way")) for one in self.evening.of_kind("way")]
        ways = [(at_s, way) for at_s, way in ways if way in ("soundcheck", "set")]
        top, bottom = self.strip
        for (at_s, way), (end_s, _) in pairwise([*ways, (self.evening.length_s, "")]):
            left, right = self.across.x(at_s), self.across.x(end_s)
            if right - left < 0.5:
                continue
            corners = ((left, top), (right, top), (right, bottom), (left, bottom))
            fill: Ink | None = "quiet" if way == "soundcheck" else None
            yield Outline(
                corners, closed=True, stroke="quiet", width_cm=1.0, fill=fill, strength=0.22,
                part="way",
            )  # fmt: skip
            if width_of(str(way), self.sizes.type) < right - left - 6.0:
                at = (left + 6.0, bottom - 0.42 * self.sizes.type)
                yield Words(at, str(way), self.sizes.type, ink="paper", anchor="start")

    def _songs(self) -> Iterator[Shape]:
        free = self.across.left
        for one in self.evening.of_kind("song"):
            x = self.across.x(one.at_s)
            yield line(((x, self.up.top), (x, self.floor)), "quiet", 0.8, (1.5, 6.0))
            n = number(one.content.get("n"), 0, 9999)
            said = f"{n:.0f}" if n is not None else ""
            wide = width_of(said, 0.9 * self.sizes.type)
            if said and x - wide / 2 > free:
                yield Words((x, self.floor + 1.0 * self.sizes.type), said, 0.9 * self.sizes.type)
                free = x + wide / 2 + 3.0

    def _deaf(self) -> Iterator[Shape]:
        for from_s, to_s in deaf_stretches(self.evening):
            left = self.across.x(from_s)
            right = max(self.across.x(to_s), left + 3.0)
            yield from hatched(left, right, self.up.top, self.up.bottom)

    def _level(self) -> Iterator[Shape]:
        """The level of each minute while there was sound; a gap where there was none."""
        if not self.levels:
            return
        height = self.sizes.type
        top, bottom = self.up.bottom + 0.6 * height, self.floor - 0.3 * height
        lowest, highest = _LEVEL_DB
        yield line(((self.across.left, bottom), (self.across.right, bottom)), "line", 0.7)
        yield Words((self.across.left - 8.0, bottom), "level", 0.9 * height, anchor="end")
        step_s = usual_step_s([at_s for at_s, _ in self.levels])
        run: list[tuple[float, float]] = []
        last_s = 0.0
        for at_s, level in self.levels:
            part = min(max((level - lowest) / (highest - lowest), 0.0), 1.0)
            if run and at_s - last_s > 2.5 * step_s:
                yield from humps(run, bottom)
                run = []
            run.append((self.across.x(at_s), bottom - part * (bottom - top)))
            last_s = at_s
        yield from humps(run, bottom)

    def _times(self) -> Iterator[Shape]:
        height = self.sizes.type
        y = self.floor + 2.1 * height
        yield line(((self.across.left, self.floor), (self.across.right, self.floor)), "quiet", 1.2)
        if self.clock.begun is None:
            yield Words((8.0, y - 1.1 * height), "h:min", 0.9 * height, anchor="start")
        for at_s, mark in time_marks(self.across.length_s, self.clock, self.sizes.most_marks):
            x = self.across.x(at_s)
            yield line(((x, self.floor), (x, self.floor + 0.35 * height)), "quiet", 1.2)
            half = width_of(mark, height) / 2
            x = min(max(x, self.across.left + half - 8.0), self.sizes.width - half)
            yield Words((x, y), mark, height, ink="paper")

    # --- what matters ------------------------------------------------------------------------

    def _moves(self) -> Iterator[Shape]:
        """A wedge where a slider moved, over the rings: they are many there."""
        taken: list[tuple[float, float]] = []
        for move in self.evening.moves:
            if move.centre_hz is None:
                continue
            at = (self.across.x(move.at_s), self.up.y(move.centre_hz))
            yield pull_tick(at, down=move.to_db > move.from_db, size=max(self.size, 0.7))
            height = 0.85 * self.sizes.type
            said = put_words(move.label, move.to_db)
            wide = width_of(said, height)
            place = (at[0] + 7.0, at[1] - 3.0)
            fits = place[0] + wide < self.sizes.width and all(
                abs(place[0] - x) > wide + 4.0 or abs(place[1] - y) > height for x, y in taken
            )
            if fits:
                taken.append(place)
                yield Words(place, said, height, ink="candle", anchor="start")

    def _stretches(self) -> Iterator[Shape]:
        """Lines for as long as sliders stood pulled."""
        begun: dict[str, tuple[float, float]] = {}
        moved = {move.label for move in self.evening.moves}
        for move in self.evening.moves:
            # Pulled before the first move that is known: from the beginning on.
            since_s, hz = begun.pop(move.label, (0.0, move.centre_hz or 0.0))
            if hz and move.from_db > 0.0:
                yield self._stretch(since_s, move.at_s, hz)
            if move.to_db > 0.0 and move.centre_hz:
                begun[move.label] = (move.at_s, move.centre_hz)
        for since_s, hz in begun.values():
            yield self._stretch(since_s, self.evening.length_s, hz)
        for pulled in self.evening.standing:
            if pulled.label not in moved and pulled.centre_hz:
                yield self._stretch(0.0, self.evening.length_s, pulled.centre_hz)

    def _stretch(self, from_s: float, to_s: float, hz: float) -> Shape:
        y = self.up.y(hz)
        return line(((self.across.x(from_s), y), (self.across.x(to_s), y)), "candle", 1.5)

    def _rings(self) -> Iterator[Shape]:
        # Howls last, so that nothing covers them.
        for ring in sorted(drawn_rings(self.evening), key=lambda ring: ring.degree == "howl"):
            at = (self.across.x(ring.at_s), self.up.y(ring.frequency_hz))
            yield drop(
                at,
                degree=ring.degree,
                level_dbfs=ring.level_dbfs,
                lasted_s=ring.lasted_s,
                size=self.size,
                right=self.sizes.width - 2.0,
            )


def _folded(said: str, sizes: Sizes) -> list[str]:
    return textwrap.wrap(said, int((sizes.width - 24.0) / width_of("x", sizes.type)))


def timeline_picture(
    evening: Evening, *, wide: bool = True, caption: bool = False, zone: tzinfo | None
) -> Picture:
    """Return the gig as shapes.

    Parameters
    ----------
    evening : Evening
    wide : bool
        False: for a phone held upright.
    caption : bool
        Write venue, date and counts above: for a picture that stands alone.
    zone : tzinfo or None
        The local time to show; None is the machine's.
    """
    return _Timeline(evening, WIDE if wide else NARROW, zone, caption).picture()
