"""The benchmark's curves as pictures: precision and recall, delay, false flags against delay.

One panel for each group of sounds.  The setting that ships is a filled mark, other thresholds
small open ones along the line.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter

from tests.bench.figures import HOWLS_AN_HOUR, howl_delays_s, ringing_delays_s
from tests.bench.look import CANDLE, INK, QUIET, figure, save, stroke_of, styled
from tests.bench.replay import PLAIN
from tests.bench.report import FALSE_GOALS, WAYS
from tests.bench.results import Point, Results, curve

LEFT_S, RIGHT_S = -3.0, 4.0
"""The delay curve's span around the overtake."""


def draw_curves(results: Results, folder: Path) -> list[Path]:
    """Draw all curves into a folder; returns the files."""
    points = curve(results)
    groups = sorted({group for point in points for group in point.false_howls})
    groups = [group for group in groups if group != "apart"]
    with styled():
        return [
            _precision(points, groups, folder / "precision-recall.png"),
            _delays(results, folder / "delay.png"),
            _trade_off(points, groups, folder / "false-howls-and-delay.png"),
        ]


def _names(points: Sequence[Point]) -> list[str]:
    """Rows in the order in which they are drawn: what matters most comes last, on top."""
    names = {point.row[0] for point in points}
    ours = [name for name in WAYS if name in names]
    return [*sorted(names - set(ours)), *ours]


def _line(
    axes: Axes, points: Sequence[Point], name: str, place: Callable[[Point], tuple[float, float]]
) -> None:
    """One row's settings joined by a line, the one that ships filled."""
    stroke = stroke_of(name)
    mine = [point for point in points if point.row[0] == name]
    places = np.array([place(point) for point in mine], dtype=float)
    axes.plot(
        places[:, 0],
        places[:, 1],
        color=stroke.colour,
        linestyle=stroke.line,
        linewidth=stroke.width,
        marker=stroke.marker,
        markersize=3.5,
        markerfacecolor=axes.get_facecolor(),
    )
    for point, (x, y) in zip(mine, places, strict=True):
        if point.row[1] == PLAIN and math.isfinite(x) and math.isfinite(y):
            axes.plot(x, y, stroke.marker, color=stroke.colour, markersize=8, label=name)


def _precision(points: Sequence[Point], groups: Sequence[str], path: Path) -> Path:
    made = figure(3.1 * len(groups) + 0.6, 4.0)
    panels = made.subplots(1, len(groups), sharex=True, sharey=True, squeeze=False)[0]
    lowest = min((point.caught for point in points if point.row[1] == PLAIN), default=0.0)
    for axes, group in zip(panels, groups, strict=True):
        for name in _names(points):
            _line(axes, points, name, lambda point, g=group: (point.caught, point.precision[g]))
        axes.set_title(group)
        axes.set_xlim(max(0.0, 10.0 * math.floor((lowest - 5.0) / 10.0)), 101.5)
        axes.set_ylim(-2.0, 103.0)
        axes.set_xlabel("howls caught before somebody acts, %")
    panels[0].set_ylabel("howls shown that are howls, %")
    _legend(made, panels, "filled: as it ships; along the line other thresholds")
    made.suptitle(
        f"Precision against recall, with {HOWLS_AN_HOUR:g} howls an hour to be found",
        x=0.01,
        ha="left",
        fontsize=11,
    )
    return save(made, path)


def _legend(made: Figure, panels: Sequence[Axes], words: str) -> None:
    handles, labels = panels[-1].get_legend_handles_labels()
    known = dict(zip(labels, handles, strict=True))
    known[words] = Line2D([], [], linestyle="none")
    made.legend(known.values(), known.keys(), loc="outside lower left", ncols=len(known))


