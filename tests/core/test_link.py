"""The link's messages, and the page's client against a watcher that is played by a bare socket."""

from __future__ import annotations

import errno
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.link.client import RETRY_FIRST_S, LinkClient
from monitor.link.commands import (
    LONGEST_COMMAND_BYTES,
    MAX_COMMAND_BYTES,
    MAX_PLAN_BYTES,
    check_command,
    check_length,
)
from monitor.link.messages import MAX_LINE_BYTES, LineBuffer, LinkError, decode, encode
from tests.waiting import awaited

HELLO = {"class": "hello", "proto_major": 1, "proto_minor": 0, "release": "0", "boot_id": "b"}

JSON_VALUES = st.recursive(
    st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(codec="utf-8"), max_size=20),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(st.characters(codec="utf-8"), max_size=8), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(st.dictionaries(st.text(st.characters(codec="utf-8"), min_size=1), JSON_VALUES, max_size=5))
def test_what_is_encoded_is_decoded(content: dict[str, Any]) -> None:
    message = {**content, "class": "x"}
    line = encode(message)
    assert line.count(b"\n") == 1
    assert line.endswith(b"\n")
    assert decode(line) == message


@given(st.binary(max_size=200))
def test_any_bytes_are_a_message_or_a_link_error(line: bytes) -> None:
    try:
        message = decode(line)
    except LinkError:
        return
    assert isinstance(message["class"], str)


@given(
    st.lists(st.binary(min_size=1, max_size=30).filter(lambda b: b"\n" not in b and b.strip())),
    st.lists(st.integers(1, 7)),
)
def test_lines_survive_any_cutting(lines: list[bytes], sizes: list[int]) -> None:
    stream = b"".join(line + b"\n" for line in lines)
    buffer, found = LineBuffer(), []
    for size in sizes:
        found += buffer.push(stream[:size])
        stream = stream[size:]
    found += buffer.push(stream)
    assert found == lines


def test_a_line_without_end_is_refused() -> None:
    buffer = LineBuffer(100)
    buffer.push(b"x" * 60)
    with pytest.raises(LinkError, match="longer than 100 bytes"):
        buffer.push(b"x" * 60)


def test_unknown_things_are_absent_not_null() -> None:
    line = encode({"class": "x", "a": None, "b": {"c": None, "d": [{"e": None}]}})
    assert json.loads(line) == {"class": "x", "b": {"d": [{}]}}


@pytest.mark.parametrize(
    ("message", "expected"),
    [
        ({"a": 1}, "needs a 'class'"),
        ({"class": ""}, "needs a 'class'"),
        ({"class": "x", "v": float("nan")}, "cannot be written as JSON"),
        ({"class": "x", "v": float("inf")}, "cannot be written as JSON"),
        ({"class": "x", "v": object()}, "cannot be written as JSON"),
        ({"class": "x", "v": "\ud800"}, "cannot be written as JSON"),
        ({"class": "x", "v": "y" * MAX_LINE_BYTES}, "at most 65536 fit"),
    ],
)
def test_what_must_not_leave(message: dict[str, Any], expected: str) -> None:
    with pytest.raises(LinkError, match=expected):
        encode(message)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        (b"", "not JSON"),
        (b"[]", "an object expected, a list received"),
        (b"1", "an object expected, a int received"),
        (b"null", "an object expected, a NoneType received"),
        (b"{}", "a message without 'class'"),
        (b'{"class": 3}', "a message without 'class'"),
        (b'{"class": "x", "v": NaN}', "not JSON: NaN is not allowed"),
        (b'{"class": "x", "v": Infinity}', "not JSON: Infinity is not allowed"),
        (b'{"class": "x", "v": 1e999}', "not JSON: number 1e999 is too large"),
        (b'{"class": "x"', "not JSON"),
        (b'{"class": "\xff"}', "not JSON"),
        (b"[" * 20000, "not JSON"),
        (b'{"class": "x", "v": ' + b"9" * 5000 + b"}", "not JSON"),
        (b'{"class": "x", "v": "' + b"y" * MAX_LINE_BYTES + b'"}', "at most 65536 are allowed"),
    ],
    ids=lambda value: repr(value)[:30],
)
def test_what_must_not_come_in(line: bytes, expected: str) -> None:
    with pytest.raises(LinkError, match=expected):
        decode(line)


