"""Opens the watcher's parts, each by the settings."""

from __future__ import annotations

import functools
import logging
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from firmware import button, lamp
from firmware.button import GpioButton, NoButton
from firmware.ports import AudioSource, Face, Lamp, Panel
from monitor.access.clerk import AccessClerk
from monitor.access.doorkeeper import Doorkeeper
from monitor.advice.equaliser import Equaliser
from monitor.advice.pulls import Pull
from monitor.adviser.adviser import Adviser
from monitor.adviser.counsel import Counsel
from monitor.desk import Stage
from monitor.gig_clerk.clerk import GigClerk
from monitor.journal.store import Journal
from monitor.kept_file import KeptFile
from monitor.level.measuring import Measuring, box_sources, stage_sources
from monitor.news import Advised
from monitor.panel_thread import PanelThread
from monitor.present_advice import curve_fields
from monitor.settings import Settings
from monitor.soundcheck.clerk import SoundcheckClerk

if TYPE_CHECKING:
    from PIL import Image

LOG = logging.getLogger(__name__)

START_S = 2.0
"""How long the start waits for what was kept."""


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
    return lamp.open_lamp(gpio_pin=settings.lamp.gpio_pin, enabled=settings.lamp.enabled)


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


def open_button(
    settings: Settings, *, on_press: Callable[[], None], on_hold: Callable[[], None]
) -> GpioButton | NoButton:
    """Return the button of the settings; its health says if there is none."""
    choice = settings.button
    return button.open_button(
        gpio_pin=choice.gpio_pin, enabled=choice.enabled, on_press=on_press, on_hold=on_hold
    )


def panel_thread(settings: Settings, opener: Callable[[Settings], Panel]) -> PanelThread:
    """Return the panel's thread, drawing for the panel's size as it hangs."""
    width, height = settings.panel.hung_size

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
    settings: Settings, adviser: Adviser, path: Path, stage: Stage | None
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
        first_plan=(lambda: None) if stage is None else stage.plan,
    )


def open_access(settings: Settings, path: Path, tell: Callable[[str], object]) -> AccessClerk:
    """Return the doors' clerk at work; who is paired is at ``path``, for nobody else to read."""
    clerk = AccessClerk(
        KeptFile(path, key="access", what="who is paired", private=True),
        Doorkeeper(settings.access.control, settings.access.code),
        tell=tell,
    )
    clerk.wait_until_begun(START_S)
    return clerk


def open_gigs(
    settings: Settings,
    journal: Journal,
    adviser: Adviser,
    soundcheck: SoundcheckClerk,
    *,
    boot_id: str,
    session: str,
    equaliser: Equaliser,
) -> GigClerk:
    """Return the gigs' clerk at work."""

    def curve_of(pulls: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
        # A slider that cannot be swept has no width of its own here; its own is taken.
        known = [Pull(p["label"], p["pull_db"], p["centre_hz"], p.get("q", 1.0)) for p in pulls]
        return curve_fields(equaliser, known)

    def settled() -> None:
        adviser.wait_until_begun(START_S)
        soundcheck.wait_until_begun(START_S)

    return GigClerk(
        journal,
        ask_soundcheck=soundcheck.ask,
        settled=settled,
        boot_id=boot_id,
        session=session,
        equaliser=equaliser.name,
        curve_of=curve_of,
        quiet_ends_min=settings.gigs.quiet_ends_min,
    )


def put_back(stage: Stage, kept: Advised) -> None:
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


def lamp_or_stand_in(settings: Settings, opener: Callable[[Settings], Lamp]) -> Lamp:
    """Return the lamp, or one that says why there is none."""
    try:
        return opener(settings)
    except Exception as error:  # no lamp is no reason not to listen
        LOG.exception("the lamp cannot be opened")
        return lamp.NoLamp(f"the lamp cannot be opened: {error}")
