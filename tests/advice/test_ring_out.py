"""The guided ring-out: what it notices by itself, when it ends, and what it never does."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Any

import pytest

from monitor.advice.choice import EqualiserChoice
from monitor.advice.equaliser import Equaliser
from monitor.advice.growth import Slope
from monitor.advice.labels import decibels, written
from monitor.advice.margin import Excess, LoopTimes
from monitor.advice.pulls import Pull
from monitor.advice.ring_out import RingOut
from monitor.advice.ring_out_next import pull_margin_db
from monitor.advice.ring_out_state import RingNews, RingOutState
from monitor.advice.ring_out_waits import BACK_OFF_S, LISTEN_S, PATIENCE_S, REACTION_S
from monitor.advice.ring_out_words import BACK_OFF_DB
from monitor.present_advice import ring_out_fields

SPOT_HZ = 2511.9
"""Where the 2.5k slider of 31 stands exactly (IEC 61260-1)."""
THIRDS_HZ = [slider.centre_hz for slider in Equaliser.from_settings("31").sliders]


def excess(db: float) -> Excess:
    return Excess(db, 0.5 * db, 2.0 * db, "given")


class Played:
    """A ring-out, its clock, and short words for what happens to it."""

    def __init__(self, kind: str | Equaliser = "31", **more: object) -> None:
        equaliser = Equaliser.from_settings(kind) if isinstance(kind, str) else kind
        self.box = RingOut(equaliser, **more)  # type: ignore[arg-type]
        self.at_s = 0.0
        self.box.command("begin", 0.0)

    @property
    def now(self) -> RingOutState:
        return self.box.state

    def wait(self, seconds: float) -> None:
        for _ in range(round(seconds / 0.1)):
            self.at_s += 0.1
            self.box.passed(self.at_s)

    def rings(self, hz: float, id: int = 1, db: float | None = 1.0, kind: str = "opened") -> None:
        told = None if db is None else excess(db)
        self.box.heard(RingNews(kind, id, hz, -30.0, self.at_s, excess=told))  # type: ignore[arg-type]

    def gone(self, hz: float, id: int = 1, **more: object) -> None:
        self.box.heard(RingNews("closed", id, hz, -60.0, self.at_s, **more))  # type: ignore[arg-type]

    def do(self, name: str, **values: float) -> None:
        self.box.command(name, self.at_s, **values)

    def round(self, hz: float, id: int = 1, db: float = 1.0) -> None:
        """It rings, is pulled, goes."""
        self.rings(hz, id, db)
        self.wait(1.5)
        self.gone(hz, id)
        self.wait(LISTEN_S + 0.2)


def test_it_begins_with_cautions_and_only_once_they_are_read() -> None:
    box = RingOut(Equaliser.from_settings("31"))
    box.heard(RingNews("opened", 1, 1000.0, -30.0, 0.0))
    assert (box.state.phase, box.state.say) == ("ready", "Get ready")
    said = " ".join(box.state.cautions)
    assert all(word in said for word in ("ears", "slowly", "loudspeakers"))
    box.command("begin", 1.0)
    # What rang already is asked for at once.
    assert box.state.phase == "pull"
    assert box.state.cautions == ()


def test_hands_free_a_ring_that_went_was_pulled_as_advised() -> None:
    played = Played()
    played.wait(3.0)
    played.rings(SPOT_HZ, db=1.0)
    assert (played.now.phase, played.now.say) == ("pull", "Pull 2.5k by 5 dB")
    assert played.now.pulls == ()
    played.wait(1.5)
    played.gone(SPOT_HZ)
    assert played.now.phase == "listen"
    assert [(p.label, p.pull_db) for p in played.now.pulls] == [("2.5k", 5.0)]
    played.wait(LISTEN_S + 0.1)
    assert played.now.phase == "raise"
    assert [(r.fate, r.times) for r in played.now.rings] == [("gone", 1)]
    assert played.now.rings[0].depth_db == pytest.approx(5.0, abs=0.01)


def test_a_ring_that_went_before_a_hand_could_move_was_not_pulled() -> None:
    played = Played()
    played.rings(SPOT_HZ)
    played.wait(REACTION_S - 0.2)
    played.gone(SPOT_HZ)
    assert played.now.phase == "raise"
    assert played.now.pulls == ()


@pytest.mark.parametrize("restarts", [False, True])
@pytest.mark.parametrize("standing", [(), (Pull("2.5k", 6.0, SPOT_HZ, 4.3),)])
def test_a_ring_that_went_by_itself_has_no_more_excess_than_the_fader_went_up_since(
    standing: tuple[Pull, ...], restarts: bool
) -> None:
    # A word into the microphone makes what nearly rings climb at the word's own rate.
    word = Slope(300.0, 30.0, 0.0, 0.3)
    played = Played(standing=standing)
    played.box.heard(RingNews("opened", 1, SPOT_HZ, -30.0, played.at_s, slope=word))
    first = played.now.rings[0].excess
    assert first is not None
    assert first.db > 4.0
    played.wait(0.8 * REACTION_S)
    played.gone(SPOT_HZ)
    if restarts:
        kept = json.loads(json.dumps(played.box.kept(), allow_nan=False))
        played.box = RingOut.restored(kept, played.box.equaliser)
        played.box.passed(played.at_s)
        played.do("go_on")
    played.wait(4.0)
    played.box.heard(RingNews("opened", 2, SPOT_HZ, -30.0, played.at_s, slope=word))
    again = played.now.rings[0].excess
    assert again is not None
    # Four seconds of raising are 1.25 dB; a hand twice as fast makes 2.5 of it.
    assert 0.5 < again.db <= 3.0
    assert sum(p.more_db for p in played.now.pulls_now) < 7.0
    # What is heard to be less is less.
    played.wait(0.8 * REACTION_S)
    played.gone(SPOT_HZ, id=2)
    played.wait(4.0)
    played.rings(SPOT_HZ, id=3, db=0.4)
    assert played.now.rings[0].excess == excess(0.4)


def test_a_desk_that_tells_its_sliders_is_waited_for() -> None:
    played = Played()
    played.box.stand([])
    played.rings(SPOT_HZ, db=1.0)
    played.wait(1.5)
    asked = played.now.say, played.now.detail
    for _ in range(100):
        played.box.stand([])
        played.wait(1.0)
    assert (played.now.say, played.now.detail) == asked
    assert played.now.pulls == ()


WRONG = Pull("2k", 5.0, 1995.3, 4.3)
"""Pulled in the place of 2.5k."""


def test_a_slider_that_was_moved_instead_is_named_until_it_is_back_or_the_ring_has_gone() -> None:
    played = Played()
    played.box.stand([])
    played.rings(SPOT_HZ, db=1.0)
    asked = played.now.say, played.now.detail
    played.box.stand([WRONG])
    for _ in range(5):
        assert (played.now.say, played.now.detail) == (asked[0], f"Put 2k to 0; {asked[1]}")
        played.wait(PATIENCE_S)
    played.box.stand([])
    assert (played.now.say, played.now.detail) == asked
    # It has done the work all the same.
    played.box.stand([WRONG])
    played.gone(SPOT_HZ)
    assert (played.now.phase, played.now.put_back) == ("listen", ())
    assert [(p.label, p.pull_db) for p in played.now.pulls] == [("2k", 5.0)]


@pytest.mark.parametrize("says", [True, False])
def test_beside_a_pull_that_was_not_enough_the_wrong_slider_is_named_on(says: bool) -> None:
    played = Played()
    played.box.stand([])
    played.rings(SPOT_HZ, db=1.0)
    (asked,) = played.now.pulls_now
    half = Pull("2.5k", asked.pull_db - 2.0, SPOT_HZ, asked.q)
    played.box.stand([WRONG, half])
    if says:
        played.do("pulled")
        played.box.stand([WRONG, half])
    played.wait(PATIENCE_S + 0.2)
    played.box.stand([WRONG, half])
    assert played.now.phase == "pull"
    assert played.now.detail.startswith("Put 2k to 0; ")
    (deeper,) = played.now.pulls_now
    # What the wrong one took away goes with it, and is asked for on top.
    assert (deeper.label, deeper.pull_db > asked.pull_db) == ("2.5k", True)


def test_a_fader_at_its_end_is_not_asked_to_go_up() -> None:
    played = Played()
    played.round(1000.0, id=5)
    stands = played.now.pulls
    played.box.stand(stands, is_up=True)
    assert (played.now.phase, played.now.say) == ("raise", "Fader at its end")
    assert "loud enough" in played.now.detail
    # What rings, is left alone or is to be put back comes before it.
    played.rings(SPOT_HZ)
    assert played.now.say.startswith("Pull 2.5k")
    played.do("skip")
    assert played.now.say == "Come down"
    played.gone(SPOT_HZ)
    assert played.now.say == "Fader at its end"
    for _ in range(2):
        played.do("undo")
    assert played.now.say == "Put 1k to 0"
    played.box.stand([], is_up=True)
    assert played.now.say == "Fader at its end"
    played.box.stand([], is_up=False)
    assert played.now.say == "Raise slowly"


def test_a_desk_that_tells_says_whether_it_was_pulled_or_turned_down() -> None:
    played = Played()
    played.box.stand([])
    played.rings(SPOT_HZ)
    asked = played.now.say
    played.wait(1.5)
    played.gone(SPOT_HZ, fell_db=8.0)
    # The advice stands, as long as it takes.
    played.wait(5.0 * PATIENCE_S)
    assert (played.now.phase, played.now.say, played.now.asks) == ("pull", asked, False)
    played.box.stand(played.now.pulls_now)
    played.do("pulled")
    played.wait(LISTEN_S + 0.2)
    assert (played.now.phase, len(played.now.pulls)) == ("raise", 1)
    # And what went by itself was not pulled: there is nothing to undo.
    played = Played()
    played.box.stand([])
    played.rings(SPOT_HZ)
    played.wait(1.5)
    played.gone(SPOT_HZ)
    assert played.now.phase == "raise"
    assert "undo" not in played.now.may


def test_what_was_pulled_beside_in_a_pause_is_not_asked_back_after_it() -> None:
    played = Played()
    played.box.stand([])
    played.rings(SPOT_HZ)
    (asked,) = played.now.pulls_now
    played.do("pause")
    played.gone(SPOT_HZ)
    deep = Pull("2k", 11.0, 1995.3, 4.3)
    for stands in ([deep], [WRONG]):
        played.box.stand(stands)
    played.do("go_on")
    assert played.now.say == f"Pull 2.5k by {decibels(asked.more_db)} dB"
    played.do("pause")
    played.box.stand([WRONG, Pull("2.5k", asked.pull_db + 2.0, SPOT_HZ, asked.q)])
    played.do("go_on")
    assert played.now.phase == "raise"


def test_after_a_pause_what_was_asked_for_is_asked_for_beside_what_rings() -> None:
    played = Played()
    played.rings(SPOT_HZ, id=1)
    played.wait(1.5)
    played.do("pause")
    played.gone(SPOT_HZ, id=1)
    played.rings(501.2, id=2)
    played.do("go_on")
    assert {p.label for p in played.now.pulls_now} == {"500", "2.5k"}


def test_pulled_said_in_the_moment_in_which_the_box_hears_it_is_no_mistake() -> None:
    played = Played()
    played.rings(SPOT_HZ, db=1.0)
    played.wait(1.5)
    played.gone(SPOT_HZ)
    before = played.now
    played.do("pulled")
    assert played.now == before
    played.wait(LISTEN_S + 0.2)
    played.do("pulled")
    assert played.now.phase == "raise"


def test_a_ring_that_stays_is_asked_deeper_without_a_button() -> None:
    played = Played()
    played.rings(SPOT_HZ, db=1.0)
    played.wait(PATIENCE_S + 0.1)
    assert played.now.phase == "pull"
    deeper = [p for p in played.now.pulls_now if p.label == "2.5k"]
    assert deeper[0].pull_db > 3.0
    assert "right slider" in played.now.detail
    # Nobody there: it does not go on for ever.
    played.wait(20.0 * PATIENCE_S)
    assert played.now.phase == "pull"
    last = played.now.pulls_now
    played.wait(20.0 * PATIENCE_S)
    assert played.now.pulls_now == last


@pytest.mark.parametrize(
    ("hz", "climb", "times", "more"),
    [
        # At least half of the margin of 3 dB.
        (SPOT_HZ, Slope(30.0, 1.0, 0.0, 1.0), 2, False),
        # So fast a ring, and so little known of how fast, may well need more than that.
        (199.5, Slope(300.0, 150.0, 0.0, 1.0), 1, True),
    ],
)
def test_what_was_pulled_in_vain_is_reckoned_with(
    hz: float, climb: Slope, times: int, more: bool
) -> None:
    # Its excess is known to be more than all pulls, so what is left is told from the part of the
    # belief above them.
    played = Played()
    played.box.heard(RingNews("opened", 1, hz, -30.0, 0.0, slope=climb))
    for _ in range(times):
        played.do("pulled")
        in_vain_db = played.now.rings[0].depth_db
        played.wait(LISTEN_S + 0.1)
        told = played.now.rings[0].excess
        assert told is not None
        expected = LoopTimes().estimate(climb, frequency_hz=hz, at_least_db=in_vain_db)
        assert told.db == pytest.approx(max(expected.db - in_vain_db, 1.5), abs=0.01)
        assert (told.db > 1.7) is more


def test_the_button_listens_and_then_asks_deeper() -> None:
    played = Played()
    played.rings(SPOT_HZ)
    played.wait(1.0)
    played.do("pulled")
    assert played.now.phase == "listen"
    played.wait(LISTEN_S + 0.1)
    assert played.now.phase == "pull"
    assert max(p.pull_db for p in played.now.pulls_now) > 3.0


def test_a_ring_that_comes_back_is_deepened_and_counted() -> None:
    played = Played()
    played.round(SPOT_HZ, id=1)
    played.wait(8.0)
    played.rings(SPOT_HZ * 1.001, id=2, db=0.5)
    ring = played.now.rings[0]
    assert (len(played.now.rings), ring.fate, ring.times) == (1, "came back", 2)
    assert played.now.pulls_now[0].label == "2.5k"
    assert played.now.pulls_now[0].pull_db > 3.0
    assert played.now.detail.startswith("2.51k rings still or again: was it the right slider?")


def test_what_came_back_is_pulled_for_and_what_is_quiet_is_left_alone() -> None:
    # 2.5k rings again, so that the fader went up; 500 Hz does not, whatever the ladder says of it.
    played = Played()
    played.round(501.2, id=1, db=1.0)
    played.round(SPOT_HZ, id=2, db=1.0)
    played.wait(30.0)
    played.rings(SPOT_HZ, id=3, db=0.5)
    assert {p.label for p in played.now.pulls_now} == {"2.5k"}


def test_what_stayed_is_asked_deeper_without_another_margin() -> None:
    played = Played()
    played.rings(SPOT_HZ, db=0.5)
    at_first_db = played.now.pulls_now[0].pull_db
    played.wait(1.0)
    played.do("pulled")
    played.wait(LISTEN_S + 0.1)
    # Half the wanted margin of 3 dB, rounded up to the slider's next whole decibel.
    more_db = played.now.pulls_now[0].pull_db - at_first_db
    assert 1.0 <= more_db <= 2.0
    # An old climb that is told again changes nothing; a new one is an excess without a margin.
    played.rings(SPOT_HZ, db=4.0)
    assert played.now.pulls_now[0].pull_db - at_first_db > 4.0


def test_a_ring_that_begins_while_it_listens_began_at_the_gain_of_the_one_before() -> None:
    """The fader stands still in that step, so the gain is one and the same, whatever it is."""
    gains_db = []
    played = Played()
    for id, hz in ((1, 501.2), (2, SPOT_HZ), (3, 5011.9)):
        played.wait(10.0 if id == 1 else LISTEN_S / 2.0)
        played.rings(hz, id=id)
        gains_db.append(played.box.kept()["ladder"]["gain_db"])
        played.wait(0.5)
        # Whatever is told of it afterwards, it is no other gain.
        played.rings(hz, id=id, db=3.0, kind="slope")
        gains_db.append(played.box.kept()["ladder"]["gain_db"])
        played.wait(1.0)
        played.gone(hz, id=id)
        assert played.now.phase == "listen"
    assert gains_db[0] > 1.0
    assert gains_db == pytest.approx([gains_db[0]] * len(gains_db))


def test_a_ring_that_stays_takes_no_gain_back() -> None:
    played = Played()
    played.wait(10.0)
    played.rings(SPOT_HZ, id=1)
    gain_db = played.box.kept()["ladder"]["gain_db"]
    played.wait(1.5)
    played.do("pulled")
    played.wait(LISTEN_S + 0.2)
    assert played.now.phase == "pull"
    # Its growth is told anew while it is asked for again.
    played.rings(SPOT_HZ, id=1, db=4.0, kind="slope")
    assert played.box.kept()["ladder"]["gain_db"] == pytest.approx(gain_db)


def test_a_climb_from_before_a_pull_says_nothing_of_what_is_left() -> None:
    played = Played()
    climb = Slope(30.0, 1.0, -1.0, 0.0)
    played.box.heard(RingNews("opened", 1, SPOT_HZ, -30.0, 0.0, slope=climb))
    played.wait(1.5)
    played.do("pulled")
    played.wait(LISTEN_S + 0.2)
    asked = played.now
    assert asked.phase == "pull"
    played.box.heard(RingNews("howl", 1, SPOT_HZ, -20.0, played.at_s, slope=climb))
    assert played.now.pulls_now == asked.pulls_now
    assert [ring.excess for ring in played.now.rings] == [ring.excess for ring in asked.rings]


def test_what_was_pulled_and_is_dying_is_asked_for_no_deeper_when_another_begins() -> None:
    """Nothing was heard of it since its pull: it needs what it was heard to need, and has that."""
    for told in (False, True):
        played = Played()
        played.rings(501.2, id=1)
        played.wait(1.5)
        played.do("pulled")
        pulls = played.now.pulls
        played.wait(0.5)
        if told:
            # It is told to be a howl by now, with the climb from before it was pulled.
            played.rings(501.2, id=1, kind="howl")
            assert (played.now.phase, played.now.pulls) == ("listen", pulls)
        played.rings(SPOT_HZ, id=2)
        assert [p.label for p in played.now.pulls_now] == ["2.5k"]
    # It does not die: what it was pulled in vain by is known, as if nothing had come between.
    played.wait(PATIENCE_S + 0.2)
    again = {p.label: p.more_db for p in played.now.pulls_now}
    assert again["500"] == 2.0


def test_what_joins_late_is_not_taken_as_pulled_before_a_hand_could_come_to_it() -> None:
    played = Played()
    played.rings(501.2, id=1)
    played.wait(PATIENCE_S - 0.2)
    played.rings(SPOT_HZ, id=2)
    asked = played.now.pulls_now
    assert {p.label for p in asked} == {"500", "2.5k"}
    # As much time as for one alone.
    played.wait(PATIENCE_S - 0.2)
    assert (played.now.pulls_now, played.now.pulls) == (asked, ())
    # Heard anew, it is no reason to wait on: nothing more is asked for.
    played.rings(SPOT_HZ, id=2, kind="howl")
    played.wait(0.4)
    assert {p.label for p in played.now.pulls} == {"500", "2.5k"}


def test_two_at_once_are_one_plan_over_both() -> None:
    played = Played()
    played.rings(501.2, id=1)
    played.rings(SPOT_HZ, id=2)
    assert {p.label for p in played.now.pulls_now} == {"500", "2.5k"}
    played.wait(1.5)
    played.gone(501.2, id=1)
    assert played.now.phase == "pull"
    played.gone(SPOT_HZ, id=2)
    assert played.now.phase == "listen"


def test_what_a_hand_is_on_its_way_to_stays_asked_for_whatever_joins_or_goes() -> None:
    """It may have been pulled already: what is taken back from the sentence would not be known."""
    played = Played()
    played.rings(501.2, id=1)
    asked = {p.label: p.pull_db for p in played.now.pulls_now}
    played.wait(1.5)
    for id, hz in ((2, SPOT_HZ), (3, 7943.3)):
        played.rings(hz, id=id)
        played.gone(501.2, id=1)
        assert asked.items() <= {p.label: p.pull_db for p in played.now.pulls_now}.items()
        asked = {p.label: p.pull_db for p in played.now.pulls_now}
    assert set(asked) >= {"500", "2.5k", "8k"}
    played.gone(SPOT_HZ, id=2)
    played.gone(7943.3, id=3)
    assert played.now.phase == "listen"
    assert {p.label: p.pull_db for p in played.now.pulls} == asked


def test_it_does_not_end_under_the_hand_for_want_of_more() -> None:
    equaliser = Equaliser.from_settings("5")
    played = Played(
        "5", standing=[Pull(s.label, 12.0, s.centre_hz, s.q) for s in equaliser.sliders[1:]]
    )
    played.rings(80.0, db=20.0)
    assert [(move.label, move.pull_db) for move in played.now.pulls_now] == [("100", 12.0)]
    played.wait(1.5)
    played.rings(1000.0, id=2)
    assert played.now.phase == "pull"


def test_news_mends_the_advice_at_first_and_not_under_the_hand() -> None:
    played = Played()
    played.rings(SPOT_HZ, db=None)
    played.wait(0.5)
    played.rings(SPOT_HZ, db=5.0, kind="slope")
    assert played.now.say == "Pull 2.5k by 9 dB"
    played.wait(1.0)
    played.rings(SPOT_HZ, db=1.0, kind="slope")
    assert played.now.say == "Pull 2.5k by 9 dB"


def test_a_fall_of_everything_asks_and_takes_pulled_for_the_answer() -> None:
    played = Played()
    played.rings(SPOT_HZ)
    played.wait(1.5)
    played.gone(SPOT_HZ, fell_db=8.0)
    assert played.now.asks
    assert {"pulled", "turned_down"} <= set(played.now.may)
    assert played.now.pulls
    played.wait(LISTEN_S + 0.2)
    assert (played.now.phase, played.now.asks) == ("raise", False)
    assert played.now.pulls


def test_once_it_is_said_that_it_was_pulled_nothing_more_is_asked() -> None:
    played = Played()
    played.rings(SPOT_HZ)
    played.wait(1.5)
    played.gone(SPOT_HZ, fell_db=8.0)
    played.do("pulled")
    assert (played.now.phase, played.now.asks, played.now.say) == ("listen", False, "Wait")
    assert "turned_down" not in played.now.may


def test_turned_down_takes_the_pull_back_and_still_wants_it() -> None:
    played = Played()
    played.rings(SPOT_HZ)
    played.wait(1.5)
    played.gone(SPOT_HZ, fell_db=8.0)
    played.do("turned_down")
    assert (played.now.phase, played.now.pulls) == ("pull", ())
    assert played.now.say == "Pull 2.5k by 5 dB"
    played.do("pulled")
    assert [(p.label, p.pull_db) for p in played.now.pulls] == [("2.5k", 5.0)]


def test_how_far_the_fader_fell_is_off_the_gain_where_no_mark_tells_it() -> None:
    played = Played()
    played.rings(SPOT_HZ)
    played.wait(1.5)
    played.gone(SPOT_HZ, fell_db=8.0)
    played.do("turned_down")
    assert played.box.kept()["ladder"]["gain_db"] == pytest.approx(-8.0)


def test_the_ring_s_fall_teaches_the_loop_time() -> None:
    times = LoopTimes()
    played = Played(loop_times=times)
    climb = Slope(30.0, 1.0, 0.0, 1.0)
    played.box.heard(RingNews("opened", 1, SPOT_HZ, -30.0, 0.0, slope=climb))
    pull_db = played.now.pulls_now[0].pull_db
    played.wait(1.5)
    played.gone(SPOT_HZ, slope=Slope(-40.0, 2.0, 1.5, 2.0))
    assert times.answers == 1
    # A fall that may have been the fader's is of no known size.
    other = LoopTimes()
    turned_down = Played(loop_times=other)
    turned_down.box.heard(RingNews("opened", 1, SPOT_HZ, -30.0, 0.0, slope=climb))
    turned_down.wait(1.5)
    turned_down.gone(SPOT_HZ, slope=Slope(-40.0, 2.0, 1.5, 2.0), fell_db=8.0)
    assert other.answers == 0
    # The straight formula, growth = excess / loop time (of a single delay), is bent by
    # a few per cent a decibel: pull / change of slope within a fifth.
    learnt_s, _ = times.at(SPOT_HZ)
    untaught_s, _ = LoopTimes().at(SPOT_HZ)
    assert abs(math.log(learnt_s * 70.0 / pull_db)) < abs(math.log(untaught_s * 70.0 / pull_db))


@pytest.mark.parametrize("undone", [False, True])
def test_what_was_pulled_in_vain_is_part_of_what_the_fall_answers(undone: bool) -> None:
    times = LoopTimes()
    played = Played(loop_times=times)
    climb = Slope(30.0, 1.0, 0.0, 1.0)
    played.box.heard(RingNews("opened", 1, SPOT_HZ, -30.0, 0.0, slope=climb))
    played.wait(1.5)
    played.do("pulled")
    played.wait(LISTEN_S + 0.2)
    if undone:
        played.do("undo")
        played.wait(PATIENCE_S + 0.2)
    (pull,) = played.now.pulls_now
    assert pull.more_db == pytest.approx(7.0 if undone else 2.0)
    played.wait(1.5)
    played.gone(SPOT_HZ, slope=Slope(-40.0, 2.0, 1.5, 2.0))
    ((_, log_time, _),) = times.kept()
    # By hand, as above: 7 dB in all for 70 dB/s.
    assert math.exp(log_time) == pytest.approx(7.0 / 70.0, rel=0.2)


@pytest.mark.parametrize("climb", [None, Slope(30.0, 1.0, 0.0, 1.0)])
@pytest.mark.parametrize("fall", [None, Slope(-40.0, 2.0, 1.5, 2.0), Slope(5.0, 2.0, 1.5, 2.0)])
def test_of_a_rise_or_a_fall_alone_nothing_is_learnt(
    climb: Slope | None, fall: Slope | None
) -> None:
    times = LoopTimes()
    played = Played(loop_times=times)
    played.box.heard(RingNews("opened", 1, SPOT_HZ, -30.0, 0.0, slope=climb))
    played.wait(1.5)
    played.gone(SPOT_HZ, slope=fall)
    assert played.now.phase == "listen"
    falls = fall is not None and fall.db_per_s < 0.0
    assert times.answers == (climb is not None and falls)


def test_what_stayed_once_gets_its_margin_when_it_comes_back() -> None:
    played = Played()
    played.rings(SPOT_HZ, db=1.0)
    played.wait(1.5)
    played.do("pulled")
    played.wait(LISTEN_S + 0.2)
    played.wait(1.5)
    played.gone(SPOT_HZ)
    played.wait(LISTEN_S + 4.0)
    played.rings(SPOT_HZ, id=2, db=None)
    # The usual excess of 1.6 dB, and at least half of the margin of 3 dB.
    assert played.now.pulls_now[0].more_db >= 3.0


def test_a_ring_that_dies_late_of_its_pull_was_pulled_deeper_than_asked_at_first() -> None:
    played = Played()
    played.rings(SPOT_HZ, db=1.0)
    played.wait(1.5)
    played.do("pulled")
    played.wait(LISTEN_S + 0.2)
    assert played.now.say == "Pull 2.5k by 2 dB"
    played.wait(0.5 * REACTION_S)
    played.gone(SPOT_HZ)
    assert played.now.phase == "listen"


@pytest.mark.parametrize("sounds", [False, True])
def test_what_went_in_a_pause_and_was_pulled_for_after_it_has_gone(sounds: bool) -> None:
    # It was told to ring for good, and no margin of it.
    played = Played()
    played.rings(SPOT_HZ)
    played.wait(1.5)
    played.do("pause")
    if not sounds:
        played.gone(SPOT_HZ)
    played.do("go_on")
    assert played.now.phase == "pull"
    played.do("pulled")
    played.wait(0.5 * LISTEN_S)
    played.do("stop")
    (ring,) = played.now.rings
    assert ring.fate == ("came back" if sounds else "gone")
    assert (ring.margin is None) is sounds


def test_undo_puts_the_last_pull_back_and_says_so() -> None:
    played = Played()
    played.round(SPOT_HZ, id=1)
    played.round(501.2, id=2)
    played.do("undo")
    assert played.now.say == "Put 500 to 0"
    assert [p.label for p in played.now.pulls] == ["2.5k"]
    assert [r.fate for r in played.now.rings] == ["gone", "left"]
    played.do("undo")
    assert played.now.pulls == ()
    assert "undo" not in played.now.may


def test_what_sounds_when_its_pull_is_undone_is_asked_for_again() -> None:
    played = Played()
    played.wait(3.0)
    played.rings(SPOT_HZ, db=1.0)
    played.wait(1.0)
    played.do("pulled")
    played.wait(0.5)
    played.do("undo")
    assert (played.now.phase, played.now.say) == ("raise", "Put 2.5k to 0")
    assert "until it has gone" in played.now.detail
    # News of it does not bring it back at once, a howl that stays does.
    played.rings(SPOT_HZ, db=1.0, kind="slope")
    played.wait(PATIENCE_S - 0.5)
    assert played.now.phase == "raise"
    played.wait(1.0)
    assert (played.now.phase, played.now.say) == ("pull", "Pull 2.5k by 5 dB")
    played.wait(1.5)
    played.gone(SPOT_HZ)
    assert played.now.phase == "listen"


def test_what_was_pulled_in_vain_and_is_put_back_is_wanted_on_top() -> None:
    played = Played()
    played.rings(SPOT_HZ, db=1.0)
    played.wait(1.0)
    played.do("pulled")
    played.wait(LISTEN_S + 0.2)
    deeper_db = played.now.pulls_now[0].pull_db
    assert deeper_db > 5.0
    played.do("undo")
    played.wait(PATIENCE_S + 0.2)
    assert played.now.pulls == ()
    assert played.now.pulls_now[0].pull_db == pytest.approx(deeper_db)


def test_an_undo_under_another_ring_says_both() -> None:
    played = Played()
    played.round(1000.0, id=5)
    played.rings(SPOT_HZ)
    played.wait(0.5)
    played.do("undo")
    assert played.now.phase == "pull"
    # 1k took a little off 2.5k too, and that is wanted on top once it is back.
    assert played.now.say.startswith("Pull 2.5k by 5 dB")
    assert played.now.detail.startswith("Put 1k to 0; then: 2.5k at -5")


def test_what_is_to_be_put_back_is_told_on_over_a_pause_and_under_a_new_ring() -> None:
    played = Played()
    played.round(1000.0, id=5)
    played.do("undo")
    played.do("pause")
    played.wait(30.0)
    played.do("go_on")
    assert (played.now.phase, played.now.say) == ("raise", "Put 1k to 0")
    played.wait(1.0)
    played.rings(SPOT_HZ)
    assert played.now.detail == "Put 1k to 0; then: 2.5k at -5"
    # After a while it is done, whatever rings then.
    played = Played()
    played.round(1000.0, id=5)
    played.do("undo")
    played.wait(PATIENCE_S + 0.1)
    played.rings(SPOT_HZ)
    assert played.now.detail == "then: 2.5k at -5"


def test_no_slider_is_asked_for_and_asked_back_at_once() -> None:
    played = Played()
    played.round(SPOT_HZ, id=5)
    played.do("undo")
    assert played.now.say == "Put 2.5k to 0"
    # Near enough for the same slider, and another ring.
    played.rings(2600.0)
    assert "2.5k" in {move.label for move in played.now.pulls_now}
    assert played.now.put_back == ()
    assert "Put " not in played.now.detail


def test_slow_hands_do_not_end_it() -> None:
    played = Played("9", standing=[Pull("1k", 12.0, 1000.0, 1.4)])
    played.rings(1000.0, db=1.0)
    asked = played.now
    for _ in range(5):
        played.wait(PATIENCE_S)
        assert played.now.phase == "pull"
    assert (played.now.say, played.now.pulls) == (asked.say, asked.pulls)
    # Only when somebody says that it was pulled, and it still rings, nothing is left.
    while played.now.phase == "pull":
        played.do("pulled")
        played.wait(LISTEN_S + 0.2)
    assert played.now.phase == "back_off"
    assert "nothing is left" in played.now.why_ended


def test_turned_down_takes_back_what_was_only_taken_as_pulled() -> None:
    played = Played()
    played.rings(SPOT_HZ, db=1.0)
    played.wait(4.0 * PATIENCE_S)
    assert played.now.pulls
    played.do("turned_down")
    assert (played.now.say, played.now.pulls) == ("Pull 2.5k by 5 dB", ())
    played.gone(SPOT_HZ, fell_db=9.0)
    played.wait(PATIENCE_S - 0.5)
    assert played.now.phase == "pull"
    played.wait(1.0)
    assert [(p.label, p.pull_db) for p in played.now.pulls] == [("2.5k", 5.0)]


def test_a_skipped_ring_comes_back_by_undo_and_a_howl_left_alone_says_come_down() -> None:
    played = Played()
    played.rings(1000.0, id=1)
    played.rings(SPOT_HZ, id=2)
    played.do("skip")
    assert (played.now.phase, played.now.say) == ("raise", "Come down")
    assert "until it has gone" in played.now.detail
    played.do("undo")
    assert {p.label for p in played.now.pulls_now} == {"1k", "2.5k"}
    assert "undo" not in played.now.may


def test_what_was_asked_for_before_a_pause_is_asked_for_after_it() -> None:
    played = Played()
    played.rings(SPOT_HZ)
    played.wait(1.0)
    played.do("pause")
    played.gone(SPOT_HZ)
    played.wait(30.0)
    played.do("go_on")
    assert (played.now.phase, played.now.say) == ("pull", "Pull 2.5k by 5 dB")
    played.do("pulled")
    assert [p.label for p in played.now.pulls] == ["2.5k"]


def test_what_the_desk_tells_was_pulled_in_a_pause_is_not_asked_for_after_it() -> None:
    played = Played()
    played.box.stand(())
    played.rings(SPOT_HZ)
    asked = played.now.pulls_now
    played.do("pause")
    played.gone(SPOT_HZ)
    played.box.stand(asked)
    played.do("go_on")
    assert (played.now.phase, played.now.pulls_now) == ("raise", ())


def test_what_was_undone_is_told_until_the_desk_has_it_back() -> None:
    played = Played()
    played.box.stand(())
    played.rings(SPOT_HZ)
    asked = played.now.pulls_now
    played.wait(1.5)
    played.box.stand(asked)
    played.do("pulled")
    played.gone(SPOT_HZ)
    played.wait(LISTEN_S + 0.2)
    played.do("undo")
    played.box.stand(asked)
    assert played.now.say == "Put 2.5k to 0"
    played.box.stand(())
    assert (played.now.phase, played.now.say) == ("raise", "Raise slowly")


def test_stopped_while_paused_it_still_says_why_it_had_ended() -> None:
    played = Played("5", standing=[Pull("1k", 12.0, 1000.0, 0.7)])
    played.rings(1000.0)
    while played.now.phase != "back_off":
        played.do("pulled")
        played.wait(LISTEN_S + 0.2)
    why = played.now.why_ended
    played.do("pause")
    played.do("stop")
    assert played.now.why_ended == why != "stopped"


def test_a_skipped_ring_is_left_alone_for_good() -> None:
    played = Played()
    played.rings(SPOT_HZ, id=1)
    played.do("skip")
    assert (played.now.phase, played.now.rings[0].fate) == ("raise", "left")
    played.gone(SPOT_HZ, id=1)
    played.rings(SPOT_HZ, id=2)
    assert played.now.phase == "raise"
    played.rings(501.2, id=3)
    assert {p.label for p in played.now.pulls_now} == {"500"}
    assert played.now.rings[0].fate == "left"


def test_pause_hears_nothing_and_go_on_asks_for_what_rings() -> None:
    played = Played()
    played.round(501.2, id=1)
    played.do("pause")
    assert (played.now.phase, played.now.say) == ("paused", "Paused")
    assert played.now.detail == "before you go on: the fader a little lower"
    played.rings(SPOT_HZ, id=2)
    played.wait(60.0)
    assert played.now.phase == "paused"
    played.do("go_on")
    assert (played.now.phase, played.now.pulls_now[0].label) == ("pull", "2.5k")


def test_fader_marks_count_what_was_won() -> None:
    played = Played()
    assert played.now.gain_won_db is None
    played.do("fader", fader_db=-12.0)
    played.round(501.2, id=1)
    assert played.now.gain_won_db is None
    played.do("fader", fader_db=-9.5)
    assert played.now.gain_won_db == pytest.approx(2.5)
    played.do("fader", fader_db=-11.0)
    assert played.now.gain_won_db == pytest.approx(2.5)


def test_every_raise_is_guessed_from_its_own_time() -> None:
    played, gains_db = Played(), []
    for n, hz in enumerate((300.0, 900.0, 2700.0)):
        played.wait(5.0)
        played.rings(hz, id=n)
        gains_db.append(played.box.kept()["ladder"]["gain_db"])
        played.wait(1.5)
        played.gone(hz, id=n)
        played.wait(LISTEN_S + 0.2)
    # Half a decibel at once and a quarter a second after the first.
    assert gains_db[1] - gains_db[0] == pytest.approx(1.5, abs=0.1)
    assert gains_db[2] - gains_db[1] == pytest.approx(1.5, abs=0.1)


def test_marks_tell_the_gain_and_no_time_is_guessed_on_top() -> None:
    # By the marks the fader went up by 1 dB, where a pull still leaves 3 dB beyond the excess of
    # 1 dB; 4 dB up it leaves 1.5 dB, and so it would after 60 s of raising.
    played = Played()
    played.do("fader", fader_db=-12.0)
    played.round(501.2, id=1)
    played.wait(60.0)
    played.do("fader", fader_db=-11.0)
    played.rings(SPOT_HZ, id=2)
    assert [(p.label, p.pull_db) for p in played.now.pulls_now] == [("2.5k", 4.0)]
    played.do("fader", fader_db=-8.0)
    played.rings(SPOT_HZ, id=2, kind="slope")
    assert [(p.label, p.pull_db) for p in played.now.pulls_now] == [("2.5k", 3.0)]
    unmarked = Played()
    unmarked.round(501.2, id=1)
    unmarked.wait(60.0)
    unmarked.rings(SPOT_HZ, id=2)
    assert [(p.label, p.pull_db) for p in unmarked.now.pulls_now] == [("2.5k", 3.0)]


def test_a_fader_that_goes_far_up_in_silence_ends_it() -> None:
    played = Played()
    played.do("fader", fader_db=-12.0)
    played.wait(60.0)
    played.do("fader", fader_db=-2.0)
    # Before the first ring it may be far.
    assert played.now.phase == "raise"
    played.round(SPOT_HZ)
    for fader_db in (0.0, 2.0):
        played.do("fader", fader_db=fader_db)
        assert played.now.phase == "raise"
    played.do("fader", fader_db=2.5)
    # 4.5 dB since the pull, and 3 dB as always; none of the 4.5 dB was won.
    assert (played.now.phase, played.now.say) == ("back_off", "Come down 7.5 dB")
    assert "listen yourself" in played.now.why_ended
    assert played.now.gain_won_db == pytest.approx(0.0)
    played.do("fader", fader_db=-1.0)
    assert played.now.gain_won_db == pytest.approx(0.0)
    (ring,) = played.now.rings
    assert ring.margin is not None
    # Pulled 4 dB beyond its excess, and 3 dB from backing off, not twice.
    assert ring.margin.db == pytest.approx(7.0, abs=0.1)


def test_marks_given_seldom_do_not_end_it_where_a_ring_was_heard_between() -> None:
    played = Played()
    played.do("fader", fader_db=-20.0)
    played.wait(20.0)
    played.round(SPOT_HZ)
    played.do("fader", fader_db=-6.0)
    assert played.now.phase == "raise"
    played.do("fader", fader_db=-4.0)
    played.rings(800.0, id=2)
    played.do("skip")
    played.gone(800.0, id=2)
    played.wait(3.0)
    played.do("fader", fader_db=-1.0)
    assert played.now.phase == "raise"
    played.do("fader", fader_db=3.5)
    # Raised for 20 s as was asked for, by 5 dB, it stood at -15 at the first pull; -4 was the last
    # mark at which anything was heard.
    assert (played.now.phase, played.now.gain_won_db) == ("back_off", pytest.approx(11.0, abs=1.0))


def test_what_the_fader_was_moved_in_a_pause_was_not_silence() -> None:
    played = Played()
    played.do("fader", fader_db=-20.0)
    played.round(SPOT_HZ)
    played.do("fader", fader_db=-19.5)
    played.do("pause")
    played.do("go_on")
    played.do("fader", fader_db=-12.0)
    assert played.now.phase == "raise"


def test_a_mark_from_before_the_last_pull_is_not_where_the_next_ring_begins() -> None:
    played = Played()
    played.do("fader", fader_db=-12.0)
    played.round(501.2, id=1)
    # Up by 6 dB without a mark, and what rings next follows at once.
    played.wait(20.0)
    played.round(SPOT_HZ, id=2)
    played.round(800.0, id=3)
    for fader_db in (-5.0, -4.0, -3.0):
        played.do("fader", fader_db=fader_db)
        assert played.now.phase == "raise"


def test_what_is_won_counts_from_the_first_pull_and_is_never_less_than_nothing() -> None:
    played = Played()
    played.do("fader", fader_db=-10.0)
    played.round(SPOT_HZ, id=1)
    played.do("fader", fader_db=-20.0)
    assert played.now.gain_won_db == pytest.approx(0.0)
    played.do("fader", fader_db=-8.0)
    played.round(800.0, id=2)
    played.do("fader", fader_db=-6.0)
    assert played.now.gain_won_db == pytest.approx(4.0)
    # A pull that is taken back takes along what was won by it.
    played.do("undo")
    assert played.now.gain_won_db == pytest.approx(2.0)
    played.do("undo")
    played.do("fader", fader_db=-5.0)
    assert played.now.gain_won_db is None or played.now.gain_won_db >= 0.0


def test_a_first_mark_that_comes_late_is_reckoned_back() -> None:
    played = Played()
    played.round(SPOT_HZ, id=1)
    played.wait(20.0)
    played.round(800.0, id=2)
    played.do("fader", fader_db=-6.0)
    won_db = played.now.gain_won_db
    # The fader went up for 20 s as it was asked to, by half a decibel every two: guessed.
    assert won_db == pytest.approx(5.0, abs=1.0)
    played.do("fader", fader_db=-4.0)
    assert played.now.gain_won_db == pytest.approx(won_db + 2.0)


@pytest.mark.parametrize("margin_db", [1.0, 3.0, 6.0, 9.0, 12.0])
def test_any_margin_is_reached_with_the_fader_backed_off(margin_db: float) -> None:
    for gain_db in (0.0, 3.0, 30.0):
        left_db = pull_margin_db(gain_db, margin_db)
        assert left_db + BACK_OFF_DB >= margin_db
        assert left_db >= 0.5 * margin_db


def test_the_first_ring_s_pull_is_as_deep_wherever_the_fader_came_from() -> None:
    for fader_db in (-11.0, 0.0):
        played = Played()
        played.do("fader", fader_db=-12.0)
        played.do("fader", fader_db=fader_db)
        played.rings(SPOT_HZ, db=1.0)
        assert played.now.say == "Pull 2.5k by 5 dB"


def test_a_fall_that_marks_have_told_is_not_counted_twice() -> None:
    played = Played()
    played.do("fader", fader_db=-12.0)
    played.rings(SPOT_HZ)
    played.wait(1.5)
    played.do("fader", fader_db=-20.0)
    played.gone(SPOT_HZ, fell_db=8.0)
    played.do("turned_down")
    assert played.box.kept()["ladder"]["gain_db"] == pytest.approx(-8.0)


@pytest.mark.parametrize(
    ("name", "values", "match"),
    [
        ("begin", {}, '"begin" makes no sense now: it says "Raise slowly"'),
        ("turned_down", {}, '"turned down" makes no sense now: it says "Raise slowly"'),
        ("pulled", {}, "makes no sense now"),
        ("undo", {}, "makes no sense now"),
        ("dance", {}, '"dance" makes no sense now'),
        ("fader", {}, "fader_db=nan is no mark"),
        ("fader", {"fader_db": 900.0}, "fader_db=900 is no mark"),
    ],
)
def test_a_command_that_makes_no_sense_changes_nothing(
    name: str, values: dict[str, float], match: str
) -> None:
    played = Played()
    before, kept = played.now, played.box.kept()
    with pytest.raises(ValueError, match=match) as told:
        played.do(name, **values)
    assert "\n" not in str(told.value)
    assert (played.now, played.box.kept()) == (before, kept)


@pytest.mark.parametrize("margin_db", [0.0, -1.0, math.nan, math.inf, 13.0])
def test_figures_out_of_range_are_named(margin_db: float) -> None:
    with pytest.raises(ValueError, match="margin_db="):
        RingOut(Equaliser.from_settings("31"), margin_db=margin_db)
    with pytest.raises(ValueError, match="most_cuts=0 must be 1 or more"):
        RingOut(Equaliser.from_settings("31"), most_cuts=0)
    with pytest.raises(ValueError, match='there is no slider "3k"'):
        RingOut(Equaliser.from_settings("31"), standing=[Pull("3k", 1.0, 3000.0, 4.3)])


def test_every_command_offered_is_taken() -> None:
    """Whatever ``may`` lists works, in every phase that can be come to."""
    for way in ((), ("ring",), ("ring", "gone"), ("ring", "fell"), ("ring", "stop"), ("pause",)):
        names = _after(way).now.may
        for name in names:
            played = _after(way)
            played.do(name, **({"fader_db": -3.0} if name == "fader" else {}))
            assert played.now.say


def _after(way: tuple[str, ...]) -> Played:
    played = Played()
    played.round(501.2, id=9)
    for step in way:
        if step == "ring":
            played.rings(SPOT_HZ)
            played.wait(1.0)
        elif step in ("gone", "fell"):
            played.gone(SPOT_HZ, fell_db=8.0 if step == "fell" else 0.0)
        else:
            played.do(step)
    return played


def test_a_parametric_s_used_up_filters_are_moved_in_words_and_put_back_in_words() -> None:
    two = Equaliser.from_choice(EqualiserChoice("parametric", filters=2))
    played = Played(two)
    for n, hz in enumerate((1000.0, 1100.0, 5000.0)):
        played.round(hz, id=n, db=2.0)
    before = {pull.label: pull for pull in played.now.pulls}
    played.rings(200.0, id=9, db=2.0)
    after = {pull.label: pull for pull in played.now.pulls_now}
    assert set(before) == set(after) == {"filter 1", "filter 2"}
    for label, pull in after.items():
        # Each is told by its label, with where it goes and how it is to stand there.
        place = f"{label} to {written(pull.centre_hz)}"
        assert f"{place} Hz, Q " in played.now.say or f"{place}, Q " in played.now.say
        assert f"-{decibels(pull.pull_db)} dB" in played.now.say
        assert pull.more_db == pytest.approx(pull.pull_db - before[label].pull_db)
    assert " by " not in played.now.say
    played.do("pulled")
    played.gone(200.0, id=9)
    played.do("undo")
    for label, pull in before.items():
        assert f"{label} to {written(pull.centre_hz)}, Q {decibels(pull.q)}" in played.now.say
    # The practice stage's sliders on the page know where to put them.
    told = ring_out_fields(two, played.now)["put_back"]
    assert {one["label"]: (one["pull_db"], one["centre_hz"]) for one in told} == {
        label: (pull.pull_db, round(pull.centre_hz, 1)) for label, pull in before.items()
    }
    while "undo" in played.now.may:
        played.do("undo")
        assert played.now.say.startswith("Put filter ")


def test_a_strip_s_low_cut_is_switched_on_and_off() -> None:
    played = Played("strip")
    played.rings(90.0, db=2.0)
    assert played.now.say == "Pull low by 5 dB, low cut on"
    played.do("pulled")
    played.gone(90.0)
    played.do("undo")
    assert played.now.say == "Put low to 0, low cut off"


def test_hints_of_the_newest_pull_stay_until_it_is_undone() -> None:
    played = Played("5")
    played.rings(501.2, db=5.0)
    hints = played.now.hints
    assert [hint.kind for hint in hints] == ["notch"]
    played.do("pause")
    assert (played.now.phase, played.now.hints) == ("paused", hints)
    kept = json.loads(json.dumps(played.box.kept(), allow_nan=False))
    assert RingOut.restored(kept, played.box.equaliser).state.hints == hints
    # What was kept before hints were is no less good.
    del kept["course"]["hints"]
    assert RingOut.restored(kept, played.box.equaliser).state.hints == ()
    played.do("go_on")
    played.do("pulled")
    played.gone(501.2)
    played.do("stop")
    assert (played.now.phase, played.now.hints) == ("back_off", hints)
    played.do("turned_down")
    assert (played.now.phase, played.now.hints) == ("done", hints)
    undone = Played("5")
    undone.round(501.2, db=5.0)
    assert undone.now.hints
    undone.do("undo")
    assert undone.now.hints == ()


# How it ends.


@pytest.mark.parametrize(
    ("sliders", "together", "ends"), [(0, 3, False), (9, 3, False), (10, 2, False), (10, 3, True)]
)
def test_three_together_end_it_only_once_it_is_under_way(
    sliders: int, together: int, ends: bool
) -> None:
    # Three rings at once are the room's limit: common practice, no source.
    played = Played(most_cuts=20)
    for n in range(sliders):
        played.do("fader", fader_db=-30.0 + 2.0 * n)
        played.round(THIRDS_HZ[2 + 2 * n], id=n)
    assert len(played.now.pulls) == sliders
    for n in range(together):
        played.rings(THIRDS_HZ[13 + 2 * n], id=50 + n)
    assert (played.now.phase == "back_off") is ends
    assert (played.now.why_ended == "3 ring together: that is this room's limit") is ends
    assert (len(played.now.pulls_now) >= together) is not ends


@pytest.mark.parametrize("stood", [(), (40.0, 63.1)])
def test_it_ends_after_so_many_sliders_and_says_to_back_off(stood: tuple[float, ...]) -> None:
    standing = [Pull(written(hz), 2.0, hz, 4.3) for hz in map(round, stood)]
    played = Played(most_cuts=3, standing=standing)
    for n, hz in enumerate((251.2, 501.2, 1000.0, 2000.0)):
        played.round(hz, id=n)
        if played.now.phase != "raise":
            break
    # 2 to 3 dB avoid audible ringing: van Waterschoot and Moonen 2011, section II.
    assert (played.now.phase, played.now.say) == ("back_off", "Come down 3 dB")
    assert f"{3 + len(stood)} sliders" in played.now.why_ended
    assert len(played.now.pulls) == 3 + len(stood)
    played.gone(2000.0, id=3)
    played.wait(BACK_OFF_S + 0.2)
    assert (played.now.phase, played.now.say) == ("done", "3 sliders pulled")
    assert played.now.tone_cost_db > 0.0


def at_its_end() -> Played:
    """A ring at the 1k slider of five that rings on until the slider is pulled to its end."""
    played = Played("5")
    played.rings(1000.0)
    while played.now.phase == "pull" and not played.now.asks_twice:
        played.wait(REACTION_S + 0.2)
        played.do("pulled")
        played.wait(LISTEN_S + 0.2)
    return played


def test_before_others_are_pulled_it_asks_for_a_look_at_the_slider_that_is_at_its_end() -> None:
    played = at_its_end()
    asked = {move.label: move.pull_db for move in played.now.pulls_now}
    assert (played.now.phase, played.now.asks_twice) == ("pull", True)
    assert asked == {"1k": 12.0}
    assert played.now.say == "Look: 1k at -12 dB"
    assert "does it stand there?" in played.now.detail
    # It was not where it should be: put right, the ring goes and all goes on.
    played.gone(1000.0)
    played.wait(LISTEN_S + 0.2)
    assert played.now.phase == "raise"
    assert {pull.label: pull.pull_db for pull in played.now.pulls}["1k"] == 12.0


def test_a_ring_out_of_a_strip_whose_middle_was_swept_does_not_go_on_with_a_fixed_one() -> None:
    """The labels are the same; it would ask for "mid" to be put where no knob puts it."""
    played = Played("strip")
    played.round(3000.0, db=3.0)
    kept = json.loads(json.dumps(played.box.kept()))
    assert [p.label for p in RingOut.restored(kept, Equaliser.from_settings("strip")).state.pulls]
    fixed = Equaliser.from_choice(EqualiserChoice("strip", strip_mid=("1k",)))
    with pytest.raises(ValueError, match="other frequencies"):
        RingOut.restored(kept, fixed)
    # From a version that did not keep the places it goes on as it did.
    del kept["places"]
    RingOut.restored(kept, fixed)
    # More travel is no other equaliser.
    kept = played.box.kept()
    RingOut.restored(kept, Equaliser.from_choice(EqualiserChoice("strip", deepest_db=15.0)))


def test_no_look_is_asked_for_at_a_slider_that_does_not_reach_the_ring() -> None:
    """200 Hz and 1.1 kHz lie two and a half octaves apart: of 3 dB nothing arrives there."""
    played = Played(Equaliser.from_choice(EqualiserChoice("typed", ("200", "8k"), deepest_db=3.0)))
    played.round(200.0, db=3.0)
    assert [(p.label, p.pull_db) for p in played.now.pulls] == [("200", 3.0)]
    played.rings(1100.0, id=2)
    assert (played.now.phase, played.now.detail) == (
        "back_off",
        "nothing is left on this equaliser for 1.1k",
    )


def test_where_one_ring_is_out_of_reach_nothing_is_pulled_for_the_others() -> None:
    """The fader cannot stay where a ring is that no slider holds."""
    only_low = EqualiserChoice("strip", strip_high="", strip_mid=(), strip_low="")
    for late in (False, True):
        played = Played(Equaliser.from_choice(only_low))
        played.rings(60.0)
        assert (played.now.phase, played.now.say) == ("pull", "Low cut on")
        played.wait(5.0 if late else 0.1)
        played.rings(8000.0, id=2)
        assert (played.now.phase, played.now.detail) == (
            "back_off",
            "nothing is left on this equaliser for 8k",
        )


def test_a_ring_that_comes_during_a_look_is_pulled_for_and_the_look_is_for_later() -> None:
    played = at_its_end()
    played.wait(0.3)
    # News of the ring that is looked at asks for nothing that is to be pulled.
    played.rings(1000.0, db=3.0, kind="slope")
    assert played.now.say == "Look: 1k at -12 dB"
    played.rings(125.0, id=2)
    assert (played.now.phase, played.now.asks_twice) == ("pull", False)
    assert played.now.say.startswith("Pull ")
    assert "100" in {move.label for move in played.now.pulls_now}
    assert "1k" not in {move.label for move in played.now.pulls_now}
    played.wait(1.0)
    played.do("pulled")
    played.gone(125.0, id=2)
    played.wait(LISTEN_S + 0.2)
    assert played.now.say == "Look: 1k at -12 dB"


def test_nobody_is_asked_to_look_while_another_ring_needs_a_pull() -> None:
    played = Played("5")
    played.rings(1000.0, db=7.0)
    for joins in (False, True):
        if joins:
            played.rings(125.0, id=2)
        played.wait(REACTION_S + 0.2)
        played.do("pulled")
        played.wait(LISTEN_S + 0.2)
    # The 1k slider is at its end, the 100 slider is not.
    pulls = {pull.label: pull.pull_db for pull in played.now.pulls}
    assert (pulls["1k"], pulls["100"] < 12.0) == (12.0, True)
    assert (played.now.phase, played.now.asks_twice) == ("pull", False)


def test_a_slider_that_is_where_it_should_be_is_looked_at_once() -> None:
    played = at_its_end()
    while played.now.phase == "pull":
        played.do("pulled")
        played.wait(LISTEN_S + 0.2)
        assert not played.now.asks_twice
    assert "nothing is left" in played.now.why_ended


def test_a_look_counts_as_no_round_and_can_be_undone() -> None:
    played = at_its_end()
    before = len(played.box.kept()["course"]["steps"])
    played.do("pulled")
    assert [step["deepens"] for step in played.box.kept()["course"]["steps"][before:]] == [True]
    played.do("undo")
    assert played.now.say == "Put 1k back to -11 dB"


def test_a_look_that_was_asked_for_is_asked_for_again_after_a_restart() -> None:
    played = at_its_end()
    kept = json.loads(json.dumps(played.box.kept()))
    after = RingOut.restored(kept, Equaliser.from_settings("5"))
    after.command("go_on", 0.0)
    assert {move.label: move.pull_db for move in after.state.pulls_now} == {"1k": 12.0}


def test_nobody_is_asked_to_look_where_the_desk_tells_how_the_sliders_stand() -> None:
    played = Played("5")
    played.rings(1000.0, db=20.0)
    played.wait(REACTION_S + 0.2)
    assert {move.label: move.pull_db for move in played.now.pulls_now}["1k"] == 12.0
    played.box.stand(played.now.pulls_now)
    played.do("pulled")
    played.rings(1000.0, db=20.0, kind="howl")
    played.wait(LISTEN_S + 0.2)
    assert played.now.phase == "back_off"


def test_it_ends_where_nothing_is_left() -> None:
    equaliser = Equaliser.from_settings("5")
    standing = [Pull(s.label, s.deepest_db, s.centre_hz, s.q) for s in equaliser.sliders]
    played = Played("5", standing=standing)
    played.rings(1000.0)
    assert played.now.phase == "back_off"
    assert "nothing is left" in played.now.why_ended


def test_before_it_ends_for_want_of_sliders_it_asks_for_a_look_at_the_one_at_its_end() -> None:
    """The ring went, but of the slider beside: the one that was asked for may still be flat."""
    equaliser = Equaliser.from_settings("5")
    others = [s for s in equaliser.sliders if s.label != "1k"]
    standing = [Pull(s.label, s.deepest_db, s.centre_hz, s.q) for s in others]
    for stays in (False, True):
        played = Played("5", standing=standing)
        played.round(1000.0, db=20.0)
        assert {p.label: p.pull_db for p in played.now.pulls}["1k"] == 12.0
        played.rings(1000.0, id=2)
        assert (played.now.phase, played.now.say) == ("pull", "Look: 1k at -12 dB")
        if stays:
            # Not by itself: nobody may have had the time to look.
            played.wait(PATIENCE_S + 0.2)
            assert played.now.phase == "pull"
            played.do("pulled")
            played.wait(LISTEN_S + 0.2)
            assert "nothing is left" in played.now.why_ended
        else:
            played.wait(1.5)
            played.gone(1000.0, id=2)
            played.wait(LISTEN_S + 0.2)
            assert played.now.phase == "raise"


def test_it_is_not_done_while_it_rings_whatever_is_said() -> None:
    played = Played()
    played.rings(SPOT_HZ)
    assert played.now.back_off_db == 0.0
    played.do("stop")
    assert (played.now.say, played.now.back_off_db) == ("Come down 3 dB", 3.0)
    played.do("turned_down")
    assert (played.now.phase, played.now.say) == ("back_off", "Further down")
    assert "until it has gone" in played.now.detail
    played.wait(1.0)
    assert played.now.phase == "back_off"
    played.gone(SPOT_HZ)
    played.wait(0.2)
    assert played.now.phase == "done"


def test_what_is_heard_as_a_ring_and_never_goes_does_not_keep_it_from_ending() -> None:
    played = Played()
    played.rings(SPOT_HZ)
    for said in ("stop", "turned_down", "stop"):
        played.do(said)
    assert played.now.phase == "done"


def test_a_fader_that_is_marked_down_far_enough_ends_it_at_once() -> None:
    played = Played(most_cuts=1)
    played.do("fader", fader_db=-10.0)
    played.round(251.2, id=1)
    played.rings(1000.0, id=2)
    assert played.now.phase == "back_off"
    played.do("fader", fader_db=-12.0)
    played.gone(1000.0, id=2)
    played.wait(1.0)
    assert played.now.phase == "back_off"
    played.do("fader", fader_db=-13.0)
    played.wait(0.2)
    assert played.now.phase == "done"
    # Said in the moment in which the box sees it, it is no mistake.
    played.do("turned_down")
    assert played.now.phase == "done"


@pytest.mark.parametrize(
    ("rings", "said"),
    [
        ((), "Nothing pulled"),
        # The one is new, the other goes deeper than it stood.
        ((501.2, SPOT_HZ), "2 sliders pulled"),
    ],
)
def test_what_stood_before_it_began_is_not_counted_as_pulled(
    rings: tuple[float, ...], said: str
) -> None:
    standing = [Pull("2.5k", 2.0, SPOT_HZ, 4.3), Pull("8k", 3.0, 7943.3, 4.3)]
    played = Played(standing=standing)
    for n, hz in enumerate(rings):
        played.round(hz, id=n)
    for name in ("stop", "turned_down")[: 1 + bool(rings)]:
        played.do(name)
    assert (played.now.phase, played.now.say) == ("done", said)
    fields = ring_out_fields(played.box.equaliser, played.now)
    assert fields["cut_count"] == len(rings)


def test_no_figure_on_the_link_is_a_negative_zero() -> None:
    played = Played()
    played.rings(SPOT_HZ)
    assert "-0.0" not in json.dumps(ring_out_fields(played.box.equaliser, played.now))


def test_stop_before_any_ring_is_simply_done() -> None:
    played = Played()
    played.do("stop")
    assert (played.now.phase, played.now.say) == ("done", "Nothing pulled")
    assert played.now.may == ()


# A restart.


def test_it_goes_on_after_a_restart_with_all_it_knew() -> None:
    played = Played(margin_db=5.0, most_cuts=9)
    played.do("fader", fader_db=-12.0)
    played.round(501.2, id=1)
    played.round(SPOT_HZ, id=2)
    kept = json.loads(json.dumps(played.box.kept(), allow_nan=False))
    before = played.now
    again = RingOut.restored(kept, Equaliser.from_settings("31"))
    assert (again.state.phase, again.state.pulls) == ("paused", before.pulls)
    assert again.state.rings == before.rings
    assert (again.margin_db, again.most_cuts) == (5.0, 9)
    after = json.loads(json.dumps(again.kept()))
    assert after["course"] == {**kept["course"], "phase": "paused", "resume": before.phase}
    assert after["ladder"] == kept["ladder"]
    # The clock began anew, and so did the ids.
    again.command("go_on", 0.0)
    again.heard(RingNews("opened", 1, SPOT_HZ, -30.0, 5.0, excess=excess(0.5)))
    assert again.state.rings[1].times == 2
    again.command("fader", 6.0, fader_db=-8.0)
    assert again.state.gain_won_db == pytest.approx(4.0)


@pytest.mark.parametrize("paused", [False, True])
def test_what_was_asked_for_is_asked_for_again_after_a_restart(paused: bool) -> None:
    played = Played()
    played.round(501.2, id=1)
    played.rings(SPOT_HZ, id=2)
    asked = played.now
    if paused:
        played.do("pause")
    kept = json.loads(json.dumps(played.box.kept(), allow_nan=False))
    again = RingOut.restored(kept, played.box.equaliser)
    assert (again.state.phase, again.state.pulls_now) == ("paused", ())
    again.command("go_on", 0.0)
    assert (again.state.phase, again.state.say) == ("pull", asked.say)
    again.command("pulled", 1.0)
    assert [p.label for p in again.state.pulls] == ["500", "2.5k"]


@pytest.mark.parametrize("paused", [False, True])
def test_what_is_to_be_put_back_is_told_again_after_a_restart(paused: bool) -> None:
    played = Played()
    played.round(1000.0)
    played.do("undo")
    if paused:
        played.do("pause")
    asked = played.now.put_back
    kept = json.loads(json.dumps(played.box.kept(), allow_nan=False))
    again = RingOut.restored(kept, played.box.equaliser)
    assert (again.state.phase, again.state.put_back) == ("paused", asked)
    again.command("go_on", 0.0)
    assert (again.state.phase, again.state.say) == ("raise", "Put 1k to 0")
    # A file from before has none of it, and a damaged one is told.
    assert RingOut.restored({**kept, "put_back": ()}, played.box.equaliser).state.put_back == ()
    (move,) = kept.pop("put_back")
    assert RingOut.restored(kept, played.box.equaliser).state.put_back == ()
    for bad in ({**move, "kind": "throw"}, {**move, "label": "1.1k"}, {**move, "pull_db": 99.0}):
        with pytest.raises(ValueError, match="the ring-out cannot go on"):
            RingOut.restored({**kept, "put_back": [bad]}, played.box.equaliser)


def test_what_the_desk_saw_moved_astray_is_not_asked_back_after_a_restart() -> None:
    """The desk tells anew how it stands, which may have been put right meanwhile."""
    played = Played()
    played.box.stand([])
    played.rings(SPOT_HZ, db=1.0)
    played.box.stand([WRONG])
    assert played.now.put_back
    assert RingOut.restored(played.box.kept(), played.box.equaliser).state.put_back == ()


def test_a_file_from_before_what_was_asked_for_was_kept_is_still_good() -> None:
    played = Played()
    played.rings(SPOT_HZ)
    kept = played.box.kept()
    del kept["course"]["asked"]
    again = RingOut.restored(kept, played.box.equaliser)
    again.command("go_on", 0.0)
    assert again.state.phase == "raise"


def test_no_damaged_figure_of_what_was_kept_gets_past_the_gate() -> None:
    """Whatever figure of it: no number, or one that no desk, ring or room can have."""
    played = Played()
    played.do("fader", fader_db=-12.0)
    played.round(501.2, id=1)
    played.rings(SPOT_HZ, id=2)
    kept = json.loads(json.dumps(played.box.kept(), allow_nan=False))
    RingOut.restored(kept, played.box.equaliser)

    def holders(value: Any) -> Iterator[tuple[Any, Any]]:
        """Every place with a figure or a flag, as what holds it and its key there."""
        if isinstance(value, dict | list):
            for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
                if isinstance(inner, bool | int | float):
                    yield value, key
                yield from holders(inner)

    # Nothing is heard at first: what was said of a ring that sounded is not asked.
    of_what_sounded = ("open", "undone", "holds_margin")
    places = [(holder, key) for holder, key in holders(kept) if key not in of_what_sounded]
    assert len(places) > 60
    for holder, key in places:
        good = holder[key]
        for bad in (1e15, -1e15, math.nan, "7", [], 1 if isinstance(good, bool) else True):
            holder[key] = bad
            with pytest.raises(ValueError, match=r"\Athe ring-out cannot go on \(.{1,150}\);"):
                pytest.fail(f"{key} {bad}: {RingOut.restored(kept, played.box.equaliser)}")
        holder[key] = good
    RingOut.restored(kept, played.box.equaliser)


def test_what_was_kept_and_is_no_good_is_told_in_one_line() -> None:
    kept = Played().box.kept()
    for bad in ({}, {**kept, "version": 99}, {**kept, "course": {"phase": "asleep"}}):
        with pytest.raises(ValueError, match="the ring-out cannot go on"):
            RingOut.restored(bad, Equaliser.from_settings("31"))
    with pytest.raises(ValueError, match="begun with another equaliser"):
        RingOut.restored(kept, Equaliser.from_settings("15"))
