"""One case as a picture: the spectrogram with truth and flags marked, the levels that decide, and
what the scorer said.

The levels are feedback and programme in the ring's third octave, or the line and what is around
it; the scorer's log-odds are those of lines within half a semitone of the frequency, hop by hop.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator
from scipy.signal import stft

from monitor.listening.scorer import Scorers
from monitor.stage.provoke import Run
from tests.bench.lines import follower, found_in
from tests.bench.look import (
    CANDLE,
    FAINT,
    GROUND,
    INK,
    LEVELS,
    QUIET,
    SLATE,
    figure,
    save,
    stroke_of,
    styled,
)
from tests.bench.report import WAYS
from tests.bench.scoring import Flagged, band_levels

LOWEST_HZ, HIGHEST_HZ = 60.0, 12500.0
WINDOW_S, HOP_S = 0.085, 0.0107
RANGE_DB = 65.0
ROWS = 400
PAST_S = 3.0
"""Longer than anything that is measured looks back."""
LETTER = 0.0085
"""Width of a letter of the smallest type, as a part of the picture."""
_OUTLINE = [withStroke(linewidth=3.0, foreground=GROUND)]


def draw_case(
    samples: np.ndarray,
    rate_hz: int,
    flagged: dict[str, list[Flagged]],
    *,
    title: str,
    words: str,
    run: Run | None,
    hz: float,
    span_s: tuple[float, float],
    path: Path,
) -> Path:
    """Draw one case.

    Parameters
    ----------
    samples : float array [n]
        What was listened to.
    flagged : dict of lists
        What each row of the tables flagged in it.
    title, words : str
        What happened, and where it comes from.
    run : Run or None
        The truth; None for a sound without feedback.
    hz : float
        The frequency that levels and log-odds are shown for.
    span_s : (float, float)
        From when until when.
    """
    with styled():
        made = figure(10.5, 7.4)
        top, levels, odds = made.subplots(
            3, 1, sharex=True, gridspec_kw={"height_ratios": (5.0, 1.7, 1.2)}
        )
        made.suptitle(title, x=0.012, ha="left", fontsize=12)
        top.set_title(words, color=QUIET, fontsize=9, pad=26 if run is not None else 6)
        _spectrogram(top, samples, rate_hz, span_s)
        if run is not None:
            _truth(top, run)
            _moments(top, run, span_s)
        marks = _flags(top, flagged, span_s)
        if marks:
            made.legend(marks.values(), marks.keys(), loc="outside lower left", ncols=len(marks))
        _levels(levels, samples, rate_hz, run, hz, span_s)
        _odds(odds, samples, rate_hz, hz, span_s)
        odds.set_xlim(*span_s)
        odds.set_xlabel("time, s")
        return save(made, path)


def _power(
    samples: np.ndarray, rate_hz: int, span_s: tuple[float, float]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Frequencies, times within the span, and power; each time is that of the window's end."""
    begin_s = max(0.0, span_s[0] - WINDOW_S)
    samples = samples[round(begin_s * rate_hz) : round(span_s[1] * rate_hz)]
    size = int(WINDOW_S * rate_hz)
    hop = int(HOP_S * rate_hz)
    frequency_hz, time_s, lines = stft(
        samples,
        rate_hz,
        nperseg=size,
        noverlap=size - hop,
        nfft=2 * size,
        boundary=None,
        padded=False,
    )
    return frequency_hz, begin_s + time_s + 0.5 * size / rate_hz, 4.0 * np.abs(lines) ** 2 + 1e-15


