"""Sounds of a stage that are no feedback, each made from a seed.

They are simple models, made to hold what could be taken for a loop: lines that stand still, that
are pure, that swell.  Real recordings are the benchmark's business.
"""

from __future__ import annotations

import math

import numpy as np

from tests.listening.maker import FLUTE, ORGAN, RECORDER, SAW, SILENT_DB, STRING, Maker, Partials

MAINS_PARTIALS: Partials = tuple(
    (k, -3.0 * k + (0.0 if k % 2 == 0 or k == 1 else -4.0)) for k in range(1, 13)
)
BUZZ_PARTIALS: Partials = tuple(
    (k, -10.0 * math.log10(k) - (0.0 if k % 2 else 6.0)) for k in (*range(1, 13), *range(13, 80, 2))
)


def hum_50(m: Maker) -> np.ndarray:
    """Mains hum that stands from the beginning."""
    m.add_tone(50.0, 0.0, MAINS_PARTIALS)
    return m.done(peak_dbfs=-25.0)


def hum_60(m: Maker) -> np.ndarray:
    """The same where mains has 60 Hz."""
    m.add_tone(60.0, 0.0, MAINS_PARTIALS)
    return m.done(peak_dbfs=-25.0)


def hum_drifting(m: Maker) -> np.ndarray:
    """The mains wanders by a few hundredths of a hertz, the level by a decibel."""
    m.add_tone(50.0 + 0.04 * m.wander(rate_hz=0.2), m.wander(rate_hz=0.3), MAINS_PARTIALS)
    return m.done(peak_dbfs=-25.0)


def hum_switched_on(m: Maker) -> np.ndarray:
    """An amplifier is switched on: nothing, then hum."""
    m.add_tone(60.0, m.played(2.0, 99.0, attack_s=0.02), MAINS_PARTIALS)
    return m.done(peak_dbfs=-25.0)


def loop_buzz(m: Maker) -> np.ndarray:
    """What a hearing loop and a dimmer put on a line: a comb of mains harmonics up to 4 kHz."""
    m.add_tone(50.0, np.where((m.t > 3.0) & (m.t < 6.0), 0.0, -12.0), BUZZ_PARTIALS)
    return m.done(peak_dbfs=-18.0)


def fan(m: Maker) -> np.ndarray:
    """Rush of air and the tone of the blades, never quite steady."""
    speed = 1.0 + 0.003 * m.wander(rate_hz=1.5)
    m.add_tone(174.0 * speed, 1.5 * m.wander(rate_hz=3.0), ((1, 0), (2, -6), (3, -14)))
    m.add_noise(-6.0, slope=-1.0)
    return m.done(peak_dbfs=-22.0)


def fan_starting(m: Maker) -> np.ndarray:
    """A fan that runs up to its speed in four seconds."""
    speed = np.minimum(1.0 - np.exp(-m.t / 1.2), 1.0) + 0.002 * m.wander(rate_hz=1.5)
    level = 40.0 * np.log10(np.maximum(speed, 0.01))
    m.add_tone(np.maximum(310.0 * speed, 1.0), level, ((1, 0), (2, -8), (4, -16)))
    m.add_noise(level - 6.0, slope=-1.0)
    return m.done(peak_dbfs=-22.0)


def tuner_tone(m: Maker) -> np.ndarray:
    """A tuner's 440 Hz through a loudspeaker, twice."""
    for start_s, end_s in ((1.0, 4.0), (5.0, 9.0)):
        m.add_tone(440.0, m.played(start_s, end_s, attack_s=0.01))
    m.put_in_a_room(t60_s=0.6)
    return m.done()


def tuner_tones_up(m: Maker) -> np.ndarray:
    """One after the other the strings of a guitar, pure tones a second and a half each."""
    for number, frequency_hz in enumerate((82.41, 110.0, 146.83, 196.0, 246.94, 329.63)):
        start_s = 0.5 + 1.5 * number
        m.add_tone(frequency_hz, m.played(start_s, start_s + 1.45, attack_s=0.03))
    m.put_in_a_room(t60_s=0.4)
    return m.done()


