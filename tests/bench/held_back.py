"""What both scorers make of sources that neither has seen: the table to choose thresholds from.

A flag here is a line whose log-odds reach the threshold and whose shares of power and octave do;
what is at most ``AGAIN_S`` later within a bin of it is the same.  The rings of ``rings.py`` are
these, but for harmonics and for what closes.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from monitor.listening.courses import COURSE_FEATURES, SAME_LINE_BINS
from monitor.listening.evidence import FEATURES
from monitor.listening.layers import RESOLUTIONS
from monitor.listening.listener import SUM_PART
from monitor.listening.scorer import Scorer
from tests.bench.rows import followed
from tests.bench.scoring import ROOM_TO_ACT_S
from tests.bench.streams import FEEDBACK, OWN, Stream, read_streams

THRESHOLDS = (-1.0, 0.0, 1.0, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0)
SHARES_DB = ((-24.0, -6.0), (-30.0, -9.0), (-33.0, -12.0))
"""Least shares of all the power and of the octave."""
AGAIN_S = 1.0


@dataclass(frozen=True, slots=True)
class Judged:
    """What was flagged in a source, for each of ``SHARES_DB`` and ``THRESHOLDS``.

    ``late_s`` is how long after the overtake feedback was flagged first (``inf``: never; None
    where there is nothing to catch), ``false`` how many other lines were flagged.
    """

    group: str
    hours: float
    late_s: np.ndarray | None
    false: np.ndarray


def judge(path: Path, group: str, look_file: Path, course_file: Path) -> Judged:
    """Judge the streams of a source with two scorers."""
    look = Scorer(json.loads(look_file.read_text("utf-8")), FEATURES)
    course = Scorer(json.loads(course_file.read_text("utf-8")), COURSE_FEATURES)
    streams = read_streams(path)
    shape = (len(SHARES_DB), len(THRESHOLDS))
    late_s, false = np.full(shape, np.inf), np.zeros(shape, int)
    for stream in streams:
        _flag(stream, look, course, late_s, false)
    hours = sum(
        stream.looks * RESOLUTIONS[stream.resolution].hop_s
        for stream in streams
        if stream.resolution == 0
    )
    last_s = max(float(s.late_s.max(initial=-np.inf)) for s in streams)
    is_caught = group == "loop" and last_s > ROOM_TO_ACT_S and _rings(streams)
    return Judged(group, hours / 3600.0, late_s if is_caught else None, false)


def _rings(streams: Sequence[Stream]) -> bool:
    return any(((s.label == FEEDBACK) & (s.late_s > ROOM_TO_ACT_S)).any() for s in streams)


def _flag(
    stream: Stream, look: Scorer, course: Scorer, late_s: np.ndarray, false: np.ndarray
) -> None:
    """Add what is flagged in a stream to the earliest flags of feedback and the false ones."""
    shown = {place: _Shown(stream) for place in np.ndindex(late_s.shape)}
    for number, suspected, lines in followed(stream, look):
        log_odds = course.log_odds(suspected.features) + SUM_PART * suspected.sums
        shares_db = np.array([suspected.share_of_power_db, suspected.share_of_octave_db])
        for place, one in shown.items():
            least_db, threshold = SHARES_DB[place[0]], THRESHOLDS[place[1]]
            loud = (shares_db >= np.array(least_db)[:, None]).all(axis=0)
            flagged = loud & (log_odds >= threshold)
            if not flagged.any():
                continue
            label = stream.label[lines]
            right = stream.late_s[lines][flagged & (label == FEEDBACK)]
            late_s[place] = right.min(initial=late_s[place])
            for hz in suspected.frequency_hz[flagged & (label == OWN)]:
                false[place] += one.is_new(number, float(hz))


class _Shown:
    """The false flags of one threshold in a stream."""

    def __init__(self, stream: Stream) -> None:
        self._again_looks = AGAIN_S / RESOLUTIONS[stream.resolution].hop_s
        self._tolerance_hz = SAME_LINE_BINS * stream.bin_hz
        self._known: list[tuple[int, float]] = []

    def is_new(self, look: int, hz: float) -> bool:
        """Note a flag; whether the same line was not shown a moment ago."""
        self._known = [known for known in self._known if look - known[0] <= self._again_looks]
        new = all(abs(hz - where) > self._tolerance_hz for _, where in self._known)
        self._known.append((look, hz))
        return new


def table(found: Sequence[Judged]) -> str:
    """Caught, delay and false flags an hour for every threshold."""
    loops = [one for one in found if one.late_s is not None]
    groups = ("music", "speech", "singing", "steady", "together", "tones", "loop")
    hours = {g: sum(one.hours for one in found if one.group == g) for g in groups}
    lines = [
        f"held back: {len(loops)} loops; hours " + ", ".join(f"{g} {hours[g]:.2f}" for g in groups),
        "shares dB     log-odds  caught % median s  95 % s  before %  "
        + "".join(f"{g:>10}" for g in groups),
    ]
    for a, (power_db, octave_db) in enumerate(SHARES_DB):
        for b, threshold in enumerate(THRESHOLDS):
            late = np.array([one.late_s[a, b] for one in loops if one.late_s is not None])
            caught = np.isfinite(late)
            false = [
                sum(int(one.false[a, b]) for one in found if one.group == g) / max(hours[g], 1e-9)
                for g in groups
            ]
            lines.append(
                f"{power_db:5.0f} {octave_db:5.0f} {threshold:11.1f} {100 * caught.mean():9.1f} "
                f"{np.median(late):8.2f} {np.quantile(late[caught], 0.95):7.2f} "
                f"{100 * (late < 0).mean():9.1f}  " + "".join(f"{x:10.1f}" for x in false)
            )
    return "\n".join(lines)
