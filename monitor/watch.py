"""Puts the watcher together: ``howl-lantern watch``, and the same under ``demo``.

The microphone is the only part that may be replaced (by the practice stage); what cannot be
opened - panel, lamp, journal - is reported and never stops the listening.
"""

from __future__ import annotations

import faulthandler
import functools
import logging
import secrets
import signal
import threading
from collections.abc import Callable
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

from firmware.ports import AudioSource, Face, Lamp, LampPattern, Panel
from monitor import clock, places
from monitor.access.doorkeeper import Doorkeeper
from monitor.access_clerk import AccessClerk
from monitor.advice.equaliser import Equaliser
from monitor.adviser import Adviser
from monitor.counsel import Counsel
from monitor.desk import Desk, Stage
from monitor.journal.store import Journal
from monitor.kept_file import KeptFile
from monitor.link import Message
from monitor.link_server import LinkServer, Reply
from monitor.measuring import Measuring, box_sources, stage_sources
from monitor.news import Advised
from monitor.panel_thread import PanelThread
from monitor.settings import Settings
from monitor.soundcheck_clerk import SoundcheckClerk
from monitor.watcher import Watcher
from monitor.watcher_parts import Heartbeat, Parts

if TYPE_CHECKING:
    from PIL import Image

LOG = logging.getLogger(__name__)

START_S = 2.0
KEPT_FILE = "advice.json"
SOUNDCHECK_FILE = "soundcheck.json"
ACCESS_FILE = "access.json"
"""All beside the journal."""


def release() -> str:
    """Return the installed release, "0" in a bare checkout."""
    try:
        return metadata.version("howl-lantern")
    except metadata.PackageNotFoundError:
        return "0"


def open_microphone(settings: Settings) -> AudioSource:
    """Return the microphone of the settings; it looks for its card by itself."""
    from firmware.microphone import AlsaMicrophone

    return AlsaMicrophone(
        device=settings.microphone.device,
        channel=settings.microphone.channel,
        rates_hz=settings.microphone.rates_hz,
        leave=settings.line.device,
    )


def open_lamp(settings: Settings) -> Lamp:
    """Return the lamp of the settings; its health says if there is none."""
    from firmware.lamp import open_lamp as opened

    return opened(gpio_pin=settings.lamp.gpio_pin, enabled=settings.lamp.enabled)


def open_panel(settings: Settings) -> Panel:
    """Return the panel of the settings; its health says if there is none."""
    from firmware.panel import open_panel as opened

    choice = settings.panel
    return opened(
        driver=choice.driver,
        bus=choice.bus,
        address=choice.address,
        width=choice.width,
        height=choice.height,
        rotate=choice.rotate,
    )


def panel_thread(settings: Settings, opener: Callable[[Settings], Panel]) -> PanelThread:
    """Return the panel's thread, drawing for the panel's size as it hangs."""
    choice = settings.panel
    sideways = choice.rotate % 2 == 1
    width, height = (choice.height, choice.width) if sideways else (choice.width, choice.height)

    def draw(face: Face) -> Image.Image:
        from firmware.faces import draw_face

        return draw_face(face, width=width, height=height)

    return PanelThread(lambda: opener(settings), draw)


def open_adviser(settings: Settings, equaliser: Equaliser, path: Path, boot_id: str) -> Adviser:
    """Return the adviser at work; what it keeps for a restart is at ``path``."""
    make = functools.partial(
        Counsel,
        equaliser,
        margin_db=settings.advice.margin_db,
        t60_s=settings.advice.known_t60_s,
    )
    kept_file = KeptFile(path, key="advice", what="the ring-out")
    return Adviser(lambda kept: make(kept=kept), kept_file, boot_id=boot_id)


def open_soundcheck(
    settings: Settings, adviser: Adviser, path: Path, boot_id: str, stage: Stage | None
) -> SoundcheckClerk:
    """Return the soundcheck's clerk at work; what it keeps for a restart is at ``path``.

    On the practice stage its desk's line is measured, and the plan begins as what is played.
    """

    def phase() -> str | None:
        # Before the advice is back from its file, an old ring-out's end would look like a new one.
        state = adviser.wait_until_begun(START_S).ring_out
        return None if state is None else state.phase

    return SoundcheckClerk(
        KeptFile(path, key="soundcheck", what="the soundcheck with its plan"),
        Measuring(
            box_sources(settings) if stage is None else stage_sources(settings, stage.tap_line)
        ),
        ring_out=phase,
        boot_id=boot_id,
        first_plan=(lambda: None) if stage is None else stage.plan,
    )


def open_access(
    settings: Settings, path: Path, boot_id: str, tell: Callable[[str], object]
) -> AccessClerk:
    """Return the doors' clerk at work; who is paired is at ``path``, for nobody else to read."""
    clerk = AccessClerk(
        KeptFile(path, key="access", what="who is paired", private=True),
        Doorkeeper(settings.access.control, settings.access.code),
        boot_id=boot_id,
        tell=tell,
    )
    clerk.wait_until_begun(START_S)
    return clerk


def put_back(stage: Stage, kept: Advised) -> None:
    """Pull the practice stage's sliders as they stood in a ring-out that a restart cut short."""
    if kept.ring_out is None or kept.ring_out.phase != "paused":
        return
    for one in kept.fields["standing"]:
        try:
            stage.control({key: value for key, value in one.items() if value is not None})
        except ValueError as error:
            LOG.warning("a slider of the practice stage stays at 0: %s", error)


