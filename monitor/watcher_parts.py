"""What the watcher is made of; ``watch`` opens the parts and ``showing`` looks at them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from firmware.board import Board
from firmware.ports import AudioSource, Lamp
from monitor.access.clerk import AccessClerk
from monitor.advice.equaliser import Equaliser
from monitor.adviser.adviser import Adviser
from monitor.desk import Desk, Stage
from monitor.gig_clerk.clerk import GigClerk
from monitor.hand import Hand
from monitor.journal.store import Journal
from monitor.link.server import LinkServer
from monitor.panel_thread import PanelThread
from monitor.soundcheck.clerk import SoundcheckClerk


class Heartbeat(Protocol):
    """The service manager's end."""

    def ready(self) -> None: ...
    def status(self, text: str) -> None: ...
    def alive(self) -> None: ...
    def stopping(self) -> None: ...


@dataclass(frozen=True, slots=True)
class Parts:
    """What the watcher is made of; everything that can fail does so behind its own front."""

    source: AudioSource
    lamp: Lamp
    panel: PanelThread
    journal: Journal
    server: LinkServer
    desk: Desk
    supervisor: Heartbeat
    equaliser: Equaliser
    adviser: Adviser
    soundcheck: SoundcheckClerk
    gigs: GigClerk
    access: AccessClerk
    board: Board
    hand: Hand
    settings_health: str = "ok"
    stage: Stage | None = None
