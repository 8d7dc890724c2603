"""Train a scorer's trees: gradient boosting by CatBoost, whose trees ask alike at every level.

Such a tree is a table with one byte for an address, which is what the scorer reads.  On the
tuning part, packages held back, boosted trees raised 7 false howls an hour in music and none on
steady notes where a small network on nearly the same rows raised 30 and 108, for as many caught
as soon.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from monitor.listening.scorer import Scorer

LOOK_TREES, LOOK_DEPTH = 500, 8
"""Of looks at 600 loops, half of the sources held back, at 1 false in 1,000 at sounds, 400 trees of
depth 8 caught 67.9 % and 0.6 in 1,000 of the loops' own lines, of depth 6 66.8 and 0.8; 150 trees
65.8 and 66.0 %.  Of looks until 0.15 s after the overtake the four caught 16.8, 15.4, 12.8 and
12.0 %."""
COURSE_TREES, COURSE_DEPTH = 300, 6
"""150, 300 and 500 lay on one curve of false howls against delay (packages held back)."""
CHECKED_ROWS = 20_000


def train(
    rows: tuple[np.ndarray, np.ndarray, np.ndarray],
    names: Sequence[str],
    *,
    trees: int,
    depth: int,
) -> dict[str, Any]:
    """Fit log-odds of labels (0 or 1, [n]) to features [n, n_features] called ``names``.

    ``rows`` are features, labels, and weights [n] that say how much each row counts.  Returns
    what ``scorer.json`` holds for one scorer.

    Raises
    ------
    SystemExit
        With one line that says what to do when the library is not there.
    RuntimeError
        If the scorer does not read the trees as the library does.
    """
    features, labels, weights = rows
    try:
        from catboost import CatBoostClassifier, Pool
    except ImportError:
        raise SystemExit("training needs catboost: pip install -e '.[train]'") from None
    model = CatBoostClassifier(
        iterations=trees,
        depth=depth,
        learning_rate=0.12,
        l2_leaf_reg=5.0,
        border_count=128,
        random_seed=1,
        verbose=50,
        allow_writing_files=False,
    )
    model.fit(Pool(features.astype(np.float32), labels, weight=weights / weights.mean()))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "trees.json"
        model.save_model(str(path), format="json")
        weights_data = weights_of(json.loads(path.read_text("utf-8")), names)
    some = features[:: max(1, len(features) // CHECKED_ROWS)].astype(np.float32)
    apart = Scorer(weights_data, names).log_odds(some) - model.predict(
        some, prediction_type="RawFormulaVal"
    )
    if np.quantile(np.abs(apart), 0.999) > 0.01:  # the rest lies within rounding of a threshold
        raise RuntimeError("the scorer reads other log-odds than the library: its format changed")
    return weights_data


def weights_of(model: dict[str, Any], names: Sequence[str]) -> dict[str, Any]:
    """What ``scorer.json`` holds for a model in CatBoost's own JSON."""
    scale, (bias,) = model["scale_and_bias"]
    return {
        "features": list(names),
        "bias": bias,
        "trees": [
            {
                "questions": [
                    [split["float_feature_index"], float(f"{split['border']:.7g}")]
                    for split in tree["splits"]
                ],
                "log_odds": [float(f"{scale * value:.4g}") for value in tree["leaf_values"]],
            }
            for tree in model["oblivious_trees"]
        ],
    }