def phone_beeps(m: Maker) -> np.ndarray:
    """An alarm: four short tones, a rest, four short tones."""
    for start_s in np.arange(0.5, m.t[-1] - 1.0, 1.2):
        for beep in range(4):
            at_s = start_s + 0.2 * beep
            m.add_tone(2048.0, m.played(at_s, at_s + 0.1, attack_s=0.003))
    m.put_in_a_room(t60_s=0.5)
    return m.done()


def phone_dialling(m: Maker) -> np.ndarray:
    """Dialling tones: two sines a key (ITU-T Q.23), 120 ms on and 80 ms off."""
    low, high = (697.0, 770.0, 852.0, 941.0), (1209.0, 1336.0, 1477.0)
    for start_s in np.arange(0.5, m.t[-1] - 0.5, 0.2):
        level = m.played(start_s, start_s + 0.12, attack_s=0.002)
        m.add_tone(m.rng.choice(low), level)
        m.add_tone(m.rng.choice(high), level)
    m.put_in_a_room(t60_s=0.5)
    return m.done()


def phone_waiting(m: Maker) -> np.ndarray:
    """The tone of a phone that rings at the other end: 440 and 480 Hz, two seconds long."""
    for start_s in (0.5, 5.5):
        level = m.played(start_s, start_s + 2.0, attack_s=0.005)
        m.add_tone(440.0, level)
        m.add_tone(480.0, level)
    m.put_in_a_room(t60_s=0.6)
    return m.done()


def pink_noise(m: Maker) -> np.ndarray:
    """Pink noise at one level."""
    m.add_noise(0.0, slope=-1.0)
    return m.done(peak_dbfs=-6.0)


def pink_noise_in_steps(m: Maker) -> np.ndarray:
    """Pink noise as one sets up with it: on, louder, softer, faded up."""
    level = np.select([m.t < 1.0, m.t < 3.0, m.t < 5.0, m.t < 7.0], [-60.0, -20.0, 0.0, -12.0])
    m.add_noise(np.where(m.t < 7.0, level, np.minimum(-40.0 + 20.0 * (m.t - 7.0), 0.0)), slope=-1.0)
    m.put_in_a_room(t60_s=0.8)
    return m.done(peak_dbfs=-6.0)


def organ_chord(m: Maker) -> np.ndarray:
    """Two chords of an organ, held for four seconds each."""
    for start_s, chord in ((0.5, (220.0, 277.2, 329.6)), (5.0, (196.0, 246.9, 293.7, 392.0))):
        for frequency_hz in chord:
            m.add_tone(frequency_hz, m.played(start_s, start_s + 4.0, attack_s=0.03), ORGAN)
    m.put_in_a_room(t60_s=1.0)
    return m.done()


def organ_swell_pedal(m: Maker) -> np.ndarray:
    """A held chord whose pedal is opened: 20 dB in four seconds, and closed again."""
    pedal = np.interp(m.t, (0.0, 2.0, 6.0, 7.0, 10.0), (-20.0, -20.0, 0.0, 0.0, -20.0))
    for frequency_hz in (261.6, 329.6, 392.0):
        m.add_tone(frequency_hz, pedal + m.played(0.5, 9.0, attack_s=0.04), ORGAN)
    m.put_in_a_room(t60_s=1.0)
    return m.done()


def pad_chord(m: Maker) -> np.ndarray:
    """A pad of two detuned voices a note, swelling for two seconds."""
    for start_s, chord in ((0.5, (130.8, 196.0, 311.1)), (5.0, (146.8, 220.0, 349.2))):
        level = m.played(start_s, start_s + 3.5, attack_s=2.0, release_db_per_s=25.0)
        for frequency_hz in chord:
            for cents in (-6.0, 6.0):
                m.add_tone(frequency_hz * 2.0 ** (cents / 1200.0), level, SAW)
    m.put_in_a_room(t60_s=0.8)
    return m.done()


