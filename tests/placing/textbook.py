"""The textbooks' strict formulas that the product does not need: the outside to compare with.

Sources: J. Eargle, Sound System Design Reference Manual, ch. 4; G. Ballou (ed.), Handbook for Sound
Engineers, ch. 34.  They know round microphones, one loudspeaker and distances only.
"""

from __future__ import annotations

import math

from monitor.placing.acoustics import MARGIN_DB, SABINE_S_PER_M, open_microphones_db


def free_potential_db(
    *,
    talker_to_microphone: float,
    talker_to_listener: float,
    microphone_to_loudspeaker: float,
    loudspeaker_to_listener: float,
    open_count: int = 1,
    margin_db: float = MARGIN_DB,
) -> float:
    """Return the potential acoustic gain in dB in the open air (Eargle p. 4-2; Ballou 34-21)."""
    ratio = (
        talker_to_listener
        * microphone_to_loudspeaker
        / (talker_to_microphone * loudspeaker_to_listener)
    )
    return 20.0 * math.log10(ratio) - open_microphones_db(open_count) - margin_db


def free_needed_db(*, talker_to_listener: float, ead: float) -> float:
    """Return the needed acoustic gain in dB in the open air (Eargle p. 4-4; Ballou p. 1243)."""
    return 20.0 * math.log10(talker_to_listener / ead)


def attenuation_db(distance: float, *, directivity_factor: float, absorption: float) -> float:
    """Return what a sound loses on its way, -10 log10(Q / 4 pi x^2 + 4 / Sa) (Ballou p. 1252)."""
    direct = directivity_factor / (4.0 * math.pi * distance**2)
    return -10.0 * math.log10(direct + 4.0 / absorption)


def mean_absorption(*, volume_m3: float, surface_m2: float, t60_s: float) -> float:
    """Return the part of the energy that a wall hit takes away, by Eyring's formula.

    C. F. Eyring, J. Acoust. Soc. Am. 1, 217 (1930), from memory: T60 = 0.161 V / (-S ln(1 - a)).
    """
    return 1.0 - math.exp(-SABINE_S_PER_M * volume_m3 / (surface_m2 * t60_s))
