"""What training is made of: sources in halves, rows in balance."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.bench.material import Sound
from tests.bench.train import balanced, jobs_of


def test_a_package_is_in_one_half_and_both_halves_have_some_of_every_group() -> None:
    pool = [
        Sound(Path(f"{kind}_{package}_{n}.wav"), kind, f"{kind}-{package}", 30.0)
        for kind, packages in (("speech", 2), ("band", 5), ("singing", 3))
        for package in range(packages)
        for n in range(3)
    ]
    jobs = jobs_of(runs=10, copies=3, pool=pool)
    halves: dict[str, set[int]] = {}
    for job in jobs:
        for given in job.given:
            if isinstance(given, Sound):  # the sound itself, and what comes together with it
                halves.setdefault(given.package, set()).add(job.half)
    assert set(halves) == {sound.package for sound in pool}
    assert all(len(half) == 1 for half in halves.values())
    for group in ("speech", "music", "singing"):
        packages = {sound.package for sound in pool if sound.group == group}
        assert {half for package in packages for half in halves[package]} == {0, 1}
    assert {job.half for job in jobs if job.name.startswith("loop")} == {0, 1}


@pytest.mark.parametrize("copies", [2, 4])
def test_every_kind_of_copy_comes_equally_often(copies: int) -> None:
    pool = [Sound(Path(f"a_{n}.wav"), "speech", f"speech-{n % 2}", 30.0) for n in range(8)]
    jobs = jobs_of(runs=1, copies=copies, pool=pool)
    kinds = [job.given[1] % 4 for job in jobs if isinstance(job.given[0], Sound)]
    assert [kinds.count(kind) for kind in range(4)] == [2 * copies] * 4


def test_loops_count_alike_and_all_feedback_is_a_part_of_the_rest() -> None:
    def rows(n_feedback: int, n_other: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        labels = np.repeat([1.0, 0.0], [n_feedback, n_other]).astype(np.float32)
        return np.zeros((len(labels), 3), np.float32), labels, np.ones(len(labels), np.float32)

    _, labels, weights = balanced([rows(100, 50), rows(600, 0), rows(0, 400)], feedback_part=0.3)
    assert weights[labels > 0.0].sum() == pytest.approx(0.3 * weights[labels == 0.0].sum())
    assert weights[:100].sum() == pytest.approx(weights[150:750].sum(), rel=1e-5)
