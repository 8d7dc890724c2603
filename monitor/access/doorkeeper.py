"""Who gets a key: codes that are shown for a short time, tries that are counted, waits that grow.

Times are of one clock that never jumps, in seconds.  An *asker* is an address; it may be a lie
of whoever passes it on, so that nothing but comfort depends on it: what can be guessed at all is
bounded over all askers together.
"""

from __future__ import annotations

import hmac
import secrets
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from monitor.access.waits import AskersWaits, Waits, mapping

Control = Literal["code", "open", "off"]
Why = Literal["wrong", "wait", "closed", "busy"]

CODE_COUNT = 1_000_000
SHOWN_S = 90.0
"""Time to walk to the panel and back, and to type six digits twice."""
HERE_S = 300.0
"""A code asked for at the box may be needed before the phone is in the network."""
MOST_WRONG = 10
"""Wrong tries over all askers that end a code on the panel: two of five tries each, so that one
stranger alone cannot end it."""
MOST_WRONG_HERE = 50
"""The same for a code asked for at the box, which a crowd must not be able to end; nobody but
whoever stands there can make such codes, so that no one gains by it."""
MOST_WRONG_EACH = 5
"""Wrong tries of one asker at one code."""
FIRST_WAIT_S = 30.0
LONGEST_WAIT_S = 1800.0
"""The waits for the next code: half a minute after one that nobody used, half an hour at last.
With them ``most_guesses`` says how few tries an evening has room for."""
ASKERS_FREE = 2
ASKERS_FIRST_WAIT_S = 15.0
"""A person may mistype twice; after the third wrong try an address waits 15, 30, 60 s and so on."""


@dataclass(frozen=True, slots=True)
class Showing:
    """A code that counts; ``where`` it can be read and for how much longer, None for always."""

    code: str
    where: Literal["panel", "box", "settings"]
    lasts_s: float | None


class Refused(ValueError):
    """One line for a person, why for a program, and how long to wait if that helps."""

    def __init__(self, why: Why, message: str, wait_s: float | None = None) -> None:
        super().__init__(message)
        self.why: Why = why
        self.wait_s = wait_s


@dataclass(slots=True)
class _Window:
    code: str
    until_s: float
    at_box: bool
    wrong: Counter[str] = field(default_factory=Counter)

    @property
    def most_wrong(self) -> int:
        return MOST_WRONG_HERE if self.at_box else MOST_WRONG


def random_code() -> str:
    """Return six digits that nobody can foretell."""
    return f"{secrets.randbelow(CODE_COUNT):06d}"


def most_guesses(evening_s: float) -> int:
    """Return the most tries at codes on the panel that fit into an evening, from any number of
    addresses: each code is tried ``MOST_WRONG`` times at once, and asked for as soon as it may be.
    """
    at_s, wait_s, guesses = 0.0, FIRST_WAIT_S, 0
    while at_s <= evening_s:
        guesses += MOST_WRONG
        at_s += wait_s
        wait_s = min(2.0 * wait_s, LONGEST_WAIT_S)
    return guesses