def _delays(results: Results, path: Path) -> Path:
    made = figure(8.4, 4.8)
    axes = made.subplots()
    names = sorted({name for loop in results.loops for name, _ in loop.scores})
    names = [*(name for name in names if name not in WAYS), *WAYS]
    ends: list[tuple[float, str, str]] = []
    for name in names:
        stroke = stroke_of(name)
        delays_s = np.array(howl_delays_s(results.loops, (name, PLAIN)))
        part = _cumulative(axes, delays_s, stroke.colour, stroke.line, stroke.width)
        ends.append((part, f"{name} {part:.0f} %", stroke.colour))
    warnings_s = np.array(ringing_delays_s(results.loops, ("soundcheck", PLAIN)))
    part = _cumulative(axes, warnings_s, INK, "-", 0.8)
    ends.append((part, f"ringing, soundcheck {part:.0f} %", INK))
    _labels_apart(axes, ends)
    axes.axvline(0.0, color=QUIET, linewidth=0.8)
    axes.annotate(
        "the feedback overtakes",
        (0.0, 103.0),
        (-4, 0),
        textcoords="offset points",
        ha="right",
        va="top",
        color=QUIET,
        fontsize=8.5,
    )
    for x, y, words, shift in (
        (0.10, 50.0, "goal: half by 0.1 s", -16),
        (0.50, 95.0, "goal: 95 % by 0.5 s", 9),
    ):
        axes.plot(x, y, "+", color=CANDLE, markersize=11, markeredgewidth=1.6)
        axes.annotate(
            words,
            (x, y),
            (shift, 0),
            textcoords="offset points",
            ha="left" if shift > 0 else "right",
            va="center",
            color=CANDLE,
        )
    judged = sum(loop.facts.judged for loop in results.loops)
    axes.set_title(f"How soon howls are flagged: {judged} simulated loops", fontsize=11)
    axes.set_xlim(LEFT_S, RIGHT_S)
    axes.set_ylim(0.0, 104.0)
    axes.set_xlabel("time after the overtake, s")
    axes.set_ylabel("howls flagged by then, %")
    return save(made, path)


def _cumulative(axes: Axes, delays_s: np.ndarray, colour: str, line: str, width: float) -> float:
    """Steps of the part flagged so far; returns where they end, percent."""
    known = np.sort(delays_s[np.isfinite(delays_s)])
    parts = 100.0 * np.arange(len(known) + 1) / max(len(delays_s), 1)
    x = np.concatenate(([LEFT_S - 1.0], np.maximum(known, LEFT_S - 1.0), [RIGHT_S]))
    y = np.concatenate((parts, parts[-1:]))
    axes.step(x, y, where="post", color=colour, linestyle=line, linewidth=width)
    shown = parts[int(np.searchsorted(known, RIGHT_S, side="right"))]
    return float(shown)


def _labels_apart(axes: Axes, ends: Sequence[tuple[float, str, str]]) -> None:
    """Names at the right end of the lines, pushed apart where they would overlap."""
    least, y = 4.6, math.inf
    for part, words, colour in sorted(ends, reverse=True):
        y = min(part, y - least)
        axes.annotate(
            words,
            (RIGHT_S, y),
            (6, 0),
            textcoords="offset points",
            va="center",
            color=colour,
            annotation_clip=False,
        )


def _bound(axes: Axes, points: Sequence[Point], name: str, group: str) -> None:
    """The upper end of the rate's interval as it ships: what the hours cannot exclude."""
    for point in points:
        if point.row == (name, PLAIN) and math.isfinite(point.median_s):
            measure = point.false_howls[group]
            axes.plot(
                [point.median_s] * 2,
                [measure.value, measure.high],
                color=stroke_of(name).colour,
                linewidth=0.9,
                marker="_",
                markevery=[1],
            )


def _trade_off(points: Sequence[Point], groups: Sequence[str], path: Path) -> Path:
    made = figure(3.1 * len(groups) + 0.6, 4.0)
    panels = made.subplots(1, len(groups), sharex=True, sharey=True, squeeze=False)[0]
    for axes, group in zip(panels, groups, strict=True):
        for name in _names(points):
            _line(
                axes,
                points,
                name,
                lambda point, g=group: (point.median_s, point.false_howls[g].value),
            )
            _bound(axes, points, name, group)
        goal = FALSE_GOALS.get(group, (None, None))[0]
        if goal is not None:
            axes.axhspan(-0.05, max(goal.limit, 0.02), color=CANDLE, alpha=0.13, linewidth=0)
        axes.axvline(0.10, color=QUIET, linewidth=0.8)
        axes.set_title(group)
        axes.set_yscale("symlog", linthresh=0.2, linscale=0.4)
        axes.set_xlim(0.0, None)
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axes.set_xlabel("median delay after the overtake, s")
    highest = max((p.false_howls[g].high for p in points for g in groups), default=1.0)
    panels[0].set_ylim(-0.06, 2.0 * highest)
    panels[0].set_ylabel("false howls an hour")
    _legend(
        made,
        panels,
        "shaded and upright line: goals; whisker: to the upper end of the 95 % interval",
    )
    made.suptitle(
        "False howls against delay, with the log-odds asked for moved by -3 to +2",
        x=0.01,
        ha="left",
        fontsize=11,
    )
    return save(made, path)
