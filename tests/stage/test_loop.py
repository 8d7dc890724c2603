"""The loop against theory: growth, the Nyquist criterion, the expected maximum stable gain."""

from __future__ import annotations

import math

import numpy as np
import pytest

from monitor.advice.choice import graphic
from monitor.advice.equaliser import Equaliser
from monitor.stage.loop import FADER_MAX_DB, FADER_MIN_DB, StageLoop
from monitor.stage.nyquist import criticals, highest_gain_db
from monitor.stage.performer import PROGRAMMES, Performer, Programme, perform
from monitor.stage.room import Responses, random_room, responses
from monitor.stage.scenario import DEFAULT_ROOM, ROOMS

RATE_HZ = 48000


@pytest.mark.parametrize(
    ("path_m", "latency_s", "tau_s", "excess_db", "growth_db_per_s"),
    # By hand: tau = path / 343 + latency, growth = excess / tau (a signal grows by the excess on
    # each trip round the loop).
    [
        (1.0, 0.0, 2.915e-3, 0.5, 171.5),
        (1.0, 0.002, 4.915e-3, 1.0, 203.4),
        (2.0, 0.002, 7.831e-3, 3.0, 383.1),
        (5.0, 0.005, 19.577e-3, 0.5, 25.5),
    ],
)
def test_growth_of_a_single_delay(
    path_m: float, latency_s: float, tau_s: float, excess_db: float, growth_db_per_s: float
) -> None:
    delay = round((path_m / 343.0 + latency_s) * RATE_HZ)
    taps = np.zeros(delay + 1)
    taps[delay] = 10 ** (excess_db / 20)
    found = criticals(taps, sample_rate_hz=RATE_HZ, most=2000)
    assert found[0].margin_db == pytest.approx(-excess_db, abs=1e-3)
    assert found[0].loop_time_s == pytest.approx(tau_s, rel=0.004)
    assert found[0].growth_db_per_s == pytest.approx(growth_db_per_s, rel=0.005)
    # Candidates are 1/tau apart.
    spacing_hz = np.diff(sorted(c.frequency_hz for c in found))
    assert np.min(spacing_hz) == pytest.approx(RATE_HZ / delay, rel=1e-3)


def simulated(loop: StageLoop, seconds: float) -> np.ndarray:
    return loop.process(int(seconds * RATE_HZ))


def silent(seed: int, **more: object) -> StageLoop:
    return StageLoop(
        room=random_room(seed, t60_s=0.4),
        programme="silence",
        box_noise_dbfs=-140.0,
        block=128,
        seed=seed,
        **more,  # type: ignore[arg-type]
    )


def strongest_hz(samples: np.ndarray) -> float:
    """Frequency of the strongest line, by a parabola through the log spectrum's peak."""
    size = 8 * len(samples)
    level = np.log(np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size)) + 1e-20)
    k = int(np.argmax(level))
    a, b, c = level[k - 1 : k + 2]
    return (k + 0.5 * (a - c) / (a - 2 * b + c)) * RATE_HZ / size


@pytest.mark.parametrize("seed", [0, 2, 7])
def test_what_rings_is_what_the_criterion_says(seed: int) -> None:
    loop = silent(seed)
    loop.fader_db = 0.5
    critical = loop.critical()[0]
    assert critical.margin_db == pytest.approx(-0.5, abs=0.03)
    sound = simulated(loop, 5.0)
    assert strongest_hz(sound[-RATE_HZ:]) == pytest.approx(critical.frequency_hz, abs=0.5)


def test_growth_in_a_room_is_the_pole_s() -> None:
    loop = silent(2)
    loop.fader_db = 1.0
    first, second = loop.critical()[:2]
    assert first.growth_db_per_s > max(second.growth_db_per_s, 5.0)
    sound = simulated(loop, 5.0)
    # The straight part: well above the noise that it grew from, well below the limiter.
    piece = RATE_HZ // 50
    level_db = 10 * np.log10(np.mean(sound.reshape(-1, piece) ** 2, axis=1) + 1e-30)
    end = int(np.argmax(level_db > level_db.max() - 14.0))
    start = end - int(np.argmax(level_db[:end][::-1] < level_db.max() - 34.0))
    assert end - start > 8
    slope = np.polyfit(np.arange(start, end) * piece / RATE_HZ, level_db[start:end], 1)[0]
    assert slope == pytest.approx(first.growth_db_per_s, rel=0.1)


