"""The gig that is on, and what the snapshot says of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(slots=True)
class Gig:
    """The gig that is on."""

    uid: str
    title: str | None = None
    venue_uid: str | None = None
    venue_name: str | None = None
    ring_count: int = 0
    song: int = 0

    def fields(self) -> dict[str, Any]:
        """Return what the snapshot says of it, but for its age."""
        fields: dict[str, Any] = {"on": True, "uid": self.uid, "ring_count": self.ring_count}
        if self.title:
            fields["title"] = self.title
        if self.venue_uid is not None:
            fields["venue"] = {"uid": self.venue_uid, "name": self.venue_name or ""}
        if self.song:
            fields["song"] = self.song
        return fields
