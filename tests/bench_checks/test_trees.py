"""From the training library's own file to the scorer's: the same answers."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.listening.evidence import FEATURES
from monitor.listening.scorer import Scorer
from tests.bench.trees import weights_of


def test_scale_bias_and_order_of_questions_are_kept():
    model = {
        "scale_and_bias": [2.0, [-0.5]],
        "oblivious_trees": [
            {
                "splits": [
                    {"float_feature_index": 4, "border": 1.0},
                    {"float_feature_index": 9, "border": -1.0},
                ],
                "leaf_values": [0.0, 1.0, 10.0, 11.0],
            }
        ],
    }
    scorer = Scorer(weights_of(model, FEATURES), FEATURES)
    lines = np.zeros((4, len(FEATURES)))
    lines[:, 4] = [0.0, 2.0, 0.0, 2.0]
    lines[:, 9] = [-2.0, -2.0, 0.0, 0.0]
    assert scorer.log_odds(lines) == pytest.approx([-0.5, 1.5, 19.5, 21.5])
