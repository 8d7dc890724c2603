"""How the benchmark's pictures look: night ground, paper ink, one candle-warm accent.

Rows of the tables are told apart by line and mark first and by lightness second, so that a
picture reads in grey and to a colour-blind eye; nothing but the accent is saturated.
matplotlib is imported here and in the modules that draw, nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure

GROUND, PANEL = "#14110f", "#1c1815"
INK, QUIET, FAINT = "#efe6d8", "#a0968a", "#463f39"
CANDLE, SLATE = "#f2b24a", "#8fa3b5"

LEVELS = LinearSegmentedColormap.from_list("lantern", ["#14110f", "#3d3732", "#8c8379", "#efe6d8"])
"""For spectrograms: one hue, lightness rising evenly, so that the accent stays free for marks."""

DPI = 110
_STYLE = {
    "figure.facecolor": GROUND,
    "savefig.facecolor": GROUND,
    "axes.facecolor": PANEL,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": QUIET,
    "axes.titlecolor": INK,
    "axes.titlesize": 10,
    "axes.titlelocation": "left",
    "axes.labelsize": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": FAINT,
    "grid.linewidth": 0.5,
    "grid.alpha": 0.6,
    "text.color": INK,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
    "xtick.direction": "out",
    "font.size": 9,
    "font.family": "DejaVu Sans",
    "legend.frameon": False,
    "legend.labelcolor": INK,
    "legend.fontsize": 8.5,
    "svg.hashsalt": "lantern",
}


@dataclass(frozen=True, slots=True)
class Stroke:
    """Line and mark of one row of the tables."""

    colour: str
    line: str
    marker: str
    width: float


_STROKES = {
    "set": Stroke(CANDLE, "-", "o", 2.0),
    "soundcheck": Stroke(INK, "--", "D", 1.4),
    "hand rule": Stroke(QUIET, ":", "s", 1.4),
}


def stroke_of(name: str) -> Stroke:
    """The stroke of a row by its name; rows of the literature share one."""
    return _STROKES.get(name, Stroke(SLATE, "-.", "^", 1.1))


def figure(width_in: float, height_in: float) -> Figure:
    """An empty figure in this look, without a window behind it."""
    with mpl.rc_context(_STYLE):
        return Figure(figsize=(width_in, height_in), dpi=DPI, layout="constrained")


def styled() -> Any:
    """A context in which axes are made in this look."""
    return mpl.rc_context(_STYLE)


def caption(axes: Axes, words: str) -> None:
    """A quiet line below the axes' title."""
    axes.text(0.0, 1.01, words, transform=axes.transAxes, color=QUIET, fontsize=8.5, va="bottom")


def save(made: Figure, path: Path) -> Path:
    """Write a picture; the same figure gives the same bytes."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with styled():
        made.savefig(path, metadata={"Software": None})
    return path
