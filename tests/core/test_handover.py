"""What the analysis loop hands over: whole lines, once, on one clock, and never an exception."""

from __future__ import annotations

import time

import numpy as np
import pytest

from monitor.advice.equaliser import Equaliser
from monitor.advice.ring_out import RingOut
from monitor.adviser.handover import MOST_FOLLOWED, Handover
from monitor.listening.listener import Listener
from monitor.listening.rings import RingEvent
from monitor.news import Advised, LineHeard, News
from tests.core.stand_ins import RATE_HZ, growing_ring, noise, ring

BLOCK = 1024


class Told:
    """Notes what it is handed."""

    def __init__(self) -> None:
        self.result = Advised()
        self.lost_count = 0
        self.news: list[News] = []
        self.fails = False

    def hear(self, news: News) -> None:
        if self.fails:
            raise RuntimeError("planted")
        self.news.append(news)

    def lines(self, number: int) -> list[LineHeard]:
        return [line for news in self.news for line in news.lines if line.id == number]


@pytest.fixture
def told() -> Told:
    return Told()


@pytest.fixture
def handover(told: Told) -> Handover:
    return Handover(told)  # type: ignore[arg-type]


def play(
    handover: Handover, listener: Listener, samples: np.ndarray, *, offset_s: float, jitter_s: float
) -> None:
    rng = np.random.default_rng(4)
    for start in range(0, len(samples), BLOCK):
        events = listener.push(samples[start : start + BLOCK])
        now_offset_s = offset_s + jitter_s * float(rng.standard_normal())
        if events:
            handover.say([(event, 7) for event in events], now_offset_s)
        handover.step(
            listener,
            listener.clock_s + now_offset_s,
            clock_offset_s=now_offset_s,
            levels=lambda: None,
            desk=lambda: None,
            first=None,
        )


def test_a_ring_comes_with_its_line_from_before_the_flag_to_after_the_end(
    told: Told, handover: Handover
) -> None:
    listener = Listener(sample_rate_hz=RATE_HZ, way="soundcheck")
    sound = np.concatenate(
        [noise(RATE_HZ), growing_ring(2.0, growth_db_per_s=30.0), noise(3 * RATE_HZ)]
    )
    play(handover, listener, sound, offset_s=100.0, jitter_s=0.004)
    said = [one for news in told.news for one in news.said]
    assert said[0].kind == "ringing"
    assert said[-1].kind == "closed"
    lines = told.lines(7)
    times_s = np.concatenate([line.times_s for line in lines])
    level_dbfs = np.concatenate([line.level_dbfs for line in lines])
    # Each hop once, evenly spaced however unsteady the blocks' own times are.
    assert np.ptp(np.diff(times_s)) < 1e-6
    assert times_s[0] < said[0].at_s - 0.5
    assert said[-1].at_s + 1.5 < times_s[-1] < said[-1].at_s + 2.5
    climb = (times_s > 101.6) & (times_s < 102.6)
    slope, _ = np.polyfit(times_s[climb], level_dbfs[climb], 1)
    assert slope == pytest.approx(30.0, abs=1.0)


def test_over_lost_samples_a_line_runs_on_and_its_past_is_told_no_more(
    told: Told, handover: Handover
) -> None:
    listener = Listener(sample_rate_hz=RATE_HZ, way="soundcheck")
    sound = np.concatenate([noise(RATE_HZ), growing_ring(4.0)])
    play(handover, listener, sound[: 3 * RATE_HZ], offset_s=100.0, jitter_s=0.0)
    seam_s, before = listener.clock_s, len(told.news)
    assert told.lines(7)
    handover.skip(listener)
    play(handover, listener, sound[3 * RATE_HZ + 9600 :], offset_s=100.2, jitter_s=0.0)
    after = told.news[before:]
    assert [news.fresh for news in after] == [True] + [False] * (len(after) - 1)
    times_s = np.concatenate([line.times_s for news in after for line in news.lines])
    assert times_s[0] == pytest.approx(seam_s + 100.2, abs=0.03)
    assert np.ptp(np.diff(times_s)) < 1e-6


