"""The page's end of the link: one connection to the watcher, kept up; standard library only."""

from __future__ import annotations

import contextlib
import itertools
import socket
import threading
import time
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.link.commands import CHANGE_NOTHING, check_command, check_length
from monitor.link.messages import (
    PROTO_MAJOR,
    LineBuffer,
    LinkError,
    Message,
    UnreachableError,
    decode,
    encode,
)

RETRY_FIRST_S = 0.2
RETRY_LONGEST_S = 2.0
MAY_BE_DONE = "; whether it was done is not known: look before you do it again"
"""A command that was sent is carried out whether or not somebody waits for the answer."""


@dataclass(frozen=True, slots=True)
class Received:
    """A snapshot and when it arrived here, in seconds of ``time.monotonic()``."""

    snapshot: Message
    received_mono_s: float


class Subscription:
    """Ring events as they come, at most ``limit`` waiting; older ones are dropped."""

    def __init__(self, client: LinkClient, limit: int) -> None:
        self._client = client
        self._waiting: deque[Message] = deque(maxlen=limit)

    def get(self, timeout_s: float) -> Message | None:
        """Return the next event, or None if none came within ``timeout_s``."""
        with self._client.condition:
            self._client.condition.wait_for(lambda: self._waiting or self._client.closed, timeout_s)
            return self._waiting.popleft() if self._waiting else None

    @property
    def waiting_count(self) -> int:
        """How many events wait; look at it with the client's condition held."""
        return len(self._waiting)

    def put(self, event: Message) -> None:
        """Append an event; the client calls this with its condition held."""
        self._waiting.append(event)

    def close(self) -> None:
        """Stop receiving; may be called twice."""
        self._client.unsubscribe(self)

    def __enter__(self) -> Subscription:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class LinkClient:
    """One connection to the watcher, kept up by a thread of its own.

    Parameters
    ----------
    socket_path : str or Path
        Where the watcher answers.
    spare : Path, optional
        Where it answers if it could not make that one; tried in turns with it.
    start : bool
        Whether to connect at once.

    Attributes
    ----------
    condition : threading.Condition
        Notified whenever anything below changes.
    latest : Received or None
        The newest snapshot; kept when the connection is lost, so look at its age.
    hello : dict or None
        The watcher's greeting of the present connection.
    connected : bool
        Whether the present connection has greeted.
    problem : str
        Why there is no connection, in one plain line; empty while connected.
    """

    def __init__(
        self, socket_path: str | Path, *, spare: Path | None = None, start: bool = True
    ) -> None:
        self.socket_path = Path(socket_path)
        self._spare = None if spare == self.socket_path else spare
        self.condition = threading.Condition()
        self.latest: Received | None = None
        self.hello: Message | None = None
        self.connected = False
        self.closed = False
        self.problem = "not connected yet"
        self._socket: socket.socket | None = None
        self._send_lock = threading.Lock()
        self._subscriptions: list[Subscription] = []
        self._answers: dict[str, Message | None] = {}
        self._numbers = itertools.count(1)
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="link", daemon=True)
        if start:
            self.start()

    def start(self) -> None:
        """Begin to connect; may be called twice."""
        if not self._thread.is_alive() and not self.closed:
            self._thread.start()

    def close(self) -> None:
        """Hang up and end the thread; may be called twice."""
        self._stopping.set()
        with self.condition:
            self.closed = True
            if self._socket is not None:
                try:
                    self._socket.shutdown(socket.SHUT_RDWR)
                except OSError:
                    pass  # already gone
            self.condition.notify_all()
        if self._thread.is_alive() and self._thread is not threading.current_thread():
            self._thread.join(timeout=5.0)

    def __enter__(self) -> LinkClient:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def subscribe(self, limit: int = 64) -> Subscription:
        """Return a queue of the ring events from now on."""
        subscription = Subscription(self, limit)
        with self.condition:
            self._subscriptions.append(subscription)
        return subscription

    def unsubscribe(self, subscription: Subscription) -> None:
        """Forget a subscription; unknown ones are ignored."""
        with self.condition:
            if subscription in self._subscriptions:
                self._subscriptions.remove(subscription)

    def wait_for_snapshot(self, after_mono_s: float, timeout_s: float) -> Received | None:
        """Return a snapshot that arrived after ``after_mono_s``, or None on time-out."""
        with self.condition:
            self.condition.wait_for(
                lambda: (
                    self.closed
                    or (self.latest is not None and self.latest.received_mono_s > after_mono_s)
                ),
                timeout_s,
            )
            latest = self.latest
        return latest if latest is not None and latest.received_mono_s > after_mono_s else None

    def request(self, command: Mapping[str, Any], timeout_s: float = 2.0) -> Message:
        """Send a command and return the watcher's answer (``done``, ``history``, ``error``).

        Raises
        ------
        LinkError
            If the command is malformed.
        UnreachableError
            If there is no connection, or no answer came in time: then it may be carried out all
            the same, and the message says so.
        """
        number = f"q{next(self._numbers)}"
        checked = check_command({**command, "request": number})
        unknown = "" if checked["class"] in CHANGE_NOTHING else MAY_BE_DONE
        line = encode(checked)
        check_length(checked, line)
        with self.condition:
            if not self.connected or self._socket is None:
                raise UnreachableError(f"the watcher cannot be reached: {self.problem}")
            connection = self._socket
            self._answers[number] = None
        try:
            try:
                with self._send_lock:
                    connection.sendall(line)
            except OSError as error:
                # Half a line may be on its way: what is sent next would be lost with it.
                with contextlib.suppress(OSError):
                    connection.shutdown(socket.SHUT_RDWR)
                raise UnreachableError(
                    f"the watcher cannot be reached: {self._why(error, self.socket_path)}"
                ) from error
            with self.condition:
                self.condition.wait_for(
                    lambda: (
                        self._answers[number] is not None
                        or self._socket is not connection
                        or self.closed
                    ),
                    timeout_s,
                )
                answer = self._answers[number]
                if answer is None and self._socket is not connection:
                    raise UnreachableError(
                        f"the connection to the watcher broke before it answered{unknown}"
                    )
        finally:
            with self.condition:
                del self._answers[number]
        if answer is None:
            raise UnreachableError(f"the watcher did not answer within {timeout_s:g} s{unknown}")
        return answer

    def _run(self) -> None:
        wait_s = RETRY_FIRST_S
        while not self._stopping.is_set():
            greeted = self._connect_once(self.socket_path)
            if not greeted and self._spare is not None and not self._stopping.is_set():
                problem = self.problem
                greeted = self._connect_once(self._spare)
                if not greeted:
                    self._lost(problem)  # of the one that was set
            if greeted:
                wait_s = RETRY_FIRST_S
            self._stopping.wait(wait_s)
            wait_s = min(2.0 * wait_s, RETRY_LONGEST_S)

    def _connect_once(self, path: Path) -> bool:
        """Connect and read until the connection ends; return whether the watcher greeted."""
        greeted, problem = False, "the connection broke"
        try:
            connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        except OSError as error:  # descriptors ran out
            self._lost(self._why(error, path))
            return False
        try:
            connection.settimeout(2.0)
            connection.connect(str(path))
            with self.condition:
                self._socket = connection
            buffer = LineBuffer()
            while not self._stopping.is_set():
                try:
                    chunk = connection.recv(65536)
                except TimeoutError:
                    continue  # a silent watcher shows in the age of the last snapshot
                if not chunk:
                    raise LinkError("the watcher hung up")
                for line in buffer.push(chunk):
                    self._take(decode(line))
                    greeted = self.connected
        except (OSError, LinkError) as error:
            problem = self._why(error, path)
        finally:
            self._lost("closed" if self._stopping.is_set() else problem)
            connection.close()
        return greeted

    def _why(self, error: Exception, path: Path) -> str:
        if isinstance(error, FileNotFoundError):
            return f"no watcher is running (there is no {path})"
        if isinstance(error, ConnectionRefusedError):
            return f"no watcher is running (nobody answers at {path})"
        if isinstance(error, PermissionError):
            return f"no right to open {path}: join the group that owns it"
        return (error.strerror if isinstance(error, OSError) else None) or str(error)

    def _lost(self, problem: str) -> None:
        with self.condition:
            self._socket = None
            self.connected = False
            self.hello = None
            self.problem = problem
            self.condition.notify_all()

    def _take(self, message: Message) -> None:
        now_mono_s = time.monotonic()
        name = message["class"]
        with self.condition:
            if name == "hello":
                if message.get("proto_major") != PROTO_MAJOR:
                    raise LinkError(
                        f"the watcher speaks version {message.get('proto_major')} of the link "
                        f"and this page version {PROTO_MAJOR}: update both parts"
                    )
                self.hello, self.connected, self.problem = message, True, ""
            elif not self.connected:
                raise LinkError("the watcher did not greet first")
            elif name == "snapshot":
                self.latest = Received(message, now_mono_s)
            elif name == "ring":
                for subscription in self._subscriptions:
                    subscription.put(message)
            elif message.get("request") in self._answers:
                self._answers[message["request"]] = message
            self.condition.notify_all()
