"""The button's hand: what a press says is asked of the desk, a long press has the box shut down.

The watcher has no right to switch anything off.  It leaves a mark in its own run folder, and a unit
of the service manager that waits for the mark does it (``systemd/howl-lantern-off.path``).
"""

from __future__ import annotations

import contextlib
import logging
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from firmware.button import GpioButton, NoButton
from monitor.advice.sliders import Slider
from monitor.button_press import commands_of_press
from monitor.link.messages import Message
from monitor.link.server import Reply
from monitor.news import Advised

LOG = logging.getLogger(__name__)

OFF_MARK = "switch-off"
LEAVING_S = 30.0
"""The box is off long before; if not, nobody waits for the mark and listening goes on."""

Opener = Callable[..., GpioButton | NoButton]


class Hand:
    """Opens the button and does what is pressed; everything returns at once.

    Parameters
    ----------
    open_button : callable
        Given ``on_press`` and ``on_hold``, returns the button.
    handle : callable
        The desk's: takes a command and a reply.
    advised : callable
        Returns what the advice has come to.
    sliders : sequence of Slider
        The person's own.
    run_folder : Path
        Where the mark for shutting down is left.
    """

    def __init__(
        self,
        open_button: Opener,
        *,
        handle: Callable[[Message, Reply], None],
        advised: Callable[[], Advised],
        sliders: Sequence[Slider],
        run_folder: Path,
    ) -> None:
        self._handle = handle
        self._advised = advised
        self._sliders = sliders
        self._mark = run_folder / OFF_MARK
        self._left_mono_s = -LEAVING_S
        self._patience: threading.Timer | None = None
        self._trouble = ""
        # One that nobody waited for would switch the box off when somebody begins to.
        with contextlib.suppress(OSError):
            self._mark.unlink(missing_ok=True)
        self._button = open_button(on_press=self._pressed, on_hold=self._held)

    @property
    def is_leaving(self) -> bool:
        """Whether the box is about to shut down, because somebody wished it."""
        return time.monotonic() < self._left_mono_s + LEAVING_S

    def health(self) -> str:
        """Return "ok", "off" (by setting) or one sentence."""
        return self._trouble or self._button.health()

    def close(self) -> None:
        """Give the pin back."""
        self._button.close()
        if self._patience is not None:
            self._patience.cancel()

    def _pressed(self) -> None:
        try:
            self._press()
        except Exception:  # a mistake of ours must not end the pins' own thread
            LOG.exception("the button's press failed")

    def _press(self) -> None:
        for command in commands_of_press(self._advised(), self._sliders):
            LOG.info("the button: %s", command.get("do", "pulled"))
            try:
                self._handle(command, _said)
            except ValueError as error:
                LOG.info("the button: %s", error)

    def _held(self) -> None:
        try:
            self._mark.touch()
        except OSError as error:
            self._trouble = f"the box cannot be shut down: {error.strerror}; pull the plug"
            LOG.warning("the button: %s", self._trouble)
            return
        LOG.info("the button: shutting down")
        self._trouble = ""
        self._left_mono_s = time.monotonic()
        if self._patience is not None:
            self._patience.cancel()
        self._patience = threading.Timer(LEAVING_S, self._stay)
        self._patience.daemon = True
        self._patience.start()

    def _stay(self) -> None:
        """Take the mark back, for nobody has come: it must not switch the box off hours later."""
        with contextlib.suppress(OSError):
            self._mark.unlink(missing_ok=True)
        self._trouble = (
            "the long press did not shut the box down: sudo systemctl enable --now "
            "howl-lantern-off.path, or pull the plug"
        )
        LOG.warning("the button: %s", self._trouble)


def _said(answer: Any) -> None:
    if answer.get("class") == "error":
        LOG.info("the button: %s", answer.get("message", "refused"))
