"""The messages between watcher and page, and the page's end of the socket.

Only the standard library is used here: the page process imports this and nothing else of ours.

Conventions
-----------
One JSON object a line, UTF-8, at most ``MAX_LINE_BYTES`` with its newline.  Every object has a
``class``.  Keys carry their unit.  What is not known is absent, never null; NaN and infinity
are forbidden.  Unknown keys and classes are ignored by whoever reads them.  The watcher speaks
first, with a ``hello`` that carries the protocol's major and minor number: the same major
understands each other, the minor counts additions.
"""

from __future__ import annotations

import itertools
import json
import math
import socket
import threading
import time
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PROTO_MAJOR = 1
PROTO_MINOR = 2
MAX_LINE_BYTES = 64 * 1024
MAX_COMMAND_BYTES = 4 * 1024
MAX_HISTORY = 150
"""Rings in one history answer: about 300 bytes each, so that the answer fits in a line."""

RETRY_FIRST_S = 0.2
RETRY_LONGEST_S = 2.0

Message = dict[str, Any]


class LinkError(ValueError):
    """A message that breaks the protocol, or a watcher that cannot be reached."""


def _without_none(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {k: _without_none(v) for k, v in value.items() if v is not None}
    if isinstance(value, list | tuple):
        return [_without_none(v) for v in value]
    return value


def encode(message: Mapping[str, Any]) -> bytes:
    """Return the message as one line of bytes; keys whose value is None are left out.

    Raises
    ------
    LinkError
        If there is no ``class``, a value is not JSON (NaN and infinity included), or the line
        would be longer than ``MAX_LINE_BYTES``.
    """
    name = message.get("class")
    if not isinstance(name, str) or not name:
        raise LinkError("a message needs a 'class'")
    try:
        text = json.dumps(
            _without_none(message), allow_nan=False, ensure_ascii=False, separators=(",", ":")
        )
        line = text.encode() + b"\n"
    except (TypeError, ValueError, RecursionError) as error:
        raise LinkError(f"message {name!r} cannot be written as JSON: {error}") from error
    if len(line) > MAX_LINE_BYTES:
        raise LinkError(f"message {name!r} is {len(line)} bytes, at most {MAX_LINE_BYTES} fit")
    return line


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is not allowed")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"number {text} is too large")
    return value


def decode(line: bytes | str) -> Message:
    """Return the object in one line.

    Raises
    ------
    LinkError
        If the line is too long, not UTF-8, not JSON, or not an object with a ``class``.
    """
    if len(line) > MAX_LINE_BYTES:
        raise LinkError(f"a line of {len(line)} bytes, at most {MAX_LINE_BYTES} are allowed")
    try:
        text = line.decode() if isinstance(line, bytes) else line
        message = json.loads(text, parse_constant=_no_constant, parse_float=_finite)
    except (ValueError, RecursionError) as error:
        raise LinkError(f"a line that is not JSON: {error}") from error
    if not isinstance(message, dict):
        raise LinkError(f"an object expected, a {type(message).__name__} received")
    name = message.get("class")
    if not isinstance(name, str) or not name:
        raise LinkError("a message without 'class'")
    return message


def sound_path(socket_path: Path) -> Path:
    """Return where the practice stage's sound can be heard, beside the link's socket."""
    return socket_path.with_name("sound.sock")


class LineBuffer:
    """Cuts a byte stream into lines; ``push`` any chunks, get whole lines without newline."""

    def __init__(self, longest_bytes: int = MAX_LINE_BYTES) -> None:
        self._longest_bytes = longest_bytes
        self._rest = b""

    def push(self, chunk: bytes) -> list[bytes]:
        """Return the lines that ``chunk`` completes.

        Raises
        ------
        LinkError
            If a line is longer than allowed; the stream is of no use from then on.
        """
        *lines, self._rest = (self._rest + chunk).split(b"\n")
        for line in (*lines, self._rest):
            if len(line) >= self._longest_bytes:
                raise LinkError(f"a line is longer than {self._longest_bytes} bytes")
        return [line for line in lines if line.strip()]


# --- commands: what may be sent to the watcher -------------------------------------------


def _number(message: Message, key: str, lowest: float, highest: float) -> float:
    value = message.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise LinkError(f"{key} must be a number from {lowest:g} to {highest:g}, not {value!r}")
    if not lowest <= value <= highest:
        raise LinkError(f"{key} must be from {lowest:g} to {highest:g}, not {value!r}")
    return value


def _whole(message: Message, key: str, lowest: int, highest: int) -> int:
    value = _number(message, key, lowest, highest)
    if not isinstance(value, int):
        raise LinkError(f"{key} must be a whole number, not {value!r}")
    return value


def _text(message: Message, key: str, longest: int) -> str:
    value = message.get(key)
    if not isinstance(value, str) or not 1 <= len(value) <= longest or not value.isprintable():
        raise LinkError(f"{key} must be 1 to {longest} printable characters")
    return value


def _way(message: Message) -> Message:
    if message.get("way") not in ("soundcheck", "set"):
        raise LinkError(f"way must be 'soundcheck' or 'set', not {message.get('way')!r}")
    return {"way": message["way"]}


def _address(message: Message) -> Message:
    url = _text(message, "url", 200)
    if not (url.startswith(("http://", "https://")) and url.isascii()):
        raise LinkError("url must begin with http:// or https:// and be plain ASCII")
    return {"url": url}


def _history(message: Message) -> Message:
    if "limit" not in message:
        return {"limit": 50}
    return {"limit": _whole(message, "limit", 1, MAX_HISTORY)}


def _filter_place(message: Message) -> Message:
    """Where a filter that can be put anywhere was put, and how wide; empty if not said."""
    place: Message = {}
    if "centre_hz" in message:
        place["centre_hz"] = float(_number(message, "centre_hz", 10, 40000))
    if "q" in message:
        place["q"] = float(_number(message, "q", 0.1, 100))
    return place


def _stage(message: Message) -> Message:
    wanted = message.keys() & {"fader_db", "slider", "room", "placement"}
    if len(wanted) != 1:
        raise LinkError(
            "a stage command needs fader_db, or slider and cut_db, or room, or placement, "
            f"not {' and '.join(sorted(wanted)) or 'nothing of these'}"
        )
    if "fader_db" in message:
        return {"fader_db": float(_number(message, "fader_db", -120, 60))}
    if "slider" in message:
        return {
            "slider": _whole(message, "slider", 0, 63),
            "cut_db": float(_number(message, "cut_db", -60, 60)),
            **_filter_place(message),
        }
    (key,) = wanted
    return {key: _text(message, key, 80)}


def _pull(message: Message) -> Message:
    """The person says how a slider of their own equaliser stands."""
    return {
        "slider": _whole(message, "slider", 0, 63),
        "cut_db": float(_number(message, "cut_db", -60, 0)),
        **_filter_place(message),
    }


RING_OUT_DO = (
    "open", "begin", "pulled", "turned_down", "not_yet", "skip", "undo", "pause", "go_on", "stop",
    "fader", "close",
)  # fmt: skip
"""What a person can do in a ring-out; "open" begins a new one, with its cautions, and
"close" puts away one that has ended."""


def _ring_out(message: Message) -> Message:
    do = message.get("do")
    if do not in RING_OUT_DO:
        raise LinkError(f"do must be one of {', '.join(RING_OUT_DO)}, not {do!r}")
    if do == "fader":
        return {"do": do, "fader_db": float(_number(message, "fader_db", -120, 60))}
    return {"do": do}


_COMMANDS = {
    "way": _way,
    "address": _address,
    "history": _history,
    "stage": _stage,
    "pull": _pull,
    "ring_out": _ring_out,
}


def check_command(message: Message) -> Message:
    """Return a command with only its known keys, every value checked.

    The result has ``class``, the command's own keys, and ``request`` if one was given.

    Raises
    ------
    LinkError
        If the command is unknown or a value is not acceptable; one clear line.
    """
    name = message.get("class")
    check = _COMMANDS.get(name) if isinstance(name, str) else None
    if check is None:
        raise LinkError(f"unknown command {name!r}; known: {', '.join(sorted(_COMMANDS))}")
    command = {"class": name, **check(message)}
    if "request" in message:
        command["request"] = _text(message, "request", 64)
    return command


# --- the page's end ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Received:
    """A snapshot and when it arrived here, in seconds of ``time.monotonic()``."""

    snapshot: Message
    received_mono_s: float


class Subscription:
    """Ring events as they come, at most ``limit`` waiting; older ones are dropped and counted."""

    def __init__(self, client: LinkClient, limit: int) -> None:
        self._client = client
        self._waiting: deque[Message] = deque()
        self._limit = limit
        self.dropped_count = 0

    def get(self, timeout_s: float) -> Message | None:
        """Return the next event, or None if none came within ``timeout_s``."""
        with self._client.condition:
            self._client.condition.wait_for(lambda: self._waiting or self._client.closed, timeout_s)
            return self._waiting.popleft() if self._waiting else None

    def put(self, event: Message) -> None:
        """Append an event; the client calls this with its condition held."""
        if len(self._waiting) >= self._limit:
            self._waiting.popleft()
            self.dropped_count += 1
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

    def __init__(self, socket_path: str | Path, *, start: bool = True) -> None:
        self.socket_path = Path(socket_path)
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
            If the command is malformed, there is no connection, or no answer came in time.
        """
        number = f"q{next(self._numbers)}"
        line = encode(check_command({**command, "request": number}))
        with self.condition:
            if not self.connected or self._socket is None:
                raise LinkError(f"the watcher cannot be reached: {self.problem}")
            connection = self._socket
            self._answers[number] = None
        try:
            try:
                with self._send_lock:
                    connection.sendall(line)
            except OSError as error:
                raise LinkError(f"the watcher cannot be reached: {error.strerror}") from error
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
                    raise LinkError("the connection to the watcher broke before it answered")
        finally:
            with self.condition:
                del self._answers[number]
        if answer is None:
            raise LinkError(f"the watcher did not answer within {timeout_s:g} s")
        return answer

    def _run(self) -> None:
        wait_s = RETRY_FIRST_S
        while not self._stopping.is_set():
            greeted = self._connect_once()
            wait_s = RETRY_FIRST_S if greeted else min(2.0 * wait_s, RETRY_LONGEST_S)
            self._stopping.wait(wait_s)

    def _connect_once(self) -> bool:
        """Connect and read until the connection ends; return whether the watcher greeted."""
        greeted = False
        connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            connection.settimeout(2.0)
            connection.connect(str(self.socket_path))
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
            self._lost(self._why(error))
        finally:
            self._lost("closed" if self._stopping.is_set() else self.problem)
            connection.close()
        return greeted

    def _why(self, error: Exception) -> str:
        if isinstance(error, FileNotFoundError):
            return f"no watcher is running (there is no {self.socket_path})"
        if isinstance(error, ConnectionRefusedError):
            return f"no watcher is running (nobody answers at {self.socket_path})"
        if isinstance(error, PermissionError):
            return f"no right to open {self.socket_path}: join the group that owns it"
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
