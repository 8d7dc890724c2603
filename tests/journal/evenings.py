"""An evening as the watcher would tell it: rings, a level a minute, pulls, songs, a ring-out."""

from __future__ import annotations

import random
from typing import Any

from monitor.journal.asks import GigChange, VenueChange
from monitor.listening.bands import THIRD_OCTAVES
from tests.journal.telling import Told

SLIDERS = [{"label": b.label, "centre_hz": round(b.midband_hz, 1)} for b in THIRD_OCTAVES]
DAY_S = 86_400.0


def play_evening(
    told: Told, uid: str, *, rings: int, hours: float, seed: int, venues: int = 8
) -> None:
    """Tell one whole gig at one of the venues, and let a day go by."""
    dice = random.Random(seed)
    place = seed % venues
    told.journal.tell(VenueChange(f"venue{place}", f"The Slipway {place}"))
    told.journal.tell(GigChange(uid, begun=told.clock.at(), venue_uid=f"venue{place}"))
    told.happens(uid, "equaliser", name="31 bands", deepest_db=12.0, sliders=SLIDERS)
    told.happens(uid, "way", way="soundcheck")
    told.happens(uid, "desk_level", state="wanted", loudest={"rms_dbfs": -23.0, "of": "sung"})
    minutes = int(hours * 60)
    per_minute = [0] * minutes
    for _ in range(rings):
        per_minute[dice.randrange(minutes)] += 1
    number, pulls = 0, [{**slider, "q": 4.32, "pull_db": 0.0} for slider in SLIDERS]
    for minute in range(minutes):
        for _ in range(per_minute[minute]):
            told.clock.run(60.0 / (per_minute[minute] + 1))
            hz = dice.choice((250.0, 1250.0, 2500.0, 3150.0)) * 2.0 ** dice.gauss(0.0, 0.02)
            told.rings(
                uid, number, session=f"{uid:0>16}", frequency_hz=hz,
                degree=dice.choice(("ringing", "howl")), level_dbfs=dice.gauss(-25.0, 6.0),
            )  # fmt: skip
            number += 1
        told.clock.run(60.0 / (per_minute[minute] + 1))
        told.happens(uid, "level", **_level(dice))
        if minute % 15 == 5:
            pulls = [dict(pull) for pull in pulls]
            dice.choice(pulls)["pull_db"] += 3.0
            told.happens(uid, "pull", pulls=pulls)
        if minute % 4 == 2:
            told.happens(uid, "song", n=minute // 4 + 1)
    told.happens(
        uid, "ring_out", cut_count=3, tone_cost_db=1.2, gain_won_db=4.0, pulls=pulls, rings=[],
        why="the gain asked for is reached",
    )  # fmt: skip
    told.tell(GigChange(uid, ended=told.clock.at(), ended_by="quiet"))
    told.clock.run(DAY_S)


def _level(dice: random.Random) -> dict[str, Any]:
    level = round(dice.gauss(-24.0, 3.0), 1)
    return {
        "level_dbfs": level,
        "peak_dbfs": level + 11.0,
        "loud": level > -30.0,
        "third_octave_dbfs": [round(dice.gauss(level - 14.0, 4.0), 1) for _ in range(31)],
    }
