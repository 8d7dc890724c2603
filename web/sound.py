"""The practice stage's sound for a few phones: streamed while they say that they still play it.

Conventions
-----------
The answer is raw samples of one channel, signed 16 bit, little-endian, at the rate in its header
``X-Sample-Rate``.  A phone that left the Wi-Fi says no goodbye, and what it does not take piles
up in buffers: so the page tells every half second how much has arrived.  Too much under way and
blocks are dropped, so that what is heard is never old; no word for ``LEASE_S`` and it ends.
"""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

LISTENERS = 3
LEASE_S = 5.0
LONGEST_S = 20 * 60.0
"""Nobody practises longer without touching the page; a forgotten tablet falls silent."""
MOST_UNDER_WAY_S = 1.5
"""Sound sent and not yet reported as arrived; reports come every half second."""
PACKETS_AT_ONCE = 4
"""43 ms at the stage's 512 samples and 48 kHz: few writes, little delay."""


class SoundError(Exception):
    """The stage cannot be heard now; the message is for the person."""


class Lease:
    """One listener's right to more: kept alive by its reports."""

    def __init__(self, bytes_per_s: int) -> None:
        self._most_bytes = int(MOST_UNDER_WAY_S * bytes_per_s)
        self._lock = threading.Lock()
        self._heard_mono_s = time.monotonic()
        self._ends_mono_s = self._heard_mono_s + LONGEST_S
        self._arrived_bytes = 0
        self._sent_bytes = 0
        self._ended = False

    def report(self, arrived_bytes: int) -> None:
        """Note that the page lives and how much has arrived since it began."""
        with self._lock:
            self._heard_mono_s = time.monotonic()
            # Never beyond what was sent, or a made-up number would buy an endless backlog.
            self._arrived_bytes = min(max(arrived_bytes, self._arrived_bytes), self._sent_bytes)

    def end(self) -> None:
        """Give it up."""
        with self._lock:
            self._ended = True

    @property
    def is_alive(self) -> bool:
        """Whether the page has spoken lately."""
        now_mono_s = time.monotonic()
        with self._lock:
            if self._ended or now_mono_s > self._ends_mono_s:
                return False
            return now_mono_s - self._heard_mono_s < LEASE_S

    def may_send(self, n_bytes: int) -> bool:
        """Count ``n_bytes`` as sent if they may be."""
        with self._lock:
            if self._sent_bytes + n_bytes - self._arrived_bytes > self._most_bytes:
                return False
            self._sent_bytes += n_bytes
            return True


class Listeners:
    """The leases that are out, by the name each page has made up for itself."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._leases: dict[str, Lease] = {}

    def enter(self, name: str, bytes_per_s: int) -> Lease:
        """Return a new lease; the same name's earlier one ends.

        Raises
        ------
        SoundError
            If all places are taken.
        """
        with self._lock:
            earlier = self._leases.pop(name, None)
            if earlier is not None:
                earlier.end()
            if len(self._leases) >= LISTENERS:
                raise SoundError(
                    f"{LISTENERS} phones are listening already; stop the sound on one of them"
                )
            lease = self._leases[name] = Lease(bytes_per_s)
            return lease

    def report(self, name: str, arrived_bytes: int) -> bool:
        """Keep a lease alive; false if it is not out."""
        with self._lock:
            lease = self._leases.get(name)
        if lease is None or not lease.is_alive:
            return False
        lease.report(arrived_bytes)
        return True

    def leave(self, name: str, lease: Lease) -> None:
        """Give a lease back; a newer one of the same name stays."""
        lease.end()
        with self._lock:
            if self._leases.get(name) is lease:
                del self._leases[name]

    @property
    def count(self) -> int:
        """How many listen."""
        with self._lock:
            return len(self._leases)


def knock(path: Path) -> socket.socket:
    """Connect to the practice stage's sound.

    Raises
    ------
    SoundError
        If there is nobody behind the door.
    """
    door = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    door.settimeout(1.0)
    try:
        door.connect(str(path))
    except OSError as error:
        door.close()
        raise SoundError(
            f"the practice stage cannot be heard ({error.strerror or error}); start the demo again"
        ) from error
    return door


def sound(door: socket.socket, lease: Lease) -> Iterator[bytes]:
    """Sound for one page until its lease ends or the stage is gone."""
    waiting: list[bytes] = []
    with door:
        while lease.is_alive:
            try:
                packet = door.recv(65536)
            except TimeoutError:
                continue
            except OSError:
                return
            if not packet:
                return
            waiting.append(packet)
            if len(waiting) < PACKETS_AT_ONCE:
                continue
            together, waiting = b"".join(waiting), []
            if lease.may_send(len(together)):
                yield together
