"""The gig that is on: what the rules say becomes entries in the journal.

Everything here runs in the gig clerk's thread and hands over to the journal's, which never waits.
Times are seconds of the clock that counts from boot; a gig that goes on from before this boot may
have begun at a negative one.
"""

from __future__ import annotations

import logging
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from monitor.gig_clerk.gig import Gig
from monitor.gigs.evening_rules import Begun, Doing, Evening, Resumed, Turn, resumed
from monitor.gigs.minutes import Minute
from monitor.gigs.noticing import Noticed, Snapshot, stands, stands_otherwise
from monitor.journal.asks import (
    GigChange,
    GigJoin,
    GigStanding,
    Happening,
    Instant,
    VenueChange,
)
from monitor.journal.rows import RingRow
from monitor.journal.store import Journal
from monitor.uids import new_uid

LOG = logging.getLogger(__name__)

MOST_OPEN_RINGS = 64
"""Rings whose gig is remembered until they close; more at once is many rooms' limit."""
QUIET_MINUTES_S = 10 * 60.0
"""Levels are kept for so long after the last doing: a pause between two sets shows, the night
after the gig does not."""

Done = Callable[[str], None]
CurveOf = Callable[[Sequence[Mapping[str, Any]]], Mapping[str, Any]]
GetPlan = Callable[[Callable[[Mapping[str, Any]], None]], None]


