"""The trees, read as a table, against a walk through them question by question."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from monitor.listening.courses import COURSE_FEATURES
from monitor.listening.evidence import FEATURES
from monitor.listening.scorer import Scorer, Scorers


def made_up_trees(rng: np.random.Generator, depths: tuple[int, ...]) -> list[dict[str, Any]]:
    return [
        {
            "questions": [
                [int(rng.integers(len(FEATURES))), float(rng.normal())] for _ in range(depth)
            ],
            "log_odds": rng.normal(size=2**depth).tolist(),
        }
        for depth in depths
    ]


def walked(tree: dict[str, Any], line: np.ndarray) -> float:
    """The tree's answer by asking one question after the other."""
    place = sum(
        2**i * bool(line[feature] > threshold)
        for i, (feature, threshold) in enumerate(tree["questions"])
    )
    return float(tree["log_odds"][place])


@pytest.mark.parametrize("depths", [(1,), (6,) * 20, (8, 3, 6, 1)])
def test_table_and_walk_agree(depths):
    rng = np.random.default_rng(3)
    trees = made_up_trees(rng, depths)
    scorer = Scorer({"features": list(FEATURES), "bias": -1.5, "trees": trees}, FEATURES)
    lines = rng.normal(size=(7, len(FEATURES)))
    expected = [-1.5 + sum(walked(tree, line) for tree in trees) for line in lines]
    assert scorer.log_odds(lines) == pytest.approx(expected, abs=1e-5)


def test_weights_for_other_features_are_refused():
    with pytest.raises(ValueError, match="run `make train`"):
        Scorer({"features": ["other"], "bias": 0.0, "trees": []}, FEATURES)


@pytest.mark.parametrize(("name", "n"), [("look", len(FEATURES)), ("course", len(COURSE_FEATURES))])
def test_packaged_trees_are_for_these_features_and_ask_what_can_be_answered(name, n):
    odds = getattr(Scorers.packaged(), name).log_odds(np.zeros((2, n)))
    assert np.isfinite(odds).all()
    assert odds[0] == odds[1]
