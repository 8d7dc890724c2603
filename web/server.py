"""The web server with its bounds: slow requests, slow readers, many connections, floods.

Waitress reads requests in one thread and answers them in others, so that a request that comes
slowly holds no thread.  It would hold its connection, though, and a reader that takes nothing
would hold what waits for it: what ends both is here, by a clock that nobody can set.
"""

from __future__ import annotations

import errno
import socket
import time
from collections.abc import Callable, Iterable
from typing import Any

from waitress import wasyncore
from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.server import TcpWSGIServer
from waitress.task import ThreadedTaskDispatcher, WSGITask

from web.crowd import Lines, Pace
from web.guard import HEADERS, MOST_BODY_BYTES
from web.live_routes import WAITING

REQUEST_S = 10.0
"""From a request's first byte to its last; a plan over a bad network takes two."""
IDLE_S = 30.0
"""A connection on which nothing is asked: browsers open another without a word."""
ANSWER_S = 60.0
"""From an answer's end to the last byte taken by the phone."""
LOOK_EVERY_S = 1.0
HEADER_BYTES = 16 * 1024
UNSENT_BYTES = 16 * 1024
"""What the kernel takes beyond what is on its way (TCP_NOTSENT_LOWAT, tcp(7)): without that, some
seconds of stale events would wait in it for a phone in a bad place."""
SILENT_MS = 15_000
"""A phone that acknowledges nothing for so long has gone (TCP_USER_TIMEOUT, RFC 5482); by itself
the kernel would try for a quarter of an hour."""
STUCK_S = 15.0
"""A request that waits for a thread while none takes one up for so long: all of them hang."""
MOST_WAITING_BYTES = 24 * 1024 * 1024
"""What may wait for all phones together, answers in full; beyond, new requests are put off."""
Environ = dict[str, Any]
StartResponse = Callable[..., Any]
Application = Callable[[Environ, StartResponse], Iterable[bytes]]

_BUSY = b'{"error":"too much is asked of this box; wait a moment"}'


class Task(WSGITask):
    """Answers a request, which may look at how much waits for its phone."""

    def get_environment(self) -> Environ:
        environ: Environ = super().get_environment()
        channel = self.channel
        environ[WAITING] = lambda: channel.total_outbufs_len
        return environ


class Channel(HTTPChannel):
    """A connection that is counted, and knows since when it is at what."""

    task_class = Task

    def __init__(self, server: Server, *args: Any, **kwargs: Any) -> None:
        self.since_mono_s = time.monotonic()
        self._at: tuple[object, ...] = ()
        super().__init__(server, *args, **kwargs)
        self.address = str(self.addr[0]) if self.addr else ""
        self.is_counted = server.lines.open(self.address)
        if not self.is_counted:
            self.will_close = True

    def del_channel(self, map: Any = None) -> None:
        """Called once when it closes."""
        super().del_channel(map)
        if getattr(self, "is_counted", False):
            self.is_counted = False
            self.server.lines.close(self.address)

    @property
    def doing(self) -> str:
        """What is going on: "answering", "sending", "reading" or "idle"."""
        if self.requests:
            return "answering"
        if self.total_outbufs_len:
            return "sending"
        return "idle" if self.request is None else "reading"

    def look(self, now_mono_s: float) -> None:
        """Close it if it has been too long at what it is at."""
        doing = self.doing
        # Another request, or any activity while idle, begins it anew; another byte does not.
        at = (doing, self.last_activity if doing == "idle" else self.request)
        if at != self._at:
            self._at, self.since_mono_s = at, now_mono_s
        longest_s = {"sending": ANSWER_S, "reading": REQUEST_S, "idle": IDLE_S}.get(doing)
        if longest_s is not None and now_mono_s - self.since_mono_s > longest_s:
            # At once: waitress's own way waits until the phone takes something.
            self.handle_close()


class Server(TcpWSGIServer):
    """Waitress's server, which counts its connections and looks after them."""

    channel_class = Channel

    def __init__(self, *args: Any, lines: Lines, **kwargs: Any) -> None:
        self.lines = lines
        super().__init__(*args, **kwargs)

    def readable(self) -> bool:
        """Whether to wait for connections: always, and those that are too many are refused."""
        return bool(self.accepting)

    def look(self, now_mono_s: float) -> None:
        """Close what is too slow, and if there are too many, what has been idle longest."""
        channels = list(self.active_channels.values())
        for channel in channels:
            channel.look(now_mono_s)
        over = self.lines.count - self.lines.most
        if over > 0:
            idle = [c for c in channels if c.connected and c.doing in ("idle", "reading")]
            idle.sort(key=lambda channel: channel.since_mono_s)
            for channel in idle[:over]:
                channel.handle_close()

    def handle_accept(self) -> None:
        """Take a connection; when that makes too many, look after them."""
        super().handle_accept()
        if self.lines.count > self.lines.most:
            self.look(time.monotonic())

    @property
    def waiting_bytes(self) -> int:
        """What waits for all phones together."""
        return sum(channel.total_outbufs_len for channel in list(self.active_channels.values()))