def _spectrogram(
    axes: Axes, samples: np.ndarray, rate_hz: int, span_s: tuple[float, float]
) -> None:
    frequency_hz, time_s, power = _power(samples, rate_hz, span_s)
    level_db = 10.0 * np.log10(power)
    highest_hz = min(HIGHEST_HZ, 0.49 * rate_hz)
    edges_hz = np.geomspace(LOWEST_HZ, highest_hz, ROWS + 1)
    first, last = (
        np.searchsorted(frequency_hz, edges_hz[:-1]),
        np.searchsorted(frequency_hz, edges_hz[1:]),
    )
    # High up a row shows the highest bin it covers, as a line must not vanish between two rows;
    # low down, where a bin covers rows, what lies between two bins.
    places = np.interp(np.sqrt(edges_hz[:-1] * edges_hz[1:]), frequency_hz, np.arange(len(power)))
    below = places.astype(int)
    part = (places - below)[:, None]
    between_db = (1.0 - part) * level_db[below] + part * level_db[below + 1]
    level_db = np.array(
        [
            level_db[a:b].max(axis=0) if b > a else row_db
            for a, b, row_db in zip(first, last, between_db, strict=True)
        ]
    )
    highest_db = float(np.quantile(level_db, 0.9995))
    axes.imshow(
        level_db,
        origin="lower",
        aspect="auto",
        extent=(time_s[0], time_s[-1], math.log2(LOWEST_HZ), math.log2(highest_hz)),
        cmap=LEVELS,
        vmin=highest_db - RANGE_DB,
        vmax=highest_db,
        interpolation="nearest",
    )
    ticks_hz = [63, 125, 250, 500, 1000, 2000, 4000, 8000]
    axes.yaxis.set_major_locator(FixedLocator([math.log2(hz) for hz in ticks_hz]))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(
        FuncFormatter(lambda y, _: f"{2**y / 1000:g}k" if y > 9.9 else f"{2**y:.0f}")
    )
    axes.set_ylabel("Hz")
    axes.grid(visible=False)


def _truth(axes: Axes, run: Run) -> None:
    """The frequencies that ring, at the right edge; the winner by its frequency."""
    for mode in run.truth:
        winner = mode.frequency_hz == run.critical_frequency_hz
        axes.annotate(
            "",
            (1.0, math.log2(mode.frequency_hz)),
            (9 if winner else 6, 0),
            xycoords=("axes fraction", "data"),
            textcoords="offset points",
            arrowprops={
                "arrowstyle": "-|>",
                "color": INK if winner else QUIET,
                "linewidth": 0.8,
                "shrinkA": 0,
                "shrinkB": 0,
            },
            annotation_clip=False,
        )
    axes.annotate(
        f"rings at\n{run.critical_frequency_hz:.1f} Hz",
        (1.0, math.log2(run.critical_frequency_hz)),
        (12, 0),
        xycoords=("axes fraction", "data"),
        textcoords="offset points",
        va="center",
        fontsize=8.5,
        annotation_clip=False,
    )


def _moments(axes: Axes, run: Run, span_s: tuple[float, float]) -> None:
    """Upright lines where the loop turns, named above the picture."""
    named = [
        (run.onset_s, "unstable"),
        (run.overtake_s, "overtakes"),
        (run.louder_than_programme_s, "louder than all"),
        (run.acts_s, "somebody acts"),
        (run.off_s, "stable"),
    ]
    length_s = span_s[1] - span_s[0]
    groups: list[tuple[float, list[str]]] = []
    known = [(at_s, name) for at_s, name in named if at_s is not None]
    for at_s, name in sorted(known, key=lambda pair: pair[0]):
        axes.axvline(at_s, color=INK, linewidth=0.8, linestyle=(0, (4, 3)), alpha=0.8)
        if groups and at_s - groups[-1][0] < 0.03 * length_s:
            groups[-1][1].append(name)
        else:
            groups.append((at_s, [name]))
    free_s = -math.inf
    for at_s, names in groups:
        words = ", ".join(names)
        words_s = LETTER * length_s * len(words)
        to_left = at_s + words_s > span_s[1]
        begin_s = at_s - words_s if to_left else at_s
        axes.annotate(
            words,
            (at_s, 1.0),
            (2 if to_left else -2, 14 if begin_s < free_s else 3),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            ha="right" if to_left else "left",
            fontsize=8,
            color=INK,
        )
        free_s = begin_s + words_s