@pytest.mark.parametrize(
    ("command", "checked"),
    [
        ({"class": "way", "way": "set", "extra": 1}, {"class": "way", "way": "set"}),
        ({"class": "history"}, {"class": "history", "limit": 50}),
        ({"class": "history", "limit": 150}, {"class": "history", "limit": 150}),
        (
            {"class": "address", "url": "http://10.0.0.1:8080/", "request": "r1"},
            {"class": "address", "url": "http://10.0.0.1:8080/", "request": "r1"},
        ),
        ({"class": "stage", "fader_db": -3}, {"class": "stage", "fader_db": -3.0}),
        ({"class": "stage", "gain_db": 5}, {"class": "stage", "gain_db": 5.0}),
        (
            {"class": "soundcheck", "do": "measure"},
            {"class": "soundcheck", "do": "measure", "source": "line"},
        ),
        (
            {"class": "soundcheck", "do": "measure", "source": "box", "item": "x", "step": 3},
            {"class": "soundcheck", "do": "measure", "source": "box"},
        ),
        (
            {"class": "soundcheck", "do": "skip", "step": "low_cut"},
            {"class": "soundcheck", "do": "skip", "step": "low_cut"},
        ),
        (
            {"class": "soundcheck", "do": "tick", "item": "mains-forward"},
            {"class": "soundcheck", "do": "tick", "item": "mains-forward"},
        ),
        ({"class": "plan", "stage": {"a": [1]}}, {"class": "plan", "stage": {"a": [1]}}),
        ({"class": "plan_get", "stage": {}}, {"class": "plan_get"}),
        ({"class": "stage", "room": "Tin Chapel"}, {"class": "stage", "room": "Tin Chapel"}),
        ({"class": "stage", "placement": "behind"}, {"class": "stage", "placement": "behind"}),
        (
            {"class": "stage", "slider": 4, "cut_db": -6.5},
            {"class": "stage", "slider": 4, "cut_db": -6.5},
        ),
        (
            {"class": "stage", "slider": 1, "cut_db": -6, "centre_hz": 2480, "q": 4},
            {"class": "stage", "slider": 1, "cut_db": -6.0, "centre_hz": 2480.0, "q": 4.0},
        ),
        (
            {"class": "pull", "slider": 4, "cut_db": -6, "fader_db": 0},
            {"class": "pull", "slider": 4, "cut_db": -6.0},
        ),
        (
            {"class": "pull", "slider": 0, "cut_db": 0, "centre_hz": 2480, "q": 4},
            {"class": "pull", "slider": 0, "cut_db": 0.0, "centre_hz": 2480.0, "q": 4.0},
        ),
        ({"class": "ring_out", "do": "begin", "x": 1}, {"class": "ring_out", "do": "begin"}),
        (
            {"class": "ring_out", "do": "undo", "ring_out": "0123456789abcdef"},
            {"class": "ring_out", "do": "undo", "ring_out": "0123456789abcdef"},
        ),
        (
            {"class": "ring_out", "do": "fader", "fader_db": -3},
            {"class": "ring_out", "do": "fader", "fader_db": -3.0},
        ),
    ],
)
def test_commands_keep_only_what_is_known(command: dict[str, Any], checked: dict[str, Any]) -> None:
    assert check_command(command) == checked