class GigKeeping:
    """Follows the evening's rules and tells the journal.

    Parameters
    ----------
    journal : Journal
        Where it is kept.
    boot_id : str
        What this boot is called.
    quiet_ends_s : float
        See ``Evening``.
    uptime_s : callable
        The clock that counts from boot.
    get_plan : callable
        Asks for the stage plan; its answer has ``revision`` and ``stage``.
    snapshot : callable
        Returns the newest snapshot, None before the first.
    curve_of : callable
        Returns the response of pulls.
    """

    def __init__(
        self,
        journal: Journal,
        *,
        boot_id: str,
        quiet_ends_s: float,
        uptime_s: Callable[[], float],
        get_plan: GetPlan,
        snapshot: Callable[[], Snapshot | None],
        curve_of: CurveOf,
    ) -> None:
        self._journal = journal
        self._boot_id = boot_id
        self._quiet_ends_s = quiet_ends_s
        self._uptime_s = uptime_s
        self._get_plan = get_plan
        self._snapshot = snapshot
        self._curve_of = curve_of
        self.evening = Evening(quiet_ends_s=quiet_ends_s)
        self._ring_gigs: OrderedDict[tuple[str, int], str | None] = OrderedDict()
        self._joined: dict[str, str] = {}
        self._renewed_count = 0
        self._stood: Mapping[str, Mapping[str, Any]] | None = None
        self.doubted: GigStanding | None = None
        self.gig: Gig | None = None
        self.venues: dict[str, str] = {}

    # --- over a restart ---------------------------------------------------------------------

    def resume(self, standing: GigStanding | None) -> Resumed | None:
        """Go on with the newest gig if it is still on; None if there is none that was on.

        A gig that has begun meanwhile, before the journal could be read, is put into it.
        """
        if standing is None or standing.ended is not None:
            return None
        same_boot = standing.last.boot_id == self._boot_id
        found = resumed(standing.last_age_s, same_boot=same_boot, quiet_ends_s=self._quiet_ends_s)
        if found.goes_on:
            self.doubted = standing
            self.settle_doubt(standing.last_age_s, standing.begun_age_s)
            return found
        self._journal.tell(GigChange(standing.uid, ended=standing.last, ended_by=found.by))
        LOG.info("the gig from before the restart is over (%s)", found.by)
        self.doubted = standing if found.in_doubt else None
        return found

    def _take_up(
        self, standing: GigStanding, *, begun_age_s: float | None, age_s: float | None
    ) -> None:
        now_s, age_s = self._uptime_s(), age_s or 0.0
        begun_age_s = age_s if begun_age_s is None else begun_age_s
        self.evening.goes_on(now_s - begun_age_s, now_s - age_s)
        self.gig = Gig(
            standing.uid,
            standing.title,
            standing.venue_uid,
            standing.venue_name,
            standing.ring_count,
            standing.song or 0,
        )
        LOG.info("the gig from before the restart goes on")

    def settle_doubt(self, last_age_s: float | None, begun_age_s: float | None) -> bool:
        """A clock tells at last how long ago the doubted gig's last doing was.

        Return whether it goes on; a gig that was begun since is put into it then.
        """
        doubted, self.doubted = self.doubted, None
        if doubted is None or last_age_s is None:
            return False
        now_s, began = self._uptime_s(), self.gig
        since_s = now_s if self.evening.begun_s is None else self.evening.begun_s
        if last_age_s - (now_s - since_s) > self._quiet_ends_s:
            return False
        self._journal.tell(GigChange(doubted.uid, goes_on=True))
        self._take_up(
            doubted,
            begun_age_s=begun_age_s,
            age_s=0.0 if began is not None else last_age_s,
        )
        if began is not None and self.gig is not None:
            self._join(began, self.gig)
        else:
            self._stood = doubted.stood
        return True

    def follow_restart(self) -> None:
        """Where a gig goes on: tell what stands otherwise since, once it is known how it does."""
        snapshot, stood = self._snapshot(), self._stood
        if snapshot is not None and stood is not None:
            self._stood = None
            for one in stands_otherwise(snapshot, stood):
                self.noticed(one, self._uptime_s())

    def _join(self, began: Gig, gig: Gig) -> None:
        gig.ring_count += began.ring_count
        gig.song = max(gig.song, began.song)
        self._joined[began.uid] = gig.uid
        for key, uid in self._ring_gigs.items():
            if uid == began.uid:
                self._ring_gigs[key] = gig.uid
        self._journal.tell(GigJoin(began.uid, into=gig.uid))
        if began.venue_uid or began.title:
            gig.venue_uid = began.venue_uid or gig.venue_uid
            gig.venue_name = began.venue_name or gig.venue_name
            gig.title = began.title or gig.title
            self._journal.tell(GigChange(gig.uid, venue_uid=began.venue_uid, title=began.title))

    def now_called(self, uid: str) -> str:
        """Return the gig that another was put into, or the gig itself."""
        return self._joined.get(uid, uid)

    def follow_journal(self) -> None:
        """Where it has begun a new file: what comes of the gig that is on must have its gig there.

        The gig is told as it stands, and the venues, which the file before had.
        """
        if self._journal.renewed_count == self._renewed_count:
            return
        self._renewed_count = self._journal.renewed_count
        for uid, name in self.venues.items():
            self._journal.tell(VenueChange(uid, name))
        gig, begun_s = self.gig, self.evening.begun_s
        if gig is None or begun_s is None:
            return
        begun = Instant(self._boot_id, max(0.0, begun_s))
        self._journal.tell(
            GigChange(gig.uid, begun=begun, venue_uid=gig.venue_uid, title=gig.title)
        )
        self._tell_how_all_stands(self._uptime_s())

    # --- what happens -----------------------------------------------------------------------

    def ring(self, row: RingRow) -> None:
        """Give a ring its gig and keep it; the first one of an evening begins a gig."""
        key = (row.session, row.id)
        is_new = key not in self._ring_gigs
        at_s = row.start_uptime_s if is_new else row.end_uptime_s
        if is_new or self.gig is not None:  # the end of a ring begins nothing
            self.did("ring", self._uptime_s() if at_s is None else at_s)
        if is_new:
            self._ring_gigs[key] = None if self.gig is None else self.gig.uid
            if self.gig is not None:
                self.gig.ring_count += 1
            while len(self._ring_gigs) > MOST_OPEN_RINGS:
                self._ring_gigs.popitem(last=False)
        self._journal.put(replace(row, gig=self._ring_gigs[key]))

    def did(self, what: Doing, at_s: float) -> None:
        """Take in a doing."""
        self.turn(self.evening.did(what, at_s))

    def passed(self) -> None:
        """End what has been quiet for too long."""
        self.turn(self.evening.passed(self._uptime_s()))

    def noticed(self, one: Noticed, at_s: float, done: Done | None = None) -> None:
        """Keep what was noticed, if a gig is on."""
        if one.does is not None:
            self.did(one.does, at_s)
        if not one.kind or self.gig is None:
            return
        if one.kind == "plan":
            self._fetch_plan(self.gig.uid, at_s)
            return
        content = self._with_curve(one.content) if one.kind == "pull" else one.content
        self._happened(one.kind, content, at_s, done)

    def _with_curve(self, content: Mapping[str, Any]) -> Mapping[str, Any]:
        """Pulls with the response they make: the report draws it and knows no equaliser."""
        try:
            return {**content, "curve": self._curve_of(content["pulls"])}
        except ValueError:
            return content  # another equaliser's, from before the settings were changed

    def minute(self, minute: Minute) -> None:
        """Keep a minute's levels, while there is sound or was a while ago."""
        begun_s, last_s = self.evening.begun_s, self.evening.last_s
        if self.gig is None or begun_s is None or last_s is None:
            return
        if minute.loud or self._uptime_s() - last_s < QUIET_MINUTES_S:
            self._happened("level", minute.fields(), max(minute.ended_s, begun_s))

    def _happened(
        self,
        kind: Any,
        content: Mapping[str, Any],
        at_s: float,
        done: Done | None = None,
        *,
        gig: str | None = None,
    ) -> None:
        uid = gig or (None if self.gig is None else self.gig.uid)
        if uid is None:
            return
        try:
            happening = Happening(uid, kind, self._boot_id, at_s, content)
        except ValueError as error:
            LOG.error("a happening is not kept: %s", error)
            if done is not None:
                done(str(error))
            return
        self._journal.tell(happening, done)

    def _fetch_plan(self, uid: str, at_s: float) -> None:
        """In the soundcheck's thread: its plan, as it is on the disk."""

        def got(answer: Mapping[str, Any]) -> None:
            if answer.get("class") != "plan" or not isinstance(answer.get("stage"), Mapping):
                return
            content = {"revision": answer.get("revision", 0), "stage": answer["stage"]}
            self._happened("plan", content, at_s, gig=self.now_called(uid))

        try:
            self._get_plan(got)
        except ValueError as error:
            LOG.warning("the plan is not kept with the gig: %s", error)

    def turn(self, turns: Sequence[Turn]) -> None:
        """Do what the evening's rules say."""
        for turn in turns:
            at = Instant(self._boot_id, turn.at_s)
            if isinstance(turn, Begun):
                self.gig = Gig(new_uid())
                self._journal.tell(GigChange(self.gig.uid, begun=at))
                LOG.info("a gig begins")
                self._tell_how_all_stands(turn.at_s)
            elif self.gig is not None:
                self._journal.tell(GigChange(self.gig.uid, ended=at, ended_by=turn.by))
                LOG.info("the gig is over (%s)", turn.by)
                self.gig = None

    def _tell_how_all_stands(self, at_s: float) -> None:
        snapshot = self._snapshot()
        for one in () if snapshot is None else stands(snapshot):
            self.noticed(one, at_s)
