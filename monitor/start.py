"""One start of the watcher: its parts that keep something on the card, and the order of the end."""

from __future__ import annotations

import functools
import logging
import secrets
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any, Protocol, TypeVar

from monitor import clock
from monitor.access.clerk import AccessClerk
from monitor.access.doorkeeper import Doorkeeper
from monitor.advice.equaliser import Equaliser
from monitor.advice.pulls import Pull
from monitor.adviser.adviser import Adviser
from monitor.adviser.counsel import Counsel
from monitor.desk import Desk, Stage
from monitor.gig_clerk.clerk import GigClerk
from monitor.journal.store import Journal
from monitor.kept_file import KeptFile
from monitor.level.measuring import Measuring, box_sources, stage_sources
from monitor.news import Advised
from monitor.present_advice import curve_fields
from monitor.present_snapshot import equaliser_fields
from monitor.settings import Settings
from monitor.soundcheck.clerk import SoundcheckClerk

LOG = logging.getLogger(__name__)

START_S = 2.0
"""How long the start waits for what was kept."""
KEPT_FILE = "advice.json"
SOUNDCHECK_FILE = "soundcheck.json"
ACCESS_FILE = "access.json"
"""All beside the journal."""


class _Closes(Protocol):
    def close(self) -> object: ...


_Part = TypeVar("_Part", bound=_Closes)


class Start:
    """What all parts of one start have in common, and the order in which they are closed.

    What keeps something on the card comes first: a bus that hangs takes its seconds after that, and
    the service manager does not wait for ever.
    """

    def __init__(
        self, settings: Settings, journal_path: Path, devices: ExitStack, keepers: ExitStack
    ) -> None:
        self._settings = settings
        self._journal_path = journal_path
        self.session, self.boot_id = secrets.token_hex(8), clock.boot_id()
        self.equaliser = Equaliser.from_choice(settings.equaliser)
        self._devices, self._keepers = devices, keepers

    def hold(self, part: _Part) -> _Part:
        """Have a device or the socket closed after what writes to the card, the last one first."""
        self._devices.callback(_close, part)
        return part

    def _keep(self, part: _Part) -> _Part:
        self._keepers.callback(_close, part)
        return part

    def journal(self) -> Journal:
        """Return the journal at work."""
        journal = Journal(
            self._journal_path,
            keep_rings=self._settings.journal.keep_rings,
            keep_gigs=self._settings.gigs.keep,
            box=self._settings.box.name,
        )
        return self._keep(journal)

    def adviser(self) -> Adviser:
        """Return the adviser at work, with the ring-out from before a restart."""
        make = functools.partial(
            Counsel,
            self.equaliser,
            margin_db=self._settings.advice.margin_db,
            t60_s=self._settings.advice.known_t60_s,
        )
        kept_file = self._kept_file(KEPT_FILE, key="advice", what="the ring-out")
        return self._keep(Adviser(lambda kept: make(kept=kept), kept_file, boot_id=self.boot_id))

    def desk(
        self,
        journal: Journal,
        adviser: Adviser,
        stage: Stage | None,
        tell_code: Callable[[str], object],
    ) -> Desk:
        """Return the desk, with the clerks behind it at work."""
        if stage is not None:
            _put_back(stage, adviser.wait_until_begun(START_S))
        soundcheck = self._soundcheck(adviser, stage)
        return Desk(
            journal=journal,
            adviser=adviser,
            soundcheck=soundcheck,
            access=self._access(tell_code),
            gigs=self._gigs(journal, adviser, soundcheck),
            boot_id=self.boot_id,
            stage=stage,
        )

    def _soundcheck(self, adviser: Adviser, stage: Stage | None) -> SoundcheckClerk:
        """On the practice stage its desk's line is measured, and the plan is what is played."""

        def phase() -> str | None:
            # Before the advice is back from its file, an old ring-out's end would look like a new.
            state = adviser.wait_until_begun(START_S).ring_out
            return None if state is None else state.phase

        sources = (
            box_sources(self._settings)
            if stage is None
            else stage_sources(self._settings, stage.tap_line)
        )
        clerk = SoundcheckClerk(
            self._kept_file(SOUNDCHECK_FILE, key="soundcheck", what="the soundcheck with its plan"),
            Measuring(sources),
            ring_out=phase,
            first_plan=(lambda: None) if stage is None else stage.plan,
        )
        return self._keep(clerk)

    def _access(self, tell_code: Callable[[str], object]) -> AccessClerk:
        """Who is paired is for nobody else to read."""
        clerk = AccessClerk(
            self._kept_file(ACCESS_FILE, key="access", what="who is paired", private=True),
            Doorkeeper(self._settings.access.control, self._settings.access.code),
            tell=tell_code,
        )
        clerk.wait_until_begun(START_S)
        return self._keep(clerk)

    def _gigs(self, journal: Journal, adviser: Adviser, soundcheck: SoundcheckClerk) -> GigClerk:
        def curve_of(pulls: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
            # A slider that cannot be swept has no width of its own here; its own is taken.
            known = [Pull(p["label"], p["pull_db"], p["centre_hz"], p.get("q", 1.0)) for p in pulls]
            return curve_fields(self.equaliser, known)

        def settled() -> None:
            adviser.wait_until_begun(START_S)
            soundcheck.wait_until_begun(START_S)

        clerk = GigClerk(
            journal,
            ask_soundcheck=soundcheck.ask,
            settled=settled,
            boot_id=self.boot_id,
            session=self.session,
            equaliser=equaliser_fields(self.equaliser),
            curve_of=curve_of,
            quiet_ends_min=self._settings.gigs.quiet_ends_min,
        )
        return self._keep(clerk)

    def _kept_file(self, name: str, *, key: str, what: str, private: bool = False) -> KeptFile:
        return KeptFile(self._journal_path.with_name(name), key=key, what=what, private=private)


def _close(part: _Closes) -> None:
    try:
        part.close()
    except Exception:  # the others must be released all the same
        LOG.exception("closing failed")


def _put_back(stage: Stage, kept: Advised) -> None:
    """Pull the practice stage's sliders as they stood in or after a ring-out before a restart.

    A ring-out that is done goes on saying how many are pulled.
    """
    if kept.ring_out is None:
        return
    for one in kept.fields["standing"]:
        try:
            stage.control({key: value for key, value in one.items() if value is not None})
        except ValueError as error:
            LOG.warning("a slider of the practice stage stays at 0: %s", error)
