"""The same as an attacker with a bare socket sees it: the box's own server around the page."""

from __future__ import annotations

import itertools
import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from tests.access.house import CODE, House
from tests.waiting import awaited
from web import server
from web.crowd import PER_ADDRESS
from web.doors import COOKIE
from web.server import Served


@contextmanager
def served(house: House) -> Iterator[int]:
    """The box's own server around the application; yields its port."""
    one = Served(house.app, host="127.0.0.1", port=0, threads=4)
    thread = threading.Thread(target=one.run, daemon=True)
    thread.start()
    try:
        yield one.port
    finally:
        house.link.close()
        one.stop()
        thread.join(timeout=15)
        one.close()


def answered(port: int, request: bytes, *, address: str = "127.0.0.1") -> bytes:
    """Send raw bytes from an address of this machine; return all that comes."""
    with socket.create_connection(
        ("127.0.0.1", port), timeout=20.0, source_address=(address, 0)
    ) as connection:
        connection.sendall(request)
        text = b""
        try:
            while chunk := connection.recv(65536):
                text += chunk
        except ConnectionResetError:
            pass  # closed with bytes unread
    return text


def request_text(path: str, *headers: str, method: str = "GET", body: str = "") -> bytes:
    lines = [f"{method} {path} HTTP/1.1", "Host: localhost", "Connection: close", *headers]
    if body:
        lines += [f"Content-Length: {len(body)}", "Content-Type: application/json"]
    return ("\r\n".join([*lines, "", ""]) + body).encode()


def status_of(answer: bytes) -> int:
    return int(answer.split(b" ", 2)[1]) if answer.startswith(b"HTTP/") else 0


PATHS = (
    "/static/../app.py",
    "/static/%2e%2e/app.py",
    "/static/..%2fapp.py",
    "/static/%2e%2e%5capp.py",
    "/static/....//app.py",
    "/static//etc/passwd",
    "/static/main.js%00.css",
    "//etc/passwd",
    "/../../../../etc/passwd",
    "/api/v1/gigs/..%2f..%2fnow/record.json",
    "/api/v1/gigs/%2e%2e/record.json",
    "http://evil.example/../etc/passwd",
)


def test_no_path_leads_out_of_the_house(house: House) -> None:
    with served(house) as port:
        answers = {path: answered(port, request_text(path)) for path in PATHS}
    for path, answer in answers.items():
        assert status_of(answer) in (308, 400, 404, 421), path
        assert b"create_app" not in answer
        assert b"root:" not in answer


def test_a_proxy_s_header_is_not_believed_by_the_server(house: House) -> None:
    body = "{}"
    lies = ("X-Forwarded-For: 192.168.4.7", "X-Forwarded-Host: evil.example", "Forwarded: for=1")
    with served(house) as port:
        answer = answered(port, request_text("/api/v1/pair/ask", *lies, method="POST", body=body))
    assert status_of(answer) == 200
    assert house.link.asked == [{"class": "pair_ask", "from": "127.0.0.1"}]


def test_oversized_requests_are_refused_before_they_are_read(house: House) -> None:
    with served(house) as port:
        long = json.dumps({"code": CODE, "name": "x" * 2000})
        assert (
            status_of(answered(port, request_text("/api/v1/pair", method="POST", body=long))) == 413
        )
        promised = request_text("/api/v1/pair", "Content-Length: 99999999999", method="POST")
        assert status_of(answered(port, promised)) == 413
        many = request_text("/", *(f"X-{n}: {'y' * 100}" for n in range(1000)))
        assert status_of(answered(port, many)) in (0, 400, 431)
        chunk = b"%x\r\n%s\r\n" % (60000, b" " * 60000)
        chunked = request_text(
            "/api/v1/pair",
            "Transfer-Encoding: chunked",
            "Content-Type: application/json",
            method="POST",
        )
        assert status_of(answered(port, chunked + chunk * 5 + b"0\r\n\r\n")) in (0, 413)
    assert house.link.asked == []


CROOKED = (
    ("Content-Length: 2", "Content-Length: 30"),
    ("Content-Length: 2", "Transfer-Encoding: chunked"),
    ("Content-Length: -2",),
    ("Content-Length: 0x2",),
    ("Transfer-Encoding: xchunked",),
)


def test_one_request_cannot_hide_another(house: House) -> None:
    musician = house.paired()
    hidden = request_text(
        "/api/v1/way", f"Cookie: {COOKIE}={musician.key()}", method="POST", body='{"way":"set"}'
    )
    with served(house) as port:
        for crooked in CROOKED:
            before = len(house.link.changes)
            outer = request_text("/api/v1/pair/ask", *crooked, method="POST")
            outer = outer.replace(b"Connection: close\r\n", b"")
            answer = answered(port, outer + b"{}" + hidden)
            # Either the whole is refused, or the second is what it says it is: a request of its
            # own, with a key, on the same connection. Nothing is ever done twice.
            assert len(house.link.changes) - before <= 1, crooked
            assert answer.count(b"HTTP/1.1 200") <= 1, crooked


def test_header_lines_cannot_be_smuggled_into_an_answer(house: House) -> None:
    with served(house) as port:
        for path in ("/nothing%0d%0aSet-Cookie:%20a=b", "/static/x%0d%0aX-Evil:%201"):
            answer = answered(port, request_text(path))
            head = answer.partition(b"\r\n\r\n")[0].lower()
            assert b"\r\nset-cookie" not in head
            assert b"\r\nx-evil" not in head


def test_slow_requests_are_ended_and_hold_nobody_up(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The box's limit is REQUEST_S; here shorter, so that the test need not wait for it.
    monkeypatch.setattr(server, "REQUEST_S", 2.0)
    with served(house) as port:
        slow = [
            socket.create_connection(("127.0.0.1", port), timeout=20.0, source_address=(who, 0))
            for who in (f"127.0.0.{2 + n % 9}" for n in range(90))
        ]
        ended, began = set(), time.monotonic()
        for letter in itertools.cycle("GET / HTTP/1.1"):
            for connection in slow:
                if connection in ended:
                    continue
                try:
                    connection.sendall(letter.encode())
                    connection.settimeout(0.001)
                    if connection.recv(100) == b"":
                        ended.add(connection)
                except TimeoutError:
                    pass
                except OSError:
                    ended.add(connection)
            if not ended:  # while all of them drip
                assert status_of(answered(port, request_text("/api/v1/now"))) == 200
            if len(ended) == len(slow) or time.monotonic() - began > 40.0:
                break
            time.sleep(0.2)
        for connection in slow:
            connection.close()
    assert len(ended) == len(slow), "a request of a letter now and then was never ended"


def is_cut_off(connection: socket.socket) -> bool:
    """Whether the server has closed a connection on which nothing was asked; waits a while."""
    connection.settimeout(0.05)
    try:
        return connection.recv(1) == b""
    except TimeoutError:
        return False
    except OSError:
        return True


def test_one_address_cannot_take_every_connection(house: House) -> None:
    with served(house) as port:
        held = []
        try:
            for _ in range(PER_ADDRESS + 40):
                held.append(socket.create_connection(("127.0.0.1", port), timeout=20.0))
            # They are taken in order, so that the last is closed only when all were looked at.
            awaited(lambda: is_cut_off(held[-1]), 20.0)
            assert [is_cut_off(each) for each in held] == [False] * PER_ADDRESS + [True] * 40
            other = answered(port, request_text("/api/v1/now"), address="127.0.0.9")
            assert status_of(other) == 200
        finally:
            for connection in held:
                connection.close()
