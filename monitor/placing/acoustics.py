"""Gain before feedback by the textbooks' formulas, and what a room adds to a sound.

Sources
-------
J. Eargle, Sound System Design Reference Manual, ch. 4; G. Ballou (ed.), Handbook for Sound
Engineers, ch. 34, printed pp. 1243 and 1252 (eq. 34-21 to 34-24).  These strict formulas know round
microphones, one loudspeaker and distances only; ``loop.py`` reckons with more.
All distances share one unit, whichever it is, unless a name says metres.
"""

from __future__ import annotations

import math

MARGIN_DB = 6.0
"""Feedback stability margin (Ballou eq. 34-21; Eargle p. 4-3)."""
SABINE_S_PER_M = 0.161
"""24 ln 10 / speed of sound, from the definition of T60."""
BANDS_HZ = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
T60_OF_BAND = (1.2, 1.1, 1.0, 1.0, 0.9, 0.8, 0.6)
"""T60 beside that of the middle bands: longer below, shorter above, as in furnished rooms (common
practice, no source)."""
SPEECH_BANDS = (2, 3, 4, 5)
"""The bands by which a voice is judged loud: 500 Hz to 4 kHz."""


def indoor_potential_db(
    *,
    talker_to_microphone: float,
    talker_to_listener: float,
    microphone_to_loudspeaker: float,
    loudspeaker_to_listener: float,
    critical_distance: float,
    open_count: int = 1,
    margin_db: float = MARGIN_DB,
) -> float:
    """Return the potential acoustic gain in dB in a room (Ballou eq. 34-22)."""

    def level(distance: float) -> float:
        return room_level_db(distance, critical_distance)

    return (
        level(talker_to_microphone)
        + level(loudspeaker_to_listener)
        - level(talker_to_listener)
        - level(microphone_to_loudspeaker)
        - open_microphones_db(open_count)
        - margin_db
    )


def indoor_needed_db(*, talker_to_listener: float, ead: float, critical_distance: float) -> float:
    """Return the needed acoustic gain in dB in a room (Ballou eq. 34-24)."""
    return room_level_db(ead, critical_distance) - room_level_db(
        talker_to_listener, critical_distance
    )


def room_level_db(distance: float, critical_distance: float) -> float:
    """Return direct and reverberant sound together, in dB beside the direct sound at distance 1.

    The form g(x) = Dc^2 + x^2 of Ballou eq. 34-21 to 34-24, written as 1/x^2 + 1/Dc^2.
    """
    return 10.0 * math.log10(1.0 / distance**2 + 1.0 / critical_distance**2)


def open_microphones_db(count: int) -> float:
    """Return what ``count`` open microphones cost beside one: 10 log10 NOM (Ballou ch. 34)."""
    return 10.0 * math.log10(count)


def critical_distance(*, directivity_factor: float, absorption: float) -> float:
    """Return where direct and reverberant sound are equal: 0.141 sqrt(Q Sa) (checked by Ballou
    p. 1252: Q 5, 28 000 square feet, mean absorption 0.35 give 31.2 ft)."""
    return math.sqrt(directivity_factor * absorption / (16.0 * math.pi))


def critical_distance_m(*, directivity_factor: float, volume_m3: float, t60_s: float) -> float:
    """Return the same in metres from volume and T60: 0.057 sqrt(Q V / T60) (formula from memory;
    follows from the one above with Sabine's Sa = 0.161 V / T60)."""
    return critical_distance(
        directivity_factor=directivity_factor, absorption=SABINE_S_PER_M * volume_m3 / t60_s
    )
