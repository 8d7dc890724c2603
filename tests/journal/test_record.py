"""Records: what is in them, that they survive a journey, and that junk does not come in."""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.advice.equaliser import Equaliser
from monitor.gigs.noticing import Noticing
from monitor.journal.asks import ClockWord, GetRecord, ListGigs, MergeRecords
from monitor.journal.record import check_record, read_records
from monitor.journal.record_values import RecordError
from monitor.present_advice import ring_out_fields
from tests.advice.test_ring_out import Played
from tests.journal.evenings import play_evening
from tests.journal.telling import MAY_2031_S, HandClock, Told
from tests.report.made_gig import record as made_record

Record = dict[str, Any]


@pytest.fixture
def record(told: Told) -> Record:
    """One evening over a restart, with everything in it, as it is gathered."""
    play_evening(told, "a", rings=20, hours=0.2, seed=1)
    at = told.clock.at()
    told.tell(ClockWord(at.boot_id, at.uptime_s, told.clock.now.utc_s))
    told.begin("b", title="The Ferry Lamps")
    told.happens("b", "way", way="set")
    told.clock.run(61.234)
    told.rings("b", 1)
    told.clock.restart("boot-2", utc_s=MAY_2031_S + 1e6, trusted=True)
    told.rings("b", 2, session="t")
    told.happens("b", "plan", revision=2, sentence="the wedge limits", stage={"room": [4, 6]})
    told.clock.run(10.0)
    told.end("b")
    found: Record = told.ask(GetRecord("b"))
    return found


def test_what_is_in_a_record(told: Told, record: Record) -> None:
    assert record["record"] == 1
    gig = record["gig"]
    assert (gig["uid"], gig["title"], gig["box"], gig["ended_by"]) == (
        "b", "The Ferry Lamps", "lamp", "button",
    )  # fmt: skip
    assert gig["begun"]["dated"] == "phone"
    assert gig["ended"]["boot"] == "boot-2"
    assert gig["ended"]["dated"] == "network"
    assert record["rings"][0] == {
        "id": 1, "session": "s", "at_s": 61.23, "lasted_s": 2.0, "degree": "ringing",
        "way": "set", "frequency_hz": 2480.0, "band": "2.5k", "slider": "2.5k",
        "level_dbfs": -20.0, "growth_db_per_s": 30.0,
    }  # fmt: skip
    assert (record["rings"][1]["boot"], record["rings"][1]["uptime_s"]) == ("boot-2", 5.0)
    assert [(h["kind"], "boot" in h) for h in record["happenings"]] == [
        ("way", False), ("plan", True),
    ]  # fmt: skip
    assert record["boots"]["boot-2"]["dated"] == "network"
    evening = told.ask(GetRecord("a"))
    assert evening["equaliser"]["deepest_db"] == 12.0
    assert len(evening["equaliser"]["sliders"]) == 31
    kinds = {happening["kind"] for happening in evening["happenings"]}
    assert kinds == {"equaliser", "way", "desk_level", "level", "pull", "song", "ring_out"}
    assert sorted(evening["rings"], key=lambda r: r["at_s"]) == evening["rings"]
    json.dumps(evening, allow_nan=False)


def test_a_record_survives_a_journey_to_another_box(
    told: Told, record: Record, tmp_path: Path
) -> None:
    records = [told.ask(GetRecord(uid)) for uid in ("a", "b")]
    there = read_records(json.dumps(records))
    assert there == records
    clock = HandClock()
    clock.restart("elsewhere", utc_s=0.0)
    other = Told(tmp_path / "other", clock)
    assert other.ask(MergeRecords(there)) == {"gigs": 2, "rings": 22}
    assert [other.ask(GetRecord(uid)) for uid in ("a", "b")] == records
    assert [gig["uid"] for gig in other.ask(ListGigs(5))] == ["b", "a"]
    other.close()


def test_the_reports_tests_made_up_records_that_are_ones() -> None:
    # Two hands wrote down the same agreement: what one makes up the other lets through.
    made = json.loads(json.dumps(made_record(200)))
    assert check_record(made)["rings"] == made["rings"]


@pytest.mark.parametrize("kind", ["31", "parametric", "strip"])
def test_a_ring_out_as_it_is_kept_is_let_through(kind: str) -> None:
    # The ring-out's own words for what was pulled: a fixed slider has no place there.
    played = Played(kind)
    for n, hz in enumerate((90.0, 2480.0)):
        played.round(hz, id=n)
    played.do("stop")
    played.do("turned_down")
    noticing = Noticing()
    noticing.look({}, 0.0)
    shot = {"ring_out": ring_out_fields(played.box.equaliser, played.now)}
    (kept,) = noticing.look(shot, 1.0)
    assert kept.content["pulls"]
    record = json.loads(json.dumps(made_record(3)))
    record["happenings"] = [{"at_s": 60.0, "kind": kept.kind, **kept.content}]
    assert check_record(record)["happenings"] == record["happenings"]