def whistling(m: Maker) -> np.ndarray:
    """A tune whistled: glides, vibrato, held notes, nearly pure with breath in it."""
    notes = (0, 4, 7, 12, 11, 7, 9, 5)
    starts = np.linspace(0.3, m.t[-1] - 1.5, len(notes))
    steps = np.interp(
        m.t,
        np.sort(np.concatenate((starts, starts + 0.12))),
        np.repeat((notes[-1], *notes), 2)[1:-1],
    )
    cents = 100.0 * steps + 6.0 * m.wander(rate_hz=4.0)
    held = m.t - starts[np.maximum(np.searchsorted(starts, m.t) - 1, 0)]
    cents += 25.0 * np.clip(held - 0.4, 0.0, 1.0) * np.sin(2.0 * math.pi * 5.5 * m.t)
    level = 1.2 * m.wander(rate_hz=5.0) + 20.0 * np.log10(np.clip(held / 0.08, 0.03, 1.0))
    m.add_tone(1046.5 * 2.0 ** (cents / 1200.0), level, ((1, 0), (2, -32)))
    m.add_noise(-38.0)
    m.put_in_a_room(t60_s=0.5)
    return m.done()


def drum_ring(m: Maker) -> np.ndarray:
    """Toms and a snare whose heads ring on: modes that decay (a membrane's, Bessel zeros)."""
    modes = ((1.0, 0.9), (1.594, 0.7), (2.136, 0.5), (2.296, 0.5), (2.653, 0.35))
    for start_s, head_hz in zip(
        np.arange(0.5, m.t[-1] - 0.5, 0.9), np.tile((92.0, 131.0, 208.0, 131.0), 10), strict=False
    ):
        since = np.maximum(m.t - start_s, 0.0)
        for ratio, t60_s in modes:
            level = np.where(m.t < start_s, SILENT_DB, -60.0 * since / t60_s)
            m.add_tone(head_hz * ratio, np.maximum(level + m.rng.uniform(-8, 0), SILENT_DB))
        m.add_noise(
            np.where(m.t < start_s, SILENT_DB, np.maximum(-12.0 - 900.0 * since, SILENT_DB))
        )
    m.put_in_a_room(t60_s=0.4)
    return m.done()


def drum_ring_stirred(m: Maker) -> np.ndarray:
    """A tom's head that hums along with a bass: a resonator driven for three seconds."""
    m.add_tone(98.0, m.played(1.0, 4.0, attack_s=0.05), STRING)
    driven = 1.0 - np.exp(-np.clip(m.t - 1.0, 1e-4, 3.0) / 0.25)
    ring = 20.0 * np.log10(driven) - 8.0 - 45.0 * np.maximum(m.t - 4.0, 0.0)
    m.add_tone(98.4, np.where(m.t < 1.0, SILENT_DB, np.maximum(ring, SILENT_DB)))
    m.put_in_a_room(t60_s=0.4)
    return m.done()


def add_voice(m: Maker) -> None:
    """Syllables of a voice: a saw with a moving pitch through three moving resonances."""
    pitch_hz = 145.0 * 2.0 ** (
        (150.0 * m.wander(rate_hz=1.0) + 12.0 * m.wander(rate_hz=8.0)) / 1200.0
    )
    turns = np.cumsum(pitch_hz) / m.sample_rate_hz
    syllables = np.clip(0.4 + 0.6 * m.wander(rate_hz=4.0), 0.0, 1.0)
    resonances = [base * 2.0 ** (0.25 * m.wander(rate_hz=4.0)) for base in (560.0, 1500.0, 2600.0)]
    sound = np.zeros(len(m.t))
    for k in range(1, 28):
        line_hz = k * pitch_hz
        gain = sum(1.0 / (1.0 + ((line_hz - at) / 130.0) ** 2) for at in resonances)
        sound += gain / k**0.5 * np.sin(2.0 * math.pi * k * turns)
    m.sound += syllables * (sound / np.abs(sound).max() + 0.01 * m.noise(0.0))


def voice_clipped(m: Maker) -> np.ndarray:
    """A voice 14 dB too loud for the preamplifier."""
    add_voice(m)
    m.sound = np.clip(5.0 * m.sound / np.abs(m.sound).max(), -1.0, 1.0)
    return m.done(peak_dbfs=-0.1)


