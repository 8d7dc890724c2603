"""The report: one page that needs nothing else, for the screen and for one or two sheets.

No script, no link, nothing from elsewhere; every name and word in it is escaped, and its own
policy forbids all but its style, since a record may come from another box.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import tzinfo
from typing import Any

from monitor.advice.labels import decibels
from monitor.counted import counted
from monitor.placing.shapes_svg import svg_text
from monitor.report.by_slider import SliderRings, rings_by_slider
from monitor.report.curve import curve_picture, pulled_words
from monitor.report.done import done_lines, memory_lines, notes
from monitor.report.evening import Evening, Record, evening_of
from monitor.report.markup import Html, tag, together
from monitor.report.next_time import next_time
from monitor.report.page_style import POLICY, STYLE
from monitor.report.timeline import timeline_picture
from monitor.report.timeline_parts import MOST_DRAWN, drawn_rings
from monitor.report.title import counts_of, date_doubt, date_of, title_of
from monitor.report.words import EveningClock, length_words, sentence

MOST_SLIDERS = 10
"""Rows of the table: more would make a third sheet."""
MOST_TWICE = 400
"""Rings in the page's second timeline, for phones: 200 bytes each, and less room to tell them."""
CAUTION = (
    "The box's microphone is not calibrated: its levels compare with one another and say nothing "
    "of what is safe for ears. Loud feedback harms hearing: faders down while things move. "
    "Electricity and anything overhead follow local codes and licensed people."
)


def report_html(
    record: Record,
    recollection_fields: Mapping[str, Any] | None = None,
    *,
    zone: tzinfo | None = None,
) -> str:
    """Return a gig's report as one HTML page.

    Parameters
    ----------
    record : mapping
        The gig's record; what is missing or malformed is left out.
    recollection_fields : mapping, optional
        What the memory says, for this gig's venue.
    zone : tzinfo, optional
        The local time to show; the machine's by default.
    """
    evening = evening_of(record)
    clock = evening.clock(zone)
    title = title_of(evening)
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", http_equiv="Content-Security-Policy", content=POLICY),
        tag("title", f"{title} · Howl Lantern"),
        tag("style", Html(STYLE)),
    )
    body = tag(
        "body",
        _header(evening, clock, title),
        tag("main", together(*_sections(evening, recollection_fields, clock))),
        tag(
            "footer", tag("p", CAUTION, class_="quiet"), tag("p", _origin(evening), class_="quiet")
        ),
    )
    return f"<!doctype html>\n{tag('html', head, body, lang='en')}\n"


def _sections(evening: Evening, memory: Mapping[str, Any] | None, clock: EveningClock) -> list[str]:
    return [
        _timeline(evening, clock.zone),
        tag("div", _next(evening, memory, clock), _done(evening, clock), class_="both"),
        _curve(evening, clock.zone),
        _table(evening, clock),
        _notes(evening, clock),
        _memory(memory),
    ]


def _timeline(evening: Evening, zone: tzinfo | None) -> Html:
    """The picture for paper and desk; a phone held upright gets one of its own."""
    caption = (
        "Time across, bands up. A drop begins where the ring began: thick is loud, drawn out is "
        "long, solid is a howl."
    )
    if evening.of_kind("way"):
        caption += " The strip on top is how the box listened."
    count = len(evening.rings)
    if count > MOST_DRAWN:
        caption += f" {MOST_DRAWN} of {count} rings are drawn."
    few = evening
    if count > MOST_TWICE:
        few = replace(evening, rings=tuple(drawn_rings(evening, MOST_TWICE)))
        caption += f" On a narrow screen it is the {MOST_TWICE} that howled or lasted longest."
    narrow = svg_text(timeline_picture(few, wide=False, zone=zone))
    return _figure(svg_text(timeline_picture(evening, zone=zone)), caption, narrow)


def _header(evening: Evening, clock: EveningClock, title: str) -> Html:
    doubt = date_doubt(evening)
    when = date_of(evening, clock)
    length = length_words(evening.length_s) if evening.length_s else "length not known"
    return tag(
        "header",
        tag("h1", title),
        tag("p", ", ".join(part for part in (when, length) if part), class_="when"),
        tag("p", sentence(doubt), class_="doubt") if doubt else "",
        tag("p", sentence(counts_of(evening)), class_="counts"),
    )


