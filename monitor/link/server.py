"""The watcher's end of the link: one thread that feeds every client and waits for none.

Whatever a client does or fails to do, ``publish_*`` return at once.  A snapshot that does not
fit into a client's socket buffer is skipped, the next one is fresher; ring events queue up to a
bound.  A client that takes nothing for ``STUCK_S`` or lets its queue overflow is dropped.
"""

from __future__ import annotations

import logging
import os
import selectors
import socket
import struct
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from monitor.link.commands import (
    LONGEST_COMMAND_BYTES,
    OWNERS_ONLY,
    check_command,
    check_length,
)
from monitor.link.endpoint import LinkServerError, LinkSocket
from monitor.link.messages import (
    PROTO_MAJOR,
    PROTO_MINOR,
    LineBuffer,
    LinkError,
    Message,
    decode,
    encode,
)

LOG = logging.getLogger(__name__)

MAX_CLIENTS = 8
MAX_QUEUED = 256
"""Lines waiting for one client: minutes of ring events."""
READ_BYTES = 4096
STUCK_S = 5.0
LOOK_EVERY_S = 1.0
"""How often the socket's file is looked for; a page that finds none asks every two seconds."""

Reply = Callable[[Mapping[str, Any]], None]
HandleCommand = Callable[[Message, Reply], None]


@dataclass(slots=True)
class _Client:
    connection: socket.socket
    is_owner: bool
    lines: LineBuffer = field(default_factory=lambda: LineBuffer(LONGEST_COMMAND_BYTES))
    partial: memoryview | None = None
    queue: deque[bytes] = field(default_factory=deque)
    stuck_since_mono_s: float | None = None


def _is_owner(connection: socket.socket) -> bool:
    """Whether root or the watcher's own user is at the other end, as the kernel knows it.

    ``SO_PEERCRED`` of unix(7): who connected, which no client can forge.
    """
    size = struct.calcsize("3i")
    _pid, uid, _gid = struct.unpack(
        "3i", connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, size)
    )
    return uid in (0, os.geteuid())


