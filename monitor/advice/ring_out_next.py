"""What a ring-out asks for next, or why it ends: how deep, how many, and until when."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.advice.equaliser import Equaliser
from monitor.advice.pulls import Pull
from monitor.advice.ring_out_course import Course
from monitor.advice.ring_out_plan import NextPull, next_pull
from monitor.advice.ring_out_rings import RingLadder
from monitor.advice.ring_out_words import BACK_OFF_DB

TOGETHER = 3
TOGETHER_AFTER = 10
"""Three rings at once are the room's limit: common practice, no source.  But one plan holds three
rings as well as one: ended by the first three it is 3.8 dB, by three after seven sliders 6.4, after
ten 6.9, never 7.0 (steady hands in 20 simulated rooms, seeds 50000 to 50019)."""
HABIT_SLIDERS = 7
"""The plain habit goes on until three ring together or seven sliders are pulled (common practice,
no source).  Before that tone is no reason to end: where it was one, 12.5 % of rooms won less than
the habit on 5 sliders and 4 % on 9 and 15; now none does (steady hands, seeds 50000 to 50023)."""
PULL_PART = 0.5
"""A pull leaves at least this part of the wanted margin, and all of it but ``BACK_OFF_DB``, for the
fader comes down by that at the end and gives all rings the rest.  What the last pulls leave beyond
the room's limit is tone for nothing: with the whole margin 55 % of rooms came within 1 dB of the
best at the same cost (steady hands, seeds 50000 to 50019)."""
EXPECTED_DB = 4.0
EARLY_PART = 4.0 / 3.0
"""What rings early would ring again on the way up from the first ring to where a ring-out usually
ends, so its slider goes so deep at once, up to this part of the wanted margin.  In 100 rooms (31
sliders, steady hands, seeds 50000 to 50099): 16 pulls in the middle, the plain habit that wins as
much 17; cut 50 dB, the habit 51; 82 % of rooms within 1 dB of the best.  Two thirds of the margin
for early and late pulls alike: 17 and 16 pulls, 74 %.  Expecting 4.5 dB and two thirds: 14 and 16.5
pulls, 74 %; 3.5 dB and a half: 17 and 17 pulls, 87 %.
Measured before the ladder knew the fader's first step, and not chosen anew since."""
EACH_ROUND_DB = 0.5
"""The fader is at least so much higher for every ring that was pulled for, whatever the ladder's
guess: hands that raise faster than asked for were asked for deep pulls to the end.  In 40 rooms
(seeds 50000 to 50039) a like rule took clumsy hands' cut from 1.29 to 1.22 times the habit's and
left steady hands as they were.  0.8 would do more for clumsy hands (1.14 to 1.11 in 40 rooms, and
in 40 others), but steady ones then cut 0.98 times the habit's in the first and 1.07 in the others,
now 1.00 and 1.02 (seeds 61000 to 61039 and 62000 to 62039)."""


def pull_margin_db(gain_db: float, wanted_db: float) -> float:
    """Return what a pull should leave at a gain above the first ring's, for the margin wanted."""
    least_db = max(PULL_PART * wanted_db, wanted_db - BACK_OFF_DB)
    most_db = EARLY_PART * wanted_db
    return min(max(EXPECTED_DB - gain_db, least_db), most_db)


def next_step(
    equaliser: Equaliser,
    course: Course,
    ladder: RingLadder,
    *,
    standing: Sequence[Pull],
    open_count: int,
    margin_db: float,
    most_cuts: int,
) -> NextPull:
    """Return the plan that holds what rings, or why the ring-out ends.

    Parameters
    ----------
    equaliser : Equaliser
    course : Course
    ladder : RingLadder
        With all that rings in its place.
    standing : sequence of Pull
        What the plan deepens: how the sliders stand, or are about to.
    open_count : int
        How many rings are heard.
    margin_db : float
        What each ring is left below ringing in the end, backed off.
    most_cuts : int
        After so many sliders it ends.
    """
    new_sliders = len(course.pulls) - course.begun_with
    course.three_rang = course.three_rang or open_count >= TOGETHER
    if open_count >= TOGETHER and new_sliders >= TOGETHER_AFTER:
        why = f"{TOGETHER} ring together: that is this room's limit"
        return NextPull(None, why, at_once=True)
    gain_db = max(course.gained_db(ladder.gain_db), EACH_ROUND_DB * course.round_count)
    needs = ladder.needs(course.pulls, margin_db=pull_margin_db(gain_db, margin_db))
    most_sliders = most_cuts + course.begun_with
    found = next_pull(equaliser, needs, standing, most_sliders=most_sliders)
    may_end = course.three_rang or new_sliders >= HABIT_SLIDERS
    if may_end and found.plan and course.costs_too_much(found.plan.tone_cost_db, ladder.gain_db):
        return NextPull(None, "the next pull would cost more tone than it brings gain")
    return found