def _adjustments(host: str, port: int, threads: int) -> Adjustments:
    """Waitress's settings.

    Raises
    ------
    OSError
        If the host has no address.
    """
    try:
        found = Adjustments(
            host=host,
            port=port,
            threads=threads,
            ident="howl-lantern",
            max_request_body_size=MOST_BODY_BYTES,
            max_request_header_size=HEADER_BYTES,
            outbuf_overflow=MOST_WAITING_BYTES,  # never a file: the memory card wears out
        )
    except ValueError as error:
        if "Invalid host" not in str(error):
            raise
        raise OSError(
            errno.EADDRNOTAVAIL, "no such host; 0.0.0.0 answers on every network"
        ) from error
    found.socket_options = [
        (socket.IPPROTO_TCP, socket.TCP_NODELAY, 1),
        (socket.IPPROTO_TCP, socket.TCP_NOTSENT_LOWAT, UNSENT_BYTES),
        (socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, SILENT_MS),
    ]
    return found


class Progress:
    """Whether requests are taken up, by what is counted once a second."""

    def __init__(self, now_mono_s: float) -> None:
        self._begun_count = 0
        self._moved_mono_s = now_mono_s

    def look(self, begun_count: int, waiting_count: int, now_mono_s: float) -> bool:
        """Return whether they are, given how many were begun ever and how many wait."""
        if begun_count != self._begun_count or not waiting_count:
            self._begun_count, self._moved_mono_s = begun_count, now_mono_s
        return now_mono_s - self._moved_mono_s < STUCK_S


class Served:
    """An application that is served at one or several addresses, until it is closed.

    Parameters
    ----------
    app : WSGI application
    host, port : str, int
        Where to listen; port 0 takes a free one.
    threads : int
        How many requests, streams among them, are answered at once.

    Raises
    ------
    OSError
        If it cannot listen there, or the host has no address.
    """

    def __init__(self, app: Application, *, host: str, port: int, threads: int) -> None:
        self.pace = Pace()
        self.lines = Lines()
        self._app = app
        self._map: dict[int, Any] = {}
        self._closing = False
        self._begun_count = 0
        adjustments = _adjustments(host, port, threads)
        self._dispatcher = ThreadedTaskDispatcher()
        self.servers = [
            Server(
                self._bounded,
                self._map,
                dispatcher=self._dispatcher,
                adj=adjustments,
                sockinfo=sockinfo,
                lines=self.lines,
            )
            for sockinfo in adjustments.listen
        ]
        self._dispatcher.set_thread_count(threads)

    @property
    def port(self) -> int:
        """The port that is listened on."""
        return int(self.servers[0].effective_port)

    def _bounded(self, environ: Environ, start_response: StartResponse) -> Iterable[bytes]:
        """The application behind what one address, and all together, may ask."""
        self._begun_count += 1  # one lost between two threads does no harm
        waiting_bytes = sum(server.waiting_bytes for server in self.servers)
        is_paced = self.pace.take(environ.get("REMOTE_ADDR", ""), time.monotonic())
        if is_paced and waiting_bytes < MOST_WAITING_BYTES:
            return self._app(environ, start_response)
        status = "503 Service Unavailable" if is_paced else "429 Too Many Requests"
        headers = [
            *HEADERS.items(),
            ("Content-Type", "application/json"),
            ("Content-Length", str(len(_BUSY))),
            ("Retry-After", "2"),
            ("Cache-Control", "no-store"),
        ]
        start_response(status, headers)
        return [_BUSY]

    def run(self, works: Callable[[], object] = lambda: None) -> None:
        """Serve until ``close`` is called, or an exception such as SystemExit comes.

        ``works`` is called about once a second, as long as requests are taken up.
        """
        next_look_mono_s = 0.0
        progress = Progress(time.monotonic())
        while self._map and not self._closing:
            wasyncore.loop(timeout=LOOK_EVERY_S, use_poll=True, map=self._map, count=1)
            now_mono_s = time.monotonic()
            if now_mono_s >= next_look_mono_s:
                next_look_mono_s = now_mono_s + LOOK_EVERY_S
                for server in self.servers:
                    server.look(now_mono_s)
                if progress.look(self._begun_count, len(self._dispatcher.queue), now_mono_s):
                    works()

    def close(self) -> None:
        """Stop serving; to be called when ``run`` has returned, or in its thread."""
        self._closing = True
        self._dispatcher.shutdown(cancel_pending=True, timeout=5)
        wasyncore.close_all(self._map, ignore_all=True)

    def stop(self) -> None:
        """Have ``run`` return soon; from any thread."""
        self._closing = True
