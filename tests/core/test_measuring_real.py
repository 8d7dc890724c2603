"""The desk's line through the real alsa-lib: the watcher's child opens the card itself."""

from __future__ import annotations

import wave
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.core.running import Running
from tests.core.stand_ins import RATE_HZ
from tests.sound_server import SoundServer, sound_server  # noqa: F401 - a fixture

PEAK = 0.1
"""-20 dBFS."""


def tone(path: Path, seconds: float) -> Path:
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    samples = np.round(PEAK * 32767.0 * np.sin(2.0 * np.pi * 440.0 * t)).astype("<i2")
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(samples.tobytes())
    return path


@pytest.mark.realtime
def test_the_line_is_measured_and_a_card_that_goes_is_the_reason(
    start: Callable[..., Running],
    sound_server: SoundServer,  # noqa: F811
    tmp_path: Path,
) -> None:
    box = start(f"line.device={sound_server.device}")
    line = box.snapshot()["soundcheck"]["line"]
    assert line == {"there": True, "name": sound_server.device}
    sound_server.play(tone(tmp_path / "tone.wav", 60.0))
    assert box.client.request({"class": "soundcheck", "do": "measure"}, 5.0)["class"] == "done"

    def measuring(s: dict[str, Any]) -> dict[str, Any]:
        found: dict[str, Any] = s["soundcheck"].get("measuring", {})
        return found

    box.wait_for(lambda s: abs(measuring(s).get("peak_dbfs", 0.0) + 20.0) < 0.3, 30.0)
    shown = measuring(box.snapshot())
    assert shown["kind"] == "line"
    assert shown["source"] == {"kind": "desk", "name": sound_server.device}
    sound_server.kill()
    box.wait_for(lambda s: "why" in s["soundcheck"], 30.0)
    assert "measuring" not in box.snapshot()["soundcheck"]
    why = box.snapshot()["soundcheck"]["why"]
    # The child's own last words, not that it had to be ended.
    assert "so it was ended" not in why
    assert sound_server.device in why or "microphone" in why
    assert "\n" not in why
    print(why)
