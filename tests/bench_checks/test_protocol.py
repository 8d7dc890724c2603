"""The published protocol: loops that howl where is said, and figures known by construction."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from monitor.listening.listener import THRESHOLDS
from monitor.stage.filters import low_cut_response
from monitor.stage.moving_loop import stage_of
from tests.bench import protocol
from tests.bench.excerpts import (
    BELOW_DB,
    CALM_S,
    OVER_DB,
    RAMP_S,
    RATE_HZ,
    Excerpt,
    excess_track,
    programme,
    render,
    spec_of,
    taps_of,
)
from tests.bench.framewise import (
    LOBE_BINS,
    Grid,
    Tally,
    features,
    labels,
    once_it_stands_out,
    ours,
)
from tests.bench.material import SAMPLE_RATE_HZ, SCORED_PACKAGES

GRID = Grid(1024)
HISS = (0.1 * np.random.default_rng(8).standard_normal(20 * RATE_HZ)).astype(np.float32)


@pytest.fixture(scope="module")
def excerpt() -> Excerpt:
    """Hiss through the second loop."""
    return render(1, HISS)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two short sounds of speech to score on, at two levels that tell them apart, one not to."""
    lines = ["file,kind,duration_s,source_package,licence,note"]
    for name, level, package in (
        ("a.wav", 0.1, SCORED_PACKAGES[0]),
        ("b.wav", 0.2, SCORED_PACKAGES[0]),
        ("c.wav", 0.4, "invented"),
    ):
        soundfile.write(tmp_path / name, np.full(3 * SAMPLE_RATE_HZ, level), SAMPLE_RATE_HZ)
        lines.append(f"{name},speech,3.0,{package},none,made up")
    (tmp_path / "manifest.csv").write_text("\n".join(lines) + "\n", "utf-8")
    monkeypatch.setenv("HOWL_LANTERN_SOUNDS", str(tmp_path))
    return tmp_path


def test_the_gain_stands_rises_and_stands() -> None:
    track = excess_track()
    assert len(track) == 20 * RATE_HZ
    assert np.all(track[: int(CALM_S * RATE_HZ)] == -BELOW_DB)
    assert np.allclose(track[int((CALM_S + RAMP_S) * RATE_HZ) :], OVER_DB)
    assert np.all(np.diff(track) >= 0.0)


def test_decimated_the_loop_is_the_same_below_half_the_rate() -> None:
    spec = spec_of(1)
    stage = stage_of(spec.room_seed, spec.t60_s, spec.place, spec.box_below_m, SAMPLE_RATE_HZ)
    hz = np.linspace(150.0, 6000.0, 50)

    def level_db(taps: np.ndarray, rate_hz: int) -> np.ndarray:
        turns = np.outer(hz / rate_hz, np.arange(len(taps)))
        return 20.0 * np.log10(np.abs(np.exp(-2j * np.pi * turns) @ taps))

    low_cut = low_cut_response(
        corner_hz=spec.low_cut_hz, frequency_hz=hz, sample_rate_hz=SAMPLE_RATE_HZ
    )
    wanted_db = level_db(stage.feedback, SAMPLE_RATE_HZ) + 20.0 * np.log10(np.abs(low_cut))
    assert np.allclose(level_db(taps_of(spec), RATE_HZ), wanted_db, atol=0.5)


def test_the_onset_is_when_the_gain_passes_the_limit_or_soon_after(excerpt: Excerpt) -> None:
    passes_s = float(np.argmax(excess_track() > 0.0)) / RATE_HZ
    assert passes_s - 0.005 <= excerpt.onset_s <= CALM_S + RAMP_S
    alone = render(5, HISS)
    assert len(alone.others_hz) == 0
    assert alone.onset_s == pytest.approx(passes_s, abs=0.005)


def test_it_howls_where_and_after_it_says(excerpt: Excerpt) -> None:
    power = GRID.power(excerpt.samples)
    ends_s = GRID.ends_s(len(power))
    before = power[(ends_s > 2.0) & (ends_s < excerpt.onset_s)].mean(axis=0)
    after = power[ends_s > 15.0].mean(axis=0)
    loudest = int(np.argmax(after))
    assert abs(GRID.nearest(excerpt.howl_hz) - loudest) <= 1
    assert 10.0 * np.log10(after[loudest] / before[loudest]) > 20.0
    assert np.abs(excerpt.samples).max() == pytest.approx(10.0 ** (-3.0 / 20.0))


def test_a_source_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="320000 samples expected"):
        render(0, HISS[:100])