@pytest.mark.parametrize(
    ("command", "expected"),
    [
        (
            {"class": "reboot"},
            "unknown command 'reboot'; known: address, clock, gig, ",
        ),
        ({"class": ["way"]}, "unknown command"),
        ({"class": "way"}, "'soundcheck' or 'set'"),
        ({"class": "way", "way": ["set"]}, "'soundcheck' or 'set'"),
        ({"class": "address", "url": "javascript:alert(1)"}, "must begin with http"),
        ({"class": "address", "url": "http://\n"}, "printable"),
        ({"class": "address", "url": "http://" + "x" * 200}, "1 to 200"),
        ({"class": "address", "url": "http://ä/"}, "ASCII"),
        ({"class": "address", "url": 1}, "printable"),
        ({"class": "history", "limit": 0}, "from 1 to 150"),
        ({"class": "history", "limit": 151}, "from 1 to 150"),
        ({"class": "history", "limit": 1.5}, "whole number"),
        ({"class": "history", "limit": True}, "must be a number"),
        ({"class": "history", "limit": "9"}, "must be a number"),
        ({"class": "stage"}, "needs fader_db, or gain_db, or slider and cut_db, or"),
        ({"class": "stage", "room": ""}, "room must be 1 to 80 printable characters"),
        ({"class": "stage", "room": 4}, "room must be 1 to 80 printable characters"),
        ({"class": "stage", "placement": "a\nb"}, "placement must be 1 to 80 printable"),
        ({"class": "stage", "room": "a", "fader_db": 0}, "not fader_db and room"),
        ({"class": "stage", "fader_db": 1e9}, "from -120 to 60"),
        ({"class": "stage", "fader_db": float("nan")}, "from -120 to 60"),
        ({"class": "stage", "slider": 1}, "cut_db must be a number"),
        ({"class": "stage", "slider": -1, "cut_db": 0}, "from 0 to 63"),
        ({"class": "pull"}, "slider must be a number from 0 to 63, not None"),
        ({"class": "pull", "slider": 1.5, "cut_db": 0}, "slider must be a whole number"),
        ({"class": "pull", "slider": 1, "cut_db": 3}, "cut_db must be from -60 to 0, not 3"),
        ({"class": "pull", "slider": 1, "cut_db": 0, "centre_hz": 1}, "centre_hz must be from 10"),
        ({"class": "pull", "slider": 1, "cut_db": 0, "q": None}, "q must be a number from 0.1"),
        ({"class": "ring_out"}, "do must be one of open, begin, .*, not None"),
        ({"class": "ring_out", "do": ["begin"]}, "do must be one of open"),
        ({"class": "ring_out", "do": "explode"}, "not 'explode'"),
        (
            {"class": "ring_out", "do": "undo", "ring_out": "latest"},
            "ring_out must be 16 small hexadecimal digits, not 'latest'",
        ),
        ({"class": "ring_out", "do": "fader"}, "fader_db must be a number from -120 to 60"),
        ({"class": "stage", "gain_db": "loud"}, "gain_db must be a number from -60 to 60"),
        ({"class": "stage", "gain_db": 3, "fader_db": 0}, "not fader_db and gain_db"),
        ({"class": "soundcheck"}, "do must be one of begin, measure, .*, not None"),
        ({"class": "soundcheck", "do": ["begin"]}, "do must be one of begin"),
        ({"class": "soundcheck", "do": "sing"}, "not 'sing'"),
        ({"class": "soundcheck", "do": "skip"}, "step must be one of place, level, low_cut, ring"),
        ({"class": "soundcheck", "do": "again", "step": "all"}, "step must be one of .* not 'all'"),
        ({"class": "soundcheck", "do": "measure", "source": 1}, "one of line, box, not 1"),
        ({"class": "soundcheck", "do": "measure", "source": None}, "one of line, box, not None"),
        ({"class": "soundcheck", "do": "tick"}, "item must be 1 to 40 small letters"),
        ({"class": "soundcheck", "do": "untick", "item": "../a"}, "name of an item of the"),
        ({"class": "soundcheck", "do": "tick", "item": "a" * 41}, "item must be 1 to 40"),
        ({"class": "plan"}, "stage must be an object, the stage plan, not None"),
        ({"class": "plan", "stage": [1]}, r"the stage plan, not \[1\]"),
        ({"class": "plan", "stage": {"a": float("nan")}}, "plan cannot be written as JSON"),
        ({"class": "plan", "stage": {"a": "\ud800"}}, "plan cannot be written as JSON"),
        ({"class": "plan", "stage": {"a": "x" * MAX_PLAN_BYTES}}, "at most 32768 are kept"),
        ({"class": "way", "way": "set", "request": "x" * 65}, "request must be"),
        ({"class": "way", "way": "set", "request": 7}, "request must be"),
    ],
)
def test_commands_that_are_refused(command: dict[str, Any], expected: str) -> None:
    with pytest.raises(LinkError, match=expected):
        check_command(command)


