"""Singing, speech, silence and the rest told apart."""

from __future__ import annotations

import collections

import numpy as np
import pytest

from monitor.channel.meter import ChannelMeter
from monitor.channel.voice import HELD_S, VoiceJudge
from tests.channel.voices import RATE_HZ, noise, note, spoken, sung

HOP_S = 0.02


def states(samples):
    """How many hops each state lasted, after the first two seconds."""
    meter = ChannelMeter(RATE_HZ, scale="digital")
    found = collections.Counter()
    for first in range(0, len(samples), 960):
        meter.push(samples[first : first + 960])
        if first > 2 * RATE_HZ:
            found[meter._judge.state] += 1
    return found


@pytest.mark.parametrize("register", ["soprano", "alto", "tenor", "bass"])
def test_singing_is_singing(register):
    found = states(0.3 * sung(register)[0] + noise(12.0, 1e-3))
    assert found["singing"] > 0.95 * (found.total() - found["silent"])


@pytest.mark.parametrize("low_hz", [90.0, 180.0])
def test_speech_is_speech(low_hz):
    found = states(0.3 * spoken(12.0, 1, low_hz) + noise(12.0, 1e-3))
    assert found["speech"] > 0.9 * (found.total() - found["silent"])


def test_speech_after_singing_is_speech_again():
    samples = np.concatenate((sung()[0][: 8 * RATE_HZ], spoken()[: 9 * RATE_HZ]))
    meter = ChannelMeter(RATE_HZ, scale="digital")
    meter.push(0.3 * samples[: 8 * RATE_HZ])
    assert meter.fields()["voice"] == "singing"
    meter.push(0.3 * samples[8 * RATE_HZ : 13 * RATE_HZ])
    assert meter.fields()["voice"] == "speech"


def test_noise_is_neither():
    found = states(noise(8.0, 0.05))
    assert found["other"] == found.total()


def test_silence_and_a_quiet_room_are_silent():
    assert set(states(np.zeros(5 * RATE_HZ, np.float32))) == {"silent"}
    assert set(states(noise(5.0, 1e-4))) == {"silent"}


def test_silence_comes_soon_after_the_voice():
    meter = ChannelMeter(RATE_HZ, scale="digital")
    meter.push(0.3 * sung()[0][: 5 * RATE_HZ])
    meter.push(noise(1.0, 1e-4))
    assert meter.fields()["voice"] == "silent"


def test_a_steady_note_counts_as_held():
    assert states(note(330.0, 6.0, 0.1))["singing"] > 0


@pytest.mark.parametrize(
    ("keys", "is_held"),
    [
        (np.full(15, 57.0), True),
        (57.0 + 0.9 * np.sin(2 * np.pi * 5.5 * np.arange(15) * HOP_S), True),  # a wide vibrato
        (57.0 + 8.0 * np.arange(15) * HOP_S, False),  # 8 semitones a second: a spoken vowel
        (np.where(np.arange(15) < 7, 57.0, 59.0), False),  # a step within it
        (np.full(14, 57.0), False),  # too short
    ],
    ids=["straight", "vibrato", "glide", "step", "short"],
)
def test_what_is_held(keys, is_held):
    assert round(HELD_S / HOP_S) == 15
    judge = VoiceJudge(HOP_S)
    for key in keys:
        judge.push(float(key), is_active=True)
    assert any(judge._was_held) == is_held


def test_a_gap_does_not_join_two_notes():
    judge = VoiceJudge(HOP_S)
    for _ in range(10):
        judge.push(57.0, is_active=True)
    judge.reset()
    for _ in range(10):
        judge.push(57.0, is_active=True)
    assert not any(judge._was_held)