class Doorkeeper:
    """Shows codes and judges tries; knows nothing of keys.

    Parameters
    ----------
    control : {"code", "open", "off"}
        Codes are of use with "code" alone.
    fixed_code : str
        Six digits from the settings that always count, "" for none.
    make_code : callable
        Makes a fresh code.
    """

    def __init__(
        self,
        control: Control,
        fixed_code: str = "",
        *,
        make_code: Callable[[], str] = random_code,
    ) -> None:
        self.control = control
        self._fixed_code = fixed_code
        self._make_code = make_code
        self._window: _Window | None = None
        self._fixed_wrong = 0
        self._waits = Waits(0, FIRST_WAIT_S, LONGEST_WAIT_S)
        self._askers = AskersWaits(ASKERS_FREE, ASKERS_FIRST_WAIT_S, LONGEST_WAIT_S)

    def on_panel(self, now_s: float) -> str:
        """Return the code that the panel shows now, "" for none."""
        window = self._open(now_s)
        return "" if window is None or window.at_box else window.code

    def ask(self, now_s: float, asker: str, *, hindrance: str = "") -> Showing:
        """Have the panel show a code, for somebody in the network; one that is shown stays.

        Raises
        ------
        Refused
            "busy" with the hindrance, "wait", or "closed" where no code is of use.
        """
        self._must_use_codes()
        window = self._open(now_s)
        if window is not None:
            where: Literal["panel", "box"] = "box" if window.at_box else "panel"
            return Showing(window.code, where, window.until_s - now_s)
        if self._fixed_code:
            return Showing(self._fixed_code, "settings", None)
        if hindrance:
            raise Refused("busy", hindrance)
        left_s = max(self._waits.left_s(now_s), self._askers.left_s(asker, now_s))
        if left_s > 0.0:
            raise Refused(
                "wait",
                f"codes were asked for or mistyped too often; wait {duration(left_s)}, or type "
                "howl-lantern pair at the box",
                left_s,
            )
        window = _Window(self._make_code(), now_s + SHOWN_S, at_box=False)
        self._window = window
        # Counted when it opens, as one that nobody used: a crash meanwhile gives nothing away.
        self._waits.fail(window.until_s)
        return Showing(window.code, "panel", SHOWN_S)

    def ask_here(self, now_s: float) -> Showing:
        """Make a code for somebody at the box, whatever waits there are; another one ends.

        Raises
        ------
        Refused
            "closed" where no code is of use.
        """
        self._must_use_codes()
        if (window := self._open(now_s)) is not None and not window.at_box:
            self._waits.begin(now_s)
        self._window = _Window(self._make_code(), now_s + HERE_S, at_box=True)
        return Showing(self._window.code, "box", HERE_S)

    def judge(self, now_s: float, code: str, asker: str) -> None:
        """Let a try with the right code pass; the code counts no longer then.

        Raises
        ------
        Refused
            "wrong", "wait", or "closed" where no code is shown.
        """
        self._must_use_codes()
        window = self._open(now_s)
        if window is not None and _same(window.code, code) and self._may_try(window, asker, now_s):
            self._window = None
            self._forgive(asker)
            return
        if self._fixed_code:
            self._judge_fixed(now_s, code, asker, window)
            return
        if window is None:
            raise Refused("closed", "no code is shown now; ask for one")
        if not self._may_try(window, asker, now_s):
            raise self._too_often(window, asker, now_s)
        self._count_wrong(window, asker, now_s)
        raise Refused("wrong", "that is not the code on the panel; look again")

    @property
    def kept(self) -> dict[str, Any]:
        """What a restart must not lose; no code is among it."""
        return {
            "waits": self._waits.kept,
            "askers": self._askers.kept,
            "fixed_wrong": self._fixed_wrong,
        }

    def restore(self, kept: Mapping[str, Any], *, same_boot: bool, now_s: float) -> None:
        """Go on from what was kept; ValueError if it is not what ``kept`` gave."""
        self._waits.restore(mapping(kept.get("waits")), same_boot=same_boot, now_s=now_s)
        self._askers.restore(mapping(kept.get("askers")), same_boot=same_boot, now_s=now_s)
        wrong = kept.get("fixed_wrong")
        self._fixed_wrong = wrong if isinstance(wrong, int) and 0 <= wrong < MOST_WRONG else 0

    def _must_use_codes(self) -> None:
        if self.control == "open":
            raise Refused("closed", "no code is needed here: everybody may change things")
        if self.control == "off":
            raise Refused("closed", "control is switched off in the box's settings ([access])")

    def _open(self, now_s: float) -> _Window | None:
        if self._window is not None and now_s >= self._window.until_s:
            self._window = None
        return self._window

    def _may_try(self, window: _Window, asker: str, now_s: float) -> bool:
        if window.wrong[asker] >= MOST_WRONG_EACH:
            return False
        return window.at_box or self._askers.left_s(asker, now_s) == 0.0

    def _count_wrong(self, window: _Window, asker: str, now_s: float) -> None:
        window.wrong[asker] += 1
        self._askers.fail(asker, now_s)
        if window.wrong.total() >= window.most_wrong:
            self._window = None
            if not window.at_box:
                self._waits.begin(now_s)

    def _judge_fixed(self, now_s: float, code: str, asker: str, window: _Window | None) -> None:
        """The code of the settings stays: ten wrong tries and everybody waits, ever longer."""
        if window is not None and window.at_box and not self._may_try(window, asker, now_s):
            window = None
        left_s = max(self._waits.left_s(now_s), self._askers.left_s(asker, now_s))
        if left_s > 0.0 and window is None:
            raise Refused("wait", f"too many wrong codes; wait {duration(left_s)}", left_s)
        if left_s == 0.0 and _same(self._fixed_code, code):
            self._forgive(asker)
            return
        if window is not None:
            self._count_wrong(window, asker, now_s)
        else:
            self._askers.fail(asker, now_s)
        if left_s == 0.0:
            self._fixed_wrong += 1
            if self._fixed_wrong >= MOST_WRONG:
                self._fixed_wrong = 0
                self._waits.fail(now_s)
        raise Refused("wrong", "that is not the code; look again")

    def _too_often(self, window: _Window, asker: str, now_s: float) -> Refused:
        left_s = self._askers.left_s(asker, now_s)
        if window.wrong[asker] >= MOST_WRONG_EACH:
            left_s = max(left_s, window.until_s - now_s)
        return Refused("wait", f"too many wrong codes; wait {duration(left_s)}", left_s)

    def _forgive(self, asker: str) -> None:
        """Whoever knew the code is no stranger, and those before were perhaps the same person."""
        self._askers.forgive(asker)
        self._waits = Waits(0, FIRST_WAIT_S, LONGEST_WAIT_S)
        self._fixed_wrong = 0


def duration(seconds: float) -> str:
    """Return a wait as a person says it, rounded up: "40 s", "3 min"."""
    whole_s = max(1, int(-(-seconds // 1)))
    return f"{whole_s} s" if whole_s < 90 else f"{-(-whole_s // 60)} min"


def _same(code: str, tried: str) -> bool:
    """Compare in a time that does not tell how many digits are right."""
    return hmac.compare_digest(code.encode(), tried.encode())