@pytest.mark.parametrize(
    "value", ["x" * 3000, int("9" * 3000), [0] * 3000], ids=["text", "figure", "list"]
)
@pytest.mark.parametrize(
    ("name", "key"),
    [
        *((None, "class"), ("way", "way"), ("history", "limit"), ("stage", "fader_db")),
        *(("pull", "slider"), ("ring_out", "do"), ("ring_out", "ring_out"), ("plan", "stage")),
        *(("soundcheck", "do"), ("gig", "do"), ("import", "upload"), ("clock", "utc_s")),
        *(("unpair", "phone"), ("record", "gig"), ("record", "offset")),
    ],
)
def test_a_refusal_is_one_line_for_a_phone_however_long_the_value(
    name: str | None, key: str, value: object
) -> None:
    # The longest of them names all that can be done or asked.
    with pytest.raises(LinkError, match=r"\A.{20,330}\Z"):
        check_command({"class": name, "gig": "0" * 16, key: value})


COMMAND_KEYS = (
    "class way url limit fader_db gain_db slider cut_db do q centre_hz step item source stage "
    "request"
).split()


@given(
    st.dictionaries(
        st.sampled_from(COMMAND_KEYS),
        JSON_VALUES
        | st.sampled_from(
            [
                *("way", "stage", "history", "address", "set", "pull", "ring_out", "fader"),
                *("soundcheck", "plan", "plan_get", "tick", "measure", "skip", "place", "line"),
            ]
        ),
    )
)
def test_any_object_is_a_command_or_a_link_error(message: dict[str, Any]) -> None:
    try:
        command = check_command(message)
    except LinkError:
        return
    assert encode(command)


def test_only_a_plan_may_be_long() -> None:
    full = {"class": "plan", "stage": {"a": "x" * (MAX_PLAN_BYTES - 8)}, "request": "ä" * 64}
    line = encode(check_command(full))
    assert MAX_PLAN_BYTES < len(line) < LONGEST_COMMAND_BYTES
    check_length(full, line)
    short = {"class": "way", "way": "set", "request": "r"}
    check_length(short, b"x" * MAX_COMMAND_BYTES)
    with pytest.raises(LinkError, match=r"'way' of 4097 bytes; at most 4096 are taken"):
        check_length(short, b"x" * (MAX_COMMAND_BYTES + 1))


# --- the client ------------------------------------------------------------------------------


class PlayedWatcher:
    """Accepts connections at ``path`` and lets ``play`` talk with each."""

    def __init__(self, path: Path, play: Callable[[socket.socket, int], None]) -> None:
        self._server = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._server.bind(str(path))
        self._server.listen(4)
        self._server.settimeout(20.0)
        self._play = play
        self.n_connections = 0
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while True:
            try:
                connection, _ = self._server.accept()
            except OSError:
                return
            self.n_connections += 1
            with connection:
                connection.settimeout(20.0)
                try:
                    self._play(connection, self.n_connections)
                except OSError:
                    pass  # the client hung up

    def close(self) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self._thread.join(timeout=5.0)


