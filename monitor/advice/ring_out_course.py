"""All that a ring-out must remember of its course."""

from __future__ import annotations

from dataclasses import dataclass, field

from monitor.advice.hints import Hint
from monitor.advice.moves import moves
from monitor.advice.pulls import Pull
from monitor.advice.ring_out_rings import RingLadder
from monitor.advice.ring_out_state import Phase

TONE_PULLS = 6
TONE_PER_GAIN = 1.0
"""A decibel of tone is a decibel off everything, which the fader does too: where the last pulls
cost more tone than they brought gain, the next is no better than a quieter fader.  Over six,
because without marks the gain is half guessed: over four, 31 sliders ended at 6.0 dB in the
middle, over six at 6.9 (20 simulated rooms, seeds 50000 to 50019; measured when seven pulls were
weighed against six rises, and not chosen anew since)."""


@dataclass(slots=True)
class Step:
    """What stood before a pull, what that cost in tone, at which gain, and for which rings it was.

    ``deepens`` where a ring had stayed in spite of the pull before; ``skips`` where nothing was
    pulled and the rings were passed over.  ``top_fader_db`` is the highest mark until then.
    """

    before: tuple[Pull, ...]
    cost_db: float
    gain_db: float
    rings: tuple[int, ...]
    deepens: bool = False
    skips: bool = False
    top_fader_db: float | None = None


@dataclass(slots=True)
class Course:
    """The course so far; times are not kept, a restart has another clock.

    ``three_rang`` says that three rings have been heard together.  ``ended_gain_db`` is the
    ladder's gain at the last pull or ring before the end, ``silent_db`` how far the fader had gone
    up since without anything heard, where that was too far.  ``first_fader_db`` is where the fader
    stood at the first pull.  ``asked`` is how the sliders are to stand, as long as that is asked
    for, also over a pause; empty where nothing is.  ``hints`` are the newest plan's.
    ``asked_twice`` are the sliders that were asked for again when nothing else was left.
    """

    phase: Phase = "ready"
    resume: Phase = "raise"
    pulls: tuple[Pull, ...] = ()
    begun_with: int = 0
    steps: list[Step] = field(default_factory=list)
    why_ended: str = ""
    first_fader_db: float | None = None
    top_fader_db: float | None = None
    fader_db: float | None = None
    fader_gain_db: float = 0.0
    three_rang: bool = False
    ended_gain_db: float | None = None
    silent_db: float = 0.0
    asked: tuple[Pull, ...] = ()
    hints: tuple[Hint, ...] = ()
    asked_twice: tuple[str, ...] = ()

    @property
    def gain_won_db(self) -> float | None:
        """How much higher the fader was than at the first ring, by its marks."""
        if self.first_fader_db is None or self.top_fader_db is None:
            return None
        return self.top_fader_db - self.first_fader_db

    @property
    def round_count(self) -> int:
        """How often something rang and was pulled for; going deeper for it does not count."""
        return len(self._rounds)

    @property
    def has_pulled(self) -> bool:
        """Whether anything was pulled, and not only passed over."""
        return any(not step.skips for step in self.steps)

    @property
    def _rounds(self) -> list[Step]:
        return [step for step in self.steps if not step.deepens and not step.skips]

    def without_last_pull_of(self, label: str) -> tuple[Pull, ...]:
        """Return how all stands but for the last pull of one slider."""
        others = tuple(pull for pull in self.pulls if pull.label != label)
        for step in reversed(self.steps):
            then = tuple(pull for pull in step.before if pull.label == label)
            if moves((*others, *then), self.pulls):
                return (*others, *then)
        return self.pulls

    def went_up_in_silence(self, from_gain_db: float, gain_db: float) -> None:
        """Leave out of what was won what nothing was heard of between two marks."""
        self.ended_gain_db = from_gain_db
        self.silent_db = gain_db - from_gain_db
        if self.top_fader_db is not None:
            self.top_fader_db -= self.silent_db

    def gained_db(self, gain_db: float) -> float:
        """Return how much higher a gain on the ladder is than that of the first ring."""
        rounds = self._rounds
        return gain_db - rounds[0].gain_db if rounds else 0.0

    def costs_too_much(self, next_cost_db: float, gain_db: float) -> bool:
        """Whether the last pulls, the next among them, cost more tone than as many brought gain."""
        rounds = self._rounds
        if len(rounds) < TONE_PULLS:
            return False
        # What the next will bring is not known: the gain is that of one pull earlier each.
        cost_db = next_cost_db - rounds[1 - TONE_PULLS].cost_db
        return cost_db > TONE_PER_GAIN * (gain_db - rounds[-TONE_PULLS].gain_db)

    def marked(self, fader_db: float, ladder: RingLadder) -> None:
        """Take in a fader mark: from the second on the gain is known and not guessed."""
        if self.fader_db is not None:
            ladder.known(self.fader_gain_db + fader_db - self.fader_db)
        self.fader_db, self.fader_gain_db = fader_db, ladder.gain_db
        if self.has_pulled and self.ended_gain_db is None:
            if self.first_fader_db is None:
                # The first mark of all comes late: reckoned back.
                self.first_fader_db = fader_db - self.gained_db(ladder.gain_db)
            top_db = self.first_fader_db if self.top_fader_db is None else self.top_fader_db
            self.top_fader_db = max(top_db, fader_db)

    def pulls_first(self, gain_db: float) -> None:
        """Note where the fader stands at a pull, by its last mark, if that is the first one."""
        if self.first_fader_db is None and self.fader_db is not None:
            self.first_fader_db = self.fader_db + gain_db - self.fader_gain_db
