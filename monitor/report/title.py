"""What a gig is called in a report, when it was and how sure that is."""

from __future__ import annotations

from monitor.counted import counted
from monitor.report.evening import Evening
from monitor.report.words import EveningClock, date_words, length_words

DATED = {
    "network": "",
    "phone": "the date as a phone told it",
    "believed": "date not sure: nobody had told the box the time",
}
_ENDED_BY = {
    "quiet": "ended by itself, after a long quiet",
    "button": "ended by hand",
    "new": "ended when another gig began",
    "plug": "ended when the plug was pulled",
}


def title_of(evening: Evening) -> str:
    """Return the gig's name and venue, as far as they are known."""
    return " at ".join(part for part in (evening.title, evening.venue) if part) or (
        "A gig without a venue"
    )


def date_of(evening: Evening, clock: EveningClock) -> str:
    """Return the day, and by the clock from when to when; empty if nothing is known."""
    begun = EveningClock(evening.begun, clock.zone).moment(0.0)
    if begun is None:
        return ""
    if not evening.is_dated:
        return date_words(begun)
    zone = f"{begun:%Z}"
    return (
        f"{date_words(begun)}, {clock.at(0.0)} to {clock.at(evening.length_s)}"
        f"{f' ({zone})' if zone.isprintable() and zone else ''}"
    )


def date_doubt(evening: Evening) -> str:
    """Return how sure the date is; empty where the network told it."""
    said = DATED.get(evening.dated, DATED["believed"])
    said = said if evening.begun is not None else "date not known"
    one = "not sure that this was one gig: the box was off in between" * evening.is_in_doubt
    return "; ".join(part for part in (said, one) if part)


def counts_of(evening: Evening) -> str:
    """Return how many rings there were, how many of them became howls, and what is not kept."""
    gone = evening.rings_gone
    kept = f"{gone} of them no longer kept" if evening.rings else "none of them kept any more"
    return f"{rings_words(evening)}{f'; {kept}' if gone else ''}"


def rings_words(evening: Evening) -> str:
    """Return how many rings there were, and how many of them became howls."""
    rings = len(evening.rings) + evening.rings_gone
    if not rings:
        return "nothing rang"
    return f"{counted(rings, 'ring')}, {_howls(evening.howl_count + evening.howls_gone, rings)}"


def _howls(howls: int, rings: int) -> str:
    if not howls:
        return "no howl"
    if howls >= rings:
        return "a howl" if rings == 1 else "all howls"
    return "1 of them a howl" if howls == 1 else f"{howls} of them howls"


def subtitle_of(evening: Evening, clock: EveningClock) -> str:
    """Return date, length and counts in one line."""
    length = length_words(evening.length_s) if evening.length_s else ""
    date = date_of(evening, clock)
    if date and not evening.is_dated:
        date += " (not sure)"
    parts = [date or "date not known", length, counts_of(evening)]
    return ", ".join(part for part in parts if part)


def ended_words(evening: Evening) -> str:
    """Return how the gig ended, or that it has not."""
    return _ENDED_BY.get(evening.ended_by, "ended") if evening.is_over else "still going on"