@pytest.fixture
def play(tmp_path: Path) -> Iterator[Callable[..., tuple[PlayedWatcher, Path]]]:
    opened: list[PlayedWatcher] = []

    def begin(script: Callable[[socket.socket, int], None]) -> tuple[PlayedWatcher, Path]:
        path = tmp_path / f"{len(opened)}.sock"
        opened.append(PlayedWatcher(path, script))
        return opened[-1], path

    yield begin
    for watcher in opened:
        watcher.close()


def hold(connection: socket.socket) -> None:
    while connection.recv(4096):
        pass


def test_client_keeps_the_newest_snapshot_and_every_event(play: Any) -> None:
    def script(connection: socket.socket, _: int) -> None:
        connection.sendall(encode(HELLO))
        connection.sendall(
            encode({"class": "snapshot", "seq": 1})
            + encode({"class": "ring", "event": "howl"})
            + encode({"class": "something", "new": True})
            + encode({"class": "snapshot", "seq": 2})
        )
        hold(connection)

    _, path = play(script)
    client = LinkClient(path, start=False)
    with client, client.subscribe() as events:
        began = time.monotonic()
        client.start()
        event = events.get(5.0)
        assert event is not None
        assert event["event"] == "howl"
        awaited(lambda: client.latest is not None and client.latest.snapshot["seq"] == 2)
        assert client.latest is not None
        assert began <= client.latest.received_mono_s <= time.monotonic()
        assert client.connected
        assert client.problem == ""
        assert events.get(0.01) is None
        received = client.wait_for_snapshot(0.0, 1.0)
        assert received == client.latest
        assert client.wait_for_snapshot(client.latest.received_mono_s, 0.01) is None


def test_client_comes_back_after_the_watcher(play: Any) -> None:
    def script(connection: socket.socket, number: int) -> None:
        connection.sendall(encode(HELLO) + encode({"class": "snapshot", "seq": number}))
        if number > 1:
            hold(connection)

    watcher, path = play(script)
    with LinkClient(path) as client:
        awaited(
            lambda: client.latest is not None and client.latest.snapshot["seq"] == 2, within_s=10.0
        )
        assert watcher.n_connections == 2


def test_client_waits_for_a_watcher_that_is_not_there_yet(tmp_path: Path, play: Any) -> None:
    with LinkClient(tmp_path / "0.sock") as client:
        awaited(lambda: "no watcher is running" in client.problem)
        with pytest.raises(LinkError, match="cannot be reached: no watcher is running"):
            client.request({"class": "way", "way": "set"})
        play(lambda connection, _: (connection.sendall(encode(HELLO)), hold(connection)))
        awaited(lambda: client.connected, within_s=10.0)


def test_the_first_wait_is_the_shortest_and_a_greeting_begins_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = LinkClient(tmp_path / "0.sock", start=False)
    greeted = [False, False, False, True, False]
    waited_s: list[float] = []

    def wait(wait_s: float) -> None:
        waited_s.append(wait_s)
        if not greeted:
            client._stopping.set()

    monkeypatch.setattr(client, "_connect_once", lambda _path: greeted.pop(0))
    monkeypatch.setattr(client._stopping, "wait", wait)
    client._run()
    first_s = RETRY_FIRST_S
    assert waited_s == [first_s, 2.0 * first_s, 4.0 * first_s, first_s, 2.0 * first_s]


def test_a_connection_that_fails_is_told_once_and_no_descriptors_end_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = LinkClient(tmp_path / "0.sock", start=False)
    told: list[str] = []
    monkeypatch.setattr(client, "_lost", told.append)
    assert not client._connect_once(client.socket_path)

    def full(*_: object) -> socket.socket:
        raise OSError(errno.EMFILE, "Too many open files")

    monkeypatch.setattr(socket, "socket", full)
    assert not client._connect_once(client.socket_path)
    monkeypatch.undo()
    there_is_none = f"no watcher is running (there is no {tmp_path / '0.sock'})"
    assert told == [there_is_none, "Too many open files"]


def test_client_says_when_a_file_is_stale(tmp_path: Path) -> None:
    path = tmp_path / "s"
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as server:
        server.bind(str(path))
    with LinkClient(path) as client:
        awaited(lambda: "nobody answers" in client.problem)


