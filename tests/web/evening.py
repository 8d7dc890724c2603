"""A link to a watcher with a soundcheck: it keeps a plan, steps, ticks and a measurement.

What the meter says is scripted; the voices, the plan and the band are invented.
"""

from __future__ import annotations

import copy
import threading
import time
from typing import Any

from monitor.link.commands import check_command
from monitor.link.messages import UnreachableError
from monitor.placing.stage_file import StageError, parse_stage, stage_fields
from tests.web.screenshots import StillClient
from tests.web.states import STATES

PLAN: dict[str, Any] = stage_fields(
    parse_stage(
        {
            "name": "Back Room of the Blue Heron",
            "room": {"width": 7.0, "depth": 9.0, "height": 3.0},
            "microphone": [
                {"name": "lead vocal", "x": 3.5, "y": 1.8, "pattern": "cardioid", "mouth": 0.2},
                {"name": "squeezebox", "x": 5.4, "y": 1.5, "height": 1.0, "pattern": "omni"},
            ],
            "loudspeaker": [
                {"name": "mains left", "kind": "mains", "x": 1.0, "y": 2.6},
                {"name": "mains right", "kind": "mains", "x": 6.0, "y": 2.6},
                {"name": "wedge", "kind": "wedge", "x": 2.4, "y": 2.9},
            ],
        }
    )
)

STEPS = {"place": "Place", "level": "Level", "low_cut": "Low cut", "ring_out": "Ring-out"}

CENTRES_HZ = [20.0 * 2.0 ** (i / 3.0) for i in range(31)]


def _spectrum() -> dict[str, Any]:
    voice = [-70.0 if hz < 100 else -28.0 - abs(i - 15) * 1.4 for i, hz in enumerate(CENTRES_HZ)]
    below = [-38.0 - i * 1.3 + (9.0 if 45 < hz < 55 else 0.0) for i, hz in enumerate(CENTRES_HZ)]
    return {"centre_hz": CENTRES_HZ, "voice_dbfs": voice, "below_dbfs": below}


def meter(kind: str = "line", **fields: Any) -> dict[str, Any]:
    """What a measurement says by default: a singer 5 dB too loud for the desk."""
    return {
        "kind": kind,
        "age_s": 0.1,
        "seconds": 22.4,
        "source": {"kind": "desk", "name": "channel 1 of the desk's USB"},
        "peak_dbfs": -7.2,
        "rms_dbfs": -19.5,
        "held_peak_dbfs": -3.1,
        "noise_dbfs": -61.0,
        "crest_db": 14.1,
        "clipped_count": 0,
        "clipped_now": False,
        "state": "too_loud",
        "voice": "singing",
        "spoken": {"seconds": 6.0, "peak_dbfs": -12.0, "rms_dbfs": -27.0},
        "sung": {"seconds": 11.0, "peak_dbfs": -3.1, "rms_dbfs": -15.0},
        "loudest": {"peak_dbfs": -3.1, "rms_dbfs": -15.0, "of": "sung"},
        "advice": {
            "change_db": -5,
            "sentence": "turn the gain down 5 dB",
            "detail": "your loudest line peaked at -3 dBFS; -18 to -12 is wanted on average",
        },
        "scale": {
            "kind": "digital",
            "zero_dbfs": -18,
            "reading_db": -9.0,
            "wanted_db": [-18, -12],
        },
        **fields,
    }


LOW_CUT_WAITING = {
    "ready": False,
    "seconds_left": 32.0,
    "voiced_s": 28.0,
    "lowest_hz": 164.8,
    "lowest_note": "E3",
    "highest_hz": 440.0,
    "highest_note": "A4",
    "sentence": "sing or speak on: 32 s of voice still",
}
LOW_CUT_READY = {
    "ready": True,
    "voiced_s": 61.0,
    "lowest_hz": 164.8,
    "lowest_note": "E3",
    "highest_hz": 523.3,
    "highest_note": "C5",
    "choice_hz": 120.0,
    "choice_label": "120",
    "takes_db": 18.2,
    "costs_db": 0.6,
    "hum_hz": 50,
    "sentence": "low cut at 120: it takes 18 dB of rumble and none of your voice",
    "choices": [
        {"hz": 75.0, "takes_db": 9.1, "costs_db": 0.1},
        {"hz": 80.0, "takes_db": 10.4, "costs_db": 0.1},
        {"hz": 100.0, "takes_db": 14.8, "costs_db": 0.3},
        {"hz": 120.0, "takes_db": 18.2, "costs_db": 0.6},
    ],
}

