"""Small things said: clocks, lengths, texts from strangers."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from monitor.report.words import (
    EveningClock,
    date_words,
    length_words,
    listed,
    moment_of,
    number,
    text,
)

BEGUN = datetime(2026, 11, 26, 18, 2, 40, tzinfo=UTC)


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0.84, "0.8 s"), (9.94, "9.9 s"), (9.96, "10 s"), (119.0, "119 s"), (120.0, "2 min"),
     (7140.0, "119 min"), (7200.0, "2 h"), (11040.0, "3 h 4 min")],
)  # fmt: skip
def test_lengths(seconds: float, said: str) -> None:
    assert length_words(seconds) == said


def test_lists() -> None:
    assert [listed(list(s)) for s in ("", "a", "ab", "abc")] == ["", "a", "a and b", "a, b and c"]


@pytest.mark.parametrize("value", [None, True, "3", float("nan"), float("inf"), 1e12, [1]])
def test_what_is_no_number(value: Any) -> None:
    assert number(value) is None


def test_text_keeps_no_sign_that_cannot_be_printed_or_turns_the_writing() -> None:
    # U+202E turns what follows it round (Unicode Standard Annex 9).
    assert text("a\u202eb\x00c\nd\x1b[31m") == "a b c d [31m"
    assert text("x" * 500, 10) == "x" * 9 + "…"
    assert text(7) == text(None) == ""


def test_the_clock_says_local_time_where_the_date_is_known() -> None:
    clock = EveningClock(BEGUN, timezone(timedelta(hours=2)))
    assert clock.at(3600.0) == "21:02"
    assert clock.when(0.0) == "at 20:02"
    assert clock.utc_text(0.25) == "2026-11-26T18:02:40.2Z"


def test_without_a_date_it_counts_from_the_beginning() -> None:
    clock = EveningClock(None, UTC)
    assert clock.at(4999.0) == "1:23"
    assert clock.when(4999.0) == "83 min after the beginning"
    assert clock.utc_text(4999.0) == ""


@pytest.mark.parametrize("said", ["", "yesterday", "2026-13-01T00:00:00Z", "9" * 60, 5, None])
def test_what_is_no_date(said: Any) -> None:
    assert moment_of(said) is None


def test_dates_at_the_end_of_the_calendar_do_not_overturn_anything() -> None:
    last = moment_of("9999-12-31T23:59:59Z")
    assert last is not None
    assert EveningClock(last, UTC).moment(3600.0) is None
    assert EveningClock(last, UTC).utc_text(3600.0) == ""


def test_a_date_in_words() -> None:
    # 26 November 2026 is a Thursday (proleptic Gregorian calendar, by hand from 1 January 2000).
    assert date_words(BEGUN) == "Thu 26 November 2026"