def test_below_the_limit_it_stays_quiet_and_above_it_rings() -> None:
    below, above = silent(3), silent(3)
    below.fader_db, above.fader_db = -1.0, 1.0
    quiet, loud = simulated(below, 4.0), simulated(above, 4.0)
    assert np.abs(quiet[-RATE_HZ:]).max() < 0.05 * np.abs(loud[-RATE_HZ:]).max()
    assert below.margin_db() == pytest.approx(1.0, abs=0.01)
    assert above.margin_db() == pytest.approx(-1.0, abs=0.01)


def test_pulling_the_slider_at_the_critical_frequency_makes_it_stop() -> None:
    loop = silent(3)
    loop.fader_db = 1.0
    ringing = simulated(loop, 4.0)[-RATE_HZ // 2 :]
    critical = loop.critical()[0]
    nearest = min(
        range(31),
        key=lambda i: abs(math.log(loop.equaliser.sliders[i].centre_hz / critical.frequency_hz)),
    )
    loop.set_cut(nearest, -6.0)
    assert loop.margin_db() > 0.0
    after = simulated(loop, 3.0)[-RATE_HZ // 2 :]
    assert np.sqrt(np.mean(after**2)) < 0.03 * np.sqrt(np.mean(ringing**2))
    loop.set_cut(nearest, 0.0)
    assert loop.critical()[0].frequency_hz == pytest.approx(critical.frequency_hz, abs=0.01)


def test_a_far_slider_does_not_help() -> None:
    loop = silent(3)
    before_db = loop.margin_db()
    critical = loop.critical()[0]
    far = max(
        range(31),
        key=lambda i: abs(math.log(loop.equaliser.sliders[i].centre_hz / critical.frequency_hz)),
    )
    loop.set_cut(far, -6.0)
    assert loop.margin_db() == pytest.approx(before_db, abs=0.3)


@pytest.mark.parametrize("t60_s", [0.4, 0.55])
def test_maximum_stable_gain_of_a_diffuse_loop(t60_s: float) -> None:
    # T. van Waterschoot, M. Moonen, Proc. IEEE 99(2), 2011, eq. 18, after Schroeder: with unity
    # mean gain over a band of B Hz, MSG = -10 log10(log10(B T60 / 22)) - 3.8 dB.  It holds for
    # an exponentially decaying diffuse response, so here for such ones; over 24 seeds the mean
    # must agree within 1 dB (the formula is an expectation and an asymptotic one).
    rate_hz, length = 16000, int(16000 * t60_s)
    decay = 10.0 ** (-3.0 * np.arange(length) / rate_hz / t60_s)
    limits = []
    for seed in range(24):
        taps = np.random.default_rng(seed).standard_normal(length) * decay
        taps /= math.sqrt(np.sum(taps**2))  # mean |F|^2 over the band is 1
        limits.append(-highest_gain_db(taps))
    expected = -10 * math.log10(math.log10(rate_hz / 2 * t60_s / 22)) - 3.8
    assert np.mean(limits) == pytest.approx(expected, abs=1.0)


def test_the_image_rooms_limit_lies_near_the_formula() -> None:
    # The same, for rooms with walls, a directive loudspeaker and uneven devices: unevenness can
    # only make it worse, a clear direct sound better.  4.5 dB either way, on the mean of 10.
    differences = []
    for seed in range(10):
        room = random_room(seed, t60_s=0.5, place="mains")
        taps = responses(room, RATE_HZ).feedback.astype(float)
        power = np.abs(np.fft.rfft(taps, 1 << 17)) ** 2
        frequency_hz = np.fft.rfftfreq(1 << 17, 1 / RATE_HZ)
        band = (frequency_hz > 100) & (frequency_hz < 8000)
        mean_db = 10 * math.log10(np.mean(power[band]))
        expected = -10 * math.log10(math.log10(7900 * room.t60_s / 22)) - 3.8
        differences.append(-highest_gain_db(taps) + mean_db - expected)
    assert abs(np.mean(differences)) < 4.5


@pytest.mark.parametrize("chunk", [1, 100, 4096])
def test_the_sound_does_not_depend_on_how_it_is_asked_for(chunk: int) -> None:
    whole = StageLoop(room=DEFAULT_ROOM, seed=5).process(6000)
    loop = StageLoop(room=DEFAULT_ROOM, seed=5)
    n = 300 if chunk == 1 else 6000
    parts = [loop.process(min(chunk, n - i)) for i in range(0, n, chunk)]
    assert np.array_equal(np.concatenate(parts), whole[:n])


def test_the_sound_does_not_depend_on_the_block() -> None:
    n = 24000
    a = StageLoop(room=DEFAULT_ROOM, seed=5, block=256).process(n)
    b = StageLoop(room=DEFAULT_ROOM, seed=5, block=100).process(n)
    # Single precision sums in another order; nothing else may differ.
    assert np.abs(a).max() > 0.01
    assert a == pytest.approx(b, abs=1e-4)


def test_the_box_never_hears_more_than_full_scale() -> None:
    loop = StageLoop(room=DEFAULT_ROOM, seed=5, box_peak_dbfs=20.0)
    loop.fader_db = FADER_MAX_DB
    sound = loop.process(RATE_HZ * 2)
    assert sound.dtype == np.float32
    assert np.abs(sound).max() == 1.0


@pytest.mark.parametrize("name", ROOMS)
def test_every_room_rings_in_the_top_third_of_the_fader(name: str) -> None:
    loop = StageLoop(room=ROOMS[name], programme="silence")
    limit_db = loop.fader_db + loop.margin_db()
    top_third_db = FADER_MAX_DB - (FADER_MAX_DB - FADER_MIN_DB) / 3
    assert loop.margin_db() > 3.0
    assert top_third_db < limit_db < FADER_MAX_DB


def test_a_block_longer_than_the_loop_is_refused() -> None:
    with pytest.raises(ValueError, match="shortest delay"):
        StageLoop(room=DEFAULT_ROOM, block=4096)


def test_sliders_and_rates_are_checked() -> None:
    one = Equaliser("one band", graphic([("low", 100.0)]))
    loop = StageLoop(room=DEFAULT_ROOM, programme="silence", equaliser=one)
    for index, cut, message in ((1, -3.0, "not there"), (0, 3.0, "between"), (0, -20.0, "between")):
        with pytest.raises(ValueError, match=message):
            loop.set_cut(index, cut)
    other = Responses(44100, *(np.ones(2000, np.float32),) * 4, shortest_s=0.0)
    with pytest.raises(ValueError, match="44100"):
        StageLoop(room=DEFAULT_ROOM, known=other)


@pytest.mark.parametrize("programme", PROGRAMMES)
def test_performances_are_sound_and_repeatable(programme: Programme) -> None:
    one, same, other = (
        perform(programme, seconds=4.0, sample_rate_hz=RATE_HZ, seed=seed) for seed in (3, 3, 4)
    )
    assert one.dtype == np.float32
    assert len(one) == 4 * RATE_HZ
    assert np.array_equal(one, same)
    if programme == "silence":
        assert not one.any()
    else:
        assert np.isfinite(one).all()
        assert 0.02 < np.sqrt(np.mean(one**2)) < 0.2
        assert not np.array_equal(one, other)


def test_a_performer_goes_round_without_a_click() -> None:
    performer = Performer("guitar", sample_rate_hz=8000, seed=1)
    length = 45 * 8000 - 800
    once = performer.read(length)
    again = performer.read(length)
    assert np.array_equal(once, again)
    seam = np.abs(np.diff(np.concatenate([once[-50:], again[:50]]))).max()
    assert seam <= np.abs(np.diff(once)).max()


def test_unknown_programme_is_refused() -> None:
    with pytest.raises(ValueError, match="unknown"):
        perform("opera", seconds=1.0, sample_rate_hz=RATE_HZ)  # type: ignore[arg-type]