METERS: dict[str, dict[str, Any]] = {
    "too-loud": meter(low_cut=LOW_CUT_WAITING, spectrum=_spectrum()),
    "waiting": {
        key: value
        for key, value in meter(
            state="waiting",
            voice="silent",
            advice={
                "sentence": "sing your loudest line",
                "detail": "as loud as you will tonight, on the microphone you will use",
            },
            scale={"kind": "digital", "zero_dbfs": -18, "wanted_db": [-18, -12]},
        ).items()
        if key not in ("spoken", "sung", "loudest", "noise_dbfs", "held_peak_dbfs")
    },
    "right": meter(
        state="right",
        advice={"change_db": 0, "sentence": "leave the gain", "detail": "it is where it belongs"},
        scale={"kind": "digital", "zero_dbfs": -18, "reading_db": -14.2, "wanted_db": [-18, -12]},
        low_cut=LOW_CUT_READY,
        spectrum=_spectrum(),
    ),
    "analogue": meter(
        state="too_quiet",
        advice={
            "change_db": 9,
            "sentence": "turn the gain up 9 dB",
            "detail": "the desk's meter reads about -11; -3 to 0 is wanted",
        },
        scale={"kind": "analogue", "zero_dbfs": -18, "reading_db": -11.0, "wanted_db": [-3, 0]},
    ),
    "clipping": meter(
        state="clipping",
        clipped_count=14,
        clipped_now=True,
        held_peak_dbfs=0.0,
        advice={
            "change_db": -9,
            "sentence": "turn the gain down at least 9 dB",
            "detail": "it clips: how far beyond nobody can tell; then sing that line again",
        },
        scale={"kind": "digital", "zero_dbfs": -18, "reading_db": -3.0, "wanted_db": [-18, -12]},
    ),
    "dead": {
        "kind": "line",
        "age_s": 0.1,
        "seconds": 8.0,
        "source": {"kind": "desk", "name": "channel 1 of the desk's USB"},
        "peak_dbfs": -120.0,
        "rms_dbfs": -120.0,
        "clipped_count": 0,
        "clipped_now": False,
        "state": "dead",
        "voice": "silent",
        "advice": {
            "sentence": "nothing arrives on this channel",
            "detail": "not even noise: look at the cable, the channel and the mute",
        },
    },
    "box": {
        "kind": "box",
        "age_s": 0.1,
        "seconds": 8.0,
        "source": {"kind": "box", "name": "hw:CARD=Stand"},
        "peak_dbfs": -31.0,
        "rms_dbfs": -44.0,
        "held_peak_dbfs": -22.0,
        "noise_dbfs": -58.0,
        "clipped_count": 0,
        "clipped_now": False,
        "state": "right",
        "voice": "speech",
        "advice": {
            "sentence": "the box hears well",
            "detail": "this is its own microphone in the room, not the desk",
        },
    },
}


class EveningClient(StillClient):
    """Keeps a soundcheck as the watcher does, and shows it in a fresh snapshot ten times a second.

    ``script`` is what the next measurement shows; ``refuse`` answers every command with a line,
    ``more`` are further keys of the soundcheck.
    """

    def __init__(self, base: str = "quiet") -> None:
        super().__init__()
        self.base = copy.deepcopy(STATES[base])
        self.plan: dict[str, Any] | None = copy.deepcopy(PLAN)
        self.revision = 3
        self.line: dict[str, Any] = {"there": True, "name": "channel 1 of the desk's USB"}
        self.script = METERS["too-loud"]
        self.measuring = ""
        self.states = dict.fromkeys(STEPS, "to_do")
        self.ticks: list[str] = []
        self.begun_mono_s: float | None = None
        self.taken: dict[str, Any] = {}
        self.with_soundcheck = True
        self.gone = False
        self.refuse = ""
        self.more: dict[str, Any] = {}
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def snapshot(self) -> dict[str, Any]:
        made = copy.deepcopy(self.base)
        if not self.with_soundcheck:
            return made
        left = [name for name, state in self.states.items() if state == "to_do"]
        steps = [
            {
                "id": name,
                "title": title,
                "state": "now" if left[:1] == [name] else self.states[name],
                "words": "",
            }
            for name, title in STEPS.items()
        ]
        made["soundcheck"] = {
            "steps": steps,
            "ticks": list(self.ticks),
            "plan_revision": self.revision,
            "line": dict(self.line),
            **self.more,
            **{name: {**value, "age_s": 70.0} for name, value in self.taken.items()},
        }
        if self.begun_mono_s is not None:
            made["soundcheck"]["begun_age_s"] = time.monotonic() - self.begun_mono_s
        if self.measuring:
            made["soundcheck"]["measuring"] = copy.deepcopy(self.script)
        return made

    def _run(self) -> None:
        while not self._stop.wait(0.1):
            self.hold(None if self.gone else self.snapshot())

    def close(self) -> None:
        self._stop.set()
        super().close()

    def request(self, command: Any, timeout_s: float = 2.0) -> dict[str, Any]:
        if self.gone:
            raise UnreachableError("the watcher cannot be reached: no watcher is running")
        command = check_command(dict(command))
        self.asked.append(command)
        if self.refuse:
            return {"class": "error", "message": self.refuse}
        if command["class"] == "plan_get":
            answer = {"class": "plan", "revision": self.revision}
            return answer if self.plan is None else {**answer, "stage": copy.deepcopy(self.plan)}
        if command["class"] == "plan":
            try:
                self.plan = stage_fields(parse_stage(command["stage"]))
            except StageError as error:
                return {"class": "error", "message": str(error)}
            self.revision += 1
            return {"class": "done", "revision": self.revision}
        if command["class"] == "soundcheck":
            return self._soundcheck(command)
        return {"class": "done"}

    def _soundcheck(self, command: dict[str, Any]) -> dict[str, Any]:
        do = command["do"]
        if self.begun_mono_s is None:
            self.begun_mono_s = time.monotonic()
        if do == "clear":
            self.states = dict.fromkeys(STEPS, "to_do")
            self.ticks, self.taken, self.begun_mono_s = [], {}, None
        elif do == "measure":
            self.measuring = command["source"]
        elif do == "measure_stop":
            self.measuring = ""
        elif do in ("take_level", "take_low_cut"):
            step = do.removeprefix("take_")
            self.taken[step] = copy.deepcopy(self.script)
            self.states[step] = "done"
        elif do in ("skip", "again"):
            self.states[command["step"]] = "left_out" if do == "skip" else "to_do"
        elif do == "tick":
            self.ticks.append(command["item"])
        elif do == "untick":
            self.ticks.remove(command["item"])
        elif do == "plan_done":
            self.states["place"] = "done"
        return {"class": "done"}
