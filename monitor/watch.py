"""Puts the watcher together: ``howl-lantern watch``, and the same under ``demo``.

The demo puts the practice stage in the place of the microphone, and its own lamp and panel.  What
cannot be opened - panel, lamp, journal - is reported and never stops the listening.
"""

from __future__ import annotations

import faulthandler
import functools
import logging
import signal
import threading
from collections.abc import Callable
from contextlib import ExitStack
from importlib import metadata
from pathlib import Path

from firmware.board import Board
from firmware.button import GpioButton, NoButton
from firmware.ports import AudioSource, Lamp, Panel
from monitor import opening, places
from monitor.desk import Desk, Stage
from monitor.hand import Hand
from monitor.link.endpoint import LinkServerError, OtherWatcherError
from monitor.link.messages import Message
from monitor.link.server import LinkServer, Reply
from monitor.settings import Settings
from monitor.start import Start
from monitor.watcher import Watcher
from monitor.watcher_parts import Heartbeat, Parts

LOG = logging.getLogger(__name__)


def release() -> str:
    """Return the installed release, "0" in a bare checkout."""
    try:
        return metadata.version("howl-lantern")
    except metadata.PackageNotFoundError:
        return "0"


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
    open_source: Callable[[Settings], AudioSource] = opening.open_microphone,
    lamp_opener: Callable[[Settings], Lamp] = opening.open_lamp,
    panel_opener: Callable[[Settings], Panel] = opening.open_panel,
    button_opener: Callable[..., GpioButton | NoButton] = opening.open_button,
    supervisor: Heartbeat | None = None,
    socket_path: Path | None = None,
    journal_path: Path | None = None,
    stage_of: Callable[[AudioSource], Stage | None] = lambda _: None,
    on_open: Callable[[], None] = lambda: None,
    tell_code: Callable[[str], object] = lambda _: None,
    settings_health: str = "ok",
    spare_socket: Path | None = None,
) -> None:
    """Watch until ``stop`` is set, then release everything.

    Parameters
    ----------
    settings : Settings
        What to watch and how.
    stop : threading.Event
        Set from a signal handler or another thread.
    open_source, lamp_opener, panel_opener, button_opener : callable
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
    settings_health : str
        "ok", or what is wrong with the settings file that others stand in for.
    spare_socket : Path, optional
        Taken, and said, where the socket cannot be made: a wrong path must not silence a box.

    Raises
    ------
    LanternError
        If no socket can be opened, or another watcher is running.
    """
    if supervisor is None:
        from firmware.supervisor import Supervisor

        supervisor = Supervisor()
    run_folder = (socket_path or places.usual_socket_path()).parent
    socket_path = socket_path or places.socket_path(settings)
    late = _LateDesk()
    with ExitStack() as devices, ExitStack() as keepers:
        start = Start(settings, journal_path or places.journal_path(settings), devices, keepers)
        # The link comes first: a second watcher must fail before it touches lamp and microphone.
        hello = {"release": release(), "boot_id": start.boot_id, "box": settings.box.name}
        try:
            server = LinkServer(socket_path, hello=hello, handle=late.handle)
        except LinkServerError as error:
            if isinstance(error, OtherWatcherError) or spare_socket in (None, socket_path):
                raise
            server = LinkServer(spare_socket, hello=hello, handle=late.handle)
            settings_health = _with_spare(settings_health, error, spare_socket)
            LOG.error("%s", settings_health)
        start.hold(server)
        journal, adviser = start.journal(), start.adviser()
        panel = start.hold(opening.panel_thread(settings, panel_opener))
        lamp = start.hold(opening.lamp_or_stand_in(settings, lamp_opener))
        source = start.hold(open_source(settings))
        stage = stage_of(source)
        late.desk = start.desk(journal, adviser, stage, tell_code)
        board = start.hold(Board())
        hand = start.hold(
            Hand(
                functools.partial(button_opener, settings),
                handle=late.desk.handle,
                advised=lambda: adviser.result,
                sliders=start.equaliser.sliders,
                run_folder=run_folder,
            )
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
                equaliser=start.equaliser,
                adviser=adviser,
                soundcheck=late.desk.soundcheck,
                access=late.desk.access,
                gigs=late.desk.gigs,
                board=board,
                hand=hand,
                settings_health=settings_health,
                stage=stage,
            ),
            box=settings.box.name,
            way=settings.listening.way,
            session=start.session,
            boot_id=start.boot_id,
        )
        on_open()
        watcher.run(stop)
        supervisor.stopping()


def _with_spare(health: str, error: LinkServerError, spare: Path) -> str:
    said = f"{error}; until then the socket is at {spare}"
    return said if health == "ok" else f"{health}; {said}"


class _LateDesk:
    """Stands at the link until the parts behind the desk are open."""

    desk: Desk | None = None

    def handle(self, command: Message, reply: Reply) -> None:
        """Pass a command on; ValueError while nobody can answer it yet."""
        if self.desk is None:
            raise ValueError("the watcher is still starting; ask again")
        self.desk.handle(command, reply)
