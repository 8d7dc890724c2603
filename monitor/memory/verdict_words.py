"""One line for a verdict: what was counted, then what follows from it."""

from __future__ import annotations

from monitor.counted import counted
from monitor.memory.evidence import Evidence
from monitor.memory.phrases import odds_words, of_evenings

QUIET_SINCE = 4
"""After so many quiet evenings it is said: the thing may be gone, a microphone changed.  What rings
on one evening in six is that quiet half the time by chance; our choice."""


def rig_words(what: str, seen: Evidence, odds: float) -> str:
    """Return the line for what comes along; ``what`` is the frequency in words."""
    return (
        f"{what} rang on {of_evenings(seen.rang, seen.of)}, at {seen.venues_rang} of "
        f"{seen.venues_of} venues{_quiet(seen.quiet_anywhere_count)}: it comes along with you "
        f"({odds_words(odds)}); microphone, wedge and loudspeaker first, or a cut on the channel"
    )


def room_words(what: str, venue: str, seen: Evidence, odds: float) -> str:
    """Return the line for what belongs to one venue."""
    return (
        f"{_here(what, venue, seen)}{_quiet(seen.quiet_count)} and {_elsewhere(seen)}: that room, "
        f"or what stands in it ({odds_words(odds)}); pull it on the graphic there"
    )


def unsure_words(what: str, venue: str, seen: Evidence, likelier: str, odds: float) -> str:
    """Return the line for what cannot be told yet, with the reason."""
    if seen.venues_of == 1:
        return f"{_here(what, venue, seen)}: no other venue is known, so rig or room cannot be told"
    pulled = counted(seen.hidden_count, "evening")
    hidden = f", {pulled} it stood pulled" if seen.hidden_count else ""
    said = odds_words(odds)
    rather = f" ({likelier} {said})" if said else ""
    here = _here(what, venue, seen)
    return f"{here} and {_elsewhere(seen)}{hidden}: not enough evenings yet{rather}"


def _here(what: str, venue: str, seen: Evidence) -> str:
    return f"{what} rang on {of_evenings(seen.here_rang, seen.here_of)} at {venue}"


def _elsewhere(seen: Evidence) -> str:
    if seen.elsewhere_of == 1:
        return f"{'on' if seen.elsewhere_rang else 'not on'} the one evening elsewhere"
    return (
        f"{of_evenings(seen.elsewhere_rang, seen.elsewhere_of).removesuffix(' evenings')} elsewhere"
    )


def _quiet(count: int) -> str:
    return f", not on the last {count}" if count >= QUIET_SINCE else ""
