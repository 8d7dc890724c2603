"""All that the advice knows and does: what is heard in, what to do out.

No clock, no I/O and no thread of its own; ``adviser`` gives it those.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import LoopTimes
from monitor.advice.pulls import Pull, stood
from monitor.advice.ring_out import RingOut
from monitor.advice.ring_out_state import RingNews
from monitor.adviser.followed import Followed, Followings, RestOfSound
from monitor.adviser.kept import Kept, kept_from, kept_of
from monitor.adviser.practice_desk import PracticeDesk
from monitor.adviser.set_counsel import SetCounsel, gain_db
from monitor.link.messages import Message
from monitor.news import Advised, DeskStands, News, RingSaid
from monitor.present_advice import advice_fields, ring_out_fields, standing_fields
from monitor.uids import new_uid

ANOTHER_ON = "that ring-out is over and another is on; look before you do it again"


class Counsel:
    """Advice in a set and a guided ring-out, for one equaliser.

    Parameters
    ----------
    equaliser : Equaliser
        The person's own.
    margin_db : float
        The margin wanted.
    t60_s : float, optional
        Reverberation time of the room, if it is known.
    kept : mapping, optional
        What ``kept`` gave earlier this evening.

    Raises
    ------
    ValueError
        If ``kept`` is damaged or of another equaliser; one clear line.
    """

    def __init__(
        self,
        equaliser: Equaliser,
        *,
        margin_db: float,
        t60_s: float | None = None,
        kept: Mapping[str, Any] | None = None,
    ) -> None:
        self._equaliser = equaliser
        self._margin_db = margin_db
        self._t60_s = t60_s
        self._times = LoopTimes(t60_s=t60_s)
        self._rings = Followings()
        self._rest = RestOfSound()
        self._desk = PracticeDesk(equaliser)
        self._standing: dict[str, Pull] = {}
        self._set = SetCounsel(equaliser, margin_db=margin_db)
        self._first: int | None = None
        self._ring_out: RingOut | None = None
        self._its_pulls: tuple[Pull, ...] = ()
        self._uid = ""
        if kept is not None:
            found = kept_from(kept, equaliser, self._times)
            self._desk = PracticeDesk(equaliser, place=found.place)
            self._standing = found.standing
            self._set = SetCounsel(equaliser, margin_db=margin_db, asked=found.asked)
            self._ring_out = found.ring_out
            if found.ring_out is not None:
                self._its_pulls = found.ring_out.state.pulls
                self._uid = found.uid or new_uid()

    def hear(self, news: News) -> None:
        """Take in what the listening handed over."""
        self._first = news.first
        if news.fresh:
            self._rings.lost()
            self._rest.reset()
        if news.third_octave_dbfs is not None:
            self._rest.push(news.at_s, news.third_octave_dbfs)
        if news.desk is not None:
            self._see_desk(news.desk, news.at_s)
        # A ring comes with its line's last seconds: it has to be known before they are taken.
        for said in news.said:
            self._rings.take(said)
        self._rings.hear(news.lines)
        self._tell(news.said, news.at_s)
        if self._ring_out is not None:
            self._ring_out.passed(news.at_s)
            state = self._ring_out.state
            if "pulled" in state.may and self._desk.has(state.pulls_now, news.at_s):
                # The practice stage's sliders tell by themselves.
                self._ring_out.command("pulled", news.at_s)
        else:
            self._desk.learn(self._times, self._rings, news.at_s)
        self._take_over_pulls()
        self._advise(news.at_s)

    def command(self, command: Message, at_s: float) -> None:
        """Do what the person asked for.

        Raises
        ------
        ValueError
            If it makes no sense now; one clear line, and nothing has changed.
        """
        meant = command.get("ring_out", self._uid)
        if command["class"] == "pull":
            self._stand(command, at_s)
        elif self._ring_out is not None and meant != self._uid:
            raise ValueError(ANOTHER_ON)
        elif command["do"] == "open":
            self._open(at_s)
            self._uid = new_uid()
        elif self._ring_out is None:
            raise ValueError("no ring-out is open; open one first")
        elif command["do"] == "close":
            self._put_away()
        else:
            values = {k: v for k, v in command.items() if k == "fader_db"}
            self._ring_out.command(command["do"], at_s, **values)
            if command["do"] in ("begin", "go_on"):
                self._mark(at_s)
        self._take_over_pulls()
        self._advise(at_s)

    @property
    def result(self) -> Advised:
        """What it has come to; immutable."""
        state = None if self._ring_out is None else self._ring_out.state
        fields: dict[str, Any] = {
            "standing": standing_fields(self._equaliser, list(self._standing.values())),
        }
        advice = self._set.advice
        if advice is not None:
            fields["advice"] = advice_fields(self._equaliser, advice)
        if state is not None:
            fields["ring_out"] = {"uid": self._uid, **ring_out_fields(self._equaliser, state)}
        return Advised(advice, self._set.for_ring, state, fields)

    @property
    def kept(self) -> dict[str, Any]:
        """What must survive a restart, ready for JSON."""
        kept = Kept(self._standing, self._set.asked, self._ring_out, self._desk.place, self._uid)
        return kept_of(self._equaliser, kept, self._times)

    # --- commands ---------------------------------------------------------------------------

    @property
    def _is_ringing_out(self) -> bool:
        return self._ring_out is not None and self._ring_out.state.phase not in ("ready", "done")

    @property
    def _is_led(self) -> bool:
        return self._ring_out is not None and self._ring_out.state.leads

    def _open(self, at_s: float) -> None:
        if self._is_ringing_out:
            raise ValueError("a ring-out is under way; stop it before you open another")
        self._ring_out = RingOut(
            self._equaliser,
            margin_db=self._margin_db,
            standing=list(self._standing.values()),
            loop_times=self._times,
        )
        for ring in self._rings.open:
            # What rings already is asked for as soon as it begins.
            self._ring_out.heard(_news("opened", ring, at_s))

    def _put_away(self) -> None:
        if self._is_ringing_out:
            raise ValueError("the ring-out is under way; stop it before you put it away")
        self._ring_out = None

    def _stand(self, command: Message, at_s: float) -> None:
        if self._desk.fader_db is not None:
            raise ValueError("the practice stage's own sliders say how they stand; move them")
        if self._is_led:
            raise ValueError("in a ring-out say it with its own buttons")
        index, sliders = command["slider"], self._equaliser.sliders
        if index >= len(sliders):
            raise ValueError(
                f"slider {index} is not there; sliders go from 0 to {len(sliders) - 1}"
            )
        slider = sliders[index].moved(
            command.get("centre_hz", sliders[index].centre_hz), command.get("q")
        )
        pull = Pull(slider.label, abs(command["cut_db"]), slider.centre_hz, slider.q)
        standing = {**self._standing, pull.label: pull}
        stood(self._equaliser, list(standing.values()))
        before = self._standing
        self._standing = {k: p for k, p in standing.items() if p.pull_db > 0.0}
        self._moved(before, None, at_s)
        if self._ring_out is None:
            return
        if self._ring_out.state.phase == "ready":
            self._open(at_s)  # it begins from how the sliders stand
        elif self._ring_out.state.phase == "paused":
            self._ring_out.told(list(self._standing.values()))

    def _moved(self, standing: Mapping[str, Pull], fader_db: float | None, at_s: float) -> None:
        """The desk stood so until now: what rings grows otherwise and needs less, or more."""

        def lost_db(hz: float) -> float:
            before_db = gain_db(self._equaliser, list(standing.values()), fader_db, hz)
            now = list(self._standing.values())
            return before_db - gain_db(self._equaliser, now, self._desk.fader_db, hz)

        self._set.moved(self._rings.open, at_s, lost_db)
        self._rings.moved()

    def _take_over_pulls(self) -> None:
        """What a ring-out takes to stand, stands; the practice stage knows better itself."""
        if self._ring_out is None or self._ring_out.state.pulls == self._its_pulls:
            return
        self._its_pulls = self._ring_out.state.pulls
        if self._desk.fader_db is None:
            self._standing = {pull.label: pull for pull in self._its_pulls if pull.pull_db > 0.0}

    # --- the practice stage's desk ----------------------------------------------------------

    def _see_desk(self, desk: DeskStands, at_s: float) -> None:
        fader_db = self._desk.fader_db
        before = self._standing
        change = self._desk.see(desk, at_s, self._rings)
        self._standing = self._desk.standing
        if change == "elsewhere":
            # Other loops: neither their times nor how they grew is known.
            self._times.reset(t60_s=self._t60_s)
            self._rings.moved()
        if change == "moved":
            self._moved(before, fader_db, at_s)
        if change == "elsewhere" or fader_db is None:
            self._set.elsewhere()
        if self._ring_out is not None:
            if change == "elsewhere":
                self._ring_out.elsewhere()
            self._ring_out.stand(list(self._standing.values()), is_up=desk.is_up)
        if fader_db != desk.fader_db:
            self._mark(at_s)

    def _mark(self, at_s: float) -> None:
        """Count the gain: on the practice stage the fader's marks are known."""
        fader_db = self._desk.fader_db
        if (
            fader_db is not None
            and self._ring_out is not None
            and "fader" in self._ring_out.state.may
        ):
            self._ring_out.command("fader", at_s, fader_db=fader_db)

    # --- rings ------------------------------------------------------------------------------

    def _tell(self, said: Sequence[RingSaid], at_s: float) -> None:
        """Pass on to the ring-out what is new of each ring."""
        better = self._rings.look(at_s)
        opened = self._rings.opening(at_s)
        # A ring that comes back at once must not be heard before the end of its last time.
        self._close(at_s, at_once=bool(opened))
        if self._ring_out is None:
            return
        for ring in opened:
            self._ring_out.heard(_news("opened", ring, at_s))
        howling = {one.id for one in said if one.kind == "howl"}
        for ring in self._rings.open:
            if ring.id in howling:
                self._ring_out.heard(_news("howl", ring, at_s))
            elif ring in better and ring not in opened:
                self._ring_out.heard(_news("slope", ring, at_s))

    def _close(self, at_s: float, *, at_once: bool = False) -> None:
        for ring in self._rings.closing(at_s, at_once=at_once):
            self._set.closed(ring)
            if self._ring_out is not None:
                self._ring_out.heard(
                    replace(
                        _news("closed", ring, at_s),
                        slope=ring.fall(at_s),
                        fell_db=self._fell_db(ring),
                    )
                )

    def _fell_db(self, ring: Followed) -> float:
        if self._desk.fader_db is not None:
            return self._desk.fell_db(ring.peak_s)
        return self._rest.fell_db(ring.peak_s, [ring.frequency_hz])

    # --- the advice in a set ----------------------------------------------------------------

    def _advise(self, at_s: float) -> None:
        if self._is_led:
            self._set.leave()
            return
        self._set.advise(
            sorted(self._rings.open, key=lambda ring: ring.id != self._first),
            at_s,
            standing=list(self._standing.values()),
            times=self._times,
            rest=self._rest,
            desk=self._desk,
        )


def _news(
    kind: Literal["opened", "howl", "slope", "closed"], ring: Followed, at_s: float
) -> RingNews:
    return RingNews(kind, ring.id, ring.frequency_hz, ring.level_dbfs, at_s, slope=ring.climb)
