"""Waits that grow with every failure: over all who ask, and for each of them."""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Mapping
from typing import Any

FORGOTTEN_S = 6 * 3600.0
"""From the first bus to the last song: who failed in this time is still the same attempt."""
MOST_ASKERS = 256
"""More than a usual network has addresses (254); of more, the one heard of longest ago goes.
Whoever has that many is held by the waits over all."""


class Waits:
    """One ladder of waits: the first failures are free, then each wait is twice the one before.

    Parameters
    ----------
    free_count : int >= 0
        Failures after which there is no wait.
    first_s, longest_s : float
        The first wait and the longest, in seconds.
    """

    def __init__(self, free_count: int, first_s: float, longest_s: float) -> None:
        self._free_count = free_count
        self._first_s = first_s
        self._longest_s = longest_s
        self.fail_count = 0
        self._until_s = -math.inf
        self._last_s = -math.inf

    def fail(self, now_s: float) -> None:
        """Count a failure; the wait for it begins at ``now_s``."""
        if now_s - self._last_s > FORGOTTEN_S:
            self.fail_count = 0
        self.fail_count += 1
        self.begin(now_s)

    def begin(self, now_s: float) -> None:
        """Have the wait of the last failure begin at ``now_s`` instead."""
        self._last_s = now_s
        step = self.fail_count - self._free_count
        if step > 0:
            # Beyond the 30th doubling every wait is the longest; a float holds no 2**2000.
            self._until_s = now_s + min(self._longest_s, self._first_s * 2.0 ** min(step - 1, 30))

    def left_s(self, now_s: float) -> float:
        """Return how long there is to wait, 0 if there is not."""
        return max(0.0, self._until_s - now_s)

    @property
    def kept(self) -> dict[str, float]:
        """What a restart must not lose."""
        if not self.fail_count:
            return {}
        kept = {"fail_count": self.fail_count, "last_s": round(self._last_s, 3)}
        return kept | ({"until_s": round(self._until_s, 3)} if self._until_s > 0 else {})

    def restore(self, kept: Mapping[str, Any], *, same_boot: bool, now_s: float) -> None:
        """Go on from what was kept.

        After a reboot no clock can tell how long it was off.  The failures are still counted,
        but there is no wait: whoever can pull the plug stands at the box.

        Raises
        ------
        ValueError
            If it is not what ``kept`` gave.
        """
        if not kept:
            return
        self.fail_count = int(finite(kept, "fail_count"))
        self._last_s = finite(kept, "last_s") if same_boot else now_s
        if same_boot and "until_s" in kept:
            # No wait is longer than the longest from now, whatever the file says.
            self._until_s = min(finite(kept, "until_s"), now_s + 2 * self._longest_s)


class AskersWaits:
    """A ladder of waits for each address, bounded."""

    def __init__(self, free_count: int, first_s: float, longest_s: float) -> None:
        self._ladder = free_count, first_s, longest_s
        self._askers: OrderedDict[str, Waits] = OrderedDict()

    def fail(self, asker: str, now_s: float) -> None:
        """Count a failure of one of them."""
        waits = self._askers.pop(asker, None) or Waits(*self._ladder)
        waits.fail(now_s)
        self._askers[asker] = waits
        while len(self._askers) > MOST_ASKERS:
            self._askers.popitem(last=False)

    def left_s(self, asker: str, now_s: float) -> float:
        """Return how long one of them has to wait, 0 if not at all."""
        waits = self._askers.get(asker)
        return 0.0 if waits is None else waits.left_s(now_s)

    def forgive(self, asker: str) -> None:
        """Forget the failures of one of them."""
        self._askers.pop(asker, None)

    @property
    def kept(self) -> dict[str, dict[str, float]]:
        """What a restart must not lose."""
        return {asker: waits.kept for asker, waits in self._askers.items()}

    def restore(self, kept: Mapping[str, Any], *, same_boot: bool, now_s: float) -> None:
        """Go on from what was kept; ValueError if it is not what ``kept`` gave."""
        for asker, content in list(kept.items())[-MOST_ASKERS:]:
            waits = Waits(*self._ladder)
            waits.restore(mapping(content), same_boot=same_boot, now_s=now_s)
            self._askers[asker] = waits


def mapping(value: Any) -> Mapping[str, Any]:
    """Return a value that must be an object; ValueError if it is none."""
    if not isinstance(value, Mapping):
        raise ValueError(f"an object is expected, not {value!r:.40}")
    return value


def finite(content: Mapping[str, Any], key: str) -> float:
    """Return a number of an object; ValueError if it is none."""
    value = content.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{key} must be a number, not {value!r:.40}")
    return value
