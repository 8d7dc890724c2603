"""Find the microphone's automatic gain control, turn it off, and say what became of it.

A gain that follows the sound hides exactly what is listened for: it turns the growth of a
ring into a level that stands still.  Cheap USB microphones come with it switched on.

Runs in the process that ``knocking.py`` starts: a mixer may hang.
"""

from __future__ import annotations

import re
from typing import Any

AUTOMATIC = re.compile(r"auto(matic)?[ _-]*(gain|level|volume)|\bagc\b|\balc\b", re.IGNORECASE)


def turn_off_automatic_gain(alsa: Any, card_index: int) -> str:
    """Turn every automatic gain control of one card off.

    Parameters
    ----------
    alsa : the ``alsaaudio`` module, or a fake of it
    card_index : the card's number at this moment

    Returns
    -------
    str
        "none" (the card has no such control), "turned off" (also if it was off already),
        "still on" (it is there and refuses), or "unknown" (the mixer cannot be read).
    """
    try:
        names = [name for name in alsa.mixers(cardindex=card_index) if AUTOMATIC.search(name)]
        results = [_turn_off(alsa, alsa.Mixer(name, cardindex=card_index)) for name in names]
    except (alsa.ALSAAudioError, OSError):
        return "unknown"
    if not results:
        return "none"
    # What only sets how such a gain works ("ALC Max Gain") is of no weight once it is off.
    is_off = True in results and False not in results
    return "turned off" if is_off else "still on"


def _turn_off(alsa: Any, control: Any) -> bool | None:
    """Try each kind of switch such a control may have; None if it has none to turn it off with."""
    is_off = False
    # A switch in the playback column (most cards) is off when it is "muted";
    # one in the capture column when it does not record.
    for read, write, off in (
        (control.getmute, control.setmute, 1),
        (control.getrec, control.setrec, 0),
    ):
        try:
            if any(state != off for state in read()):
                write(off)
            is_off_now = all(state == off for state in read())
        except alsa.ALSAAudioError:
            continue  # it has no switch of this kind
        if not is_off_now:
            return False
        is_off = True
    if is_off:
        return True
    try:
        _, choices = control.getenum() or ("", ())  # nothing at all where it is no choice
        for number, choice in enumerate(choices):
            if choice.lower() in ("off", "disabled", "manual"):
                control.setenum(number)
                return bool(control.getenum()[0] == choice)
    except alsa.ALSAAudioError:
        return False
    return None
