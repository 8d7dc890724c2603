"""What bounds the web server: slow requests, slow readers, many connections, floods.

Real sockets from several addresses of the loopback network, 127.0.0.0/8 (RFC 5735).
"""

from __future__ import annotations

import http.client
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from tests.waiting import awaited
from tests.web.screenshots import StillClient
from tests.web.states import STATES
from web import server as bounds
from web.app import create_app
from web.crowd import Lines, Pace
from web.server import Served

BIG = b"x" * 8_000_000
"""More than the kernel takes for a reader that takes nothing."""


@contextmanager
def serving(app: Any, threads: int = 4) -> Iterator[Served]:
    served = Served(app, host="127.0.0.1", port=0, threads=threads)
    thread = threading.Thread(target=served.run, daemon=True)
    thread.start()
    try:
        yield served
    finally:
        served.stop()
        thread.join(20.0)
        served.close()


def hello(environ: dict[str, Any], start_response: Callable[..., Any]) -> list[bytes]:
    body = BIG if environ["PATH_INFO"] == "/big" else b"hello"
    start_response("200 OK", [("Content-Length", str(len(body)))])
    return [body]


OPEN: list[socket.socket] = []


@pytest.fixture(autouse=True)
def _hang_up() -> Iterator[None]:
    yield
    while OPEN:
        OPEN.pop().close()


def connect(served: Served, source: str = "127.0.0.2") -> socket.socket:
    connection = socket.socket()
    OPEN.append(connection)
    connection.settimeout(20.0)
    connection.bind((source, 0))
    connection.connect(("127.0.0.1", served.port))
    return connection


def ask(served: Served, path: str = "/", source: str = "127.0.0.9", **kwargs: Any) -> Any:
    connection = http.client.HTTPConnection(
        "127.0.0.1", served.port, timeout=20.0, source_address=(source, 0)
    )
    try:
        connection.request(kwargs.pop("method", "GET"), path, **kwargs)
        answer = connection.getresponse()
        answer.body = answer.read()  # type: ignore[attr-defined]
        return answer
    finally:
        connection.close()


def answered(connection: socket.socket) -> bool:
    """Read one answer whole."""
    text = b""
    while not text.endswith(b"hello"):
        piece = connection.recv(1000)
        if not piece:
            return False
        text += piece
    return text.startswith(b"HTTP/1.1 200 OK")


def is_closed(connection: socket.socket) -> bool:
    """Whether the other end hangs up within the socket's time, without a word."""
    try:
        return connection.recv(1000) == b""
    except ConnectionResetError:
        return True
    except TimeoutError:
        return False


def test_a_request_that_trickles_is_ended_and_holds_nobody_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(bounds, "REQUEST_S", 1.0)
    with serving(hello, threads=1) as served:
        slow = [connect(served) for _ in range(8)]
        for connection in slow:
            connection.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: ")
        assert ask(served).body == b"hello"
        began_s = time.monotonic()
        ended = threading.Event()

        def trickle() -> None:  # a byte now and then must buy no time
            while not ended.wait(0.2):
                for connection in slow:
                    try:
                        connection.sendall(b"a")
                    except OSError:
                        return

        thread = threading.Thread(target=trickle)
        thread.start()
        try:
            assert all(is_closed(connection) for connection in slow)
        finally:
            ended.set()
            thread.join(20.0)
        assert time.monotonic() - began_s < 15.0


