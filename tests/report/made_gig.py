"""Gigs that never were, as records: any number of rings, any length, everything or nothing kept.

Band, venues and sounds are invented; the numbers come from a seeded generator.
"""

from __future__ import annotations

import math
import random
from typing import Any

from monitor.listening.bands import THIRD_OCTAVES, third_octave_of

Record = dict[str, Any]
BAND, VENUE = "The Ferry Lamps", "The Slipway"
BEGUN = "2026-11-26T18:02:40Z"
PLACES_HZ = ((2480.0, 5), (3170.0, 3), (1240.0, 2), (403.0, 2), (6290.0, 1), (252.0, 1), (798.0, 1))
"""Where it rings, and how often beside the others."""
SLIDERS = [{"label": b.label, "centre_hz": round(b.midband_hz, 1)} for b in THIRD_OCTAVES]


def pull(label: str, pull_db: float) -> dict[str, Any]:
    """One slider as it stands."""
    centre_hz = next(s["centre_hz"] for s in SLIDERS if s["label"] == label)
    return {"label": label, "centre_hz": centre_hz, "q": 4.32, "pull_db": pull_db}


def curve(pulls: list[dict[str, Any]]) -> dict[str, Any]:
    """A response that dips by each pull, a bell over the logarithm of frequency."""
    hz = [20.0 * 1000.0 ** (i / 63) for i in range(64)]
    db = [
        -sum(p["pull_db"] * math.exp(-((8 * math.log10(f / p["centre_hz"])) ** 2)) for p in pulls)
        for f in hz
    ]
    return {"hz": [round(f, 1) for f in hz], "db": [round(level, 1) for level in db]}


def ring(number: int, at_s: float, dice: random.Random) -> dict[str, Any]:
    """One ring."""
    hz = dice.choices([hz for hz, _ in PLACES_HZ], [n for _, n in PLACES_HZ])[0]
    hz *= 2.0 ** dice.gauss(0.0, 0.02)
    howl = dice.random() < 0.3
    band = third_octave_of(hz).label
    return {
        "id": number,
        "session": "made",
        "at_s": round(at_s, 2),
        "lasted_s": round(min(120.0, dice.lognormvariate(1.2 if howl else 0.3, 0.9)), 2),
        "degree": "howl" if howl else "ringing",
        "way": "soundcheck" if at_s < 1500 else "set",
        "frequency_hz": round(hz, 2),
        "band": band,
        "slider": band,
        "level_dbfs": round(dice.gauss(-18.0 if howl else -36.0, 7.0), 1),
        "growth_db_per_s": round(abs(dice.gauss(20.0, 15.0)), 1),
    }


