"""Work on all processors, in an order that does not change, with the time left on stderr."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from typing import Any

_EVERY_S = 20.0
"""Into a file a line this often is enough; a terminal's line is written over."""


def run_all(
    work: Callable[..., Any],
    jobs: Sequence[tuple[Any, ...]],
    *,
    name: str,
    processes: int | None = None,
    weights: Sequence[float] | None = None,
) -> list[Any]:
    """``work(*job)`` for every job, results in the order of the jobs.

    ``weights`` say how long each job takes beside the others, for the time left.
    """
    weights = [1.0] * len(jobs) if weights is None else weights
    results: list[Any] = [None] * len(jobs)
    progress = Progress(name, total=len(jobs), weight=sum(weights))
    with ProcessPoolExecutor(processes) as pool:
        places = {pool.submit(work, *job): place for place, job in enumerate(jobs)}
        try:
            for future in as_completed(places):
                results[places[future]] = future.result()
                progress.step(weights[places[future]])
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
    progress.end()
    return results


class Progress:
    """One line on stderr: how many are done and how long the rest will take."""

    def __init__(self, name: str, *, total: int, weight: float) -> None:
        self._name, self._total, self._weight = name, total, weight
        self._done, self._done_weight = 0, 0.0
        self._begun_s = self._shown_s = time.monotonic()
        self._over = sys.stderr.isatty()

    def step(self, weight: float) -> None:
        """One more is done."""
        self._done += 1
        self._done_weight += weight
        now_s = time.monotonic()
        if self._over or now_s - self._shown_s >= _EVERY_S:
            self._shown_s = now_s
            took_s = now_s - self._begun_s
            left_s = took_s * (self._weight - self._done_weight) / self._done_weight
            line = f"   {self._name}: {self._done} of {self._total}, {minutes(left_s)} left"
            print(f"\r{line:<70}" if self._over else line, end="", file=sys.stderr)
            print("" if self._over else "\n", end="", file=sys.stderr, flush=True)

    def end(self) -> None:
        """All are done."""
        took = minutes(time.monotonic() - self._begun_s)
        line = f"   {self._name}: {self._total} in {took}"
        print(f"\r{line:<70}" if self._over else line, file=sys.stderr, flush=True)


def minutes(seconds: float) -> str:
    """A duration in words: "12 s", "3 min", "1 h 20 min"."""
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    if seconds < 5400.0:
        return f"{seconds / 60.0:.0f} min"
    return f"{int(seconds // 3600)} h {int(seconds % 3600 // 60)} min"