def test_a_body_that_trickles_is_ended_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bounds, "REQUEST_S", 1.0)
    with serving(hello) as served:
        slow = connect(served)
        slow.sendall(b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 900\r\n\r\n{")
        assert is_closed(slow)


def test_an_idle_connection_is_ended_and_one_in_use_is_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(bounds, "IDLE_S", 4.0)
    with serving(hello) as served:
        silent = connect(served)
        used = connect(served)
        silent.settimeout(0.3)

        def ended_while_the_other_is_used() -> bool:
            used.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
            assert answered(used)
            return is_closed(silent)

        awaited(ended_while_the_other_is_used, 40.0)
        used.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert answered(used)


def test_an_answer_that_is_not_taken_is_thrown_away(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bounds, "ANSWER_S", 4.0)  # so long it can be seen
    with serving(hello) as served:
        lazy = connect(served)
        lazy.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        lazy.sendall(b"GET /big HTTP/1.1\r\nHost: localhost\r\n\r\n")
        awaited(lambda: sum(s.waiting_bytes for s in served.servers) > 1_000_000, 20.0)
        awaited(lambda: sum(s.waiting_bytes for s in served.servers) == 0, 20.0)
        awaited(lambda: served.lines.count == 0)  # thrown away first, then hung up on


def test_too_much_waiting_puts_new_requests_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bounds, "MOST_WAITING_BYTES", 1_000_000)
    with serving(hello) as served:
        lazy = connect(served)
        lazy.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        lazy.sendall(b"GET /big HTTP/1.1\r\nHost: localhost\r\n\r\n")
        awaited(lambda: sum(s.waiting_bytes for s in served.servers) > 1_000_000, 20.0)
        answer = ask(served)
        assert (answer.status, answer.headers["Retry-After"]) == (503, "2")
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        lazy.close()
        awaited(lambda: ask(served).status == 200, 20.0, forgive=(AssertionError,))


def test_one_address_gets_its_share_of_connections_and_others_theirs() -> None:
    with serving(hello) as served:
        held = [connect(served) for _ in range(bounds.Lines()._per_address)]
        awaited(lambda: served.lines.count == len(held), 20.0)
        assert is_closed(connect(served))
        assert served.lines.count == len(held)
        assert ask(served, source="127.0.0.3").status == 200
        held.pop().close()
        awaited(lambda: ask(served, source="127.0.0.2").status == 200, 20.0, forgive=(OSError,))
        for connection in held:
            connection.close()
        awaited(lambda: served.lines.count == 0, 20.0)


def test_in_a_crowd_who_is_idle_longest_makes_room() -> None:
    with serving(hello) as served:
        served.lines.most = 6
        held = [connect(served, f"127.0.1.{i}") for i in range(1, 7)]
        awaited(lambda: served.lines.count == 6, 20.0)
        time.sleep(1.2)
        for i in range(3):
            assert ask(served, source=f"127.0.2.{i + 1}").status == 200
        assert sum(is_gone(connection) for connection in held) in (1, 2, 3)


def test_a_flood_of_one_address_is_slowed_and_others_are_served() -> None:
    with serving(hello) as served:
        served.pace = Pace(per_s=0.01, burst_count=10)  # however slowly it is asked
        statuses = [ask(served, source="127.0.0.2").status for _ in range(20)]
        assert statuses == [200] * 10 + [429] * 10
        answer = ask(served, source="127.0.0.2")
        assert int(answer.headers["Retry-After"]) > 0
        assert ask(served, source="127.0.0.3").status == 200


@pytest.mark.parametrize(
    ("headers", "body", "status"),
    [
        ({"X-Long": "x" * 20_000}, b"", 431),
        ({"Content-Type": "application/json"}, b"x" * 120_000, 413),
        ({"Transfer-Encoding": "chunked"}, b"zz\r\n", 400),
        ({"Content-Length": "-1"}, b"", 400),
    ],
)
def test_what_is_too_long_or_no_http_is_refused(
    headers: dict[str, str], body: bytes, status: int
) -> None:
    with serving(hello) as served:
        connection = connect(served)
        if "Content-Length" not in headers and "Transfer-Encoding" not in headers:
            headers = {**headers, "Content-Length": str(len(body))}
        lines = "".join(f"{key}: {value}\r\n" for key, value in headers.items())
        try:
            connection.sendall(b"POST / HTTP/1.1\r\nHost: localhost\r\n" + lines.encode() + b"\r\n")
            connection.sendall(body)
        except OSError:
            pass  # refused before it was all sent
        assert f" {status} ".encode() in connection.recv(1000)


def test_a_live_page_that_takes_nothing_loses_its_place(monkeypatch: pytest.MonkeyPatch) -> None:
    from web import streams

    monkeypatch.setattr(streams, "STUCK_S", 4.0)  # so long its place is seen to be taken
    monkeypatch.setattr(streams, "BACKLOG_BYTES", 1000)
    client = StillClient()
    stop = threading.Event()

    def news() -> None:
        number = 0
        while not stop.wait(0.01):
            number += 1
            client.hold({**STATES["demo"], "seq": number, "pad": "x" * 50_000 + str(number)})

    feeder = threading.Thread(target=news)
    feeder.start()
    try:
        with serving(create_app(client, max_streams=1)) as served:
            lazy = connect(served)
            lazy.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            lazy.sendall(b"GET /api/v1/stream HTTP/1.1\r\nHost: localhost\r\n\r\n")
            awaited(
                lambda: ask(served, "/api/v1/stream", method="HEAD").status == 503,
                20.0,
                forgive=(AssertionError,),
            )
            awaited(
                lambda: b"streams_stuck_total 1" in ask(served, "/metrics").body,
                20.0,
                forgive=(AssertionError,),
            )
            awaited(
                lambda: b"page_streams_open 0" in ask(served, "/metrics").body,
                20.0,
                forgive=(AssertionError,),
            )
            client.close()
    finally:
        stop.set()
        feeder.join(20.0)
        client.close()


def test_what_the_crowd_is_counted_by() -> None:
    pace = Pace(per_s=2.0, burst_count=3)
    assert [pace.take("a", 100.0) for _ in range(4)] == [True, True, True, False]
    assert pace.take("b", 100.0)
    assert pace.take("a", 100.5)
    assert not pace.take("a", 100.5)
    for i in range(2000):
        pace.take(f"c{i}", 101.0)
    assert len(pace._left) <= 512
    lines = Lines(most=9, per_address=2)
    assert [lines.open("a") for _ in range(3)] == [True, True, False]
    lines.close("a")
    assert lines.open("a")
    assert lines.count == 2


def is_gone(connection: socket.socket) -> bool:
    connection.settimeout(0.1)
    return is_closed(connection)


def test_whoever_watches_is_told_while_requests_are_taken_up() -> None:
    progress = bounds.Progress(0.0)
    assert progress.look(begun_count=0, waiting_count=0, now_mono_s=100.0)  # nothing is asked
    # Taken up as they come, however many wait.
    assert progress.look(begun_count=7, waiting_count=40, now_mono_s=101.0)
    assert progress.look(begun_count=8, waiting_count=40, now_mono_s=114.0)
    # Then none any more, and some wait: every thread hangs.
    assert progress.look(begun_count=8, waiting_count=1, now_mono_s=114.0 + bounds.STUCK_S - 0.1)
    assert not progress.look(begun_count=8, waiting_count=1, now_mono_s=114.0 + bounds.STUCK_S)
    assert progress.look(begun_count=9, waiting_count=1, now_mono_s=140.0)


def silent_for(told: threading.Event, seconds: float) -> bool:
    """Whether nothing is told for so long from now."""
    told.clear()
    return not told.wait(seconds)


def test_a_page_whose_threads_all_hang_says_nothing_more(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bounds, "STUCK_S", 1.0)
    let_go, told = threading.Event(), threading.Event()

    def hanging(_environ: Any, start_response: Any) -> list[bytes]:
        let_go.wait(60.0)
        start_response("200 OK", [("Content-Length", "0")])
        return []

    served = Served(hanging, host="127.0.0.1", port=0, threads=2)
    thread = threading.Thread(target=served.run, args=(told.set,), daemon=True)
    thread.start()
    waiting = []
    try:
        assert told.wait(10.0)
        for _ in range(3):  # one more than there are threads
            asker = socket.create_connection(("127.0.0.1", served.port))
            asker.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            waiting.append(asker)
        assert any(silent_for(told, 3.0) for _ in range(10))
        let_go.set()
        told.clear()
        assert told.wait(10.0)
    finally:
        let_go.set()
        for asker in waiting:
            asker.close()
        served.stop()
        thread.join(20.0)
        served.close()
