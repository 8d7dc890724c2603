"""Logs what changes about the parts' health, once each time."""

from __future__ import annotations

import logging
from collections.abc import Callable

from monitor.link.messages import CALM_HEALTH
from monitor.watcher_parts import Parts

LOG = logging.getLogger(__name__)


class PartHealth:
    """Looks at the parts whenever it is told to; remembers what it has said of each.

    ``showing`` returns the health of what the analysis loop itself does beside the listening.
    """

    def __init__(self, parts: Parts, showing: Callable[[], str]) -> None:
        self._parts = parts
        self._showing = showing
        self._said: dict[str, str] = {}

    def look(self) -> None:
        """Log what has changed since the last look."""
        status = self._parts.source.status()
        now = {
            "microphone": f"{status.state}: {status.detail}",
            "lamp": self._parts.lamp.health(),
            "panel": self._parts.panel.health(),
            "button": self._parts.hand.health(),
            "settings": self._parts.settings_health,
            "link": self._parts.server.problem or "ok",
            "advice": self._parts.adviser.health(),
            "soundcheck": self._parts.soundcheck.health(),
            "gigs": self._parts.gigs.health(),
            "access": self._parts.access.health(),
            "showing": self._showing(),
        }
        for name, text in now.items():
            if self._said.get(name) != text:
                level = logging.INFO if text in CALM_HEALTH else logging.WARNING
                if name == "microphone" and status.state == "hearing":
                    level = logging.INFO
                if text not in ("ok", "opening") or name in self._said:
                    LOG.log(level, "%s: %s", name, text)
                self._said[name] = text
