"""From levels to one sentence: how far to turn the channel's gain, and which way.

The wanted readings are common practice, no source: on a digital desk the channel's meter, which
shows sample peaks, reads -18 to -12 dBFS on the loudest sung line; on an analogue desk its meter,
a needle or lamps that follow the mean, reads -3 to 0.  Advice aims at the middle, so that a line
sung a little louder or softer is still right.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from monitor.channel.loudness import Loudest

State = Literal[
    "waiting",
    "dead",
    "offset",
    "noisy",
    "clipping",
    "too_loud",
    "too_quiet",
    "right",
]

WANTED_DB = {"digital": (-18.0, -12.0), "analogue": (-3.0, 0.0)}

SLACK_DB = 0.5
"""The marks of a meter are no finer."""

HIGHEST_PEAK_DBFS = -3.0
"""With an analogue desk the mean sets the gain, and peaks must still fit the line: this much is
left above the highest, for a line sung louder than the loudest so far."""

CLIPPED_LEAST_DB = 6.0
"""What was cut off cannot be measured: at least so far down, then again."""

FAR_DB = 24.0
"""Farther than a gain knob is turned for a voice: the wrong channel, pad or cable is likelier."""

NOISE_BELOW_DB = 20.0
"""Less between voice and noise, both A-weighted, is heard in every pause: common practice, no
source."""

MOSTLY_LOW_DB = 8.0
"""C-weighted less A-weighted level from which noise lies mostly low: white noise has about 0, hum
of 100 Hz 19 and its buzz at 200 Hz 11 (IEC 61672-1).  Between them, common practice, no
source."""

SETTLED_S = 10.0
"""So much must have been sung before it is said that there is gain to be added or that it is
right: songs begin softly.  Of 26 beginnings, the practice stage's song from every third second and
made singers, the reading is more than 3 dB short of that after 40 s in 15 after 2.4 s of singing,
in 8 after 8 s, in 6 after this; at worst by 10.8, 7.2 and 5.1 dB.  Down is said at once."""

CLIPPED_LATELY_S = 3.0
HARDLY_DBFS = -60.0
"""A microphone of ours that hears less than this of a voice or a clap beside it is covered or its
input is turned down."""


@dataclass(frozen=True, slots=True)
class Scale:
    """The meter the person reads; ``zero_dbfs`` is where its 0 lies on the line."""

    kind: Literal["digital", "analogue"]
    zero_dbfs: float

    @property
    def wanted_db(self) -> tuple[float, float]:
        """The lowest and the highest wanted reading, on its own scale."""
        return WANTED_DB[self.kind]

    def reading_db(self, loudest: Loudest) -> float:
        """What it reads, on its own scale."""
        level = loudest.peak_dbfs if self.kind == "digital" else loudest.rms_dbfs
        return level - self.zero_dbfs

    @property
    def unit(self) -> str:
        """What its numbers are called."""
        return "dBFS" if self.kind == "digital" else "dB on the desk's meter"


@dataclass(frozen=True, slots=True)
class Heard:
    """All that the advice goes by; what is not known yet is None.  ``peak_dbfs`` is the highest
    since the beginning."""

    seconds: float
    peak_dbfs: float
    is_dead: bool
    has_offset: bool
    clipped_ago_s: float | None
    flat_top_dbfs: float | None
    sung: Loudest | None
    spoken: Loudest | None
    other: Loudest | None
    noise_a_dbfs: float | None
    noise_c_minus_a_db: float | None

    @property
    def loudest(self) -> Loudest | None:
        """What the gain is set by: sung, otherwise spoken, otherwise any sound."""
        return self.sung or self.spoken or self.other

    @property
    def is_clipped(self) -> bool:
        """Whether what the gain is set by, or the last three seconds, stood at full scale."""
        lately = self.clipped_ago_s is not None and self.clipped_ago_s < CLIPPED_LATELY_S
        return lately or (self.loudest is not None and self.loudest.is_clipped)


@dataclass(frozen=True, slots=True)
class Advice:
    """The state in one word, what to do in one sentence, why, and by how much."""

    state: State
    sentence: str
    detail: str = ""
    change_db: int | None = None


def advise(heard: Heard, scale: Scale) -> Advice:
    """What to do with the gain of the desk's channel."""
    fault = _fault(heard)
    loudest = heard.loudest
    # Clipping on one side looks like an offset besides, so it is asked first.
    is_clipping = heard.is_clipped or heard.flat_top_dbfs is not None
    if is_clipping and (fault is None or fault.state == "offset"):
        return _of_clipping(heard, scale)
    if fault is not None:
        return fault
    if loudest is None:
        return Advice("waiting", "sing your loudest line", "too little of a voice was heard yet")
    reading_db = scale.reading_db(loudest)
    change_db = _change_db(loudest, scale)
    if heard.sung is None and change_db >= 0:
        # Only a sung line tells that there is gain to be added: speech is softer, and what is no
        # voice may be an instrument beside the microphone.
        what = "speaking, it reads" if heard.spoken else "what sounds is no voice; it reads"
        because = f"{what} {round(reading_db)} {scale.unit}"
        because += "; singing is louder" if heard.spoken else ""
        return Advice("waiting", "sing your loudest line", because)
    if heard.sung is not None and change_db >= 0 and (left_s := SETTLED_S - heard.sung.seconds) > 0:
        so_far = (
            f"so far it reads {round(reading_db)} {scale.unit}; {math.ceil(left_s)} s more of it"
        )
        return Advice("waiting", "sing your loudest line", so_far)
    if change_db:
        return _turn(change_db, reading_db, heard, scale)
    return _noise(heard) or Advice(
        "right", "leave the gain as it is", f"it reads {_reads(reading_db, scale)}", 0
    )