def rings(count: int, hours: float, seed: int = 1) -> list[dict[str, Any]]:
    """Rings over the evening: a third of them in the first quarter of an hour's ring-out."""
    dice = random.Random(seed)
    early = [dice.uniform(300.0, 1500.0) for _ in range(count // 3)]
    late = [dice.uniform(1800.0, hours * 3600.0) for _ in range(count - len(early))]
    return [ring(i + 1, at_s, dice) for i, at_s in enumerate(sorted(early + late))]


def happenings(hours: float, seed: int = 1) -> list[dict[str, Any]]:
    """What else was kept of an evening with a soundcheck, a ring-out and two blocks of songs."""
    dice = random.Random(seed)
    steps = [
        (420.0, [pull("2.5k", 3.0)]),
        (545.0, [pull("2.5k", 4.0), pull("3.15k", 3.0)]),
        (700.0, [pull("2.5k", 4.0), pull("3.15k", 3.0), pull("400", 2.0)]),
        (5200.0, [pull("2.5k", 6.0), pull("3.15k", 3.0), pull("400", 2.0)]),
        (6100.0, [pull("2.5k", 6.0), pull("3.15k", 3.0), pull("1.25k", 3.0)]),
    ]
    made: list[dict[str, Any]] = [
        {"at_s": 0.0, "kind": "way", "way": "soundcheck"},
        {"at_s": 1560.0, "kind": "way", "way": "set"},
        *({"at_s": at_s, "kind": "pull", "pulls": p, "curve": curve(p)} for at_s, p in steps),
        {
            "at_s": 180.0, "kind": "desk_level", "state": "wanted",
            "loudest": {"peak_dbfs": -14.2, "rms_dbfs": -23.0, "of": "sung"},
        },
        {
            "at_s": 260.0, "kind": "low_cut",
            "low_cut": {"ready": True, "choice_hz": 100.0, "choice_label": "100"},
        },
        {
            "at_s": 910.0, "kind": "ring_out", "gain_won_db": 6.5, "top_fader_db": -4.0,
            "cut_count": 3, "tone_cost_db": 0.42, "pulls": steps[2][1], "curve": curve(steps[2][1]),
            "rings": [{"frequency_hz": 2480.0, "band": "2.5k", "fate": "gone", "times": 2}],
            "why": "the gain asked for is reached",
        },
        {
            "at_s": 120.0, "kind": "plan", "revision": 2,
            "sentence": "'wedge' into 'lead' limits the gain: about 3 dB to spare.",
        },
        {"at_s": 4200.0, "kind": "deaf", "reason": "no blocks from the microphone"},
        {"at_s": 4420.0, "kind": "hears"},
    ]  # fmt: skip
    end_s = hours * 3600.0
    at_s, n = 1800.0, 0
    while at_s < end_s - 300.0:
        n += 1
        made.append({"at_s": round(at_s, 1), "kind": "song", "n": n})
        at_s += dice.uniform(200.0, 330.0) + (1500.0 if n == 12 else 0.0)
    for minute in range(2, int(end_s // 60)):
        if not 80 < minute < 104 and not 70 <= minute < 74:
            level = dice.gauss(-24.0, 3.0) if minute > 30 else dice.gauss(-36.0, 5.0)
            made.append(
                {"at_s": 60.0 * minute, "kind": "level", "level_dbfs": round(level, 1),
                 "peak_dbfs": round(level + 11, 1), "loud": level > -30.0,
                 "third_octave_dbfs": [round(level - 14, 1)] * 31}
            )  # fmt: skip
    return sorted(made, key=lambda one: one["at_s"])


def record(count: int = 24, hours: float = 3.0, *, dated: str = "network", seed: int = 1) -> Record:
    """A whole evening's record with so many rings."""
    begun: dict[str, Any] = {"dated": dated, "boot": "b1", "uptime_s": 40.0, "utc": BEGUN}
    return {
        "record": 1,
        "gig": {
            "uid": "5e1fca7b00d1e001",
            "title": BAND,
            "venue": {"uid": "0badcafe00000001", "name": VENUE},
            "begun": begun,
            "ended": {**begun, "uptime_s": 40.0 + 3600 * hours},
            "ended_by": "button",
            "lasted_s": 3600.0 * hours,
            "box": "lantern",
        },
        "rings": rings(count, hours, seed),
        "happenings": happenings(hours, seed),
        "equaliser": {"name": "31 bands", "deepest_db": 12.0, "sliders": SLIDERS},
    }


def bare(**gig: Any) -> Record:
    """A record with nothing in it but what is given for the gig."""
    return {"record": 1, "gig": {"uid": "5e1fca7b00d1e002", **gig}, "rings": [], "happenings": []}


RECOLLECTION: dict[str, Any] = {
    "gig_count": 6,
    "venue_count": 3,
    "enough": True,
    "venue": {
        "uid": "0badcafe00000001",
        "name": VENUE,
        "gig_count": 3,
        "rang": [
            {"band": "400", "frequency_hz": 402.0, "evenings": 3, "of": 3, "howls": 2,
             "words": "400 rang here on 3 evenings of 3"},
        ],
        "begin_with": [
            {"label": "400", "centre_hz": 398.1, "pull_db": 2.0,
             "why": "it stood at 2 dB on 2 of 3 evenings here"},
        ],
        "words": ["Here 400 rang on 3 evenings of 3."],
    },
    "bands": [
        {"band": "2.5k", "frequency_hz": 2490.0, "verdict": "rig", "rate": 0.9,
         "words": "2.5k rings at all 3 venues: it comes with microphone or wedge",
         "evidence": {"odds": 31.0}},
        {"band": "400", "frequency_hz": 402.0, "verdict": "room", "rate": 0.8,
         "words": "400 rang here on 3 evenings of 3 and nowhere else",
         "evidence": {"odds": 12.0}},
        {"band": "1.25k", "frequency_hz": 1240.0, "verdict": "unsure", "rate": 0.2,
         "words": "1.25k: not enough evenings yet", "evidence": {}},
    ],
    "when": {"hours": [], "songs": [], "words": ["The first hour rang most: 9 of 24 rings."]},
    "words": ["3 evenings here, 6 in all."],
}  # fmt: skip
"""As the memory might have it for this venue."""
