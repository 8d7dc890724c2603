"""Train the scorer's small network: two hidden layers, Adam, plain numpy.

The network has a few thousand weights, so a training library would bring more than it saves.
Adam: D. Kingma, J. Ba, "Adam: a method for stochastic optimization", 2015, algorithm 1.
"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np

from monitor.listening.evidence import FEATURES
from monitor.listening.scorer import CLIP

HIDDEN = (96, 32)
BATCH = 1024


def train(
    features: np.ndarray,
    labels: np.ndarray,
    weights: np.ndarray,
    *,
    seed: int,
    epochs: int = 24,
    note: str,
    report: bool = True,
) -> dict[str, Any]:
    """Fit log-odds of ``labels`` (0 or 1, [n]) to ``features`` [n, n_features].

    ``weights`` [n] say how much each row counts.  Returns the content of ``scorer.json``.
    """
    rng = np.random.default_rng(seed)
    mean = np.average(features, axis=0, weights=weights)
    deviation = np.sqrt(np.average((features - mean) ** 2, axis=0, weights=weights)) + 1e-6
    x = np.clip((features - mean) / deviation, -CLIP, CLIP).astype(np.float32)
    y = labels.astype(np.float32)
    w = (weights / weights.mean()).astype(np.float32)
    sizes = (x.shape[1], *HIDDEN, 1)
    layers = [
        [
            (rng.standard_normal((a, b)) * np.sqrt(2.0 / a)).astype(np.float32),
            np.zeros(b, dtype=np.float32),
        ]
        for a, b in itertools.pairwise(sizes)
    ]
    moments = [[(np.zeros_like(p), np.zeros_like(p)) for p in layer] for layer in layers]
    step = 0
    n_steps = epochs * (len(x) // BATCH)
    for epoch in range(epochs):
        order = rng.permutation(len(x))
        losses = []
        for start in range(0, len(x) - BATCH + 1, BATCH):
            rows = order[start : start + BATCH]
            # A little noise on the inputs: no boundary may hang on a hundredth of a dB.
            values = [x[rows] + 0.05 * rng.standard_normal((BATCH, x.shape[1]), dtype=np.float32)]
            for matrix, bias in layers[:-1]:
                values.append(np.maximum(values[-1] @ matrix + bias, 0.0))
            matrix, bias = layers[-1]
            odds = (values[-1] @ matrix + bias)[:, 0]
            chance = 1.0 / (1.0 + np.exp(-np.clip(odds, -30.0, 30.0)))
            losses.append(float(np.mean(w[rows] * (np.logaddexp(0.0, odds) - y[rows] * odds))))
            slope = ((chance - y[rows]) * w[rows] / BATCH)[:, None]
            step += 1
            rate = 2e-3 * 0.5 * (1.0 + np.cos(np.pi * step / n_steps)) + 1e-5
            for i in reversed(range(len(layers))):
                matrix, bias = layers[i]
                gradients = (values[i].T @ slope + 1e-4 * matrix, slope.sum(axis=0))
                slope = (slope @ matrix.T) * (values[i] > 0.0)
                for j, gradient in enumerate(gradients):
                    first, second = moments[i][j]
                    first += 0.1 * (gradient - first)
                    second += 0.001 * (gradient**2 - second)
                    layers[i][j] -= (
                        rate
                        * (first / (1.0 - 0.9**step))
                        / (np.sqrt(second / (1.0 - 0.999**step)) + 1e-8)
                    ).astype(np.float32)
        if report:
            print(f"   pass {epoch + 1:2d} of {epochs}: loss {np.mean(losses):.5f}", flush=True)
    return {
        "note": note,
        "features": list(FEATURES),
        "mean": [float(f"{v:.5g}") for v in mean],
        "deviation": [float(f"{v:.5g}") for v in deviation],
        "layers": [
            {
                "weights": [[float(f"{v:.4g}") for v in row] for row in matrix],
                "bias": [float(f"{v:.4g}") for v in bias],
            }
            for matrix, bias in layers
        ],
    }
