"""A relay between browser and page server that can be frozen: a Wi-Fi that goes without a word."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType

CHUNK_BYTES = 65536


class Relay:
    """Passes bytes between a port of its own and the server's; ``freeze`` holds everything back."""

    def __init__(self, server_port: int) -> None:
        self._server_port = server_port
        self._moving = threading.Event()
        self._moving.set()
        self._closed = False
        self._lock = threading.Lock()
        self._open: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        threading.Thread(target=self._accept, daemon=True).start()

    def freeze(self) -> None:
        """From now on nothing passes, and nobody is told."""
        self._moving.clear()

    def thaw(self) -> None:
        """Connections of before stay dead, as after a change of address; new ones pass."""
        with self._lock:
            dead, self._open = self._open, []
        self._dead = dead  # kept open, silent
        self._moving.set()

    def cut(self) -> None:
        """End all connections now; new ones pass."""
        with self._lock:
            ended, self._open = self._open, []
        for one in ended:
            _end(one)

    def close(self) -> None:
        self._closed = True
        self._moving.set()
        _end(self._listener)
        self.cut()
        for one in getattr(self, "_dead", []):
            _end(one)

    def __enter__(self) -> Relay:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType
    ) -> None:
        self.close()

    def _accept(self) -> None:
        while not self._closed:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._join, args=(near,), daemon=True).start()

    def _join(self, near: socket.socket) -> None:
        self._moving.wait()
        try:
            far = socket.create_connection(("127.0.0.1", self._server_port))
        except OSError:
            _end(near)
            return
        with self._lock:
            self._open += [near, far]
        for source, target in ((near, far), (far, near)):
            threading.Thread(target=self._pass, args=(source, target), daemon=True).start()

    def _pass(self, source: socket.socket, target: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while chunk := source.recv(CHUNK_BYTES):
                self._moving.wait()
                with self._lock:
                    if source not in self._open:
                        return
                target.sendall(chunk)
        _end(source)
        _end(target)


def _end(one: socket.socket) -> None:
    with contextlib.suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()


@contextmanager
def relayed(url: str) -> Iterator[tuple[Relay, str]]:
    """A relay in front of a page's server, and the address that goes through it."""
    with Relay(int(url.rsplit(":", 1)[1].rstrip("/"))) as relay:
        yield relay, f"http://127.0.0.1:{relay.port}/"
