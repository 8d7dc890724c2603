"""Advice on the gain within 1 dB, on sounds whose level and crest factor are known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from monitor.channel.gain_advice import WANTED_DB, Heard, Scale, advise
from monitor.channel.loudness import Loudest
from monitor.channel.meter import ChannelMeter
from tests.channel.voices import NOTE_CREST, RATE_HZ, amplitude, db, noise, note, sine, spoken, sung

MIDDLE_DB = {"digital": -15.0, "analogue": -1.5}


def fields_of(samples, *, scale="digital", rate_hz=RATE_HZ, zero_dbfs=-18.0, **more):
    meter = ChannelMeter(rate_hz, scale=scale, zero_dbfs=zero_dbfs, **more)
    for first in range(0, len(samples), 1024):
        meter.push(samples[first : first + 1024])
    meter.finish()
    return meter.fields()


def test_what_is_wanted_is_what_the_trade_wants():
    # Common practice, no source: digital desks -18 to -12 dBFS, analogue -3 to 0 on their meter.
    assert WANTED_DB == {"digital": (-18.0, -12.0), "analogue": (-3.0, 0.0)}


@pytest.mark.parametrize("rate_hz", [16000, 44100, 48000, 96000])
@pytest.mark.parametrize("peak_dbfs", [-42.0, -24.0, -6.0, -1.0])
def test_a_held_note_on_a_digital_desk(peak_dbfs, rate_hz):
    fields = fields_of(note(440.0, 13.0, amplitude(peak_dbfs), rate_hz=rate_hz), rate_hz=rate_hz)
    assert fields["scale"]["reading_db"] == pytest.approx(peak_dbfs, abs=0.1)
    assert fields["advice"]["change_db"] == pytest.approx(MIDDLE_DB["digital"] - peak_dbfs, abs=1.0)
    assert fields["crest_db"] == pytest.approx(db(NOTE_CREST), abs=0.1)


@pytest.mark.parametrize("hz", [300.0, 1000.0, 2500.0, 6300.0])
@pytest.mark.parametrize("peak_dbfs", [-30.0, -1.0])
def test_a_ring_on_the_line_never_turns_the_gain_up(hz, peak_dbfs):
    """A loop that rings, a test tone, a whistle: one partial that stands still."""
    ring = sine(hz, 6.0, amplitude(peak_dbfs)) + noise(6.0, amplitude(peak_dbfs - 25.0))
    fields = fields_of(ring)
    assert fields["voice"] == "other"
    if peak_dbfs < -12.0:
        assert "change_db" not in fields["advice"]
        assert fields["advice"]["sentence"] == "sing your loudest line"
    else:
        assert fields["advice"]["change_db"] < 0


@pytest.mark.parametrize("rate_hz", [16000, 44100, 48000, 96000])
@pytest.mark.parametrize("level_dbfs", [-30.0, -12.0])
def test_noise_on_an_analogue_desk_reads_its_mean(level_dbfs, rate_hz):
    # A full-scale sine reads 0 dBFS, so noise of RMS r reads 3.01 dB above 20 log10(r).
    rms = amplitude(level_dbfs) / np.sqrt(2.0)
    fields = fields_of(
        noise(6.0, rms, rate_hz=rate_hz), scale="analogue", rate_hz=rate_hz, zero_dbfs=-18.0
    )
    reading_db = level_dbfs + 18.0
    assert fields["scale"]["reading_db"] == pytest.approx(reading_db, abs=0.5)
    if reading_db > 0.0:
        assert fields["advice"]["change_db"] == pytest.approx(-1.5 - reading_db, abs=1.0)
    else:  # noise is no reason to turn anything up
        assert fields["advice"]["sentence"] == "sing your loudest line"


@pytest.mark.parametrize("peak_dbfs", [-20.0, -4.0])
def test_noise_on_a_digital_desk_reads_its_peaks(peak_dbfs):
    sound = noise(6.0, 1.0)
    sound *= amplitude(peak_dbfs) / np.max(np.abs(sound))
    fields = fields_of(sound)
    # The highest of all samples is a little above what its peaks come to again and again.
    assert fields["scale"]["reading_db"] == pytest.approx(peak_dbfs, abs=1.0)
    if peak_dbfs > -12.0:
        assert fields["advice"]["change_db"] == pytest.approx(-15.0 - peak_dbfs, abs=1.0)


@pytest.mark.parametrize("peak_dbfs", [-55.0, -22.0, -5.0])
@pytest.mark.parametrize("scale", ["digital", "analogue"])
def test_bursts_are_read_at_their_own_level(scale, peak_dbfs):
    rate_hz = RATE_HZ
    one = np.zeros(rate_hz)
    one[: rate_hz // 2] = sine(300.0, 0.5, amplitude(peak_dbfs))
    fields = fields_of(np.tile(one, 30) + noise(30.0, 1e-5), scale=scale)
    reading_db = peak_dbfs if scale == "digital" else peak_dbfs + 18.0
    assert fields["scale"]["reading_db"] == pytest.approx(reading_db, abs=0.5)
    assert fields["advice"]["change_db"] == pytest.approx(MIDDLE_DB[scale] - reading_db, abs=1.0)


@pytest.mark.parametrize("rate_hz", [16000, 44100, 48000, 96000])
def test_singing_at_every_rate(rate_hz):
    samples = 0.5 * sung()[0]
    factor = np.gcd(rate_hz, RATE_HZ)
    resampled = signal.resample_poly(samples, rate_hz // factor, RATE_HZ // factor)
    resampled *= 0.5 / np.max(np.abs(resampled))
    fields = fields_of(resampled + noise(12.0, 1e-4, rate_hz=rate_hz), rate_hz=rate_hz)
    assert fields["loudest"]["of"] == "sung"
    # The third loudest of 0.3 s lies below the very highest sample, by the song's own crest.
    assert db(0.5) - 2.5 < fields["scale"]["reading_db"] <= db(0.5) + 0.1
    change_db = fields["advice"]["change_db"]
    assert change_db == pytest.approx(-15.0 - fields["scale"]["reading_db"], abs=0.6)


def test_the_loudest_line_is_the_same_alone_and_among_softer_ones():
    loud = sung()[0][: 5 * RATE_HZ]
    among = np.concatenate((0.05 * sung(seed=2)[0], 0.3 * loud, 0.05 * sung(seed=2)[0]))
    alone_db = fields_of(0.3 * loud)["scale"]["reading_db"]
    assert fields_of(among)["scale"]["reading_db"] == pytest.approx(alone_db, abs=0.3)


def test_after_the_advice_it_is_right():
    samples = 0.7 * sung(seconds=24.0)[0]
    change_db = fields_of(samples)["advice"]["change_db"]
    after = fields_of((samples * amplitude(change_db)).astype(np.float32))
    assert after["state"] == "right"
    assert after["advice"]["sentence"] == "leave the gain as it is"
    assert after["advice"]["change_db"] == 0


@pytest.mark.parametrize("peak_dbfs", [-30.0, -15.0])
def test_a_soft_beginning_is_no_reason_to_turn_up_nor_to_leave_it(peak_dbfs):
    early = fields_of(note(440.0, 6.0, amplitude(peak_dbfs)))
    assert early["loudest"]["of"] == "sung"
    assert early["state"] == "waiting"
    assert "change_db" not in early["advice"]
    assert "s more of it" in early["advice"]["detail"]
    assert fields_of(note(440.0, 6.0, amplitude(-5.0)))["advice"]["change_db"] == -10


def test_the_old_gain_is_forgotten_after_fifteen_seconds_of_singing():
    loud, soft = 0.9 * sung()[0], 0.2 * sung(seed=2, seconds=24.0)[0]
    meter = ChannelMeter(RATE_HZ, scale="digital")
    meter.push(loud.astype(np.float32))
    assert meter.fields()["advice"]["change_db"] < -10
    meter.push(soft.astype(np.float32))
    assert meter.fields()["state"] == "right"


def test_speech_asks_for_singing_and_singing_is_what_counts():
    speech = fields_of(0.12 * spoken())
    assert speech["state"] == "waiting"
    assert speech["advice"]["sentence"] == "sing your loudest line"
    assert "change_db" not in speech["advice"]
    both = fields_of(np.concatenate((0.12 * spoken(), 0.6 * sung()[0])))
    assert both["loudest"]["of"] == "sung"
    assert both["loudest"]["peak_dbfs"] == both["sung"]["peak_dbfs"]
    assert both["sung"]["peak_dbfs"] > both["spoken"]["peak_dbfs"] + 6.0
    assert both["advice"]["change_db"] < -5


def test_speech_that_is_too_loud_already_is_told_at_once():
    fields = fields_of(0.6 * spoken())
    assert fields["state"] == "too_loud"
    assert fields["advice"]["sentence"].startswith("turn the gain down")
    assert "then sing your loudest line" in fields["advice"]["detail"]


def test_an_instrument_beside_the_microphone_is_no_reason_to_turn_up():
    rng = np.random.default_rng(2)
    strokes = noise(8.0, 0.02) * np.repeat(rng.uniform(0.2, 1.0, 80), RATE_HZ // 10)
    fields = fields_of(strokes.astype(np.float32))
    assert fields["loudest"]["of"] == "other"
    assert fields["state"] == "waiting"
    assert "no voice" in fields["advice"]["detail"]


def test_clipped_singing_goes_down_and_again():
    fields = fields_of(np.clip(2.0 * sung()[0], -1.0, 1.0))
    assert fields["state"] == "clipping"
    assert fields["advice"]["change_db"] <= -15
    assert "then sing again" in fields["advice"]["sentence"]


def test_one_knock_on_the_stand_does_not_set_the_gain():
    samples = 0.1 * sung()[0].copy()
    quiet = fields_of(samples)["scale"]["reading_db"]
    at = 5 * RATE_HZ
    samples[at : at + 200] += 0.8 * np.hanning(200).astype(np.float32)
    assert fields_of(samples)["scale"]["reading_db"] == pytest.approx(quiet, abs=0.5)


@pytest.mark.parametrize("zero_dbfs", [-24.0, -18.0, -10.0])
def test_an_analogue_desk_reads_from_its_own_zero(zero_dbfs):
    fields = fields_of(sine(440.0, 4.0, amplitude(-12.0)), scale="analogue", zero_dbfs=zero_dbfs)
    assert fields["scale"]["reading_db"] == pytest.approx(-12.0 - zero_dbfs, abs=0.2)
    assert fields["scale"]["zero_dbfs"] == zero_dbfs


def test_on_an_analogue_desk_peaks_must_still_fit_the_line():
    # Bursts of 20 ms at full scale less 1 dB, twelve a second: a mean far below its peaks.
    one = np.zeros(4000, np.float32)
    one[:960] = sine(400.0, 0.02, amplitude(-1.0))
    fields = fields_of(np.tile(one, 60), scale="analogue", zero_dbfs=-3.0)
    assert fields["scale"]["reading_db"] < -3.0  # by its mean alone it would be turned up
    assert fields["advice"]["change_db"] == pytest.approx(-2.0, abs=1.0)


# --- what is no matter of gain -------------------------------------------------------------------


def test_digital_silence_is_a_dead_line():
    fields = fields_of(np.zeros(3 * RATE_HZ, np.float32))
    assert fields["state"] == "dead"
    assert fields["advice"]["sentence"] == "nothing arrives on this line"
    assert fields["peak_dbfs"] == -120.0
    assert "crest_db" not in fields


def test_the_last_bit_s_flicker_is_a_dead_line_and_a_quiet_preamplifier_is_not():
    # A 16-bit converter with nothing on it toggles its lowest bit.
    rng = np.random.default_rng(1)
    flicker = (rng.integers(0, 2, 3 * RATE_HZ) / 2**15).astype(np.float32)
    assert fields_of(flicker)["state"] == "dead"
    assert fields_of(noise(3.0, amplitude(-86.0)))["state"] == "waiting"


def test_a_gate_that_closes_after_the_voice_is_not_dead_at_once():
    samples = 0.2 * sung(seconds=24.0)[0]
    closed = np.concatenate((samples, np.zeros(5 * RATE_HZ, np.float32)))
    assert fields_of(closed)["state"] == "right"
    dead = np.concatenate((samples, np.zeros(16 * RATE_HZ, np.float32)))
    assert fields_of(dead)["state"] == "dead"


def test_a_constant_offset_is_told_and_does_not_count_as_level():
    fields = fields_of(noise(4.0, 1e-3) + np.float32(0.1))
    assert fields["state"] == "offset"
    # The RMS is that of the noise alone.
    assert fields["rms_dbfs"] == pytest.approx(db(1e-3) + 3.01, abs=0.5)


def test_a_loud_pause_is_told_once_the_gain_is_right():
    clean = 0.15 * sung(seconds=24.0)[0]
    gone = np.concatenate((clean, np.zeros(3 * RATE_HZ, np.float32)))
    assert fields_of(gone + noise(27.0, 1e-4))["state"] == "right"
    fields = fields_of(gone + noise(27.0, 0.02))
    assert fields["state"] == "noisy"
    assert "bad cable" in fields["advice"]["detail"]
    assert fields["advice"]["change_db"] == 0


def line_sung(line, *, noise_a_dbfs=None, noise_c_minus_a_db=None):
    return Heard(
        seconds=20.0,
        peak_dbfs=line.peak_dbfs,
        is_dead=False,
        has_offset=False,
        clipped_ago_s=None,
        flat_top_dbfs=None,
        sung=line,
        spoken=None,
        other=None,
        noise_a_dbfs=noise_a_dbfs,
        noise_c_minus_a_db=noise_c_minus_a_db,
    )


@pytest.mark.parametrize(
    ("noise_a_dbfs", "c_minus_a_db", "said"),
    [
        (-60.0, 0.0, None),
        (-42.0, 0.0, None),
        (-38.0, 0.0, "bad cable"),
        (-38.0, 12.0, "it lies low"),
        (-38.0, None, "bad cable"),
    ],
)
def test_where_the_noise_lies_is_told(noise_a_dbfs, c_minus_a_db, said):
    line = Loudest(12.0, peak_dbfs=-15.0, rms_dbfs=-22.0, a_dbfs=-20.0, is_clipped=False)
    heard = line_sung(line, noise_a_dbfs=noise_a_dbfs, noise_c_minus_a_db=c_minus_a_db)
    advice = advise(heard, Scale("digital", 0.0))
    assert advice.state == ("right" if said is None else "noisy")
    assert said is None or said in advice.detail


def test_a_needle_just_below_its_zero_reads_zero():
    line = Loudest(12.0, peak_dbfs=-6.0, rms_dbfs=-18.3, a_dbfs=-18.3, is_clipped=False)
    heard = line_sung(line)
    advice = advise(heard, Scale("analogue", -18.0))
    assert advice.detail == "it reads 0 dB on the desk's meter, wanted -3 to 0"


def test_hum_alone_is_no_line_to_be_turned_up():
    hum = sine(100.0, 6.0, amplitude(-24.0)) + sine(50.0, 6.0, amplitude(-16.0))
    fields = fields_of(hum + noise(6.0, 1e-4))
    assert fields["state"] == "waiting"
    assert "change_db" not in fields["advice"]


@pytest.mark.parametrize(
    ("samples", "state", "said"),
    [
        (np.zeros(3 * RATE_HZ, np.float32), "dead", "hears nothing"),
        (noise(3.0, 1e-5), "waiting", "speak or clap beside the box"),
        (noise(3.0, 0.01), "right", "the box's microphone hears"),
        (np.clip(1.5 * sung()[0][: 4 * RATE_HZ], -1, 1), "clipping", "move it away"),
        (0.7 * sung()[0], "right", "the box's microphone hears"),
    ],
    ids=["dead", "covered or quiet", "a room", "too near", "a singer"],
)
def test_the_box_s_own_microphone_says_nothing_of_the_desk(samples, state, said):
    fields = fields_of(samples, kind="box")
    assert fields["state"] == state
    assert said in fields["advice"]["sentence"]
    assert "box's own microphone" in fields["advice"]["detail"]
    assert "scale" not in fields
    assert "change_db" not in fields["advice"]
    assert "the gain" not in fields["advice"]["sentence"]


def test_in_a_quiet_room_the_box_s_microphone_is_asked_for_a_sound_and_one_clap_will_do():
    meter = ChannelMeter(RATE_HZ, scale="digital", kind="box")
    quiet = noise(4.0, 1e-5)
    meter.push(quiet)
    asked = meter.fields()
    assert (asked["state"], asked["advice"]["sentence"]) == (
        "waiting",
        "speak or clap beside the box",
    )
    assert "if it does not hear that, uncover it" in asked["advice"]["detail"]
    clap = quiet[: RATE_HZ // 2].copy()
    clap[:480] += noise(0.01, 0.1)
    meter.push(clap)
    # It was heard, also when the room has been quiet again for longer than a peak is held.
    for _ in range(2):
        assert meter.fields()["advice"]["sentence"] == "the box's microphone hears"
        meter.push(quiet)


@pytest.mark.parametrize("rate_hz", [16000, 44100, 48000, 96000])
@pytest.mark.parametrize(("sound", "of"), [(spoken, "spoken"), (sung, "sung")])
@pytest.mark.parametrize("scale", ["digital", "analogue"])
def test_a_voice_s_advice_by_an_own_reckoning(rate_hz, sound, of, scale):
    """The third loudest of pieces of 0.3 s, cut by hand: its peak, or what a mean over the last
    0.3 s came to in it."""
    samples = sound()[0] if sound is sung else sound()
    factor = np.gcd(rate_hz, RATE_HZ)
    samples = 0.7 * signal.resample_poly(samples, rate_hz // factor, RATE_HZ // factor)
    samples = np.clip(samples + noise(12.0, 1e-4, rate_hz=rate_hz), -0.99, 0.99)
    fields = fields_of(samples, scale=scale, zero_dbfs=-22.0, rate_hz=rate_hz)
    n = 3 * rate_hz // 10
    pieces = samples[: len(samples) // n * n].reshape(-1, n)
    if scale == "digital":
        reading_db = db(np.sort(np.max(np.abs(pieces), axis=1))[-3])
    else:
        summed = np.concatenate((np.zeros(n), np.cumsum(samples**2)))
        means = (summed[n:] - summed[:-n])[: pieces.size] / n
        reading_db = db(np.sqrt(2.0 * np.sort(means.reshape(-1, n).max(axis=1))[-3])) + 22.0
    assert fields["loudest"]["of"] == of
    assert fields["scale"]["reading_db"] == pytest.approx(reading_db, abs=1.0)
    assert fields["advice"]["change_db"] == pytest.approx(MIDDLE_DB[scale] - reading_db, abs=1.0)