def stop_on_signals(stop: threading.Event) -> None:
    """Set ``stop`` on SIGTERM and SIGINT; SIGUSR1 writes every thread's stack to stderr."""

    def on_signal(_number: int, _frame: object) -> None:
        stop.set()

    signal.signal(signal.SIGTERM, on_signal)
    signal.signal(signal.SIGINT, on_signal)
    faulthandler.register(signal.SIGUSR1, all_threads=True)


def run(
    settings: Settings,
    stop: threading.Event,
    *,
    open_source: Callable[[Settings], AudioSource] = open_microphone,
    lamp_opener: Callable[[Settings], Lamp] = open_lamp,
    panel_opener: Callable[[Settings], Panel] = open_panel,
    supervisor: Heartbeat | None = None,
    socket_path: Path | None = None,
    journal_path: Path | None = None,
    stage_of: Callable[[AudioSource], Stage | None] = lambda _: None,
    on_open: Callable[[], None] = lambda: None,
    tell_code: Callable[[str], object] = lambda _: None,
) -> None:
    """Watch until ``stop`` is set, then release everything.

    Parameters
    ----------
    settings : Settings
        What to watch and how.
    stop : threading.Event
        Set from a signal handler or another thread.
    open_source, lamp_opener, panel_opener : callable
        Open the parts; the demo puts its own in their places.
    supervisor : Heartbeat, optional
        The service manager's end by default.
    socket_path, journal_path : Path, optional
        By the settings by default.
    stage_of : callable
        Returns the practice stage behind a source, None behind a microphone.
    on_open : callable
        Called once the socket is there and the listening is about to begin.
    tell_code : callable
        Given each code that the panel shows; for the demo, which has no panel to read.

    Raises
    ------
    LanternError
        If the socket cannot be opened, as when another watcher is running.
    """
    if supervisor is None:
        from firmware.supervisor import Supervisor

        supervisor = Supervisor()
    session, boot_id = secrets.token_hex(8), clock.boot_id()
    # The link comes first: a second watcher must fail before it touches lamp and microphone.
    late = _LateDesk()
    server = LinkServer(
        socket_path or places.socket_path(settings),
        hello={"release": release(), "boot_id": boot_id, "box": settings.box.name},
        handle=late.handle,
    )
    closers: list[Callable[[], object]] = [server.close]
    try:
        journal_path = journal_path or places.journal_path(settings)
        journal = Journal(journal_path, keep_rings=settings.journal.keep_rings)
        closers.append(journal.close)
        equaliser = Equaliser.from_choice(settings.equaliser)
        adviser = open_adviser(settings, equaliser, journal_path.with_name(KEPT_FILE), boot_id)
        closers.append(adviser.close)
        panel = panel_thread(settings, panel_opener)
        closers.append(panel.close)
        lamp = _lamp_or_stand_in(settings, lamp_opener)
        closers.append(lamp.close)
        source = open_source(settings)
        closers.append(source.close)
        stage = stage_of(source)
        if stage is not None:
            put_back(stage, adviser.wait_until_begun(START_S))
        soundcheck = open_soundcheck(
            settings, adviser, journal_path.with_name(SOUNDCHECK_FILE), boot_id, stage
        )
        closers.append(soundcheck.close)
        access = open_access(settings, journal_path.with_name(ACCESS_FILE), boot_id, tell_code)
        closers.append(access.close)
        late.desk = Desk(
            journal=journal,
            adviser=adviser,
            soundcheck=soundcheck,
            access=access,
            boot_id=boot_id,
            stage=stage,
        )
        watcher = Watcher(
            Parts(
                source=source,
                lamp=lamp,
                panel=panel,
                journal=journal,
                server=server,
                desk=late.desk,
                supervisor=supervisor,
                equaliser=equaliser,
                adviser=adviser,
                soundcheck=soundcheck,
                access=access,
                stage=stage,
            ),
            box=settings.box.name,
            way=settings.listening.way,
            session=session,
            boot_id=boot_id,
        )
        on_open()
        watcher.run(stop)
        supervisor.stopping()
    finally:
        for close in reversed(closers):
            try:
                close()
            except Exception:  # the others must be released all the same
                LOG.exception("closing failed")


class _BrokenLamp:
    """Stands in for a lamp that could not be opened."""

    def __init__(self, why: Exception) -> None:
        self._why = why

    def show(self, pattern: LampPattern) -> None:
        """Nothing to light."""

    def health(self) -> str:
        """Return why."""
        return f"the lamp cannot be opened: {self._why}"

    def close(self) -> None:
        """Nothing to release."""


def _lamp_or_stand_in(settings: Settings, opener: Callable[[Settings], Lamp]) -> Lamp:
    try:
        return opener(settings)
    except Exception as error:  # no lamp is no reason not to listen
        LOG.exception("the lamp cannot be opened")
        return _BrokenLamp(error)


class _LateDesk:
    """Stands at the link until the parts behind the desk are open."""

    desk: Desk | None = None

    def handle(self, command: Message, reply: Reply) -> None:
        """Pass a command on; ValueError while nobody can answer it yet."""
        if self.desk is None:
            raise ValueError("the watcher is still starting; ask again")
        self.desk.handle(command, reply)
