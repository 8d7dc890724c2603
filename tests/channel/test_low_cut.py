"""The low cut: its filter, its choice, what it takes and costs, and hum."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from monitor.channel.low_cut import (
    BELOW_SHARE,
    MOST_COST_DB,
    Choice,
    choose,
    corners,
    gain,
    hum_hz,
    weigh,
)
from monitor.channel.meter import ChannelMeter
from monitor.channel.spectra import MeanSpectrum, Spectra
from monitor.listening.bands import THIRD_OCTAVES
from tests.channel.voices import RATE_HZ, noise, sine, spoken, sung

LINES_HZ = np.arange(1, 140) * 2.93
DESK_HZ = (75.0, 80.0, 100.0, 120.0)


def heard(samples, low_cuts_hz=DESK_HZ, **more):
    meter = ChannelMeter(RATE_HZ, scale="digital", low_cuts_hz=low_cuts_hz, **more)
    for first in range(0, len(samples), RATE_HZ):
        meter.push(samples[first : first + RATE_HZ].astype(np.float32))
    meter.finish()
    return meter.fields()


def rumble(seconds, rms, below_hz=45.0):
    low = signal.butter(4, below_hz, fs=RATE_HZ, output="sos")
    sound = signal.sosfilt(low, np.random.default_rng(4).standard_normal(int(seconds * RATE_HZ)))
    return (rms * sound / np.std(sound)).astype(np.float32)


@pytest.mark.parametrize(("slope_db", "order"), [(12, 2), (18, 3), (24, 4)])
@pytest.mark.parametrize("corner_hz", [75.0, 120.0])
def test_the_filter_is_a_library_s_butterworth(slope_db, order, corner_hz):
    b, a = signal.butter(order, 2.0 * np.pi * corner_hz, btype="highpass", analog=True)
    frequencies_hz = np.geomspace(10.0, 2000.0, 50)
    _, response = signal.freqs(b, a, 2.0 * np.pi * frequencies_hz)
    assert gain(frequencies_hz, corner_hz, slope_db) == pytest.approx(np.abs(response) ** 2)


def test_what_is_taken_and_what_it_costs_in_a_plain_case():
    # One line at 40 Hz: an 80 Hz filter of 12 dB an octave takes 10 log10(1 + 2^4) = 12.3 dB of it,
    # and of a note at 160 Hz 10 log10(1 + 2^-4) = 0.26 dB.
    below = np.where(np.abs(LINES_HZ - 40.0) < 1.5, 1.0, 0.0)
    line_hz = float(LINES_HZ[np.argmax(below)])
    (one,) = weigh(
        [2 * line_hz], frequency_hz=LINES_HZ, below=below, lowest_hz=4 * line_hz, slope_db=12
    )
    assert one.takes_db == pytest.approx(12.304, abs=0.001)
    assert one.costs_db == pytest.approx(0.263, abs=0.001)


def test_what_is_near_the_lowest_note_is_no_rumble():
    below = np.where(LINES_HZ > BELOW_SHARE * 100.0, 1.0, 0.0)
    (one,) = weigh([80.0], frequency_hz=LINES_HZ, below=below, lowest_hz=100.0, slope_db=12)
    assert one.takes_db == 0.0


@pytest.mark.parametrize(
    ("choices", "lowest_hz", "chosen_hz"),
    [
        # The highest that is free takes most.
        ([(75, 8, 0.1), (100, 12, 0.4), (120, 14, 0.9)], 180.0, 120.0),
        # The next would cost the lowest note more than is free.
        ([(75, 8, 0.6), (100, 12, 1.7), (120, 14, 3.0)], 120.0, 75.0),
        # They take the same: the gentlest.
        ([(75, 11.8, 0.1), (100, 12.0, 0.4), (120, 12.2, 0.9)], 180.0, 75.0),
        # All cost something: the lowest, as long as it lies under the lowest note.
        ([(75, 8, 2.2), (100, 12, 4.0)], 82.0, 75.0),
        ([(100, 12, 4.0), (120, 14, 6.0)], 82.0, None),
    ],
    ids=["most", "free", "alike", "costs", "none"],
)
def test_which_is_chosen(choices, lowest_hz, chosen_hz):
    chosen = choose([Choice(*one) for one in choices], lowest_hz)
    assert (chosen.hz if chosen else None) == chosen_hz


@pytest.mark.parametrize("lowest_hz", np.geomspace(62.0, 400.0, 25))
@pytest.mark.parametrize("slope_db", [12, 18, 24])
@pytest.mark.parametrize("desk_hz", [DESK_HZ, (), (120.0,)])
def test_never_above_the_lowest_note_and_free_where_it_can_be(lowest_hz, slope_db, desk_hz):
    below = np.exp(-LINES_HZ / 30.0)
    choices = weigh(
        corners(desk_hz, lowest_hz),
        frequency_hz=LINES_HZ,
        below=below,
        lowest_hz=lowest_hz,
        slope_db=slope_db,
    )
    chosen = choose(choices, lowest_hz)
    if chosen is None:
        assert min(one.hz for one in choices) > lowest_hz
        return
    assert chosen.hz <= lowest_hz
    if any(one.costs_db <= MOST_COST_DB for one in choices):
        assert chosen.costs_db <= MOST_COST_DB
        if not desk_hz:
            # 5 Hz more would cost too much, or is off the scale, or takes no more.
            more = [one for one in choices if one.hz > chosen.hz]
            assert all(
                one.costs_db > MOST_COST_DB or one.takes_db < chosen.takes_db + 0.5 for one in more
            )


def test_a_free_low_cut_has_marks_of_five_hertz():
    assert corners((), 90.0) == [float(hz) for hz in range(40, 95, 5)]
    assert corners((), 39.0) == [40.0]
    assert corners((120.0, 80.0), 90.0) == [80.0, 120.0]


def test_what_is_taken_is_what_a_library_s_filter_takes_of_the_sound():
    """The whole way: a song over rumble, against the filter run over the very rumble."""
    low = rumble(30.0, 0.01)
    fields = heard(0.3 * sung("alto", 30.0)[0] + low + noise(30.0, 1e-5), low_cut_slope_db=12)
    low_cut = fields["low_cut"]
    sos = signal.butter(2, 75.0, btype="highpass", fs=RATE_HZ, output="sos")
    taken_db = 20.0 * np.log10(np.std(low) / np.std(signal.sosfilt(sos, low)))
    at_75 = next(one for one in low_cut["choices"] if one["hz"] == 75.0)
    # Below 15 Hz it is not counted, where a filter takes most.
    sos_15 = signal.butter(4, 15.0, btype="highpass", fs=RATE_HZ, output="sos")
    heard_low = signal.sosfilt(sos_15, low)
    taken_db = 20.0 * np.log10(np.std(heard_low) / np.std(signal.sosfilt(sos, heard_low)))
    assert at_75["takes_db"] == pytest.approx(taken_db, abs=1.0)
    assert low_cut["choice_hz"] == 120.0
    assert low_cut["choice_label"] == "120"
    assert f"low cut at 120 Hz: your lowest note is {low_cut['lowest_note']}" in low_cut["sentence"]


def test_hardly_any_rumble_is_not_given_a_number():
    fields = heard(0.3 * sung("alto", 30.0)[0] + noise(30.0, 1e-5))
    assert "hardly anything below it" in fields["low_cut"]["sentence"]


def test_a_bass_keeps_his_lowest_notes():
    low_cut = heard(0.3 * sung("bass", 30.0, 2)[0] + rumble(30.0, 0.01))["low_cut"]
    assert low_cut["choice_hz"] <= low_cut["lowest_hz"]
    assert low_cut["choice_hz"] == 75.0


def test_it_says_how_long_still_and_what_is_usual_until_then():
    first = heard(np.zeros(RATE_HZ // 2))["low_cut"]
    assert first["ready"] is False
    assert first["sentence"] == "sing a minute; until then 80 to 120 Hz is usual for a voice"
    later = heard(0.3 * sung("tenor", 12.0)[0])["low_cut"]
    assert later["ready"] is False
    assert 5.0 < later["seconds_left"] < 20.0
    assert f"sing {np.ceil(later['seconds_left']):.0f} s more" in later["sentence"]
    assert "choice_hz" not in later
    assert "lowest_note" in later


def test_a_minute_of_speech_will_do_and_has_its_own_lowest_pitch():
    speech = np.concatenate([spoken(12.0, seed, 110.0) for seed in range(1, 5)])
    low_cut = heard(0.3 * speech + noise(48.0, 1e-3))["low_cut"]
    assert low_cut["ready"] is True
    assert low_cut["choice_hz"] <= 80.0
    # Its glides end 0 to 3 semitones above 110 Hz.
    assert 108.0 < low_cut["lowest_hz"] < 132.0
    assert "pitch, speaking" in low_cut["sentence"]


@pytest.mark.parametrize("mains_hz", [50, 60])
@pytest.mark.parametrize("partials", [(1,), (2, 3), (1, 2, 3)])
def test_hum_is_told_with_its_mains(mains_hz, partials):
    spectra = Spectra(sample_rate_hz=RATE_HZ, low_rate_hz=12000.0)
    hum = sum(sine(k * mains_hz, 4.0, 0.003, rate_hz=12000) for k in partials)
    sound = hum + noise(4.0, 0.003, rate_hz=12000)
    for end in range(spectra.low_samples, len(sound), 2000):
        spectra.push_low(sound[:end], has_voice=False)
    assert hum_hz(spectra.pause_low.frequency_hz, spectra.pause_low.power) == mains_hz


def test_noise_and_rumble_have_no_hum():
    for seed in range(20):
        spectrum = MeanSpectrum(sample_rate_hz=12000.0, seconds=0.341, highest_hz=400.0)
        sound = noise(4.0, 0.01, rate_hz=12000, seed=seed)
        for end in range(spectrum.n_samples, len(sound), 2000):
            spectrum.push(sound[:end])
        assert hum_hz(spectrum.frequency_hz, spectrum.power) is None
    assert "hum_hz" not in heard(rumble(8.0, 0.01))["low_cut"]


def test_silence_has_no_hum():
    assert hum_hz(LINES_HZ, np.zeros(len(LINES_HZ))) is None


# --- the spectrum ---------------------------------------------------------------------------------


@pytest.mark.parametrize("label", ["63", "160", "250", "1k", "8k"])
def test_a_sine_stands_in_its_band_at_its_level(label):
    band = next(each for each in THIRD_OCTAVES if each.label == label)
    spectra = Spectra(sample_rate_hz=RATE_HZ, low_rate_hz=12000.0)
    spectra.push_high(sine(band.midband_hz, 0.1, 0.1), has_voice=True)
    spectra.push_low(sine(band.midband_hz, 0.4, 0.1, rate_hz=12000), has_voice=True)
    bands_dbfs = 10.0 * np.log10(2.0 * spectra.voice_bands() + 1e-30)
    loudest = int(np.argmax(bands_dbfs))
    assert THIRD_OCTAVES[loudest].label == label
    assert bands_dbfs[loudest] == pytest.approx(-20.0, abs=0.2)


def test_the_voice_and_what_is_below_it_are_told_apart():
    song = np.concatenate((0.3 * sung("alto", 30.0)[0], np.zeros(3 * RATE_HZ)))
    fields = heard(song + rumble(33.0, 0.01) + noise(33.0, 1e-4))
    spectrum = fields["spectrum"]
    assert len(spectrum["centre_hz"]) == len(spectrum["voice_dbfs"]) == 31
    at_31 = next(k for k, hz in enumerate(spectrum["centre_hz"]) if 31 < hz < 32)
    at_400 = next(k for k, hz in enumerate(spectrum["centre_hz"]) if 390 < hz < 400)
    assert spectrum["voice_dbfs"][at_400] > spectrum["below_dbfs"][at_400] + 25.0
    # Rumble of RMS 0.01 is -37 dBFS in all, mostly between 15 and 45 Hz.
    assert -50.0 < spectrum["below_dbfs"][at_31] < -37.0
    assert spectrum["voice_dbfs"][at_31] == pytest.approx(spectrum["below_dbfs"][at_31], abs=3.0)


def test_white_noise_of_known_level_adds_up():
    rms = 0.05
    bands = np.array(heard(noise(8.0, rms))["spectrum"]["below_dbfs"])
    total_dbfs = 10.0 * np.log10(np.sum(10.0 ** (bands / 10.0)))
    # 22.4 kHz of 24 lie within the bands.
    expected = 20.0 * np.log10(rms) + 3.01 + 10.0 * np.log10(22387.0 / 24000.0)
    assert total_dbfs == pytest.approx(expected, abs=0.2)