@pytest.mark.parametrize(
    ("greeting", "problem"),
    [
        (encode({**HELLO, "proto_major": 2}), "update both parts"),
        (encode({"class": "snapshot"}), "did not greet first"),
        (b"HTTP/1.1 400 Bad Request\r\n\r\n", "not JSON"),
        (b"x" * (MAX_LINE_BYTES + 10), "longer than"),
    ],
)
def test_client_takes_nothing_from_a_stranger(play: Any, greeting: bytes, problem: str) -> None:
    def script(connection: socket.socket, _: int) -> None:
        connection.sendall(greeting)
        hold(connection)

    _, path = play(script)
    with LinkClient(path) as client:
        awaited(lambda: problem in client.problem)
        assert client.latest is None
        assert not client.connected


def test_requests_get_their_own_answers(play: Any) -> None:
    def script(connection: socket.socket, _: int) -> None:
        connection.sendall(encode(HELLO))
        lines = LineBuffer()
        held: list[dict[str, Any]] = []
        while chunk := connection.recv(4096):
            held += [decode(line) for line in lines.push(chunk)]
            if len(held) == 2:  # answered in the wrong order
                for command in reversed(held):
                    answer = {"class": "done", "request": command["request"]}
                    connection.sendall(encode({**answer, "for": command["class"]}))

    _, path = play(script)
    with LinkClient(path) as client:
        awaited(lambda: client.connected)
        answers: dict[str, Any] = {}

        def ask(command: dict[str, Any]) -> None:
            answers[command["class"]] = client.request(command, 5.0)

        askers = [
            threading.Thread(target=ask, args=({"class": "way", "way": "set"},)),
            threading.Thread(target=ask, args=({"class": "history"},)),
        ]
        for asker in askers:
            asker.start()
        for asker in askers:
            asker.join()
        assert {name: answer["for"] for name, answer in answers.items()} == {
            "way": "way",
            "history": "history",
        }


def test_request_without_answer_ends_in_time(play: Any) -> None:
    _, path = play(lambda c, _: (c.sendall(encode(HELLO)), hold(c)))
    with LinkClient(path) as client:
        awaited(lambda: client.connected)
        with pytest.raises(LinkError, match=r"did not answer within 0\.1 s$"):
            client.request({"class": "history"}, 0.1)
        # It was sent, and is carried out whether or not anybody still waits for the answer.
        with pytest.raises(LinkError, match=r"within 0\.1 s; whether it was done is not known"):
            client.request({"class": "gig", "do": "song"}, 0.1)
        with pytest.raises(LinkError, match="'soundcheck' or 'set'"):
            client.request({"class": "way", "way": "loud"})


def test_request_ends_when_the_connection_breaks(play: Any) -> None:
    def script(connection: socket.socket, _: int) -> None:
        connection.sendall(encode(HELLO))
        connection.recv(4096)

    _, path = play(script)
    with LinkClient(path) as client:
        awaited(lambda: client.connected)
        with pytest.raises(LinkError, match="broke before it answered; whether it was done is not"):
            client.request({"class": "way", "way": "set"}, 5.0)


def test_a_slow_subscriber_loses_the_oldest(play: Any) -> None:
    def script(connection: socket.socket, _: int) -> None:
        connection.sendall(encode(HELLO))
        for number in range(10):
            connection.sendall(encode({"class": "ring", "id": number}))
        connection.sendall(encode({"class": "snapshot"}))
        hold(connection)

    _, path = play(script)
    client = LinkClient(path, start=False)
    with client, client.subscribe(limit=3) as events:
        client.start()
        awaited(lambda: client.latest is not None)
        got = [events.get(0.1) for _ in range(3)]
        assert [e and e["id"] for e in got] == [7, 8, 9]


def test_closing_twice_and_unstarted() -> None:
    client = LinkClient("/nonexistent/s", start=False)
    client.close()
    client.close()
    client.start()
    assert client.closed
