"""Open a recording device and hold what ALSA made of the request against the request.

ALSA sets rate, format and channels as near as it can and reports no error when that is not
what was asked for.  A wrong rate would shift every frequency by a constant factor, so the
values are read back: what can be used is followed, anything else is refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from firmware.formats import FORMATS

PERIOD_S = 1024 / 48000
"""The step in which the sound is listened to: half as many wake-ups as with half of it, and no
later.  In seconds, or a card of 8 kHz would be heard 0.1 s late, and one of 192 kHz overrun."""

PERIODS = 16
"""0.34 s that may pass without a read before the card overruns."""


class MicrophoneError(Exception):
    """The microphone cannot be used; the text says why and what to do."""


class UnknownNameError(MicrophoneError):
    """alsa-lib knows no device of that name, or none of what it stands for is there."""


class BusyError(MicrophoneError):
    """The device is open already, here or elsewhere."""


@dataclass(frozen=True, slots=True)
class Opened:
    """An open device and what ALSA really set; ``says_hz`` if its rate turned out to be another."""

    pcm: Any
    rate_hz: int
    sample_format: str
    channels: int
    says_hz: int | None = None

    @property
    def in_words(self) -> str:
        """For people: rate, word length and channels."""
        bits = FORMATS[self.sample_format].significant_bits
        channels = "1 channel" if self.channels == 1 else f"{self.channels} channels"
        says = "" if self.says_hz is None else f" (the card says {self.says_hz / 1000:g})"
        return f"{self.rate_hz / 1000:g} kHz{says}, {bits} bits, {channels}"


def is_card(name: str) -> bool:
    """Return whether a name is of one of the kernel's cards, and of no sound server or plug-in."""
    return name.startswith(("hw:", "plughw:"))


def open_capture(alsa: Any, name: str, *, channel: int, rates_hz: Sequence[int]) -> Opened:
    """Open ``name`` for recording at the first usable rate and format.

    Parameters
    ----------
    alsa : the ``alsaaudio`` module, or a fake of it
    name : ALSA's name of the device
    channel : which channel is wanted, counted from 1
    rates_hz : acceptable sample rates, best first

    Raises
    ------
    MicrophoneError
        If it cannot be opened, or nothing it offers can be used.
    """
    refused: list[str] = []
    channels = channel
    for rate_hz in rates_hz:
        for sample_format in FORMATS:
            opened = _ask(alsa, name, rate_hz, sample_format, channels)
            if opened.channels < channel:
                # A number that the card does not have gives its fewest, and it may have more.
                channels = _enough_channels(opened, name, channel)
                opened = _ask(alsa, name, rate_hz, sample_format, channels)
            if opened.rate_hz != rate_hz and opened.rate_hz in rates_hz:
                opened.pcm.close()  # a period of that rate's own is asked for with it
                opened = _ask(alsa, name, opened.rate_hz, sample_format, channels)
            if opened.rate_hz not in rates_hz:
                reason = f"{opened.rate_hz} Hz"
            elif opened.sample_format not in FORMATS:
                reason = f"format {opened.sample_format}"
            else:
                return opened
            opened.pcm.close()
            if reason not in refused:
                refused.append(reason)
            if opened.rate_hz not in rates_hz:
                break  # another word length does not change the rate
    rates = ", ".join(str(rate_hz) for rate_hz in rates_hz)
    raise MicrophoneError(
        f"{name} offers only {', '.join(refused)}; wanted {rates} Hz in 16, 24 or 32 bits; "
        "choose another [microphone] device or widen rates_hz"
    )


def _enough_channels(opened: Opened, name: str, channel: int) -> int:
    """Close what was opened; return the least number of channels it offers that has this one."""
    offered = opened.pcm.getchannels()
    opened.pcm.close()
    enough = [count for count in offered if count >= channel]
    if not enough:
        most = max(offered, default=opened.channels)
        raise MicrophoneError(
            f"{name} has {most} channel(s) and channel {channel} is wanted; "
            f"set [microphone] channel to 1..{most}"
        )
    return min(enough)


def _ask(alsa: Any, name: str, rate_hz: int, sample_format: str, channels: int) -> Opened:
    try:
        asked_for = {
            "type": alsa.PCM_CAPTURE,
            "device": name,
            "rate": rate_hz,
            "channels": channels,
            "format": getattr(alsa, f"PCM_FORMAT_{sample_format}"),
            "periodsize": round(rate_hz * PERIOD_S),
            "periods": PERIODS,
        }
        if is_card(name):
            # Where another program holds a card, the opening below would wait until it is free,
            # and nothing in this process would go on: the binding keeps the interpreter's lock.
            alsa.PCM(mode=alsa.PCM_NONBLOCK, **asked_for).close()
        pcm = alsa.PCM(mode=alsa.PCM_NORMAL, **asked_for)
        info = pcm.info()
        if "physical_bits" not in info:  # it is from 0.11 on; pyproject.toml: what is wrong before
            raise AttributeError("info() without physical_bits")
        return Opened(
            pcm=pcm,
            rate_hz=int(info["rate"]),
            sample_format=str(info["format_name"]),
            channels=int(info["channels"]),
        )
    except (TypeError, AttributeError) as error:
        # Versions before 0.10 know neither the keywords nor all of info().
        raise MicrophoneError(
            f"the installed pyalsaaudio is too old ({error}); install version 0.11 or newer"
        ) from error
    except alsa.ALSAAudioError as error:
        # The text is all there is, alsa-lib's error numbers do not come through.
        text = str(error).removesuffix(f" [{name}]")
        advice = "plug it in, or see `howl-lantern check` for what is there"
        kind: type[MicrophoneError] = MicrophoneError
        if "busy" in text.lower():
            kind = BusyError
            advice = "another program holds it: stop that program"
        elif "permission" in text.lower():
            advice = "this user must be in the group audio"
        elif "no such file" in text.lower():
            kind = UnknownNameError
        raise kind(f"{name} cannot be opened ({text}); {advice}") from error
