"""From what is known to what is shown; and what rang tonight."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from firmware.ports import MicrophoneStatus
from monitor import present, present_advice, present_snapshot
from monitor.advice.choice import EqualiserChoice
from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import Excess
from monitor.advice.moves import Move, moves
from monitor.advice.pulls import Pull
from monitor.advice.ring_out_state import RingOutState, RingSoFar
from monitor.advice.ring_out_words import BACK_OFF_DB
from monitor.advice.set_advice import RingNow, SetAdvice, set_advice
from monitor.hearing import Deafness
from monitor.link.messages import encode
from monitor.listening.levels import Levels
from monitor.listening.rings import RingEvent
from monitor.news import Advised
from monitor.present import Situation, face, lamp_pattern, state_of
from monitor.present_advice import pull_fields
from monitor.tonight import RECENT, PastRing, Shown, Tonight
from tests.core.stand_ins import ring

NO_MIC = Deafness("no mic", "plug it in again", "the microphone was unplugged")
STATUS = MicrophoneStatus("hearing", 0.0, "fake", "as asked", 48000, "S16_LE", 1, "none")


def shown(number: int = 1, **changes: object) -> Shown:
    tonight = Tonight(Equaliser.from_settings("31"))
    plain = tonight.take(RingEvent("ringing", ring(number), 1.2), clock_offset_s=50.0)
    return dataclasses.replace(plain, **changes)  # type: ignore[arg-type]


def situation(**changes: object) -> Situation:
    plain = Situation(
        now_mono_s=60.0,
        uptime_s=200.0,
        box="lantern",
        address="http://10.0.0.7:8080/",
        address_age_s=190.0,
        way="set",
        hears=True,
        deafness=None,
        rings=(),
        recent=(),
        has_rung=False,
        quiet_since_mono_s=20.0,
    )
    return dataclasses.replace(plain, **changes)  # type: ignore[arg-type]


def snapshot(s: Situation, **changes: Any) -> dict[str, Any]:
    given: dict[str, Any] = {
        "seq": 1,
        "audio_age_s": 0.01,
        "levels": None,
        "clipping": False,
        "status": STATUS,
        "parts": {},
    }
    return present_snapshot.snapshot(s, **{**given, **changes})


@pytest.mark.parametrize(
    ("changes", "state", "pattern"),
    [
        ({}, "quiet", "dark"),
        ({"hears": False}, "starting", "dark"),
        ({"deafness": NO_MIC, "hears": False}, "deaf", "blink"),
        ({"rings": (shown(),)}, "ringing", "pulse"),
        ({"rings": (shown(), shown(degree="howl"))}, "howl", "steady"),
        # Feedback often clips the box's own microphone: the ring is what matters.
        ({"rings": (shown(),), "deafness": NO_MIC}, "ringing", "pulse"),
    ],
)
def test_states_and_their_rhythm(changes: dict[str, Any], state: str, pattern: str) -> None:
    found = state_of(situation(**changes))
    assert found == state
    assert lamp_pattern(found) == pattern


def test_face_of_one_ring_names_band_hz_and_slider() -> None:
    found = face(situation(rings=(shown(),)))
    assert (found.kind, found.headline) == ("ringing", "2.5k")
    assert (found.line_1, found.line_2) == ("pull 2.5k", "2480 Hz")
    found = face(situation(rings=(shown(degree="howl", again=3),)))
    assert (found.kind, found.line_2) == ("howl", "2480 Hz  again! 3")


def test_face_of_several_names_the_first_and_the_others_once() -> None:
    tonight = Tonight(Equaliser.from_settings("10"))
    for number, hz in enumerate([2480.0, 250.0, 255.0, 8000.0]):
        event = RingEvent("ringing", ring(number, hz, level_dbfs=-30.0 - number), 1.2)
        tonight.take(event, clock_offset_s=0.0)
    found = face(situation(rings=tonight.open_rings))
    assert (found.kind, found.headline, found.line_1) == ("several", "2k", "pull 2k")
    assert found.others == ("250", "8k")
    assert found.line_2 == "4 at once"


def test_a_label_does_not_stand_twice_on_the_face_of_several() -> None:
    two = rings_of("31", 1590.0, 1610.0)
    assert [one.band.label for one in two] == ["1.6k", "1.6k"]
    assert face(situation(rings=two)).others == ()
    # Of 125 the nearest of 15 bands is 160, which rings as well.
    found = face(situation(rings=rings_of("15", 128.0, 160.0)))
    assert (found.headline, found.others) == ("160", ())


def test_face_when_deaf_says_why_and_what_to_do() -> None:
    found = face(situation(deafness=NO_MIC, hears=False))
    assert (found.kind, found.headline, found.line_1) == ("deaf", "no mic", "plug it in again")


def test_welcome_lasts_until_the_first_ring_or_for_a_while() -> None:
    early = situation(uptime_s=5.0, address_age_s=2.0)
    assert (face(early).kind, face(early).headline) == ("starting", "lantern")
    assert face(early).line_1 == "http://10.0.0.7:8080/"
    assert face(dataclasses.replace(early, has_rung=True)).kind == "quiet"
    # A page that comes up late has its address shown all the same.
    assert face(situation(uptime_s=60.0, address_age_s=1.0)).kind == "starting"
    assert face(situation(uptime_s=60.0, address_age_s=50.0)).kind == "quiet"
    assert face(situation(uptime_s=5000.0, address_age_s=1.0)).kind == "quiet"
    assert state_of(early) == "quiet"


def test_quiet_face_remembers_the_last_ring() -> None:
    found = face(situation(recent=(shown(frequency_hz=83.26),)))
    assert (found.headline, found.line_1) == ("quiet", "last 2.5k 83.3 Hz")


def test_a_mistake_in_the_settings_is_said_while_it_is_quiet() -> None:
    wrong = situation(settings_health="the last good settings are used: ...", has_rung=True)
    assert face(wrong).line_1 == "a mistake in settings"
    assert face(dataclasses.replace(wrong, rings=(shown(),))).kind == "ringing"


def test_on_leaving_the_panel_says_goodbye_whatever_rings() -> None:
    leaving = face(situation(is_leaving=True, rings=(shown(),)))
    assert (leaving.headline, leaving.line_2) == ("goodbye", "then pull the plug")


def test_snapshot_of_quiet() -> None:
    s = snapshot(situation(recent=(shown(ended_mono_s=52.5),)))
    assert s["quiet_for_s"] == 40.0
    assert s["rings"] == []
    (recent,) = s["recent"]
    assert (recent["lasted_s"], recent["ended_ago_s"]) == (1.5, 7.5)
    assert len(s["third_octave_dbfs"]) == len(s["bands"]) == 31
    encode(s)


def test_snapshot_of_ringing() -> None:
    s = snapshot(situation(rings=(shown(),)))
    (ringing,) = s["rings"]
    assert ringing["ringing_for_s"] == 9.0
    assert ringing["slider_hz"] == pytest.approx(2511.886, abs=0.001)
    assert s["quiet_for_s"] is None
    assert b"quiet_for_s" not in encode(s)


def test_snapshot_never_holds_what_json_cannot() -> None:
    levels = Levels(-math.inf, math.nan, np.array([math.nan, -math.inf] + 29 * [-40.04]))
    hot = shown(growth_db_per_s=math.inf, level_dbfs=math.nan)
    s = snapshot(situation(rings=(hot,), deafness=NO_MIC), levels=levels)
    encode(s)
    assert s["third_octave_dbfs"][:3] == [-150.0, -150.0, -40.0]
    assert s["deaf_reason"] == s["microphone"]["detail"] == "the microphone was unplugged"
    assert snapshot(situation())["microphone"]["detail"] == "as asked"


def test_snapshot_with_everything_fits_into_a_line() -> None:
    many = tuple(shown(n) for n in range(30))
    parts = {
        "equaliser": present_snapshot.equaliser_fields(Equaliser.from_settings("31")),
        "panel": present_snapshot.panel_fields(320, 320, bytes(320 * 40), "ok"),
    }
    assert len(encode(snapshot(situation(rings=many, recent=many[:12]), parts=parts))) < 40_000


def test_a_low_cut_is_a_switch_and_its_figure_is_nowhere() -> None:
    strip = Equaliser.from_settings("strip")
    fields = present_snapshot.equaliser_fields(strip)
    assert [one.get("switch", False) for one in fields["sliders"]] == [True, False, False, False]
    assert (fields["deepest_db"], fields["graphic"]) == (12.0, False)
    told = pull_fields(strip, LOW_CUT_ON)
    assert (told["label"], told["on"]) == ("low cut", True)
    assert (told["pull_db"], told["more_db"]) == (None, None)
    assert "12.3" not in encode({"class": "x", "pulls": [told], **fields}).decode()
    assert present_snapshot.equaliser_fields(Equaliser.from_settings("31"))["graphic"]


# --- tonight ---------------------------------------------------------------------------------


def closed(number: int, hz: float = 2480.0, end_s: float = 2.0) -> RingEvent:
    return RingEvent("closed", ring(number, hz, end_s=end_s), end_s)


def test_rings_of_one_band_are_counted() -> None:
    tonight = Tonight(Equaliser.from_settings("31"))
    again = []
    for number, hz in enumerate([2480.0, 500.0, 2600.0, 2480.0]):
        again.append(
            tonight.take(RingEvent("ringing", ring(number, hz), 1.2), clock_offset_s=0.0).again
        )
        tonight.take(closed(number, hz), clock_offset_s=0.0)
    assert again == [1, 1, 2, 3]
    assert [r.band.label for r in tonight.recent] == ["2.5k", "2.5k", "500", "2.5k"]


def test_another_gig_counts_anew_and_forgets_what_ended_before_it() -> None:
    tonight = Tonight(Equaliser.from_settings("31"))
    for number, end_s in enumerate([2.0, 5.0, 20.0]):
        event = RingEvent("ringing", ring(number), 1.2)
        tonight.take(event, clock_offset_s=0.0)
        tonight.take(closed(number, end_s=end_s), clock_offset_s=0.0)
    tonight.take(RingEvent("ringing", ring(9), 1.2), clock_offset_s=0.0)
    for _ in range(2):  # told again with every snapshot
        tonight.begin_at(10.0)
        assert [r.ended_mono_s for r in tonight.recent] == [20.0]
        assert [r.again for r in (*tonight.recent, *tonight.open_rings)] == [1, 2]
    after = tonight.take(RingEvent("ringing", ring(10), 1.2), clock_offset_s=0.0)
    assert after.again == 3


def test_howls_come_first_then_the_louder() -> None:
    tonight = Tonight(Equaliser.from_settings("31"))
    for number, (degree, level) in enumerate([("ringing", -5.0), ("howl", -40.0), ("howl", -9.0)]):
        event = RingEvent(degree, ring(number, degree=degree, level_dbfs=level), 1.2)  # type: ignore[arg-type]
        tonight.take(event, clock_offset_s=0.0)
    assert [r.level_dbfs for r in tonight.open_rings] == [-9.0, -40.0, -5.0]
    tonight.follow([ring(0, level_dbfs=-50.0), ring(99)])
    assert [r.level_dbfs for r in tonight.open_rings] == [-9.0, -40.0, -50.0]


def test_recent_rings_are_bounded_and_numbers_are_unique() -> None:
    tonight = Tonight(Equaliser.from_settings("31"))
    for _ in range(3 * RECENT):
        # The listening begins to count afresh after every change of rate.
        tonight.take(RingEvent("howl", ring(1), 1.2), clock_offset_s=0.0)
        tonight.take(closed(1), clock_offset_s=0.0)
    numbers = [r.id for r in tonight.recent]
    assert numbers == list(range(3 * RECENT, 2 * RECENT, -1))


def test_sample_clock_becomes_monotonic_time() -> None:
    tonight = Tonight(Equaliser.from_settings("31"))
    opened = tonight.take(RingEvent("ringing", ring(1), 1.2), clock_offset_s=50.0)
    assert opened.started_mono_s == 51.0
    ended = tonight.take(closed(1, end_s=3.0), clock_offset_s=50.0)
    assert ended.ended_mono_s == tonight.last_end_mono_s == 53.0


def test_a_close_without_an_opening_is_kept() -> None:
    # Cannot come from the listening; if it does, nothing is lost and nothing breaks.
    tonight = Tonight(Equaliser.from_settings("31"))
    tonight.take(closed(7), clock_offset_s=0.0)
    assert len(tonight.recent) == 1
    assert tonight.open_rings == ()


def test_the_journal_s_memory_goes_behind_what_is_new() -> None:
    tonight = Tonight(Equaliser.from_settings("31"))
    tonight.take(RingEvent("ringing", ring(1), 1.2), clock_offset_s=0.0)
    past = [PastRing(n, "howl", 2480.0, -20.0, 30.0, -100.0 + n, -95.0 + n) for n in (3, 4)]
    tonight.remember(past, next_id=5)
    (opened,) = tonight.open_rings
    assert opened.again == 3
    assert [r.id for r in tonight.recent] == [4, 3]
    assert [r.again for r in tonight.recent] == [2, 1]
    assert tonight.last_end_mono_s == -91.0
    after = tonight.take(RingEvent("ringing", ring(2), 1.2), clock_offset_s=0.0)
    assert (after.id, after.again) == (5, 4)


def test_every_kind_of_face_can_be_drawn() -> None:
    from firmware.faces import draw_face

    kinds = set()
    choices: list[list[Any]] = [
        [(), (shown(),), (shown(degree="howl"),), (shown(), shown(2, degree="howl"))],
        [None, NO_MIC],
        [2.0, 500.0],
    ]
    for rings, deafness, uptime_s in itertools.product(*choices):
        found = face(
            situation(rings=rings, deafness=deafness, uptime_s=uptime_s, address_age_s=None)
        )
        kinds.add(found.kind)
        assert draw_face(found, width=128, height=64).getbbox() is not None
    assert kinds == {"starting", "quiet", "ringing", "howl", "several", "deaf"}


def ring_out_state(**changes: Any) -> RingOutState:
    plain = RingOutState(
        phase="raise",
        say="Raise slowly",
        detail="",
        pulls_now=(),
        pulls=(),
        rings=(),
        gain_won_db=None,
        tone_cost_db=0.0,
        why_ended="",
        cautions=(),
        hints=(),
        asks=False,
        may=(),
    )
    return dataclasses.replace(plain, **changes)


PULL = Move("2.5k", 6.0, 2511.9, 4.3, 4.0)
PUT = Move("filter 1", 3.0, 200.0, 10.0, -8.0, kind="put", is_elsewhere=True, is_swept=True)
FILTER = Move("filter 2", 6.0, 1049.0, 7.0, 6.0, is_swept=True)
WIDE = Move("12.5k", 12.0, 12589.3, 4.3, 10.5)
LOW_CUT_ON = Move("low cut", 12.3, 100.0, 0.707, 12.3, kind="switch")
LOW_CUT_OFF = moves([LOW_CUT_ON], [])
UNDONE_ONE = moves([Pull("2.5k", 6.0, 2511.9, 4.3)], [Pull("2.5k", 2.0, 2511.9, 4.3)])
UNDONE_THREE = moves(
    [Pull(label, 12.0, hz, 4.3) for label, hz in (("12.5k", 12589.3), ("1k", 1e3), ("400", 398.1))],
    [Pull("12.5k", 10.5, 12589.3, 4.3), Pull("1k", 2.0, 1e3, 4.3)],
)
ASTRAY = moves([Pull("2k", 5.0, 1995.3, 4.3)], [])
"""Moved in the place of what was asked for."""
GONE = RingSoFar(2480.0, "gone", 1, None, 4.0)


@pytest.mark.parametrize(
    ("changes", "kind", "words"),
    [
        ({}, "raise", ("raise", "slowly", "")),
        ({"rings": (GONE,)}, "gone", ("raise on", "gone", "")),
        ({"phase": "pull", "pulls_now": (PULL,)}, "pull", ("2.5k", "pull by 4", "")),
        (
            {"phase": "pull", "pulls_now": (PULL, dataclasses.replace(PULL, more_db=1.5))},
            "pull",
            ("2.5k", "pull by 4", "and 2.5k by 1.5"),
        ),
        (
            {"phase": "pull", "pulls_now": (dataclasses.replace(PULL, label="filter 1"),)},
            "pull",
            ("2.51k", "filter 1 by 4", ""),
        ),
        (
            {"phase": "pull", "pulls_now": (PULL, WIDE, PULL)},
            "pull",
            ("2.5k", "pull by 4", "and 12.5k by 10.5, +1"),
        ),
        (
            {"phase": "pull", "pulls_now": (PULL, FILTER, *[PULL] * 10)},
            "pull",
            ("2.5k", "pull by 4", "and 1.05k by 6, +10"),
        ),
        (
            {"phase": "pull", "pulls_now": (PULL,), "put_back": ASTRAY},
            "pull",
            ("2.5k", "pull by 4", "and 2k to 0"),
        ),
        (
            {"phase": "pull", "pulls_now": (PULL, WIDE), "put_back": UNDONE_ONE},
            "pull",
            ("2.5k", "pull by 4", "and 2.5k to -2, +1"),
        ),
        ({"phase": "pull", "pulls_now": (PUT,)}, "pull", ("200", "filter 1 to -3", "")),
        (
            {"phase": "pull", "pulls_now": (FILTER, PUT)},
            "pull",
            ("1.05k", "filter 2 by 6", "and 200 at -3"),
        ),
        (
            {"phase": "pull", "pulls_now": (PUT, dataclasses.replace(PUT, pull_db=0.0))},
            "pull",
            ("200", "filter 1 to -3", "and filter 1 to 0"),
        ),
        ({"phase": "pull", "pulls_now": (LOW_CUT_ON,)}, "pull", ("100", "low cut on", "")),
        (
            {"phase": "pull", "pulls_now": (PULL, LOW_CUT_ON)},
            "pull",
            ("2.5k", "pull by 4", "and low cut on"),
        ),
        (
            {"phase": "pull", "pulls_now": (PULL, WIDE), "asks_twice": True},
            "pull",
            ("2.5k", "at -6?", "and 12.5k"),
        ),
        (
            {"phase": "pull", "pulls_now": (FILTER, *[WIDE] * 4), "asks_twice": True},
            "pull",
            ("1.05k", "filter 2 at -6?", "and 4 more"),
        ),
        (
            {"phase": "pull", "pulls_now": (LOW_CUT_ON,), "asks_twice": True},
            "pull",
            ("100", "low cut on?", ""),
        ),
        ({"phase": "listen"}, "quiet", ("listen", "hold the fader", "")),
        (
            {"phase": "back_off", "back_off_db": BACK_OFF_DB},
            "back off",
            ("-3 dB", "come down", ""),
        ),
        (
            {"phase": "back_off", "back_off_db": BACK_OFF_DB + 4.5},
            "back off",
            ("-7.5 dB", "come down", ""),
        ),
        (
            {"phase": "back_off", "back_off_db": 3.0, "say": "Further down"},
            "back off",
            ("further", "come down", ""),
        ),
        ({"say": "Fader at its end"}, "quiet", ("enough?", "fader at its end", "")),
        ({"put_back": LOW_CUT_OFF}, "raise", ("put back", "low cut off", "")),
        ({"put_back": UNDONE_ONE}, "raise", ("put back", "2.5k to -2", "")),
        ({"put_back": UNDONE_THREE}, "raise", ("put back", "12.5k to -10.5", "1k to -2, +1")),
        (
            {"put_back": (PUT, *LOW_CUT_OFF)},
            "raise",
            ("put back", "filter 1 to 200 Hz", "Q 10, -3, +1"),
        ),
        ({"phase": "ready"}, "quiet", ("quiet", "ring-out ready", "http://10.0.0.7:8080/")),
        ({"phase": "paused"}, "quiet", ("quiet", "ring-out paused", "http://10.0.0.7:8080/")),
        ({"phase": "done"}, "quiet", ("quiet", "set", "http://10.0.0.7:8080/")),
    ],
)
def test_the_panel_in_a_ring_out(
    changes: dict[str, Any], kind: str, words: tuple[str, str, str]
) -> None:
    advised = Advised(ring_out=ring_out_state(**changes))
    found = face(situation(advised=advised))
    assert (found.kind, (found.headline, found.line_1, found.line_2)) == (kind, words)
    # What rings is shown at once; only the pull that it needs may stand before it.
    ringing = face(situation(advised=advised, rings=(shown(),)))
    assert ringing.kind == ("pull" if changes.get("phase") == "pull" else "ringing")
    if kind in ("raise", "gone", "back off") or changes.get("phase") == "listen":
        # It asks for no slider, and so does the panel: the ring may have been left alone.
        assert (ringing.headline, ringing.line_2) == ("2.5k", "2480 Hz")
        asks = "come down" if kind == "back off" else "hold the fader"
        assert ringing.line_1 == asks
    # Soon after the start as well: whoever is led has the page open and needs no address.
    early = face(situation(advised=advised, uptime_s=3.0, address_age_s=2.0))
    is_led = kind != "quiet" or words[0] in ("listen", "enough?")
    assert early.kind == (kind if is_led else "starting")
    # Nobody can follow a guide that does not hear.
    assert face(situation(advised=advised, deafness=NO_MIC, hears=False)).kind == "deaf"


def test_what_was_left_alone_in_a_ring_out_is_not_asked_for_on_the_panel() -> None:
    state = ring_out_state(detail="what was left alone still rings: come down until it has gone")
    found = face(situation(advised=Advised(ring_out=state), rings=rings_of("15", 544.0)))
    assert (found.kind, found.headline) == ("howl", "500")
    assert (found.line_1, found.line_2) == ("come down", "544 Hz")


def test_the_panel_says_the_depth_of_the_ring_that_it_shows() -> None:
    advice = SetAdvice("pull 2.5k by 4", (PULL,), None, "", "", names=("2.5k",))
    rings = (shown(),)
    found = face(situation(rings=rings, advised=Advised(advice, for_ring=rings[0].id)))
    assert (found.kind, found.headline, found.line_1) == ("ringing", "2.5k", "pull 2.5k by 4")
    # Advice for another ring would send the hand to the wrong slider.
    found = face(situation(rings=rings, advised=Advised(advice, for_ring=rings[0].id + 1)))
    assert found.line_1 == "pull 2.5k"


def told_of(*rings: Shown, kind: str, **more: Any) -> tuple[str, str, str, str]:
    """What the panel shows once the advice is there."""
    heard = [RingNow(one.frequency_hz, Excess(3.5, 1.75, 7.0, "it grows")) for one in rings]
    advice = set_advice(Equaliser.from_settings(kind), heard, **more)
    found = face(situation(rings=rings, advised=Advised(advice, for_ring=rings[0].id)))
    return found.kind, found.headline, found.line_1, found.line_2


def rings_of(kind: str, *frequencies_hz: float) -> tuple[Shown, ...]:
    tonight = Tonight(Equaliser.from_settings(kind))
    for number, hz in enumerate(frequencies_hz):
        event = RingEvent("howl", ring(number, hz, degree="howl", level_dbfs=-30.0 - number), 1.2)
        tonight.take(event, clock_offset_s=0.0)
    return tonight.open_rings


def test_the_largest_type_is_what_the_hand_looks_for() -> None:
    """As on the page: on fewer than 31 bands what rings often has no slider of its own name."""
    # ISO 266, every second third octave: a 15-band equaliser has no 125.
    low = rings_of("15", 125.9)
    assert told_of(*low, kind="15") == ("howl", "100", "pull 100 by 12", "and 160 by 1")
    assert told_of(*rings_of("31", 125.9), kind="31")[1:] == ("125", "pull 125 by 7", "126 Hz")
    # One slider alone leaves room to say what rings; a filter is named by where it goes.
    alone = told_of(*rings_of("strip", 2480.0), kind="strip")
    assert alone[1:] == ("2.48k", "pull 2.48k by 7", "2480 Hz rings")
    assert told_of(*rings_of("10", 2480.0), kind="10")[1:] == ("2k", "pull 2k by 9", "and 4k by 1")
    # Where one of two has the band's own name, both rows still say which slider they mean.
    both = told_of(*rings_of("31", 1402.0), kind="31")
    assert both[1:] == ("1.25k", "pull 1.25k by 7", "and 1.6k by 6")
    several = told_of(*rings_of("15", 125.9, 1000.0), kind="15")
    assert several == ("several", "100", "pull 100 by 12", "and 160 by 1")
    # Where no slider is asked for it is the band.
    assert told_of(*rings_of("15", 125.9, 1000.0, 4000.0), kind="15")[1:3] == ("125", "turn down 3")
    # Before the advice is there, the nearest slider is told alone.
    early = face(situation(rings=low))
    assert (early.headline, early.line_1, early.line_2) == ("160", "pull 160", "126 Hz rings")


def test_the_first_keeps_its_place_until_another_leads() -> None:
    tonight = Tonight(Equaliser.from_settings("31"))

    def hear(number: int, level_dbfs: float, degree: str = "ringing") -> list[str]:
        hz = {1: 315.0, 2: 500.0}[number]
        event = RingEvent(degree, ring(number, hz, degree=degree, level_dbfs=level_dbfs), 1.2)  # type: ignore[arg-type]
        tonight.take(event, clock_offset_s=0.0)
        return [one.band.label for one in tonight.open_rings]

    hear(1, -30.0)
    assert hear(2, -28.0) == ["315", "500"], "as loud as the first, nearly"
    tonight.follow([ring(1, 315.0, level_dbfs=-30.0), ring(2, 500.0, level_dbfs=-26.0)])
    assert [one.band.label for one in tonight.open_rings] == ["500", "315"]
    assert tonight.first_id == 2
    tonight.follow([ring(1, 315.0, level_dbfs=-24.0), ring(2, 500.0, level_dbfs=-26.0)])
    assert [one.band.label for one in tonight.open_rings] == ["500", "315"]
    assert hear(1, -40.0, "howl") == ["315", "500"], "a howl comes first however soft"
    tonight.take(closed(1, 315.0), clock_offset_s=0.0)
    assert tonight.first_id == 2
    tonight.take(closed(2, 500.0), clock_offset_s=0.0)
    assert tonight.first_id is None


def test_advice_for_another_ring_is_kept_back() -> None:
    advice = SetAdvice("pull 2.5k by 4", (), None, "", "")
    fields = {"advice": {"line": advice.line}, "standing": []}
    advised = Advised(advice, 1, None, fields)
    of_it = situation(rings=(shown(1),), advised=advised)
    assert present.advised_fields(of_it) == fields
    of_another = situation(rings=(shown(1, id=2),), advised=advised)
    assert present.advised_fields(of_another) == {"standing": []}
    assert present.advised_fields(situation(advised=advised)) == {"standing": []}
    assert present.advised_fields(situation()) == {}


@pytest.mark.parametrize("q", [4.3, 10.0, 50.0])
def test_a_narrow_filter_is_drawn_as_deep_as_it_is(q: float) -> None:
    # The cookbook's bell has its whole gain in its middle, wherever that is on a grid.
    equaliser = Equaliser.from_choice(EqualiserChoice("parametric", filter_q=(0.5, 100.0)))
    for centre_hz in np.geomspace(300.0, 400.0, 7):
        drawn = present_advice.curve_fields(equaliser, [Pull("filter 1", 6.0, centre_hz, q)])
        assert min(drawn["db"]) == pytest.approx(-6.0, abs=0.1)
        assert drawn["hz"] == sorted(set(drawn["hz"]))
        assert len(drawn["hz"]) == len(drawn["db"])


def test_a_curve_that_stands_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A ring-out that is done is told ten times a second, for as long as nobody puts it away."""
    asked: list[Sequence[Pull]] = []
    true = present_advice.standing_response_db

    def counting(equaliser: Equaliser, pulls: Sequence[Pull], hz: np.ndarray) -> np.ndarray:
        asked.append(pulls)
        return true(equaliser, pulls, hz)

    monkeypatch.setattr(present_advice, "standing_response_db", counting)
    equaliser = Equaliser.from_settings("31")
    one, other = (Pull("2.5k", pull_db, 2511.886, 4.3) for pull_db in (3.25, 3.75))
    first = [present_advice.curve_fields(equaliser, [one]) for _ in range(10)]
    then = present_advice.curve_fields(equaliser, [other])
    assert [len(pulls) for pulls in asked] == [1, 1]
    assert all(fields == first[0] for fields in first)
    assert min(first[0]["db"]) == pytest.approx(-3.25, abs=0.2)
    assert min(then["db"]) == pytest.approx(-3.75, abs=0.2)
