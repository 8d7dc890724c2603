"""The low cut's advice: which notes the voice uses, and which of the desk's choices follows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from monitor.channel.low_cut import (
    BELOW_SHARE,
    LEAST_RUMBLE_DB,
    MOST_COST_DB,
    USUAL_HZ,
    Choice,
    choose,
    corners,
    hum_hz,
    weigh,
)
from monitor.channel.pitch_range import PitchRange, note_name
from monitor.channel.spectra import Spectra

READY_VOICED_S = 20.0
"""Of a minute of a song two thirds are voiced; half of that has the verse and the chorus in it.
Common practice, no source."""

LEAST_SUNG_S = 10.0
"""From this much held singing on only sung notes count: a song may lie above the speech."""

LEAST_WINDOWS = 5
"""Of the pauses, before hum is looked for in them: a mean of fewer is no more than chance."""


@dataclass(frozen=True, slots=True)
class LowCut:
    """What is known of the voice's range, and the choice that follows once it is enough."""

    voiced_s: float
    seconds_left: float
    sentence: str
    lowest_hz: float | None = None
    highest_hz: float | None = None
    choice: Choice | None = None
    choices: list[Choice] = field(default_factory=list)
    mains_hz: float | None = None

    @property
    def is_ready(self) -> bool:
        """Whether enough was heard."""
        return self.seconds_left <= 0.0 and self.lowest_hz is not None

    def fields(self) -> dict[str, Any]:
        """As JSON's types; what is not known is absent."""
        fields: dict[str, Any] = {"ready": self.is_ready, "voiced_s": round(self.voiced_s, 1)}
        if not self.is_ready:
            fields["seconds_left"] = round(self.seconds_left, 1)
        for name, hz in (("lowest", self.lowest_hz), ("highest", self.highest_hz)):
            if hz is not None:
                fields[f"{name}_hz"] = round(hz, 1)
                fields[f"{name}_note"] = note_name(hz)
        if self.choice is not None:
            fields["choice_hz"] = self.choice.hz
            fields["choice_label"] = f"{self.choice.hz:g}"
            fields.update(_takes(self.choice))
        if self.mains_hz is not None:
            fields["hum_hz"] = round(self.mains_hz)
        if self.choices:
            fields["choices"] = [{"hz": one.hz, **_takes(one)} for one in self.choices]
        fields["sentence"] = self.sentence
        return fields


def _takes(choice: Choice) -> dict[str, float]:
    return {"takes_db": round(choice.takes_db, 1), "costs_db": round(choice.costs_db, 1)}


class LowCutView:
    """Gathers the held pitches, sung and spoken apart."""

    def __init__(self, hop_s: float, low_cuts_hz: Sequence[float], slope_db: int) -> None:
        self._low_cuts_hz = tuple(low_cuts_hz)
        self._slope_db = slope_db
        self._sung = PitchRange(hop_s)
        self._spoken = PitchRange(hop_s)

    def push(self, key: float, *, is_sung: bool) -> None:
        """Count a hop of a settled pitch, by its key number."""
        (self._sung if is_sung else self._spoken).push(key)

    def view(self, spectra: Spectra, voiced_s: float) -> LowCut:
        """What follows from all that was heard; ``voiced_s`` of it had a pitch."""
        is_sung = self._sung.seconds >= LEAST_SUNG_S
        used = self._sung if is_sung else self._sung.add(self._spoken)
        lowest_hz, highest_hz = used.lowest_hz(), used.highest_hz()
        mains_hz = _hum(spectra)
        left_s = max(0.0, READY_VOICED_S - voiced_s)
        if left_s > 0.0 or lowest_hz is None:
            return LowCut(
                voiced_s, left_s, _not_yet(left_s, voiced_s), lowest_hz, highest_hz, None, [],
                mains_hz,
            )  # fmt: skip
        choices = weigh(
            corners(self._low_cuts_hz, lowest_hz),
            frequency_hz=spectra.voice_low.frequency_hz,
            below=spectra.all_low(),
            lowest_hz=lowest_hz,
            slope_db=self._slope_db,
        )
        choice = choose(choices, lowest_hz)
        sentence = _sentence(choice, lowest_hz, is_sung, _rumble_db(spectra, lowest_hz))
        return LowCut(voiced_s, 0.0, sentence, lowest_hz, highest_hz, choice, choices, mains_hz)


def _hum(spectra: Spectra) -> float | None:
    pause = spectra.pause_low
    return hum_hz(pause.frequency_hz, pause.power) if pause.count >= LEAST_WINDOWS else None


def _rumble_db(spectra: Spectra, lowest_hz: float) -> float:
    """What lies below the voice, in dB beside the voice's own low end while it sounds."""
    f, voice = spectra.voice_low.frequency_hz, spectra.voice_low.power
    is_below = (f >= 15.0) & (f <= BELOW_SHARE * lowest_hz)
    below, beside = float(spectra.all_low()[is_below].sum()), float(voice[~is_below].sum())
    return float(10.0 * np.log10(max(below, 1e-15) / max(beside, 1e-15)))


def _not_yet(left_s: float, voiced_s: float) -> str:
    low, high = USUAL_HZ
    begin = "sing a minute" if voiced_s < 1.0 else f"sing {np.ceil(left_s):.0f} s more"
    return f"{begin}; until then {low:.0f} to {high:.0f} Hz is usual for a voice"


def _sentence(choice: Choice | None, lowest_hz: float, is_sung: bool, rumble_db: float) -> str:
    lowest = f"your lowest {'note' if is_sung else 'pitch, speaking,'} is {note_name(lowest_hz)} "
    lowest += f"({lowest_hz:.0f} Hz)"
    if choice is None:
        return f"leave the low cut out: {lowest}, under all of its choices"
    said = f"low cut at {choice.hz:g} Hz: {lowest}"
    if choice.costs_db > MOST_COST_DB:
        said += f", which loses {choice.costs_db:.1f} dB"
    if rumble_db < LEAST_RUMBLE_DB:
        return f"{said}; there is hardly anything below it to take"
    return f"{said}; it takes {choice.takes_db:.0f} dB of what lies below"
