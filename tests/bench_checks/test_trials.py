"""The trials are the same every time, know what was played, and keep to the scoring part."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.bench.__main__ import TABLES, why_not, words_for
from tests.bench.material import SAMPLE_RATE_HZ, SCORED_PACKAGES, sounds
from tests.bench.pool import minutes, run_all
from tests.bench.scoring import Truth, facts_of
from tests.bench.trials import STABLE_SEEDS_FROM, detectors, render, samples_of, score_sound

GROUPS = {"music": "band", "speech": "speech", "steady": "instrument_sustain"}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of invented sounds, each group once to score on and once to tune on."""
    rng = np.random.default_rng(4)
    lines = ["file,kind,duration_s,source_package,licence,note"]
    for package in (SCORED_PACKAGES[0], "invented"):
        for group, kind in GROUPS.items():
            name = f"{group}-{'tuned' if package == 'invented' else 'scored'}.wav"
            sound = 0.1 * rng.standard_normal(2 * SAMPLE_RATE_HZ)
            soundfile.write(tmp_path / name, sound.astype(np.float32), SAMPLE_RATE_HZ)
            lines.append(f"{name},{kind},2.0,{package},none,made up")
    (tmp_path / "manifest.csv").write_text("\n".join(lines) + "\n", "utf-8")
    monkeypatch.setenv("HOWL_LANTERN_SOUNDS", str(tmp_path))
    return tmp_path


def test_a_run_is_the_same_again_and_says_what_was_played(folder: Path) -> None:
    run, programme = render(100_003, stable=False)
    again, _ = render(100_003, stable=False)
    assert np.array_equal(run.closed, again.closed)
    assert programme in GROUPS
    assert facts_of(run, programme=programme).onset_s is not None


def test_only_the_scoring_part_is_played(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for path in folder.glob("*-tuned.wav"):
        path.unlink()  # reading one of these would fail
    played = {render(seed, stable=False)[1] for seed in range(100_000, 100_006)}
    assert played & set(GROUPS)


def test_a_stable_run_never_rings(folder: Path) -> None:
    run, programme = render(STABLE_SEEDS_FROM, stable=True)
    facts = facts_of(run, programme=programme)
    assert facts.stable
    assert not facts.judged
    assert facts.peak_excess_db < 0.0
    assert len(Truth(run).true_hz) == 0


def test_a_sound_is_scored_by_every_detector(folder: Path) -> None:
    (sound,) = [one for one in sounds() if one.path.name == "music-scored.wav"]
    samples, rate_hz = samples_of(sound, 1.0)
    again, again_hz = samples_of(sound, 1.0)
    assert np.array_equal(samples, again)
    assert rate_hz == again_hz
    scored = score_sound(sound, 1.0)
    assert (scored.group, scored.kind) == ("music", "band")
    assert {name for name, _ in scored.flagged} == set(detectors())
    assert scored.hours == pytest.approx(1.0 / 3600.0, rel=0.25)  # its pitch may be changed


def _backwards(place: int) -> int:
    return -place


def test_results_come_in_the_order_of_the_jobs(capsys: pytest.CaptureFixture[str]) -> None:
    found = run_all(_backwards, [(i,) for i in range(9)], name="numbers", processes=2)
    assert found == [-i for i in range(9)]
    assert "numbers: 9 in" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(12.4, "12 s"), (150.0, "2 min"), (4800.0, "80 min"), (5700, "1 h 35 min")],
)
def test_durations_in_words(seconds: float, words: str) -> None:
    assert minutes(seconds) == words


def test_tables_are_left_out_with_their_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("HOWL_LANTERN_SOUNDS", raising=False)
    assert "HOWL_LANTERN_SOUNDS" in (why_not("detector") or "")
    assert why_not("cost") is None
    assert why_not("no_such_table") == "there is no such table yet"
    assert "detector" in TABLES
    words = words_for("detector", Path("out"))
    assert words[:2] == ["--json", str(Path("out") / "detector.json")]


def test_an_unknown_table_is_named() -> None:
    run = subprocess.run(
        [sys.executable, "-m", "tests.bench", "detektor"], capture_output=True, text=True
    )
    assert run.returncode == 2
    assert "unknown table 'detektor'" in run.stderr
