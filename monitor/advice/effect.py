"""What a slider does to which frequency, from its place, its width and how far it is pulled."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monitor.advice import sections
from monitor.advice.sections import Shape
from monitor.advice.sliders import Slider

_SHARE_AT_DB = 6.0
"""The share of a pull that reaches a frequency hardly depends on the pull; it is told for this."""


def shape_of(slider: Slider, pull_db: np.ndarray | float) -> Shape:
    """Return the section for one or several pulls; a low cut is on from half its way."""
    if slider.kind == "peak":
        return sections.peak(-np.asarray(pull_db), q=slider.q, width=slider.width)
    if slider.kind == "low shelf":
        return sections.low_shelf(-np.asarray(pull_db), q=slider.q)
    if slider.kind == "high shelf":
        return sections.high_shelf(-np.asarray(pull_db), q=slider.q)
    on = float(np.max(pull_db)) >= 0.5 * slider.deepest_db
    cut = sections.low_cut()
    return cut if on else Shape(cut.under, cut.under)


def depth_db(
    slider: Slider, pull_db: Sequence[float] | np.ndarray | float, frequency_hz: np.ndarray
) -> np.ndarray:
    """Return the depth, shape (pulls, frequencies) or (frequencies,), in dB."""
    pull_db = np.asarray(pull_db, float)
    ratio = sections.ratio_to(slider.centre_hz, frequency_hz)
    if slider.kind == "low cut":
        # Between off and on it has no meaning; a share lets a plan weigh it all the same.
        whole = -sections.level_db(sections.low_cut(), ratio)
        return pull_db[..., None] / slider.deepest_db * whole
    return -sections.level_db(shape_of(slider, pull_db), ratio)


def depth_table_db(
    sliders: Sequence[Slider], pulls_db: np.ndarray, frequency_hz: np.ndarray
) -> np.ndarray:
    """Return the depths of a row of pulls for each slider, shape (sliders, pulls, frequencies).

    ``pulls_db`` has shape (sliders, pulls).
    """
    if any(s.kind != "peak" or s.width != sliders[0].width for s in sliders):
        rows = zip(sliders, pulls_db, strict=True)
        return np.stack([depth_db(s, row, frequency_hz) for s, row in rows])
    # A graphic equaliser at once, not slider by slider.
    q = np.array([s.q for s in sliders])[:, None]
    centre_hz = np.array([s.centre_hz for s in sliders])[:, None, None]
    shape = sections.peak(-pulls_db, q=q, width=sliders[0].width)
    return -sections.level_db(shape, np.asarray(frequency_hz) / centre_hz)


def response(
    slider: Slider, pull_db: float, frequency_hz: np.ndarray, sample_rate_hz: int
) -> np.ndarray:
    """Return the complex response of one pull at a sample rate."""
    ratio = sections.ratio_to(slider.centre_hz, frequency_hz, sample_rate_hz)
    return sections.response(shape_of(slider, pull_db), ratio)


def share(slider: Slider, frequency_hz: float) -> float:
    """Return which part of its pull reaches a frequency, the slider set there if it can be."""
    pull_db = min(_SHARE_AT_DB, slider.deepest_db)
    there = slider.moved(frequency_hz)
    return float(depth_db(there, pull_db, np.array([frequency_hz]))[0] / pull_db)
