"""The trained scorer: from what was measured on a line to the log-odds that it is feedback.

A small network with two hidden layers.  Its weights are data (``scorer.json``), made by
``make train``; the file says what they were trained on.
"""

from __future__ import annotations

import json
from importlib import resources
from typing import Any

import numpy as np

from monitor.listening.evidence import FEATURES

CLIP = 5.0
"""Features are held within +-5 standard deviations: nothing unheard-of may shout."""


class Scorer:
    """Scores candidate lines; ``weights`` as in ``scorer.json``.

    Raises
    ------
    ValueError
        If the weights were trained on other features than this program measures.
    """

    def __init__(self, weights: dict[str, Any]) -> None:
        if tuple(weights["features"]) != FEATURES:
            raise ValueError(
                "scorer weights were trained on other features than this version measures: "
                "run `make train`"
            )
        self._mean = np.array(weights["mean"])
        self._scale = 1.0 / np.array(weights["deviation"])
        self._layers = [
            (np.array(layer["weights"]), np.array(layer["bias"])) for layer in weights["layers"]
        ]

    @classmethod
    def packaged(cls) -> Scorer:
        """The scorer that ships with the program."""
        text = resources.files("monitor.listening").joinpath("scorer.json").read_text("utf-8")
        return cls(json.loads(text))

    def log_odds(self, features: np.ndarray) -> np.ndarray:
        """Natural log-odds of feedback for features [n, n_features], float [n]."""
        values = (features - self._mean) * self._scale
        values = np.minimum(np.maximum(values, -CLIP), CLIP)
        for weights, bias in self._layers[:-1]:
            values = np.maximum(values @ weights + bias, 0.0)
        weights, bias = self._layers[-1]
        return (values @ weights + bias)[:, 0]
