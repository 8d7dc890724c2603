"""The panel's own thread: a slow bus, a missing display or a long drawing delay nobody."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass

from PIL import Image

from firmware.ports import CODE, Face, Panel
from monitor.busy import Busy

LOG = logging.getLogger(__name__)

REFRESH_S = 2.0
"""The same picture is offered again this often, so that a panel that was replugged shows it."""


@dataclass(frozen=True, slots=True)
class Picture:
    """The panel's picture as 1-bit rows, the left pixel in the highest bit."""

    width: int
    height: int
    bits: bytes


class PanelThread:
    """Draws the newest face and shows it; faces that came in between are left out.

    Parameters
    ----------
    open_panel : callable
        Opens the panel, in this thread, as it may take its time.
    draw : callable
        Draws a face into a picture of mode "1".

    Attributes
    ----------
    picture : Picture
        What the panel shows, for those who cannot see it; while it shows a code, the one before.
    """

    def __init__(
        self, open_panel: Callable[[], Panel], draw: Callable[[Face], Image.Image]
    ) -> None:
        self._open_panel = open_panel
        self._draw = draw
        self._condition = threading.Condition()
        self._face: Face | None = None
        self._stopping = False
        self._panel: Panel | None = None
        self._busy = Busy()
        self._trouble = ""
        self._undrawn = ""
        self.picture = Picture(0, 0, b"")
        self._thread = threading.Thread(target=self._run, name="panel", daemon=True)
        self._thread.start()

    def show(self, face: Face) -> None:
        """Have a face shown as soon as the panel is free.  Returns at once."""
        if face == self._face:
            return
        with self._condition:
            self._face = face
            self._condition.notify()

    def health(self) -> str:
        """Return "ok", "off", or one sentence that says what is wrong."""
        if trouble := self._undrawn or self._trouble:
            return trouble
        if self._busy.for_long:
            return "the panel's bus does not answer, and it shows what was before; check its wires"
        return self._panel.health() if self._panel is not None else "opening"

    def close(self) -> None:
        """Stop, and release the panel; gives a stuck bus two seconds."""
        with self._condition:
            self._stopping = True
            self._condition.notify()
        self._thread.join(timeout=2.0)

    def _run(self) -> None:
        try:
            self._panel = self._open_panel()
        except Exception as error:  # no panel is no reason not to listen
            LOG.exception("the panel cannot be opened")
            self._trouble = f"the panel cannot be opened: {error}"
        drawn: Face | None = None
        image: Image.Image | None = None
        while True:
            with self._condition:
                if not self._stopping and self._face == drawn:
                    self._condition.wait(REFRESH_S)
                if self._stopping:
                    break
                wanted = self._face
            try:
                if wanted is not None and wanted != drawn:
                    image = self._drawn(wanted, image)
                    if image is not None and wanted.kind != CODE:
                        self.picture = Picture(image.width, image.height, image.tobytes())
                if image is not None and self._panel is not None:
                    with self._busy:
                        self._panel.show(image)
            except Exception as error:  # a picture that cannot be shown must not end the others
                if drawn != wanted:
                    LOG.exception("the panel failed")
                self._trouble = f"the panel failed: {error}"
            else:
                if self._panel is not None:
                    self._trouble = ""
            drawn = wanted
        if self._panel is not None:
            self._panel.close()

    def _drawn(self, face: Face, before: Image.Image | None) -> Image.Image | None:
        """Return a face's picture; one that cannot be drawn is dark, and said until one can."""
        try:
            image = self._draw(face)
        except Exception as error:
            LOG.exception("the panel's face %s cannot be drawn", face.kind)
            self._undrawn = f"the panel failed: {error}"
            # Not the face before: that would go on saying "quiet" through a howl.
            return None if before is None else Image.new("1", before.size)
        self._undrawn = ""
        return image
