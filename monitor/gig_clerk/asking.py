"""Asking the journal and waiting for its answer, in a thread that may wait."""

from __future__ import annotations

import logging
import queue
from typing import Any

from monitor.journal.asks import Question
from monitor.journal.store import Journal

LOG = logging.getLogger(__name__)

ASK_S = 10.0
"""For the first answers after the start: on a slow card the file is checked before."""


class NoAnswerError(Exception):
    """The journal cannot say; the reason is logged."""


def asked(journal: Journal, question: Question) -> Any:
    """Return the journal's answer, which may be None where there is nothing.

    Raises
    ------
    NoAnswerError
        If the journal cannot be read, or does not answer in time.
    """
    got: queue.Queue[tuple[Any, str]] = queue.Queue(1)
    journal.ask(question, lambda result, problem: got.put((result, problem)))
    try:
        result, problem = got.get(timeout=ASK_S)
    except queue.Empty:
        result, problem = None, f"no answer within {ASK_S:g} s"
    if problem:
        LOG.warning("the gigs are not told by the journal: %s", problem)
        if result is None:
            raise NoAnswerError(problem)
    return result