def steps(handover: Handover, from_s: float, to_s: float) -> None:
    for at_s in np.arange(from_s, to_s, 0.02).tolist():
        handover.step(
            None, at_s, clock_offset_s=0.0, levels=lambda: None, desk=lambda: None, first=None
        )


def test_it_hands_over_ten_times_a_second_and_once_while_there_is_nothing_to_say(
    told: Told, handover: Handover
) -> None:
    steps(handover, 0.0, 4.0)
    assert len(told.news) == 4
    told.result = Advised(ring_out=RingOut(Equaliser.from_settings("31")).state)
    steps(handover, 4.0, 6.0)
    assert len(told.news) == pytest.approx(4 + 20, abs=4)
    # What a ring has to say does not wait.
    told.result = Advised()
    steps(handover, 6.0, 6.5)
    before = len(told.news)
    handover.say([(RingEvent("ringing", ring(), 6.5), 1)], 0.0)
    steps(handover, 6.5, 6.51)
    assert len(told.news) == before + 1


def test_nothing_raises_into_the_loop(
    told: Told, handover: Handover, caplog: pytest.LogCaptureFixture
) -> None:
    told.fails = True
    handover.say([(RingEvent("ringing", ring(), 1.2), 1)], 0.0)
    for at_s in (1.0, 2.0, 3.0):
        steps(handover, at_s, at_s + 0.01)
    assert told.lost_count == 3
    assert caplog.text.count("nothing could be handed over") == 1, "a log is no place for each"
    told.fails = False
    steps(handover, 4.0, 4.01)
    assert len(told.news) == 1


def test_lost_samples_are_told_and_end_what_is_followed(told: Told, handover: Handover) -> None:
    listener = Listener(sample_rate_hz=RATE_HZ, way="soundcheck")
    play(handover, listener, np.concatenate([noise(RATE_HZ), growing_ring(2.0)]),
         offset_s=0.0, jitter_s=0.0)  # fmt: skip
    assert told.lines(7)
    before = len(told.lines(7))
    closed = listener.reset()
    handover.restart()
    handover.say([(event, 7) for event in closed], 0.0)
    handover.step(
        listener, 10.0, clock_offset_s=0.0, levels=lambda: None, desk=lambda: None, first=None
    )
    assert told.news[-1].fresh
    assert told.news[-1].said[0].kind == "closed"
    assert len(told.lines(7)) == before


def test_a_wall_of_rings_is_bounded(told: Told, handover: Handover) -> None:
    listener = Listener(sample_rate_hz=RATE_HZ)
    listener.push(noise(RATE_HZ))
    events = [(RingEvent("ringing", ring(n, 300.0 + 200.0 * n), 0.9), n) for n in range(40)]
    handover.say(events, 0.0)
    handover.step(
        listener, 1.0, clock_offset_s=0.0, levels=lambda: None, desk=lambda: None, first=None
    )
    assert len(told.news[-1].said) == 40
    assert len(told.news[-1].lines) == MOST_FOLLOWED


def test_handing_over_costs_the_loop_next_to_nothing(told: Told, handover: Handover) -> None:
    listener = Listener(sample_rate_hz=RATE_HZ)
    listener.push(noise(2 * RATE_HZ))
    handover.say([(RingEvent("howl", ring(n, 400.0 + 300.0 * n), 1.9), n) for n in range(8)], 0.0)
    taken_s = []
    for number in range(50):
        began = time.perf_counter()
        handover.step(
            listener,
            2.0 + number,
            clock_offset_s=0.0,
            levels=lambda: None,
            desk=lambda: None,
            first=None,
        )
        taken_s.append(time.perf_counter() - began)
    # Ten times a second, beside a block of 21 ms.
    assert float(np.median(taken_s)) < 0.005
