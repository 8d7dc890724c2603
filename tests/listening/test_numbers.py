"""What is measured now against what the weights were trained on (``numbers.py``)."""

import json

import numpy as np
import pytest

from monitor.listening.courses import COURSE_FEATURES
from monitor.listening.evidence import FEATURES
from tests.bench import numbers


@pytest.fixture(scope="module")
def now():
    return numbers.measured()


@pytest.mark.parametrize(("whose", "names"), [("looks", FEATURES), ("courses", COURSE_FEATURES)])
def test_the_scorers_are_asked_with_the_numbers_that_they_were_trained_on(now, whose, names):
    trained = json.loads(numbers.NUMBERS_FILE.read_text("utf-8"))[whose]
    assert list(now[whose]) == list(trained)
    expected, told = (np.array(list(each.values())) for each in (trained, now[whose]))
    # Transforms are of single precision with one numpy and of double with another: 0.17 dB of 52.
    apart = np.abs(told - expected) > 1e-3 + 5e-3 * np.abs(expected)
    assert [names[i] for i in np.flatnonzero(apart.any(axis=0))] == [], "run `make train`"
