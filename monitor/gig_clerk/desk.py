"""What a person does with gigs and venues by hand; answered when it is on the disk.

Runs in the gig clerk's thread; every answer comes from the journal's.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from monitor.gig_clerk.gig import Gig
from monitor.gig_clerk.keeping import GigKeeping
from monitor.gigs.noticing import Noticed
from monitor.journal.asks import DeleteGig, DeleteVenue, GigChange, NameGig, VenueChange
from monitor.journal.store import Journal
from monitor.link.messages import Message
from monitor.link.server import Reply
from monitor.uids import new_uid

NOTHING_ON = "no gig is on; begin one first"
ANOTHER_ON = "that gig is over and another is on; look before you do it again"


class GigDesk:
    """Does commands of the class "gig".

    Parameters
    ----------
    journal : Journal
        Where all is kept.
    keeping : GigKeeping
        The gig that is on, and the venues by uid in ``venues``.
    uptime_s : callable
        The clock that counts from boot.
    changed : callable
        Called, in the journal's thread, when gigs or venues have changed.
    """

    def __init__(
        self,
        journal: Journal,
        keeping: GigKeeping,
        *,
        uptime_s: Callable[[], float],
        changed: Callable[[], None],
    ) -> None:
        self._journal = journal
        self._keeping = keeping
        self._uptime_s = uptime_s
        self._changed = changed
        self._do: dict[str, Callable[[Message, Reply], None]] = {
            "begin": self._begin,
            "end": self._end,
            "venue": self._venue,
            "clear_venue": self._clear_venue,
            "rename": self._rename,
            "song": self._song,
            "note": self._note,
            "delete": self._delete,
        }

    def do(self, command: Message, reply: Reply) -> None:
        """Do what the person asked for.

        Raises
        ------
        ValueError
            If it makes no sense now; one clear line, and nothing has changed.
        """
        self._do[command["do"]](command, reply)

    def _begin(self, command: Message, reply: Reply) -> None:
        self._keeping.turn(self._keeping.evening.begin(self._uptime_s()))
        self._settle(GigChange(self._on(command).uid), reply)

    def _end(self, command: Message, reply: Reply) -> None:
        gig = self._on(command)
        self._keeping.turn(self._keeping.evening.end(self._uptime_s()))
        self._settle(GigChange(gig.uid), reply)

    def _venue(self, command: Message, reply: Reply) -> None:
        keeping = self._keeping
        uid, name = command.get("venue"), command.get("name", "")
        if uid is None:
            uid = self._known(name)
        else:
            self._name_of(uid)
        if uid is None:
            uid = new_uid()
            keeping.venues[uid] = name
            self._journal.tell(VenueChange(uid, name))
        gig = keeping.gig
        is_another = gig is not None and gig.venue_uid not in (None, uid)
        keeping.turn(keeping.evening.chose_venue(self._uptime_s(), is_another=is_another))
        if keeping.gig is not None:
            keeping.gig.venue_uid, keeping.gig.venue_name = uid, keeping.venues[uid]
        self._settle(GigChange(self._on(command).uid, venue_uid=uid), reply, venue=uid)

    def _clear_venue(self, command: Message, reply: Reply) -> None:
        gig = self._on(command)
        gig.venue_uid = gig.venue_name = None
        self._settle(GigChange(gig.uid, venue_uid=""), reply)

    def _rename(self, command: Message, reply: Reply) -> None:
        keeping, name = self._keeping, command["name"]
        venue = command.get("venue")
        if venue is None:
            uid = command.get("gig") or self._on(command).uid
            if keeping.gig is None or keeping.gig.uid != uid:
                self._journal.ask(NameGig(uid, name), self._changed_it(reply))
                return
            keeping.gig.title = name
            self._settle(GigChange(uid, title=name), reply)
            return
        self._name_of(venue)
        other = self._known(name)
        if other not in (None, venue):
            raise ValueError(f"another venue is called {name!r} already; choose that one instead")
        keeping.venues[venue] = name
        if keeping.gig is not None and keeping.gig.venue_uid == venue:
            keeping.gig.venue_name = name
        self._settle(VenueChange(venue, name), reply, venue=venue)

    def _song(self, command: Message, reply: Reply) -> None:
        gig = self._on(command)
        gig.song += 1
        self._mark("song", {"n": gig.song}, reply, song=gig.song)

    def _note(self, command: Message, reply: Reply) -> None:
        self._on(command)
        self._mark("note", {"text": command["text"]}, reply)

    def _delete(self, command: Message, reply: Reply) -> None:
        keeping = self._keeping
        gig = command.get("gig")
        if gig is not None:
            if keeping.gig is not None and keeping.gig.uid == gig:
                raise ValueError("this gig is on; end it before you delete it")
            self._journal.ask(DeleteGig(gig), self._changed_it(reply))
            return
        venue = command["venue"]
        name = self._name_of(venue)
        del keeping.venues[venue]
        there = keeping.gig
        if there is not None and there.venue_uid != venue:
            there = None
        if there is not None:
            there.venue_uid = there.venue_name = None

        def undo() -> None:
            keeping.venues.setdefault(venue, name)
            if there is not None and there.venue_uid is None:
                there.venue_uid, there.venue_name = venue, name

        self._journal.ask(DeleteVenue(venue), self._changed_it(reply, undo))

    # --- answers ----------------------------------------------------------------------------

    def _on(self, command: Message) -> Gig:
        """Return the gig that is on, if it is the one that is meant."""
        self._keeping.passed()
        gig = self._keeping.gig
        if gig is None:
            raise ValueError(NOTHING_ON)
        if self._keeping.now_called(command.get("gig", gig.uid)) != gig.uid:
            raise ValueError(ANOTHER_ON)
        return gig

    def _name_of(self, venue: str) -> str:
        """Return the name of a venue that must be known."""
        name = self._keeping.venues.get(venue)
        if name is None:
            raise ValueError(f"no venue {venue!r} is known; load the list of venues again")
        return name

    def _known(self, name: str) -> str | None:
        """Return the venue of that name; upper and lower case are the same place."""
        wanted = name.casefold()
        return next((u for u, n in self._keeping.venues.items() if n.casefold() == wanted), None)

    def _settle(self, change: GigChange | VenueChange, reply: Reply, **more: Any) -> None:
        """Tell the journal, and answer once all that was told before is on the disk too."""
        gig = {"gig": change.uid} if isinstance(change, GigChange) else {}

        def done(problem: str) -> None:
            self._changed()
            reply(answer(problem, {**gig, **more}))

        self._journal.tell(change, done)

    def _mark(self, kind: str, content: Mapping[str, Any], reply: Reply, **more: Any) -> None:
        self._keeping.noticed(
            Noticed(kind, content, "mark"),
            self._uptime_s(),
            lambda problem: reply(answer(problem, more)),
        )

    def _changed_it(
        self, reply: Reply, undo: Callable[[], None] = lambda: None
    ) -> Callable[[Any, str], None]:
        def answered(result: Any, problem: str) -> None:
            self._changed()
            if problem:
                undo()
                reply({"class": "error", "message": problem})
            else:
                reply({"class": "done", **result})

        return answered


def answer(problem: str, more: Mapping[str, Any]) -> dict[str, Any]:
    """Return the answer to what was done: with a problem where it is not on the disk."""
    return {"class": "done", **more, **({"problem": problem} if problem else {})}
