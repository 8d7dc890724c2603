"""The trained scorers: from what was measured on a line to the log-odds that it is feedback.

A scorer is a sum of small decision trees, each of which asks the same few questions of every
line ("has it stood still?", "has it a harmonic?") and looks the answers up in a table.  There are
two: one judges a look, the other the course of all looks.  Trees and tables are data
(``scorer.json``), made by ``make train``; the file says what they were trained on.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources
from typing import Any

import numpy as np

from monitor.listening.courses import COURSE_FEATURES
from monitor.listening.evidence import FEATURES

MOST_QUESTIONS = 8
"""A tree's answers are one byte."""


class Scorer:
    """Scores lines by ``features``; ``weights`` as for each scorer in ``scorer.json``.

    There, ``trees`` is a list of trees, each with ``questions``, pairs (number of the feature,
    threshold), and ``log_odds``, the table: bit i of a place in it says whether the feature of
    question i is above its threshold.  ``bias`` is added to the sum over all trees.

    Raises
    ------
    ValueError
        If the weights were trained on other features than this program measures.
    """

    def __init__(self, weights: dict[str, Any], features: Sequence[str]) -> None:
        if list(weights["features"]) != list(features):
            raise ValueError(
                "scorer weights were trained on other features than this version measures: "
                "run `make train`"
            )
        trees = weights["trees"]
        # Trees with fewer questions ask nothing that can be true in the places left over.
        places = np.zeros((len(trees), MOST_QUESTIONS), dtype=np.intp)
        thresholds = np.full((len(trees), MOST_QUESTIONS), np.inf, dtype=np.float32)
        self._tables = np.zeros((len(trees), 2**MOST_QUESTIONS), dtype=np.float32)
        for i, tree in enumerate(trees):
            for j, (feature, threshold) in enumerate(tree["questions"]):
                places[i, j] = feature
                thresholds[i, j] = threshold
            self._tables[i, : len(tree["log_odds"])] = tree["log_odds"]
        self._features, self._thresholds = places.ravel(), thresholds.ravel()
        self._places = np.arange(len(trees)) * 2**MOST_QUESTIONS
        self._bias = float(weights["bias"])

    def log_odds(self, features: np.ndarray) -> np.ndarray:
        """Natural log-odds of feedback for features [n, n_features], float [n]."""
        asked = features.astype(np.float32).take(self._features, axis=1)
        answers = np.packbits((asked > self._thresholds).ravel(), bitorder="little")
        places = answers.reshape(len(features), -1) + self._places
        sums: np.ndarray = self._tables.take(places).sum(axis=1)
        return sums + self._bias


@dataclass(frozen=True)
class Scorers:
    """``look`` judges what one look has measured, ``course`` how a line has gone."""

    look: Scorer
    course: Scorer

    @classmethod
    def of(cls, weights: dict[str, Any]) -> Scorers:
        """Both scorers from the content of ``scorer.json``."""
        return cls(Scorer(weights["look"], FEATURES), Scorer(weights["course"], COURSE_FEATURES))

    @classmethod
    def packaged(cls) -> Scorers:
        """The scorers that ship with the program."""
        text = resources.files("monitor.listening").joinpath("scorer.json").read_text("utf-8")
        return cls.of(json.loads(text))
