"""Provoked runs: the truth beside the sound holds, and the same spec gives the same samples."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.stage.provoke import render_run
from monitor.stage.run_spec import PROVOCATIONS, RunSpec, random_spec

BASE = RunSpec(seed=1, room_seed=2, t60_s=0.4, place="wedge", programme="talk", duration_s=6.0)


def line_hz(samples: np.ndarray, rate_hz: int) -> float:
    size = 8 * len(samples)
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size))
    return int(np.argmax(spectrum)) * rate_hz / size


@pytest.mark.parametrize("provocation", PROVOCATIONS)
def test_what_rings_is_in_the_truth(provocation: str) -> None:
    run = render_run(replace(BASE, provocation=provocation))  # type: ignore[arg-type]
    assert run.onset_s is not None
    assert run.overtake_s is not None
    assert run.onset_s <= run.overtake_s
    assert run.peak_excess_db == pytest.approx(2.0, abs=0.3)
    assert run.critical_frequency_hz in [c.frequency_hz for c in run.truth]
    assert run.truth[0].margin_db == pytest.approx(-run.peak_excess_db, abs=0.3)
    heard_hz = line_hz(run.feedback[-run.sample_rate_hz // 2 :], run.sample_rate_hz)
    # Driven into its end stop the line is pulled a little.
    assert heard_hz == pytest.approx(run.critical_frequency_hz, abs=3.0)


@pytest.mark.parametrize("seed", [33, 37, 46])
def test_what_rings_where_a_walk_comes_to_rest_is_in_the_truth(seed: int) -> None:
    """In these rooms it is stable where the loop is nearest to ringing, on the way."""
    spec = replace(
        random_spec(seed, programmes=("silence",)),
        provocation="walk",
        excess_db=1.2,
        onset_s=2.0,
        acts_s=None,
        compressor_ratio=1.0,
        sample_rate_hz=48000,
        duration_s=12.0,
    )
    run = render_run(spec)
    last_second = run.feedback[-48000:]
    loudest_hz = int(np.argmax(np.abs(np.fft.rfft(last_second * np.hanning(48000)))))
    nearest_hz = min(abs(one.frequency_hz - loudest_hz) for one in run.truth)
    assert nearest_hz <= 1.0
    assert run.critical_frequency_hz == pytest.approx(loudest_hz, abs=1.0)


def test_before_the_onset_the_loop_is_stable_and_the_twin_is_the_programme() -> None:
    run = render_run(replace(BASE, provocation="step", programme="silence"))
    assert run.onset_s is not None
    assert run.onset_s == pytest.approx(2.0, abs=0.05)
    assert run.excess_at(1.0) < 0.0 < run.excess_at(3.0)
    rate = run.sample_rate_hz
    before, after = run.feedback[rate : 2 * rate - 4800], run.feedback[-rate:]
    assert np.sqrt(np.mean(before**2)) < 0.01 * np.sqrt(np.mean(after**2))


def test_closed_is_opened_plus_feedback() -> None:
    run = render_run(replace(BASE, box_peak_dbfs=-20.0))
    assert run.closed == pytest.approx(run.opened + run.feedback, abs=1e-6)


def test_a_stable_run_has_no_onset() -> None:
    run = render_run(replace(BASE, excess_db=-1.5))
    assert run.onset_s is None
    assert run.overtake_s is None
    assert run.louder_than_programme_s is None
    assert run.truth == ()
    assert run.excess_db.max() < 0.0


def test_somebody_acts_and_it_dies() -> None:
    run = render_run(replace(BASE, acts_s=4.5, acts_db=12.0, duration_s=6.0))
    rate = run.sample_rate_hz
    ringing = np.sqrt(np.mean(run.feedback[4 * rate : int(4.4 * rate)] ** 2))
    after = np.sqrt(np.mean(run.feedback[-rate // 2 :] ** 2))
    assert run.excess_at(5.5) < 0.0
    assert after < 0.1 * ringing


def test_a_compressor_lowers_the_excess() -> None:
    run = render_run(replace(BASE, compressor_ratio=4.0, compressor_threshold_db=-20.0))
    # The loop settles where the compressor has taken away what was too much.
    assert run.peak_excess_db == pytest.approx(2.0, abs=0.01)
    assert np.mean(run.excess_db[-100:]) < 0.7


def test_the_same_spec_gives_the_same_samples() -> None:
    spec = random_spec(17, duration_s=3.0)
    assert np.array_equal(render_run(spec).closed, render_run(spec).closed)
    assert spec == random_spec(17, duration_s=3.0)


def test_a_given_programme_is_used() -> None:
    sound = np.sin(2 * np.pi * 440 * np.arange(48000) / 48000)
    run = render_run(replace(BASE, programme="given", excess_db=-6.0, box_noise_dbfs=-90.0), sound)
    assert line_hz(run.opened[: 2 * 48000], 48000) == pytest.approx(440.0, abs=0.5)


def test_random_specs_cover_the_axes() -> None:
    specs = [random_spec(seed) for seed in range(300)]
    assert {s.sample_rate_hz for s in specs} == {44100, 48000}
    assert {s.provocation for s in specs} == set(PROVOCATIONS)
    assert {s.limiter for s in specs} == {"soft", "hard", "none"}
    assert {s.place for s in specs} == {"mains", "wedge", "badly placed"}
    assert {s.programme for s in specs} == {"silence", "talk", "song", "guitar", "band"}
    assert all(0.3 <= s.excess_db <= 6.0 and 0.2 <= s.t60_s <= 1.5 for s in specs)
    assert any(s.compressor_ratio > 1.0 for s in specs)
    assert any(s.acts_s is None for s in specs)
    assert all(random_spec(seed, stable=True).excess_db < 0.0 for seed in range(20))
    assert all(random_spec(s, programmes=("talk",)).programme == "talk" for s in range(5))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"programme": "opera"}, "programme 'opera' is unknown"),
        ({"programme": "given"}, "needs sound"),
        ({"provocation": "shout"}, "provocation 'shout' is unknown"),
        ({"duration_s": 0.0}, "duration_s"),
        ({"limiter": "velvet"}, "limiter 'velvet' is unknown"),
    ],
)
def test_impossible_specs_are_refused(change: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        render_run(replace(BASE, **change))  # type: ignore[arg-type]