def test_a_programme_is_joined_from_scored_sounds(folder: Path) -> None:
    samples = programme("speech", 0)
    assert len(samples) == 20 * RATE_HZ
    middles = samples[RATE_HZ + RATE_HZ // 2 :: 3 * RATE_HZ]
    assert {round(float(level), 2) for level in middles} == {0.1, 0.2}
    assert np.array_equal(samples, programme("speech", 0))
    with pytest.raises(SystemExit, match="no music"):
        programme("music", 0)


def test_labels_are_the_nearest_bin_from_the_onset_on() -> None:
    bin_hz = RATE_HZ / 1024
    howling = Excerpt(HISS, 64 * bin_hz + 3.0, 9.0, np.array([200 * bin_hz]))
    howls, counted = labels(howling, GRID, 1000)
    assert not howls[:450].any()
    assert np.all(howls[450:].sum(axis=1) == 1)
    assert howls[450:, 64].all()
    assert counted[450:, 64].all()
    assert counted[:400].all()
    assert np.all((~counted[450:]).sum(axis=1) == 4 * LOBE_BINS + 1)
    assert not counted[450:, 200].any()


def test_features_have_a_score_for_every_bin_of_every_frame() -> None:
    two_s = HISS[: 2 * RATE_HZ]
    speech = {name: score for name, _, score in features(two_s, music=False)}
    for name, grid, score in features(two_s, music=True):
        assert score.shape == (2 * RATE_HZ // grid.hop_samples, grid.n_bins), name
        assert not np.isnan(score).any(), name
        assert name in speech


def test_our_evidence_is_where_the_howl_is(excerpt: Excerpt) -> None:
    _, grid, score = ours(excerpt.samples, "soundcheck")
    howls, _ = labels(excerpt, grid, len(score))
    assert score[howls].max() > THRESHOLDS["soundcheck"].howl.log_odds
    before = grid.ends_s(len(score)) < CALM_S
    assert score[before].max() < score[howls].max()


def test_the_truth_is_given_once_the_howl_stands_out() -> None:
    t = np.arange(20 * RATE_HZ) / RATE_HZ
    hz = 64 * RATE_HZ / 1024
    howl = np.where(t < 12.0, 0.0, 1.0) * np.sin(2.0 * np.pi * hz * t)
    howling = Excerpt((howl + HISS).astype(np.float32), hz, 9.0, np.zeros(0))
    _, grid, score = once_it_stands_out(howling, GRID)
    ends_s = grid.ends_s(len(score))
    assert score[ends_s > 12.1, 64].all()
    assert score[:, 64][ends_s < 12.0].mean() < 0.1  # noise stands out by chance now and then
    assert score[ends_s < 9.0].sum() == 0.0
    assert np.delete(score, 64, axis=1).sum() == 0.0


def test_figures_of_a_perfect_score_of_a_guess_and_of_a_mixture() -> None:
    howls = np.array([True, True, False, False, False, False])
    perfect = Tally.of(np.array([2.0, 3.0, 1.0, 0.0, -1.0, -np.inf]), howls)
    assert perfect.figures() == {"f1": 1.0, "average_precision": 1.0, "prevalence": 2 / 6}
    guess = Tally.of(np.zeros(6), howls).figures()
    assert guess["average_precision"] == pytest.approx(2 / 6)
    assert guess["f1"] == pytest.approx(0.5)
    # In falling order: howl, other, howl, others.
    mixed = Tally.of(np.array([9.0, 5.0, 7.0, 0.0, -1.0, -3.0]), howls).figures()
    assert mixed["average_precision"] == pytest.approx(0.5 * 1.0 + 0.5 * 2 / 3)
    assert mixed["f1"] == pytest.approx(0.8)


def test_tallies_added_are_the_tally_of_all() -> None:
    rng = np.random.default_rng(5)
    score, howls = rng.standard_normal(1000), rng.random(1000) < 0.1
    parts = Tally() + Tally.of(score[:300], howls[:300]) + Tally.of(score[300:], howls[300:])
    assert parts.figures() == Tally.of(score, howls).figures()
    with pytest.raises(ValueError, match="nothing howls"):
        Tally.of(score, np.zeros(1000, bool)).figures()


def test_all_rows_are_printed_the_best_first(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    howls = np.array([True, False, False])
    good, bad = Tally.of(np.array([2.0, 1.0, 0.0]), howls), Tally.of(np.array([0, 1, 2]), howls)
    tallies = {
        (name, span): tally
        for name, tally in (("bad", bad), ("good", good))
        for span in protocol.SPANS
    }
    found = protocol.figures_of([(group, tallies) for group in protocol.GROUPS])
    assert found["good"]["music"]["early"]["f1"] == 1.0
    protocol.print_figures(found, 0.5)
    out = capsys.readouterr().out
    assert "0.5 dB over the limit" in out
    assert out.index("good") < out.index("bad")