def chords_clipped(m: Maker) -> np.ndarray:
    """Chords struck harder and harder into an amplifier that clips; they die away between."""
    for number, start_s in enumerate(np.arange(0.5, m.t[-1] - 1.0, 1.5)):
        level = m.played(start_s, start_s + 0.1, attack_s=0.004, release_db_per_s=9.0)
        level = np.where(m.t < start_s + 1.45, level + 4.0 * number, SILENT_DB)
        for frequency_hz in (110.0, 164.8, 220.0):
            m.add_tone(frequency_hz, level, STRING)
    m.sound = np.clip(m.sound / 3.0, -1.0, 1.0)
    return m.done(peak_dbfs=-0.1)


def flute_crescendo(m: Maker) -> np.ndarray:
    """A long note from very soft to loud, the vibrato growing with it."""
    level = m.played(1.0, 7.0, attack_s=0.1, release_db_per_s=120.0)
    level += np.interp(m.t, (1.0, 5.0), (-32.0, 0.0))
    deep = np.interp(m.t, (1.0, 5.0), (4.0, 18.0))
    beat = np.sin(2.0 * math.pi * 5.0 * m.t)
    cents = deep * beat + 3.0 * m.wander(rate_hz=4.0)
    m.add_tone(
        587.3 * 2.0 ** (cents / 1200.0), level + 1.0 * beat + 0.4 * m.wander(rate_hz=6.0), FLUTE
    )
    m.add_noise(np.maximum(level - 34.0, SILENT_DB), slope=-1.0)
    m.put_in_a_room(t60_s=0.8)
    return m.done()


def recorder_crescendo(m: Maker) -> np.ndarray:
    """The same without vibrato: steady to a few cents, which rise with the breath."""
    swell = np.interp(m.t, (1.0, 5.0), (-20.0, 0.0))
    level = m.played(1.0, 7.0, attack_s=0.06, release_db_per_s=200.0) + swell
    cents = 1.2 * swell + 2.5 * m.wander(rate_hz=5.0)
    m.add_tone(784.0 * 2.0 ** (cents / 1200.0), level + 0.5 * m.wander(rate_hz=6.0), RECORDER)
    m.add_noise(np.maximum(level - 36.0, SILENT_DB), slope=-1.0)
    m.put_in_a_room(t60_s=0.8)
    return m.done()


def hum_faded_up(m: Maker) -> np.ndarray:
    """A humming line whose fader is pushed up, 40 dB in two seconds."""
    m.add_tone(50.0, np.clip(20.0 * (m.t - 4.0), -40.0, 0.0), MAINS_PARTIALS)
    return m.done(peak_dbfs=-20.0, floor_dbfs=-80.0)


def loop_buzz_walked_into(m: Maker) -> np.ndarray:
    """Somebody carries a guitar into the loop's field: the comb rises by 30 dB in three seconds."""
    m.add_tone(60.0, np.clip(10.0 * (m.t - 5.0), -30.0, 0.0), BUZZ_PARTIALS)
    return m.done(peak_dbfs=-18.0)


def organ_faded_up(m: Maker) -> np.ndarray:
    """A held chord whose fader is pushed up, 30 dB in two seconds."""
    for frequency_hz in (196.0, 246.9, 293.7):
        m.add_tone(frequency_hz, np.clip(15.0 * (m.t - 5.0), -30.0, 0.0), ORGAN)
    m.put_in_a_room(t60_s=0.8)
    return m.done(floor_dbfs=-80.0)


def chord_driven(m: Maker) -> np.ndarray:
    """A held chord driven into clipping and back, 20 dB in two seconds."""
    level = np.interp(m.t, (0.0, 2.0, 4.0, 6.0, 8.0), (-12.0, -12.0, 8.0, 8.0, -12.0))
    for frequency_hz in (110.0, 164.8, 220.0):
        m.add_tone(frequency_hz, level + m.played(0.5, 8.0, attack_s=0.02), STRING)
    m.sound = np.clip(m.sound / 2.0, -1.0, 1.0)
    return m.done(peak_dbfs=-0.1)
