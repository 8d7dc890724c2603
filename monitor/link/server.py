"""The watcher's end of the link: one thread that feeds every client and waits for none.

Whatever a client does or fails to do, ``publish_*`` return at once.  A snapshot that does not
fit into a client's socket buffer is skipped, the next one is fresher; ring events queue up to a
bound.  A client that takes nothing for ``STUCK_S`` or lets its queue overflow is dropped.
Whatever fails in the thread is said in ``problem``, and it goes on.
"""

from __future__ import annotations

import logging
import selectors
import socket
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from monitor.link.commands import OWNERS_ONLY, check_command, check_length
from monitor.link.messages import (
    PROTO_MAJOR,
    PROTO_MINOR,
    LinkError,
    Message,
    decode,
    encode,
)
from monitor.link.one_client import OneClient
from monitor.link.outbox import Outbox
from monitor.link.reception import Reception

LOG = logging.getLogger(__name__)

MAX_CLIENTS = 8
READ_BYTES = 4096
STUCK_S = 5.0
FAILED_PAUSE_S = 0.05
"""Keeps a full table of descriptors, or a mistake of ours, from becoming a busy loop."""

Reply = Callable[[Mapping[str, Any]], None]
HandleCommand = Callable[[Message, Reply], None]


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
    max_clients : int
        Whoever comes beyond them is told so and hung up on.

    Attributes
    ----------
    dropped_client_count, skipped_snapshot_count : int
        Clients that were too slow and hung up on; snapshots left out for one.

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
        self._selector = selectors.DefaultSelector()
        self._stopping = threading.Event()
        self._reception = Reception(path, self._selector, pause=self._pause)
        self._outbox = Outbox()
        self._newest_line: bytes | None = None
        self._clients: dict[int, OneClient] = {}
        self.dropped_client_count = 0
        self.skipped_snapshot_count = 0
        self._unsent = self._failing = self._logged = ""
        self._thread = threading.Thread(target=self._run, name="link-server", daemon=True)
        self._thread.start()

    @property
    def client_count(self) -> int:
        """How many clients are connected."""
        return len(self._clients)

    @property
    def lost_event_count(self) -> int:
        """Events and answers for which there was no room."""
        return self._outbox.lost_count

    @property
    def problem(self) -> str:
        """What is wrong with the link, in one line; empty if nothing is."""
        lost = self.lost_event_count
        told = f"{lost} messages found no room and were lost" if lost else ""
        return "; ".join(filter(None, (self._failing, self._reception.problem, self._unsent, told)))

    def publish_snapshot(self, snapshot: Mapping[str, Any]) -> None:
        """Offer the newest state; one that was not sent yet is replaced.  Returns at once."""
        self._outbox.put_snapshot(snapshot)

    def publish_event(self, event: Mapping[str, Any]) -> None:
        """Send an event to every client, in order.  Returns at once."""
        self._outbox.put(None, event)

    def close(self) -> None:
        """Hang up on everybody and remove the socket; may be called twice."""
        if self._stopping.is_set():
            return
        self._stopping.set()
        self._outbox.wake()
        self._thread.join(timeout=5.0)
        self._reception.close()
        self._outbox.close()

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                self._turn()
            except Exception as error:  # the next turn may go well, and somebody must say it
                self._failing = f"the link failed: {error!r}"
                if self._failing != self._logged:
                    LOG.exception("the link failed")
                self._logged = self._failing
                self._pause()
            else:
                self._failing = ""
        for client in list(self._clients.values()):
            self._drop(client, count=False)
        self._selector.close()
        self._outbox.awake.close()

    def _pause(self) -> None:
        self._stopping.wait(FAILED_PAUSE_S)

    def _turn(self) -> None:
        """Wait until something is to do, and do it."""
        if self._outbox.awake not in self._selector.get_map():
            self._selector.register(self._outbox.awake, selectors.EVENT_READ)
        self._reception.look()
        for key, mask in self._selector.select(timeout=1.0):
            if key.fileobj is self._reception.listening:
                self._accept()
            elif key.fileobj is self._outbox.awake:
                self._outbox.drain()
            elif (client := self._clients.get(key.fd)) is not None:
                if mask & selectors.EVENT_WRITE:
                    self._flush(client)
                if mask & selectors.EVENT_READ and key.fd in self._clients:
                    self._read(client)
        self._send_published()
        self._drop_stuck()

    def _accept(self) -> None:
        connection = self._reception.accept()
        if connection is None:
            return
        if len(self._clients) >= self._max_clients:
            self._turn_away(connection)
            return
        try:
            client = OneClient(connection)
            self._selector.register(connection, selectors.EVENT_READ)
        except OSError as error:
            connection.close()
            self._reception.cannot_take(error)
            return
        self._reception.problem = ""
        self._clients[connection.fileno()] = client
        client.hold(self._hello)
        if self._newest_line is not None:
            client.hold(self._newest_line)
        self._flush(client)

    def _turn_away(self, connection: socket.socket) -> None:
        line = encode({"class": "error", "message": "too many clients on this socket"})
        connection.setblocking(False)
        try:
            connection.send(self._hello + line)
        except OSError:
            pass  # it is turned away in any case
        connection.close()

    def _send_published(self) -> None:
        while (unsent := self._outbox.take()) is not None:
            receiver, message = unsent
            line = self._line(message)
            if line is None:
                continue
            for client in list(self._clients.values()) if receiver is None else [receiver]:
                if client.connection.fileno() in self._clients:
                    self._enqueue(client, line)
        snapshot = self._outbox.take_snapshot()
        if snapshot is None or (line := self._line(snapshot)) is None:
            return
        self._newest_line = line
        for client in list(self._clients.values()):
            if client.has_waiting:
                self.skipped_snapshot_count += 1
            else:
                client.hold(line)
                self._flush(client, skippable=True)

    def _line(self, message: Mapping[str, Any]) -> bytes | None:
        try:
            return encode(message)
        except LinkError as error:
            self._unsent = f"a message could not be sent: {error}"
            return None

    def _enqueue(self, client: OneClient, line: bytes) -> None:
        if client.hold(line):
            self._flush(client)
        else:
            self._drop(client)

    def _flush(self, client: OneClient, *, skippable: bool = False) -> None:
        try:
            self.skipped_snapshot_count += client.flush(skippable=skippable)
            writing = selectors.EVENT_WRITE if client.has_waiting else 0
            self._selector.modify(client.connection, selectors.EVENT_READ | writing)
        except OSError:
            self._drop(client, count=False)

    def _read(self, client: OneClient) -> None:
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

    def _command(self, client: OneClient, line: bytes) -> None:
        request: dict[str, str] = {}

        def reply(answer: Mapping[str, Any]) -> None:
            self._outbox.put(client, {**answer, **request})

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

    def _drop(self, client: OneClient, *, count: bool = True) -> None:
        descriptor = client.connection.fileno()
        if descriptor not in self._clients:
            return
        self.dropped_client_count += count  # before it is missed: whoever misses it looks here
        del self._clients[descriptor]
        self._selector.unregister(client.connection)
        client.close()
