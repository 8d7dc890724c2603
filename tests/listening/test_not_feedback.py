"""What is not feedback must leave the lamp dark in the set, however pure and steady it is."""

import numpy as np
import pytest

from monitor.listening.listener import Listener
from tests.listening import everyday
from tests.listening.maker import Maker

RATE_HZ = 44100

DARK = [
    everyday.hum_50,
    everyday.hum_60,
    everyday.hum_drifting,
    everyday.hum_switched_on,
    everyday.loop_buzz,
    everyday.fan,
    everyday.fan_starting,
    everyday.tuner_tone,
    everyday.tuner_tones_up,
    everyday.phone_beeps,
    everyday.phone_dialling,
    everyday.phone_waiting,
    everyday.pink_noise,
    everyday.pink_noise_in_steps,
    everyday.organ_chord,
    everyday.organ_swell_pedal,
    everyday.whistling,
    everyday.drum_ring,
    everyday.drum_ring_stirred,
    everyday.voice_clipped,
    everyday.chords_clipped,
    everyday.flute_crescendo,
    everyday.recorder_crescendo,
]
NO_HOWL = [
    everyday.pad_chord,
    everyday.hum_faded_up,
    everyday.loop_buzz_walked_into,
    everyday.organ_faded_up,
    everyday.chord_driven,
]


def degrees(samples):
    """The degrees that were reached in the set."""
    events = Listener(sample_rate_hz=RATE_HZ).push(samples)
    return [event.kind for event in events if event.kind != "closed"]


def maker(seed=1):
    return Maker(sample_rate_hz=RATE_HZ, seconds=10.0, seed=seed)


@pytest.mark.parametrize("sound", DARK, ids=lambda sound: sound.__name__)
def test_the_lamp_stays_dark(sound):
    assert degrees(sound(maker())) == []


@pytest.mark.parametrize("sound", NO_HOWL, ids=lambda sound: sound.__name__)
def test_it_is_no_howl(sound):
    assert "howl" not in degrees(sound(maker()))


@pytest.mark.parametrize(
    "sound", [everyday.loop_buzz, everyday.organ_chord, everyday.phone_dialling, everyday.fan]
)
def test_a_loop_within_them_is_still_found(sound):
    loop = maker(seed=2)
    loop.add_tone(1780.0, np.clip(30.0 * (loop.t - 4.0) - 90.0, -90.0, -14.0))
    assert degrees(sound(maker()) + loop.sound.astype(np.float32)) == ["ringing", "howl"]
