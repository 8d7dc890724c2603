"""What a press of the button means now: one button for the whole evening.  Pure.

It says the thing that a person at a microphone stand would say next, and never what cannot be
taken back: a ring-out is paused and not ended, nothing is thrown away.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from monitor.advice.pulls import Pull
from monitor.advice.ring_out_state import CommandName
from monitor.advice.sliders import Slider
from monitor.link.messages import Message
from monitor.news import Advised

_SAYS: tuple[CommandName, ...] = ("begin", "pulled", "turned_down", "go_on", "pause")
"""In a ring-out: the first of these that makes sense now."""


def commands_of_press(advised: Advised, sliders: Sequence[Slider]) -> list[Message]:
    """Return the commands that a press stands for, in order.

    Parameters
    ----------
    advised : Advised
        What the advice has come to, with the ring-out as it stands.
    sliders : sequence of Slider
        The person's own, in the order of the desk.
    """
    ring_out, advice = advised.ring_out, advised.advice
    if ring_out is not None and ring_out.phase == "done":
        return [{"class": "ring_out", "do": "close"}]
    if ring_out is not None:
        says = next(name for name in _SAYS if name in ring_out.may)
        return [{"class": "ring_out", "do": says}]
    if advice is not None and advice.pulls:
        places = {slider.label: place for place, slider in enumerate(sliders)}
        return [
            _pulled(pull, places[pull.label], sliders[places[pull.label]])
            for pull in advice.pulls
            if pull.label in places
        ]
    if advice is not None:
        # Whoever presses twice has pulled once; a fader or a step back needs no word.
        return []
    return [{"class": "ring_out", "do": "open"}]


def _pulled(pull: Pull, place: int, slider: Slider) -> Message:
    command: dict[str, Any] = {"class": "pull", "slider": place, "cut_db": -pull.pull_db}
    if slider.is_swept:
        command.update(centre_hz=pull.centre_hz, q=pull.q)
    return command
