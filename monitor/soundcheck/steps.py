"""The soundcheck before it rings: its four steps, the checklist's ticks, the stage plan.

Pure: no clock, no I/O, no thread; ``clerk`` gives it those.  Times are seconds of
the clock that counts from boot.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.level.measuring import SPOKEN, Measured
from monitor.link.messages import Message
from monitor.placing.checklist import CHECKLIST, STEPS
from monitor.placing.stage_file import parse_stage
from monitor.soundcheck.words import step_words

ITEMS = tuple(item.id for item in CHECKLIST)
ENDS = ("done", "left_out")
DOUBT = "from before the restart; is this another evening?"
"""Said beside the button that begins the steps anew."""
NOT_GOING_ON = ("measure", "measure_stop")
"""Says nothing of which evening it is: what was done before the restart stays in doubt."""
NOT_OF_LEVEL = ("spectrum", "low_cut")
MEASURED = ("level", "low_cut")
OF_LOW_CUT = ("source", "seconds", "low_cut", "spectrum")
"""What is taken of the figures: it goes out with every snapshot."""


class Soundcheck:
    """Where the soundcheck stands; ``plan`` is None until somebody has saved one."""

    def __init__(self) -> None:
        self.plan: Mapping[str, Any] | None = None
        self.revision = 0
        self._ring_out_was: str | None = None
        self._forget()

    def _forget(self) -> None:
        self._begun_s: float | None = None
        self._ends: dict[str, str] = {}
        self._ticks: list[str] = []
        self._taken: dict[str, tuple[float, dict[str, Any]]] = {}
        self._in_doubt = False

    # --- what the person does ---------------------------------------------------------------

    def command(self, command: Message, now_s: float, measured: Measured | None = None) -> None:
        """Do what the person asked for; ``measured`` is what there is to take.

        Raises
        ------
        ValueError
            If it makes no sense now; one clear line, and nothing has changed.
        """
        do = command["do"]
        if do == "clear":
            self._forget()
            return
        if do in ("take_level", "take_low_cut"):
            self._take(do.removeprefix("take_"), measured, now_s)
        elif do == "plan_done":
            self._ends["place"] = "done"
        elif do == "skip":
            self._leave_out(command["step"])
        elif do == "again":
            self._ends.pop(command["step"], None)
            self._taken.pop(command["step"], None)
        elif do in ("tick", "untick"):
            self._tick(command["item"], is_done=do == "tick")
        if do not in NOT_GOING_ON:
            self._in_doubt = False
        if self._begun_s is None:
            self._begun_s = now_s

    @property
    def has_measured(self) -> bool:
        """Whether no step is left that wants a measurement."""
        return all(step in self._ends for step in MEASURED)

    def keep_plan(self, document: Mapping[str, Any]) -> None:
        """Take a stage plan in the place of the one before.

        Raises
        ------
        ValueError
            If it is no plan; one clear line.
        """
        parse_stage(document)
        self.plan, self.revision = document, self.revision + 1

    def see_ring_out(self, phase: str | None, now_s: float) -> bool:
        """Follow the ring-out's phase, None without one; return whether it has just ended.

        That begins the soundcheck as well, where nothing else has.

        "again" waits for the next one's end, so only the coming of "done" counts.
        """
        was, self._ring_out_was = self._ring_out_was, phase
        if phase != "done" or was == "done":
            return False
        self._ends["ring_out"] = "done"
        if self._begun_s is None:
            self._begun_s = now_s
        return True

    def _leave_out(self, step: str) -> None:
        """Another phone's page may be a moment behind: what is done is not lost by its tap."""
        if self._ends.get(step) == "done":
            title = next(title for each, title in STEPS if each == step)
            raise ValueError(f"{title} is done already; to leave it out, do it again first")
        self._ends[step] = "left_out"

    def _tick(self, item: str, *, is_done: bool) -> None:
        if item not in ITEMS:
            raise ValueError(f"there is no item {item!r} in the checklist; load the page again")
        ticks = set(self._ticks) - {item} | ({item} if is_done else set())
        self._ticks = [each for each in ITEMS if each in ticks]

    def _take(self, step: str, measured: Measured | None, now_s: float) -> None:
        if measured is None:
            raise ValueError("nothing was measured yet; measure the desk's line first")
        if measured.kind != "line":
            raise ValueError(
                f"{SPOKEN[measured.kind]} says nothing of the desk's channel; measure "
                f"{SPOKEN['line']}"
            )
        heard = measured.fields
        if step == "level":
            if not isinstance(heard.get("loudest"), dict):
                raise ValueError("no voice was heard yet; sing your loudest line")
            heard = {key: heard[key] for key in heard if key not in NOT_OF_LEVEL}
        else:
            low_cut = heard.get("low_cut")
            if not isinstance(low_cut, dict) or not low_cut.get("ready"):
                left_s = low_cut.get("seconds_left") if isinstance(low_cut, dict) else None
                more = f"{left_s:.0f} s of it still" if isinstance(left_s, int | float) else "more"
                raise ValueError(f"not enough voice was heard yet; sing or speak on, {more}")
            heard = {key: heard[key] for key in OF_LOW_CUT if key in heard}
        self._taken[step] = (now_s - measured.age_s, {**heard, "kind": measured.kind})
        self._ends[step] = "done"

    # --- how it stands ----------------------------------------------------------------------

    def fields(self, now_s: float, ring_out: str | None) -> dict[str, Any]:
        """Return how it stands, for the snapshot; ``ring_out`` is the ring-out's phase."""
        first = next((step for step, _ in STEPS if step not in self._ends), None)
        taken = {step: fields for step, (_, fields) in self._taken.items()}
        shown: dict[str, Any] = {
            "begun_age_s": None if self._begun_s is None else round(now_s - self._begun_s, 1),
            "steps": [
                {
                    "id": step,
                    "title": title,
                    "state": state,
                    "words": step_words(step, state, taken.get(step), ring_out),
                }
                for step, title in STEPS
                for state in (self._ends.get(step) or ("now" if step == first else "to_do"),)
            ],
            "ticks": list(self._ticks),
            "plan_revision": self.revision,
            "doubt": DOUBT if self._in_doubt else None,
        }
        for step, (at_s, fields) in self._taken.items():
            shown[step] = {**fields, "age_s": round(now_s - at_s, 1)}
        return shown

    # --- over a restart ---------------------------------------------------------------------

    @property
    def kept(self) -> dict[str, Any]:
        """What must survive a restart, ready for JSON."""
        return {
            "plan": None if self.plan is None else dict(self.plan),
            "revision": self.revision,
            "evening": {
                "begun_s": self._begun_s,
                "ends": dict(self._ends),
                "ticks": list(self._ticks),
                "taken": {step: [at_s, fields] for step, (at_s, fields) in self._taken.items()},
                "ring_out": self._ring_out_was,
            },
        }

    def restore_plan(self, kept: Mapping[str, Any]) -> None:
        """Take back the plan, which is kept for ever.

        Raises
        ------
        ValueError
            If it is damaged or of another version; one clear line, and nothing has changed.
        """
        plan, revision = kept.get("plan"), kept.get("revision")
        if isinstance(revision, bool) or not isinstance(revision, int) or revision < 0:
            raise ValueError(f"the plan's revision {revision!r:.40} is no number")
        if plan is not None:
            if not isinstance(plan, dict):
                raise ValueError("the kept stage plan is no plan")
            parse_stage(plan)
        self.plan, self.revision = plan, revision

    def restore_evening(
        self, kept: Mapping[str, Any], *, shift_s: float, in_doubt: bool = False
    ) -> None:
        """Take back the rest; ``shift_s`` is added to its times.

        Raises
        ------
        ValueError
            If it is damaged; one clear line, and nothing has changed.
        """
        known = {step for step, _ in STEPS}
        try:
            evening = kept["evening"]
            begun_s = evening["begun_s"]
            ends = {str(step): str(end) for step, end in evening["ends"].items()}
            ticks = [item for item in ITEMS if item in list(evening["ticks"])]
            taken = {
                str(step): (float(at_s) + shift_s, dict(fields))
                for step, (at_s, fields) in evening["taken"].items()
            }
            was = evening["ring_out"]
            begun_s = None if begun_s is None else float(begun_s) + shift_s
            if not (ends.keys() | taken.keys()) <= known or not set(ends.values()) <= set(ENDS):
                raise ValueError("a step that is not known")
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise ValueError(f"what was kept of the soundcheck is damaged: {error!r}") from error
        self._begun_s, self._ends, self._ticks, self._taken = begun_s, ends, ticks, taken
        self._ring_out_was = was if isinstance(was, str) else None
        self._in_doubt = in_doubt and bool(begun_s is not None or ends or ticks)
