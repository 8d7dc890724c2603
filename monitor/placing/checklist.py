"""The placement and handling list: what to do with stands, hands and switches, in order.

It is data and words only.  Each item says where its advice comes from; most of it is common
practice for which no source can be named, and then it says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Step = Literal["place", "level", "low_cut", "ring_out"]
STEPS: tuple[tuple[Step, str], ...] = (
    ("place", "Place"),
    ("level", "Level"),
    ("low_cut", "Low cut"),
    ("ring_out", "Ring-out"),
)
"""The soundcheck's steps in their order, each with its heading."""

PRACTICE = "common practice, no source"
HANDBOOK = "G. Ballou (ed.), Handbook for Sound Engineers, ch. 34, eq. 34-21 and 34-22"
DESIGN_MANUAL = "J. Eargle, Sound System Design Reference Manual, ch. 4, p. 4-5"
MICROPHONES = "J. Eargle, The Microphone Book, 2nd ed. 2004, ch. 6, eq. 6.4 to 6.6; nulls computed"
HOWLING = "T. van Waterschoot, M. Moonen, Proc. IEEE 99(2), 2011, section II"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to do.

    Attributes
    ----------
    id : str
        A stable slug; ticks are kept by it, so it never changes once released.
    title : str
        What to do, a few words.
    words : str
        How, and why; one or two short sentences.
    step : "place", "level", "low_cut" or "ring_out"
        The soundcheck's step it belongs to.
    source : str
        Where the advice comes from.
    """

    id: str
    title: str
    words: str
    step: Step
    source: str = PRACTICE


CHECKLIST: tuple[Item, ...] = (
    Item(
        "safe-electricity",
        "Electricity and cables first",
        "Dry, undamaged, off the walkways. What is fixed, earthed or rigged over heads is for "
        "licensed people, by local codes; stands stay within their load.",
        "place",
    ),
    Item(
        "mains-forward",
        "Mains nearer to the audience than every microphone",
        "Aimed out and away from them; never behind the singer, never angled in across the stage.",
        "place",
    ),
    Item(
        "wedge-deaf-side",
        "Wedge on the microphone's deaf side",
        "Cardioid: straight behind it. Supercardioid: about 55 degrees to the side of that, "
        "hypercardioid: about 70.",
        "place",
        MICROPHONES,
    ),
    Item(
        "wedge-near",
        "Wedge near your ears, and quiet",
        "Hear yourself from the wedge, not from the mains. Half the distance is 6 dB less to ask.",
        "place",
        DESIGN_MANUAL,
    ),
    Item(
        "mouth-close",
        "Two fingers from mouth to microphone",
        "3 to 5 cm. Half the distance is 6 dB more voice for the same feedback.",
        "place",
        f"{PRACTICE}; 6 dB for half the distance: {DESIGN_MANUAL}",
    ),
    Item(
        "grille-free",
        "Hands off the grille",
        "Hold the handle. A hand round the grille lets the microphone hear all round and rings.",
        "place",
    ),
    Item(
        "mute-unused",
        "Mute what nobody uses",
        "Twice as many open microphones cost 3 dB.",
        "place",
        HANDBOOK,
    ),
    Item(
        "flat-start",
        "Tone controls flat, nothing boosted",
        "Boosted lows and highs cost gain before feedback. Pull what rings; do not boost the rest.",
        "level",
    ),
    Item(
        "sing-loudest",
        "Set the gain while you sing your loudest line",
        "Singing is louder than speaking.",
        "level",
    ),
    Item(
        "meter-reading",
        "Read the channel's own meter before the fader",
        "Digital desk: about -18 to -12 dBFS. Analogue desk: about -3 to 0 on its own scale. "
        "The clip lamp stays dark.",
        "level",
    ),
    Item(
        "low-cut-on",
        "Low cut on every voice",
        "80 to 120 Hz, below your lowest note. Rumble and handling go, the voice stays.",
        "low_cut",
    ),
    Item(
        "ears-first",
        "Ears first",
        "Fader down, nobody near a loudspeaker, everybody told. Feedback gets loud at once; for "
        "hearing protection follow local codes.",
        "ring_out",
    ),
    Item(
        "raise-slowly",
        "Raise slowly, pull what rings a few dB, raise again",
        "With the microphones where they will be used, and open.",
        "ring_out",
    ),
    Item(
        "stop-at-limit",
        "Stop when three ring together and pulling brings the next",
        "That is the room's limit; by ear it comes after 5 to 7 pulls. Then come down 3 dB.",
        "ring_out",
        f"{PRACTICE}; 2 to 3 dB avoid audible ringing: {HOWLING}",
    ),
    Item(
        "listen-again",
        "Listen again when the room has filled",
        "What rings changes with people, with whoever moves and with a covered microphone.",
        "ring_out",
    ),
)
"""Every item, in the order of an evening."""
