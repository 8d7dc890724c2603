"""What a ring-out says: pure functions from what it knows to short lines."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from monitor.advice.labels import decibels, written
from monitor.advice.pulls import Pull
from monitor.advice.ring_out_state import MarginLeft

CAUTIONS = (
    "Mind your ears, and those of others: feedback can get loud at once.",
    "Start with the fader low and keep a hand on it; move it slowly.",
    "Nobody stands near the loudspeakers, and the microphone is where it will be used.",
)
RAISE = "Raise slowly"
RAISE_MORE = "half a decibel, wait two seconds, and again, until something rings"
STILL_RINGS = "what was left alone still rings: come down until it has gone"
BACK_OFF_DB = 3.0
"""2 to 3 dB avoid audible ringing (T. van Waterschoot, M. Moonen, Proc. IEEE 99(2), 2011, II)."""


def pull_line(pulls: Sequence[Pull], swept: Collection[str] = ()) -> str:
    """Return the big words for some pulls: "Pull 2.5k by 4 dB, 3.15k by 2 dB".

    Filters that can be put anywhere are named by where they go.
    """
    ordered = sorted(pulls, key=lambda pull: -pull.more_db)
    parts = [
        f"{written(p.centre_hz) if p.label in swept else p.label} by {decibels(p.more_db)} dB"
        for p in ordered
    ]
    return "Pull " + ", ".join(parts)


def pull_detail(
    pulls: Sequence[Pull], again_hz: Sequence[float], swept: Collection[str] = ()
) -> str:
    """Return where the sliders then stand, and what to check if a ring came back."""
    places = [
        f"{p.label}: {written(p.centre_hz)}, Q {p.q:.1f}, "
        if p.label in swept
        else f"{p.label} at "
        for p in pulls
    ]
    pairs = zip(places, pulls, strict=True)
    stand = ", ".join(f"{place}-{decibels(p.pull_db)}" for place, p in pairs)
    if not again_hz:
        return f"then: {stand}"
    back = ", ".join(_with_unit(hz) for hz in again_hz)
    return f"{back} rings still or again: was it the right slider? Then: {stand}"


def _with_unit(frequency_hz: float) -> str:
    """A frequency that is no slider's name: "272 Hz", "2.48k"."""
    name = written(frequency_hz)
    return name if name.endswith("k") else f"{name} Hz"


def put_back_line(before: Sequence[Pull], after: Sequence[Pull]) -> str:
    """Return what to put back where: "Put 2.5k back to -2 dB, 400 to 0"."""
    now = {p.label: p.pull_db for p in after}
    parts = [
        f"{p.label} back to -{decibels(now[p.label])} dB" if now.get(p.label) else f"{p.label} to 0"
        for p in before
        if p.pull_db > now.get(p.label, 0.0)
    ]
    return "Put " + ", ".join(parts)


def back_off_line(by_db: float) -> str:
    """Return the big words for coming down."""
    return f"Come down {decibels(by_db)} dB"


def margin_line(frequency_hz: float, margin: MarginLeft) -> str:
    """Return what one ring has left: "2.5k: about 4 dB left, 2 to 6"."""
    how = {"sure": "", "about": "about ", "a guess": "perhaps "}[margin.sure]
    ends = f"{round(margin.low_db)} to {round(margin.high_db)}"
    return f"{written(frequency_hz)}: {how}{round(margin.db)} dB left, {ends}"


def done_line(pulls: Sequence[Pull], gain_won_db: float | None) -> str:
    """Return the big words of the end."""
    count = f"{len(pulls)} slider{'' if len(pulls) == 1 else 's'} pulled"
    if not pulls:
        count = "Nothing pulled"
    if gain_won_db is not None:
        return f"{decibels(gain_won_db)} dB won, {count}"
    return count
