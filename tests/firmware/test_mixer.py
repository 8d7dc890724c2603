"""A card's automatic gain, on every kind of switch such a control is known to have."""

from __future__ import annotations

import pytest

from firmware.fakes import FakeAlsa, FakeControl
from firmware.mixer import turn_off_automatic_gain

CARD = 1


@pytest.mark.parametrize(
    ("controls", "expected"),
    [
        ({"Mic": FakeControl(capture_switch=True)}, "none"),
        ({"Auto Gain Control": FakeControl(playback_switch=True)}, "turned off"),
        ({"Mic AGC": FakeControl(capture_switch=True)}, "turned off"),
        ({"AGC": FakeControl(playback_switch=False)}, "turned off"),
        ({"Automatic Gain": FakeControl(choices=("On", "Off"), choice="On")}, "turned off"),
        ({"AGC": FakeControl(playback_switch=True, is_stubborn=True)}, "still on"),
        ({"AGC": FakeControl(choices=("Low", "High"), choice="Low")}, "still on"),
        # The kernel's driver wm8960: one turns it off, the others only say how it works.
        (
            {
                "ALC Function": FakeControl(
                    choices=("Off", "Right", "Left", "Stereo"), choice="Left"
                ),
                "ALC Max Gain": FakeControl(),
                "ALC Mode": FakeControl(choices=("ALC", "Limiter"), choice="ALC"),
            },
            "turned off",
        ),
        (
            {
                "Auto Gain Control": FakeControl(playback_switch=True),
                "AGC": FakeControl(capture_switch=True, is_stubborn=True),
            },
            "still on",
        ),
        (None, "unknown"),
    ],
)
def test_automatic_gain(controls: dict[str, FakeControl] | None, expected: str) -> None:
    alsa = FakeAlsa({}, {CARD: controls} if controls is not None else None)
    assert turn_off_automatic_gain(alsa, CARD) == expected
    if expected == "turned off":
        for control in (controls or {}).values():
            assert not control.playback_switch
            assert not control.capture_switch
            assert "Off" not in control.choices or control.choice == "Off"


def test_other_controls_are_left_alone() -> None:
    mic = FakeControl(playback_switch=True, capture_switch=True)
    gain = FakeControl(capture_switch=True)
    alsa = FakeAlsa({}, {CARD: {"Mic": mic, "Mic Gain": gain, "Stage": mic}})
    assert turn_off_automatic_gain(alsa, CARD) == "none"
    assert mic.playback_switch
    assert mic.capture_switch
    assert gain.capture_switch
    assert not [call for call in alsa.calls if call[0].startswith("set")]