def _flags(
    axes: Axes, flagged: dict[str, list[Flagged]], span_s: tuple[float, float]
) -> dict[str, Any]:
    """What each row flagged: ringing an open mark, howl a solid one, shown as long as its bar.

    Returns the marks by name.
    """
    handles: dict[str, Any] = {}
    for name, rings in flagged.items():
        stroke = stroke_of(name)
        for ring in rings:
            y = math.log2(ring.frequency_hz)
            begin_s = ring.howl_s if ring.ringing_s is None else ring.ringing_s
            if begin_s is None or ring.end_s < span_s[0] or begin_s > span_s[1]:
                continue
            shift = {"soundcheck": 0.045, "set": -0.045}.get(name, 0.0)
            end_s = min(ring.end_s, span_s[1])
            if name in WAYS:
                axes.plot([begin_s, end_s], [y + shift] * 2, color=stroke.colour, linewidth=1.0)[
                    0
                ].set_path_effects(_OUTLINE)
            for at_s, solid in ((ring.ringing_s, False), (ring.howl_s, True)):
                if at_s is None:
                    continue
                (mark,) = axes.plot(
                    at_s,
                    y + shift,
                    stroke.marker if name in WAYS else "x",
                    color=stroke.colour,
                    markerfacecolor=stroke.colour if solid else GROUND,
                    markersize=7 if name in WAYS else 4,
                    zorder=4 if name in WAYS else 3,
                )
                mark.set_path_effects(_OUTLINE)
                handles[f"{name}: {'howl' if solid else 'ringing'}"] = mark
    return handles


def _levels(
    axes: Axes,
    samples: np.ndarray,
    rate_hz: int,
    run: Run | None,
    hz: float,
    span_s: tuple[float, float],
) -> None:
    """The ring's third octave: feedback and programme, or the line and what is around it."""
    if run is not None:
        feedback, programme = (10.0 * np.log10(p + 1e-15) for p in band_levels(run, hz))
        time_s = np.arange(len(feedback)) / rate_hz
        step = rate_hz // 100
        axes.plot(time_s[::step], feedback[::step], color=CANDLE, label="feedback")
        axes.plot(time_s[::step], programme[::step], color=INK, ls="--", lw=1.0, label="programme")
        lowest_db = float(np.quantile(programme, 0.02)) - 15.0
        highest_db = max(float(feedback.max()), float(programme.max()))
    else:
        frequency_hz, time_s, power = _power(samples, rate_hz, span_s)
        level_db = 10.0 * np.log10(power)
        here = int(np.argmin(np.abs(frequency_hz - hz)))
        line = level_db[max(0, here - 1) : here + 2].max(axis=0)
        around = level_db[max(0, here - 20) : here + 21].mean(axis=0)
        axes.plot(time_s, line, color=CANDLE, label="the line")
        axes.plot(time_s, around, color=INK, ls="--", lw=1.0, label="around it")
        lowest_db, highest_db = float(np.quantile(around, 0.02)) - 6.0, float(line.max())
    axes.set_ylim(lowest_db, highest_db + 4.0)
    axes.set_ylabel("dB")
    axes.legend(loc="upper left", ncols=2, bbox_to_anchor=(0.0, 1.22), columnspacing=1.0)
    axes.annotate(
        f"third octave of {hz:.0f} Hz" if run is not None else f"bins at {hz:.0f} Hz",
        (1.0, 1.0),
        xycoords="axes fraction",
        ha="right",
        va="bottom",
        color=QUIET,
        fontsize=8.5,
    )


def _odds(
    axes: Axes, samples: np.ndarray, rate_hz: int, hz: float, span_s: tuple[float, float]
) -> None:
    """Log-odds of looks and courses within a semitone; no dot: nothing is followed there."""
    scorers = Scorers.packaged()
    times_s, looks, courses = [], [], []
    begin = round(max(0.0, span_s[0] - PAST_S) * rate_hz)
    heard = samples[begin : round(span_s[1] * rate_hz)]
    for _, count, found in found_in(heard, sample_rate_hz=rate_hz, eye=follower(scorers.look)):
        time_s = (begin + count) / rate_hz
        near = np.abs(np.log2(found.frequency_hz / hz)) < 0.5 / 12.0
        if time_s >= span_s[0] and near.any():
            times_s.append(time_s)
            looks.append(float(found.features[near, 0].max()))
            courses.append(float(scorers.course.log_odds(found.features[near]).max()))
    axes.axhline(0.0, color=FAINT, linewidth=1.0)
    axes.plot(times_s, looks, ".", color=QUIET, markersize=2.0, label="of the look")
    axes.plot(times_s, courses, ".", color=SLATE, markersize=3.5, label="of the course")
    axes.legend(loc="lower right", ncols=2)
    axes.set_ylim(-10.0, 10.0)
    axes.set_ylabel("log-odds")