@pytest.mark.parametrize("label", ["10", "40k"])
def test_a_slider_at_either_end_of_what_can_be_written_is_let_through(label: str) -> None:
    # What the settings take for a label can be pulled, and so it is kept.
    (slider,) = Equaliser.from_settings("typed", [label]).sliders
    pull = {"label": slider.label, "centre_hz": slider.centre_hz, "pull_db": 3.0}
    record = json.loads(json.dumps(made_record(3)))
    record["happenings"] = [{"at_s": 60.0, "kind": "pull", "pulls": [pull]}]
    assert check_record(record)["happenings"] == record["happenings"]


Spoil = Callable[[Record], object]
JUNK: list[tuple[str, Spoil]] = [
    ("newer release", lambda r: r.update(record=2)),
    ("expected the number 1", lambda r: r.update(record=True)),
    ("expected the number 1", lambda r: r.update(record="1")),
    ("'gig' is missing", lambda r: r.pop("gig")),
    ("gig: a list; an object", lambda r: r.update(gig=[])),
    ("gig.uid: '../x'", lambda r: r["gig"].update(uid="../x")),
    ("gig.title", lambda r: r["gig"].update(title="x" * 61)),
    ("gig.title.*control", lambda r: r["gig"].update(title="a\nb")),
    ("gig.begun.dated", lambda r: r["gig"]["begun"].update(dated="me")),
    ("gig.begun.utc", lambda r: r["gig"]["begun"].update(utc="yesterday")),
    ("gig.begun.uptime_s", lambda r: r["gig"]["begun"].update(uptime_s=-1)),
    ("gig.venue.name", lambda r: r["gig"].update(venue={"uid": "v", "name": ""})),
    ("gig.ended.boot", lambda r: r["gig"]["ended"].update(boot="nowhere")),
    ("gig.ended_by", lambda r: r["gig"].update(ended_by="thunder")),
    ("rings: a str|rings: 'many'", lambda r: r.update(rings="many")),
    (r"rings\[0\].frequency_hz", lambda r: r["rings"][0].update(frequency_hz="2.5k")),
    (r"rings\[0\].frequency_hz", lambda r: r["rings"][0].update(frequency_hz=math.inf)),
    (r"rings\[0\].frequency_hz", lambda r: r["rings"][0].update(frequency_hz=True)),
    (r"rings\[0\].id", lambda r: r["rings"][0].update(id=2**70)),
    (r"rings\[0\].degree", lambda r: r["rings"][0].update(degree="shriek")),
    (r"rings\[0\].degree", lambda r: r["rings"][0].update(degree=["howl"])),
    (r"rings\[1\].boot: 'x'", lambda r: r["rings"][1].update(boot="x")),
    ("at most 20000", lambda r: r.update(rings=r["rings"] * 20_000)),
    (r"happenings\[0\].kind: 'shout'", lambda r: r["happenings"][0].update(kind="shout")),
    (r"happenings\[0\].kind", lambda r: r["happenings"][0].update(kind={})),
    (r"happenings\[0\].way", lambda r: r["happenings"][0].update(way="loud")),
    (r"happenings\[0\].at_s", lambda r: r["happenings"][0].update(at_s=1e9)),
    ("nested too deep", lambda r: r["happenings"][1].update(stage=_nested(9))),
    ("beyond all measure", lambda r: r["happenings"][1].update(stage={"x": 10**400})),
    ("surrogate", lambda r: r["happenings"][1].update(sentence="\udfff")),
    ("characters of content", lambda r: r["happenings"][1].update(stage={"x": ["x" * 1999] * 30})),
    ("boots", lambda r: r.update(boots={str(n): {} for n in range(51)})),
    ("boot: ''", lambda r: r["boots"].update({"": {"dated": "phone"}})),
]


def _nested(depth: int) -> object:
    return [] if depth == 0 else [_nested(depth - 1)]


@pytest.mark.parametrize(("why", "spoil"), JUNK, ids=range(len(JUNK)))
def test_junk_is_refused_with_one_line(record: Record, why: str, spoil: Spoil) -> None:
    spoilt = copy.deepcopy(record)
    spoil(spoilt)
    with pytest.raises(RecordError, match=why) as caught:
        check_record(spoilt)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 250


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "this is no JSON"),
        ("[" * 100_000, "this is no JSON"),
        ('{"record": NaN}', "NaN is not allowed"),
        ("[]", "0 records; from 1 to 500"),
        ("[" + "{}," * 500 + "{}]", "501 records"),
        ("7", "record: 7; an object was expected"),
    ],
)
def test_a_text_without_records_is_refused(text: str, why: str) -> None:
    with pytest.raises(RecordError, match=why):
        read_records(text)


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=9), inner),
    max_leaves=12,
)


@settings(max_examples=150)
@given(st.data())
def test_whatever_stands_anywhere_it_is_let_through_whole_or_refused(data: st.DataObject) -> None:
    whole = copy.deepcopy(made_record(3, hours=0.5))
    place: Any = whole
    while True:
        keys = list(place) if isinstance(place, dict) else list(range(len(place)))
        key = data.draw(st.sampled_from(keys))
        if not isinstance(place[key], dict | list) or not place[key] or data.draw(st.booleans()):
            break
        place = place[key]
    place[key] = data.draw(ANYTHING)
    try:
        checked = check_record(whole)
    except RecordError:
        return
    text = json.dumps(checked, allow_nan=False)
    text.encode()
    assert check_record(json.loads(text)) == checked