def advise_box(heard: Heard) -> Advice:
    """What is to be said of the box's own microphone: nothing of the desk's gain."""
    detail = "this is the box's own microphone; it says nothing of the desk's gain"
    if heard.seconds < 1.0:
        return Advice("waiting", "listening", detail)
    if heard.is_clipped:
        said = "the box's microphone clips: move it away or turn its input down"
        return Advice("clipping", said, detail)
    if heard.is_dead:
        return Advice("dead", "the box's microphone hears nothing: check its plug", detail)
    if heard.has_offset:
        return Advice("offset", "the box's microphone has a constant offset: try another", detail)
    if heard.loudest is None and heard.peak_dbfs < HARDLY_DBFS:
        # An empty room may be as quiet as a covered microphone: only a sound tells them apart.
        why = "it hears next to nothing; if it does not hear that, uncover it or turn its input up"
        return Advice("waiting", "speak or clap beside the box", f"{why}; {detail}")
    return Advice("right", "the box's microphone hears", detail)


def _fault(heard: Heard) -> Advice | None:
    if heard.seconds < 1.0:
        return Advice("waiting", "listening")
    if heard.is_dead:
        return Advice(
            "dead",
            "nothing arrives on this line",
            "check the cable, that the channel is on, and that the desk sends it before the fader",
        )
    if heard.has_offset:
        return Advice(
            "offset",
            "this line has a constant offset",
            "it is a fault of an input or a cable, not of the gain: try another input",
        )
    return None


def _change_db(loudest: Loudest, scale: Scale) -> int:
    """Whole dB to the middle of what is wanted; 0 when it is right."""
    lowest_db, highest_db = scale.wanted_db
    reading_db = scale.reading_db(loudest)
    room_db = HIGHEST_PEAK_DBFS - loudest.peak_dbfs
    is_wanted = lowest_db - SLACK_DB <= reading_db <= highest_db + SLACK_DB
    if is_wanted and room_db >= -SLACK_DB:
        return 0
    wanted_db = 0.5 * (lowest_db + highest_db) - reading_db
    return round(min(wanted_db, room_db))


def _of_clipping(heard: Heard, scale: Scale) -> Advice:
    loudest = heard.loudest
    change_db = -CLIPPED_LEAST_DB
    if loudest is not None:
        change_db = min(change_db, _change_db(loudest, scale))
    down = f"turn the gain down {-round(change_db)} dB, then sing again"
    if heard.is_clipped:
        detail = "the tops are cut off at full scale, so how loud it really is cannot be told"
    else:
        detail = (
            f"the tops are flat at {heard.flat_top_dbfs:.1f} dBFS though the line has room: "
            "something before it may be clipping"
        )
    return Advice("clipping", down, detail, round(change_db))


def _reads(reading_db: float, scale: Scale) -> str:
    lowest_db, highest_db = scale.wanted_db
    # A whole number has no "-0", which no meter reads.
    return f"{round(reading_db)} {scale.unit}, wanted {lowest_db:.0f} to {highest_db:.0f}"


def _turn(change_db: int, reading_db: float, heard: Heard, scale: Scale) -> Advice:
    way = "down" if change_db < 0 else "up"
    loudest_of = "the loudest line" if heard.sung else "speech" if heard.spoken else "a sound"
    detail = f"{loudest_of} reads {_reads(reading_db, scale)}"
    if heard.sung is None:
        detail += "; then sing your loudest line"
    if abs(change_db) > FAR_DB:
        detail += "; so far off, look first whether this is the voice's channel"
    state: State = "too_loud" if change_db < 0 else "too_quiet"
    return Advice(state, f"turn the gain {way} {abs(change_db)} dB", detail, change_db)


def _noise(heard: Heard) -> Advice | None:
    """The gain is right, but the pauses are loud."""
    loudest = heard.sung or heard.spoken
    if loudest is None or heard.noise_a_dbfs is None:
        return None
    apart_db = loudest.a_dbfs - heard.noise_a_dbfs
    if apart_db >= NOISE_BELOW_DB:
        return None
    where = "it lies low: hum or rumble, look at cables and low cut"
    if heard.noise_c_minus_a_db is None or heard.noise_c_minus_a_db < MOSTLY_LOW_DB:
        where = "look for what else this microphone hears, or for a bad cable"
    return Advice(
        "noisy",
        "leave the gain as it is, but the pauses are loud",
        f"only {max(apart_db, 0.0):.0f} dB lie between voice and noise; {where}",
        0,
    )
