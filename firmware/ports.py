"""What the rest of the program may know about hardware: values and protocols, no device.

Conventions
-----------
Sample values are float32 in [-1, 1]; full scale is 1.0 and levels in dBFS refer to
a full-scale sine's peak.  Times ending in ``_mono_s`` come from ``time.monotonic()``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol

if TYPE_CHECKING:
    import numpy as np
    from PIL import Image

FULL_SCALE = 1.0 - 2.0**-15
"""From here a sample counts as clipped: the highest 16-bit code.  Many cards deliver
16-bit converters in wider words, so a stricter threshold would miss their clipping."""

HearingState = Literal["searching", "hearing", "lost", "stuck"]
"""searching: not found yet; hearing: samples arrive; lost: was there, is gone;
stuck: the device is there and does not answer, or a read does not return."""

LampPattern = Literal["dark", "pulse", "steady", "blink"]
"""dark: quiet; pulse: ringing (slow swell); steady: howl; blink: cannot hear
(two short blinks every 3 s).  The rhythm carries the meaning, not the colour."""

FaceKind = Literal[
    "starting", "quiet", "ringing", "howl", "several", "deaf", "raise", "pull", "gone", "back off",
    "code",
]  # fmt: skip

CODE: Literal["code"] = "code"
"""The kind of face that must not be seen anywhere but on the panel itself."""


@dataclass(frozen=True, slots=True)
class AudioBlock:
    """A run of consecutive samples of one channel.

    ``samples`` is float32 of shape (n,), n >= 1.  ``gap`` is true when samples were lost
    between the previous block and this one (overrun, reconnect): whoever measures
    must know of the seam.  ``clipped_samples`` counts samples at full scale in this block.
    """

    samples: np.ndarray
    sample_rate_hz: int
    captured_mono_s: float
    gap: bool
    clipped_samples: int


@dataclass(frozen=True, slots=True)
class MicrophoneStatus:
    """What is known about the microphone, for lamp, panel, page and log.

    ``detail`` is one plain sentence: what ALSA really set, or what is wrong and what to do.
    ``automatic_gain`` is "none", "turned off", "still on" or "unknown".
    """

    state: HearingState
    since_mono_s: float
    device: str
    detail: str
    sample_rate_hz: int | None = None
    sample_format: str | None = None
    channels: int | None = None
    automatic_gain: str = "unknown"
    overrun_count: int = 0
    dropped_block_count: int = 0


class AudioSource(Protocol):
    """A microphone, or the practice stage in its place."""

    def read(self, timeout_s: float) -> AudioBlock | None:
        """Return the next block, or None when nothing came within ``timeout_s``."""

    def status(self) -> MicrophoneStatus: ...

    def close(self) -> None:
        """Stop and release the device; may be called twice."""


@dataclass(frozen=True, slots=True)
class Face:
    """What the panel shows; all words are final, the drawing only lays them out.

    ``headline`` is the one big thing ("2.5k", "quiet", "no mic").  ``line_1`` and ``line_2``
    are small lines below.  ``others`` are the bands of further rings ("several").
    """

    kind: FaceKind
    headline: str
    line_1: str = ""
    line_2: str = ""
    others: tuple[str, ...] = ()


class Lamp(Protocol):
    """One LED. ``show`` returns at once; it may be called as often as one likes."""

    def show(self, pattern: LampPattern) -> None: ...

    def health(self) -> str:
        """ "ok", "off" (by setting) or one sentence that says what is wrong and what to do."""

    def close(self) -> None: ...


class Panel(Protocol):
    """One small display. ``show`` may take as long as the bus takes."""

    def show(self, image: Image.Image) -> None: ...

    def health(self) -> str: ...

    def close(self) -> None: ...
