"""How many requests were answered, and how: for ``/metrics`` alone."""

from __future__ import annotations

import threading
from collections import Counter

from flask import Response, request


class Counts:
    """Counts answers by method and status."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._answers: Counter[tuple[str, int]] = Counter()

    def note(self, response: Response) -> Response:
        """Count an answer, and return it."""
        # A method that nobody knows would be a name of the asker's choosing, and so would many.
        method = request.method if request.method in ("GET", "POST", "HEAD") else "other"
        with self._lock:
            self._answers[method, response.status_code] += 1
        return response

    def answers(self) -> dict[tuple[str, int], int]:
        """How many answers there were, by method and status."""
        with self._lock:
            return dict(self._answers)