def _origin(evening: Evening) -> str:
    box = f", box {evening.box}" if evening.box else ""
    uid = f", gig {evening.uid}" if evening.uid else ""
    return f"Howl Lantern{box}{uid}"


def _figure(svg: str, caption: str, upright: str = "") -> Html:
    """A picture; ``upright`` is shown instead where the screen is narrow."""
    # A picture wider than a phone is moved with the keyboard as well.
    inside = tag("div", Html(svg), class_="wide", tabindex="0", role="region", aria_label="picture")
    other = tag("div", Html(upright), class_="upright") if upright else Html()
    return tag("figure", other, inside, tag("figcaption", caption))


def _next(evening: Evening, memory: Mapping[str, Any] | None, clock: EveningClock) -> Html:
    lines = next_time(evening, memory, clock)
    if not lines:
        inside = tag("p", "Nothing that was kept says what to do otherwise.")
    else:
        inside = tag(
            "ol", *(tag("li", tag("b", one.do), sentence(one.why)) for one in lines), class_="next"
        )
    return tag("section", tag("h2", "Next time"), inside)


def _done(evening: Evening, clock: EveningClock) -> Html:
    pairs = [
        part
        for name, said in done_lines(evening, clock)
        for part in (tag("dt", name), tag("dd", said))
    ]
    return tag("section", tag("h2", "What was done"), tag("dl", *pairs))


def _curve(evening: Evening, zone: tzinfo | None) -> Html:
    if not evening.standing and not evening.curve:
        return Html()
    said = f"The equaliser as it stood at the end: {pulled_words(evening) or 'no slider pulled'}."
    if evening.curve:
        said += " The line is the response of all of it together."
    else:
        said += " Its response was not kept."
    return tag(
        "section",
        tag("h2", "Pulled"),
        _figure(svg_text(curve_picture(evening, zone=zone)), said),
        class_="pulled",
    )


_COLUMNS = (
    "slider",
    "rings",
    "howls",
    "Hz",
    "loudest, dBFS",
    "longest",
    "first",
    "last",
    "at the end",
)


def _table(evening: Evening, clock: EveningClock) -> Html:
    groups = rings_by_slider(evening, evening.rings)
    if not groups:
        return Html()
    rows = [_row(group, clock) for group in groups[:MOST_SLIDERS]]
    rest = groups[MOST_SLIDERS:]
    more: str = Html()
    if rest:
        count = sum(len(group.rings) for group in rest)
        more = tag("p", f"and {counted(len(rest), 'slider')} more with {counted(count, 'ring')}",
                   class_="quiet")  # fmt: skip
    head = tag("thead", tag("tr", *(tag("th", name, scope="col") for name in _COLUMNS)))
    table = tag("table", head, tag("tbody", *rows))
    return tag(
        "section",
        tag("h2", "Rings by slider"),
        tag("div", table, class_="wide", tabindex="0", role="region", aria_label="rings by slider"),
        more,
    )


def _row(group: SliderRings, clock: EveningClock) -> Html:
    low_hz, high_hz = (f"{hz:.0f}" for hz in group.span_hz)
    loudest, longest = group.loudest_dbfs, group.longest_s
    cells: Sequence[str] = (
        group.label,
        f"{len(group.rings)}",
        f"{group.howl_count}",
        low_hz if low_hz == high_hz else f"{low_hz} to {high_hz}",
        "" if loudest is None else f"{loudest:.0f}",
        "" if longest is None else length_words(longest),
        clock.at(group.rings[0].at_s),
        clock.at(group.rings[-1].at_s),
        f"-{decibels(group.pull_db)} dB" if group.pull_db else "flat",
    )
    return tag("tr", *(tag("td", cell) for cell in cells))


def _notes(evening: Evening, clock: EveningClock) -> Html:
    found = notes(evening, clock)
    if not found:
        return Html()
    lines = [tag("li", tag("b", at), " ", words) for at, words in found]
    return tag("section", tag("h2", "Notes"), tag("ul", *lines))


def _memory(memory: Mapping[str, Any] | None) -> Html:
    lines = memory_lines(memory)
    if not lines:
        return Html()
    return tag(
        "section",
        tag("h2", "What the memory says"),
        tag("ul", *(tag("li", line) for line in lines)),
    )