class LinkServer:
    """Serves snapshots, ring events and answers at one Unix socket.

    Parameters
    ----------
    path : Path
        Where the socket is made, with mode 0660.
    hello : mapping
        What to greet with besides class and protocol: release, boot_id, box.
    handle : callable
        Called in the server's thread with each checked command and a function that sends the
        answer, at once or later, from any thread.  It must not wait for anything.

    Raises
    ------
    LinkServerError
        If the socket cannot be opened.
    """

    def __init__(
        self,
        path: Path,
        *,
        hello: Mapping[str, Any],
        handle: HandleCommand,
        max_clients: int = MAX_CLIENTS,
    ) -> None:
        self._hello = encode(
            {"class": "hello", "proto_major": PROTO_MAJOR, "proto_minor": PROTO_MINOR, **hello}
        )
        self._handle = handle
        self._max_clients = max_clients
        self._socket = LinkSocket(path)
        self._look_next_mono_s = time.monotonic() + LOOK_EVERY_S
        self._wake_r, self._wake_w = socket.socketpair()
        self._wake_r.setblocking(False)
        self._wake_w.setblocking(False)
        self._snapshot: Mapping[str, Any] | None = None
        self._outbox: deque[tuple[_Client | None, Mapping[str, Any]]] = deque(maxlen=4096)
        self._newest_line: bytes | None = None
        self._clients: dict[int, _Client] = {}
        self._selector = selectors.DefaultSelector()
        self._stopping = threading.Event()
        self.dropped_client_count = 0
        self.skipped_snapshot_count = 0
        self.problem = ""
        self._thread = threading.Thread(target=self._run, name="link-server", daemon=True)
        self._thread.start()

    @property
    def client_count(self) -> int:
        """How many clients are connected."""
        return len(self._clients)

    def publish_snapshot(self, snapshot: Mapping[str, Any]) -> None:
        """Offer the newest state; one that was not sent yet is replaced.  Returns at once."""
        self._snapshot = snapshot
        self._wake()

    def publish_event(self, event: Mapping[str, Any]) -> None:
        """Send an event to every client, in order.  Returns at once."""
        self._outbox.append((None, event))
        self._wake()

    def close(self) -> None:
        """Hang up on everybody and remove the socket; may be called twice."""
        if self._stopping.is_set():
            return
        self._stopping.set()
        self._wake()
        self._thread.join(timeout=5.0)
        self._socket.close()
        self._wake_w.close()

    def _wake(self) -> None:
        try:
            self._wake_w.send(b"!")
        except OSError:
            pass  # a full pipe wakes as well; a closed one has nobody to wake

    def _run(self) -> None:
        self._selector.register(self._socket.listening, selectors.EVENT_READ)
        self._selector.register(self._wake_r, selectors.EVENT_READ)
        while not self._stopping.is_set():
            for key, mask in self._selector.select(timeout=1.0):
                if key.fileobj is self._socket.listening:
                    self._accept()
                elif key.fileobj is self._wake_r:
                    self._drain_wake()
                elif (client := self._clients.get(key.fd)) is not None:
                    if mask & selectors.EVENT_WRITE:
                        self._flush(client)
                    if mask & selectors.EVENT_READ and key.fd in self._clients:
                        self._read(client)
            self._send_published()
            self._drop_stuck()
            self._look_for_socket()
        for client in list(self._clients.values()):
            self._drop(client, count=False)
        self._selector.close()
        self._wake_r.close()

    def _look_for_socket(self) -> None:
        """Make the socket's file again if somebody removed it; who is connected stays so."""
        now_mono_s = time.monotonic()
        if now_mono_s < self._look_next_mono_s:
            return
        self._look_next_mono_s = now_mono_s + LOOK_EVERY_S
        if self._socket.is_in_place():
            return
        before = self._socket.listening
        try:
            self._socket.renew()
        except LinkServerError as error:
            self.problem = f"nobody new can connect: {error}"
            return
        self._selector.unregister(before)
        before.close()
        self._selector.register(self._socket.listening, selectors.EVENT_READ)
        self.problem = ""
        LOG.warning("the socket's file was gone and is made again")

    def _accept(self) -> None:
        try:
            connection, _ = self._socket.listening.accept()
        except OSError:
            # The client has gone again, or descriptors ran out: the others go on, and the
            # wait keeps a full table from becoming a busy loop.
            self._stopping.wait(0.05)
            return
        connection.setblocking(False)
        client = _Client(connection, _is_owner(connection))
        if len(self._clients) >= self._max_clients:
            line = encode({"class": "error", "message": "too many clients on this socket"})
            try:
                connection.send(self._hello + line)
            except OSError:
                pass  # it is turned away in any case
            connection.close()
            return
        self._clients[connection.fileno()] = client
        self._selector.register(connection, selectors.EVENT_READ)
        client.queue.append(self._hello)
        if self._newest_line is not None:
            client.queue.append(self._newest_line)
        self._flush(client)

    def _drain_wake(self) -> None:
        try:
            while self._wake_r.recv(4096):
                pass
        except BlockingIOError:
            pass  # drained

    def _send_published(self) -> None:
        while self._outbox:
            receiver, message = self._outbox.popleft()
            line = self._line(message)
            if line is None:
                continue
            for client in list(self._clients.values()) if receiver is None else [receiver]:
                if client.connection.fileno() in self._clients:
                    self._enqueue(client, line)
        snapshot, self._snapshot = self._snapshot, None
        if snapshot is None or (line := self._line(snapshot)) is None:
            return
        self._newest_line = line
        for client in list(self._clients.values()):
            if client.partial is not None or client.queue:
                self.skipped_snapshot_count += 1
            else:
                client.queue.append(line)
                self._flush(client, skippable=True)

    def _line(self, message: Mapping[str, Any]) -> bytes | None:
        try:
            return encode(message)
        except LinkError as error:
            self.problem = f"a message could not be sent: {error}"
            return None

    def _enqueue(self, client: _Client, line: bytes) -> None:
        if len(client.queue) >= MAX_QUEUED:
            self._drop(client)
            return
        client.queue.append(line)
        self._flush(client)

    def _flush(self, client: _Client, *, skippable: bool = False) -> None:
        """Send what the socket takes; with ``skippable`` forget a line it takes nothing of."""
        while client.partial is not None or client.queue:
            if client.partial is None:
                client.partial = memoryview(client.queue.popleft())
                fresh = True
            else:
                fresh = False
            try:
                sent = client.connection.send(client.partial)
            except BlockingIOError:
                if skippable and fresh:
                    client.partial = None
                    self.skipped_snapshot_count += 1
                if client.stuck_since_mono_s is None:
                    client.stuck_since_mono_s = time.monotonic()
                break
            except OSError:
                self._drop(client, count=False)
                return
            client.stuck_since_mono_s = None
            client.partial = client.partial[sent:] if sent < len(client.partial) else None
        writing = selectors.EVENT_WRITE if client.partial is not None or client.queue else 0
        self._selector.modify(client.connection, selectors.EVENT_READ | writing)

    def _read(self, client: _Client) -> None:
        try:
            chunk = client.connection.recv(READ_BYTES)
        except BlockingIOError:
            return
        except OSError:
            chunk = b""
        if not chunk:
            self._drop(client, count=False)
            return
        try:
            lines = client.lines.push(chunk)
        except LinkError:
            self._drop(client)
            return
        for line in lines:
            self._command(client, line)

    def _command(self, client: _Client, line: bytes) -> None:
        request: dict[str, str] = {}

        def reply(answer: Mapping[str, Any]) -> None:
            self._outbox.append((client, {**answer, **request}))
            self._wake()

        try:
            message = decode(line)
            given = message.get("request")
            if isinstance(given, str) and len(given) <= 64:
                request["request"] = given
            check_length(message, line)
            command = check_command(message)
            if command["class"] in OWNERS_ONLY and not client.is_owner:
                raise ValueError("only the watcher's own user and root may ask that: use sudo")
            self._handle(command, reply)
        except ValueError as error:
            reply({"class": "error", "message": str(error)})
        except Exception as error:  # a bug behind one command must not silence the others
            LOG.exception("command failed")
            reply({"class": "error", "message": f"the watcher failed on it: {error!r}"})

    def _drop_stuck(self) -> None:
        now_mono_s = time.monotonic()
        for client in list(self._clients.values()):
            since = client.stuck_since_mono_s
            if since is not None and now_mono_s - since > STUCK_S:
                self._drop(client)

    def _drop(self, client: _Client, *, count: bool = True) -> None:
        descriptor = client.connection.fileno()
        if self._clients.pop(descriptor, None) is None:
            return
        self.dropped_client_count += count
        self._selector.unregister(client.connection)
        client.connection.close()
        client.queue.clear()
