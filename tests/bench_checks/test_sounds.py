"""``make sounds``: the made singers, the manifest, the shelf, and the split into two parts."""

import csv
import random
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import soundfile
from scipy.signal import butter, hilbert, sosfiltfilt

from tests.bench import material
from tests.bench.sounds import __main__ as program
from tests.bench.sounds import borrowed, drifting, manifest, midi, rendered, singer
from tests.bench.sounds.fonts import RENDERED
from tests.bench.sounds.instruments import INSTRUMENTS
from tests.bench.sounds.recipe import title_of
from tests.bench.sounds.shelf import Shelf
from tests.bench.sounds.store import Missing, run

RATE_HZ = 48000
STRAIGHT = singer.Voice("tenor", vibrato_cents=0.0, unsteady_cents=0.0, breath_db=-60.0)


def fundamental_hz(samples: np.ndarray, near_hz: float) -> np.ndarray:
    """Instantaneous frequency of what lies within a fifth of ``near_hz``, edges left out."""
    band = butter(4, [near_hz / 1.2, near_hz * 1.2], "bandpass", fs=RATE_HZ, output="sos")
    phase = np.unwrap(np.angle(hilbert(sosfiltfilt(band, samples.astype(float)))))
    return (np.diff(phase) * RATE_HZ / (2.0 * np.pi))[RATE_HZ // 4 : -RATE_HZ // 4]


def held(key: float = 57.0, vowel: str = "a", swell_db: float = 0.0) -> list[singer.Note]:
    return [singer.Note(0.0, key, 4.0, vowel, swell_db)]


def test_a_key_is_its_frequency_in_equal_temperament() -> None:
    # ISO 16 sets key 69 to 440 Hz; middle C is nine equal semitones below.
    assert singer.key_hz(69) == pytest.approx(440.0)
    assert singer.key_hz(60) == pytest.approx(261.626, abs=0.001)


@pytest.mark.parametrize("vowel", "aeioum")
def test_a_straight_voice_holds_the_pitch_it_was_given(vowel: str) -> None:
    samples = singer.sung(STRAIGHT, held(57.0, vowel), 4.0, np.random.default_rng(1))
    found_hz = fundamental_hz(samples, 220.0)
    assert np.median(found_hz) == pytest.approx(220.0, rel=0.001)
    assert np.ptp(np.percentile(found_hz, [5, 95])) < 1.0


def test_vibrato_has_the_rate_and_the_depth_it_was_given() -> None:
    voice = replace(STRAIGHT, vibrato_hz=5.5, vibrato_cents=60.0, vibrato_after_s=0.0)
    samples = singer.sung(voice, held(), 8.0, np.random.default_rng(2))[: 4 * RATE_HZ]
    cents = 1200.0 * np.log2(fundamental_hz(samples, 220.0) / 220.0)[RATE_HZ // 2 :]
    turns = np.count_nonzero(np.diff(np.signbit(cents))) / 2.0
    assert turns / (len(cents) / RATE_HZ) == pytest.approx(5.5, rel=0.15)
    assert np.sqrt(2.0) * cents.std() == pytest.approx(60.0, rel=0.25)


def test_a_swell_climbs_along_a_straight_line_in_decibels() -> None:
    gain = singer.level(held(swell_db=30.0), 4 * singer.CONTROL_RATE_HZ)
    at = (np.array([0.5, 1.5, 2.5]) * singer.CONTROL_RATE_HZ).astype(int)
    # 30 dB in eight tenths of four seconds
    np.testing.assert_allclose(np.diff(20.0 * np.log10(gain[at])), 30.0 / 3.2, rtol=0.02)


def test_a_glide_passes_between_its_two_notes_and_arrives() -> None:
    notes = [singer.Note(0.0, 57.0, 1.0, "a"), singer.Note(1.0, 69.0, 1.0, "a")]
    voice = replace(STRAIGHT, glide_s=0.2)
    pitch = singer.pitch_hz(voice, notes, 2 * singer.CONTROL_RATE_HZ, np.random.default_rng(3))
    assert pitch[singer.CONTROL_RATE_HZ - 1] == pytest.approx(220.0)
    assert 300.0 < pitch[int(1.1 * singer.CONTROL_RATE_HZ)] < 320.0
    assert pitch[int(1.25 * singer.CONTROL_RATE_HZ)] == pytest.approx(440.0)


@pytest.mark.parametrize("seed", range(20))
def test_every_tune_stays_in_its_time_and_within_reach(seed: int) -> None:
    notes = singer.tune(singer.RANGE_KEYS["alto"], 30.0, np.random.default_rng(seed))
    assert all(a.at_s + a.long_s <= b.at_s + 1e-9 for a, b in pairwise(notes))
    assert notes[-1].at_s + notes[-1].long_s < 30.0
    low, high = singer.RANGE_KEYS["alto"]
    assert all(low <= note.key <= high + 2 for note in notes)


def test_a_spoken_vowel_is_sung_at_another_pitch_with_its_formants() -> None:
    spoken = singer.sung(
        STRAIGHT, [singer.Note(0.0, 50.0, 1.0, "a")], 1.0, np.random.default_rng(4)
    )
    word = borrowed.word(spoken)
    assert word is not None
    assert word.f0_hz == pytest.approx(singer.key_hz(50.0), rel=0.03)
    sung = borrowed.sung_words(STRAIGHT, [word], held(57.0), 4.0, np.random.default_rng(5))
    assert np.median(fundamental_hz(sung, 220.0)) == pytest.approx(220.0, rel=0.001)
    spectrum = np.abs(np.fft.rfft(sung[RATE_HZ : 2 * RATE_HZ] * np.hanning(RATE_HZ)))
    level_db = {k: 20.0 * np.log10(spectrum[220 * k - 5 : 220 * k + 6].max()) for k in (3, 7, 12)}
    # A tenor's a has formants at 650, 1080 and 2650 Hz and a hollow at 1600 Hz between them.
    assert level_db[3] > level_db[7] + 6.0 < level_db[12] + 8.0


def test_noise_and_silence_hold_no_word() -> None:
    noise = np.random.default_rng(6).standard_normal(RATE_HZ).astype(np.float32)
    assert borrowed.word(noise) is None
    assert borrowed.word(noise[:1000]) is None


def test_half_of_the_swells_climb_straight_to_full() -> None:
    straight = 0
    for seed in range(40):
        envelope = rendered.swell(4 * RATE_HZ, random.Random(seed))
        assert envelope.max() == pytest.approx(1.0, abs=0.02)
        assert envelope[0] < 0.06
        rising = envelope[100 : int(np.argmax(envelope > 0.9))]
        slopes = np.diff(20.0 * np.log10(rising[:: max(1, len(rising) // 8)] + 1e-9))
        straight += bool(np.ptp(slopes) < 0.01 * abs(slopes.mean()))
    assert 8 <= straight <= 32


@pytest.mark.parametrize(
    ("number", "expected"),
    [(0x40, "40"), (0x80, "8100"), (0x3FFF, "ff7f"), (0x200000, "81808000")],
)
def test_times_are_written_as_the_midi_file_format_has_them(number: int, expected: str) -> None:
    # Examples of the Standard MIDI Files 1.0 specification.
    assert midi._length(number).hex() == expected


ROW = manifest.Row("a.flac", "music", 1.5, "tunes", "GPL-2+", 'with "quotes", and a comma')


def test_a_manifest_is_read_as_it_was_written_and_sorted(tmp_path) -> None:
    other = replace(ROW, file="b.flac")
    manifest.write(tmp_path / "manifest.csv", [other, ROW])
    assert manifest.read(tmp_path / "manifest.csv") == [ROW, other]


def test_a_manifest_that_fails_half_way_leaves_the_old_one(tmp_path) -> None:
    path = tmp_path / "manifest.csv"
    manifest.write(path, [ROW])
    unwritable = replace(ROW, file="b.flac", note="\udc80")
    with pytest.raises(UnicodeEncodeError, match="surrogates"):
        manifest.write(path, [ROW, unwritable])
    assert manifest.read(path) == [ROW]


def test_the_shelf_levels_lists_and_remembers(tmp_path) -> None:
    tone = 0.1 * np.sin(np.arange(RATE_HZ) * 0.1)
    Shelf(tmp_path).put("a name/with signs", tone, "music", "tunes", "GPL-2+")
    shelf = Shelf(tmp_path)
    assert shelf.has("a name/with signs")
    (row,) = shelf.rows
    samples, rate_hz = soundfile.read(tmp_path / row.file)
    assert rate_hz == RATE_HZ
    assert row.duration_s == 1.0
    assert 20.0 * np.log10(np.abs(samples).max()) == pytest.approx(-3.0, abs=0.01)


def test_silence_and_snippets_stay_off_the_shelf(tmp_path) -> None:
    shelf = Shelf(tmp_path)
    shelf.put("silence", np.zeros(RATE_HZ), "music", "tunes", "GPL-2+")
    shelf.put("snippet", np.ones(RATE_HZ // 3), "music", "tunes", "GPL-2+")
    assert not shelf.rows


class Recipe:
    prefix = "x"

    def __init__(self, package: str, works: bool) -> None:
        self.package, self.works, self.count = package, works, 0

    def make(self, shelf: Shelf, store: object) -> None:
        self.count += 1
        if not self.works:
            raise Missing(f"package {self.package}: cannot be fetched")
        shelf.put(self.package, np.ones(RATE_HZ), "music", self.package, "GPL-2+")


def test_what_is_missing_is_named_and_the_rest_made_once(tmp_path, monkeypatch, capsys) -> None:
    broken, whole = Recipe("gone", works=False), Recipe("there", works=True)
    monkeypatch.setattr(program, "RECIPES", [broken, whole])
    monkeypatch.setattr(program.Store, "tools", lambda self, *names: None)
    assert program.main([str(tmp_path)]) == 1
    assert "missing: gone x: package gone: cannot be fetched\n" in capsys.readouterr().err
    assert (tmp_path / "there.flac").is_file()
    program.main([str(tmp_path)])
    assert (broken.count, whole.count) == (2, 1)


def test_a_command_that_is_not_there_is_named() -> None:
    with pytest.raises(Missing, match="no-such-synthesiser: not found"):
        run(["no-such-synthesiser", "-q"])


def kinds_of(recipe: object) -> set[str]:
    """What a recipe makes, by its own tables."""
    if hasattr(recipe, "source"):
        return {recipe.source.kind}
    if hasattr(recipe, "names"):
        return {INSTRUMENTS[name].kind for name in recipe.names}
    known = {
        "Grooves": "drums",
        "Songs": "band_midi",
        "Composed": "band_midi",
        "Tones": "testtone",
    }
    return {known.get(type(recipe).__name__, "singing")}


def all_sounds() -> list[material.Sound]:
    return [
        material.Sound(material.Path("x"), kind, recipe.package, 1.0)
        for recipe in program.RECIPES
        for kind in kinds_of(recipe)
    ]


@pytest.mark.parametrize("group", ["music", "speech", "singing", "steady"])
@pytest.mark.parametrize("scored", [True, False])
def test_either_part_has_every_group_from_several_packages(group: str, scored: bool) -> None:
    packages = {s.package for s in all_sounds() if s.group == group and s.scored == scored}
    assert len(packages) >= 3, packages


def test_every_scored_package_is_made() -> None:
    assert set(material.SCORED_PACKAGES) <= {sound.package for sound in all_sounds()}


def test_a_font_is_on_one_side_with_all_that_it_plays() -> None:
    for recipe in RENDERED:
        one, font = (
            material.Sound(material.Path("x"), "band_midi", package, 1.0).scored
            for package in (recipe.package, recipe.font.package)
        )
        assert one == font, recipe.package


def test_no_two_recipes_are_taken_for_one() -> None:
    titles = [title_of(recipe) for recipe in program.RECIPES]
    assert sorted({t for t in titles if titles.count(t) > 1}) == []


def test_sounds_come_from_several_folders_a_name_once(tmp_path, monkeypatch) -> None:
    for folder, names in (("one", "ab"), ("two", "bc")):
        (tmp_path / folder).mkdir()
        rows = [replace(ROW, file=name, source_package=folder) for name in names]
        manifest.write(tmp_path / folder / "manifest.csv", rows)
    monkeypatch.setenv("HOWL_LANTERN_SOUNDS", f"{tmp_path / 'one'}:{tmp_path / 'two'}")
    found = [(sound.path.name, sound.package) for sound in material.sounds()]
    assert found == [("a", "one"), ("b", "one"), ("c", "two")]


def test_a_folder_without_a_manifest_is_named_with_what_to_do(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("HOWL_LANTERN_SOUNDS", str(tmp_path))
    with pytest.raises(SystemExit, match="make sounds"):
        material.sounds()


def test_the_columns_are_those_the_bench_reads(tmp_path) -> None:
    manifest.write(tmp_path / "manifest.csv", [ROW])
    with (tmp_path / "manifest.csv").open(newline="") as file:
        assert next(csv.reader(file)) == (
            "file kind duration_s source_package licence note".split()
        )


def test_a_slow_piece_is_as_long_as_it_says_and_never_overflows() -> None:
    chance = random.Random(5)

    def play(score: object) -> np.ndarray:
        return np.full(int(drifting.PIECE_S * 48000) + 7, 0.1, np.float32)

    samples = drifting.piece(chance, play)
    assert len(samples) == int(drifting.PIECE_S * 48000)
    assert np.isfinite(samples).all()


def test_echoes_come_again_and_fall() -> None:
    """By the difference equation: a click through a feedback delay is a row of falling clicks."""
    click = np.zeros(48000 * 3)
    click[0] = 1.0
    heard = drifting.echoed(click, random.Random(2))
    places = np.flatnonzero(heard)
    apart, parts = np.diff(places), heard[places]
    assert len(places) > 3
    assert set(apart) == {apart[0]}
    assert np.allclose(parts[1:] / parts[:-1], parts[1])
    assert 0.35 <= parts[1] <= 0.8


def test_a_swept_low_pass_takes_the_highs_and_leaves_the_length() -> None:
    noise = np.random.default_rng(1).standard_normal(48000 * 4)
    heard = drifting.swept(noise, random.Random(3))
    assert len(heard) == len(noise)
    power = np.abs(np.fft.rfft(heard)) ** 2
    above_hz = 20000 * 4
    assert power[above_hz:].mean() < 1e-3 * power[: 100 * 4].mean()
