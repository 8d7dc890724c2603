"""The watcher's end of the link: fan-out that never waits, and the socket's file."""

from __future__ import annotations

import errno
import select
import selectors
import shutil
import socket
import stat
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from monitor.link import outbox
from monitor.link import server as link_server
from monitor.link.client import LinkClient
from monitor.link.endpoint import LinkServerError
from monitor.link.messages import LineBuffer, decode, encode
from monitor.link.reception import Reception
from monitor.link.server import LinkServer, Reply
from tests.waiting import awaited


def handle(command: Mapping[str, Any], reply: Reply) -> None:
    if command["class"] == "stage":
        raise ValueError("there is no stage")
    if command["class"] == "address":
        raise RuntimeError("a bug")
    reply({"class": "done"})


@pytest.fixture
def server(tmp_path: Path) -> Iterator[LinkServer]:
    server = LinkServer(tmp_path / "link.sock", hello={"box": "lantern"}, handle=handle)
    yield server
    server.close()


def connect(path: Path) -> socket.socket:
    connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    connection.settimeout(10.0)
    connection.connect(str(path))
    return connection


def read_lines(connection: socket.socket, n_lines: int) -> list[dict[str, Any]]:
    buffer, lines = LineBuffer(), []
    while len(lines) < n_lines:
        chunk = connection.recv(65536)
        assert chunk, f"hung up after {len(lines)} of {n_lines} lines"
        lines += [decode(line) for line in buffer.push(chunk)]
    return lines


def test_greets_first_and_gives_the_newest_snapshot(server: LinkServer, tmp_path: Path) -> None:
    server.publish_snapshot({"class": "snapshot", "seq": 1})
    awaited(lambda: server._newest_line is not None)
    with connect(tmp_path / "link.sock") as connection:
        hello, snapshot = read_lines(connection, 2)
    assert hello["class"] == "hello"
    assert (hello["proto_major"], hello["box"]) == (1, "lantern")
    assert snapshot == {"class": "snapshot", "seq": 1}


def test_only_owner_and_group_may_connect(server: LinkServer, tmp_path: Path) -> None:
    assert stat.S_IMODE((tmp_path / "link.sock").stat().st_mode) == 0o660


def test_events_come_in_order_to_everybody(server: LinkServer, tmp_path: Path) -> None:
    connections = [connect(tmp_path / "link.sock") for _ in range(3)]
    awaited(lambda: server.client_count == 3)
    for number in range(50):
        server.publish_event({"class": "ring", "id": number})
    for connection in connections:
        with connection:
            assert [m["id"] for m in read_lines(connection, 51)[1:]] == list(range(50))


def test_commands_are_checked_and_answered(server: LinkServer, tmp_path: Path) -> None:
    with connect(tmp_path / "link.sock") as connection:
        connection.sendall(
            b'{"class":"way","way":"set","request":"a"}\nnonsense\n{"class":"way","request":"b"}\n'
            b'{"class":"stage","fader_db":1,"request":"c"}\n'
            b'{"class":"address","url":"http://x/","request":"d"}\n'
        )
        answers = read_lines(connection, 6)[1:]
    assert answers[0] == {"class": "done", "request": "a"}
    assert "not JSON" in answers[1]["message"]
    assert answers[2]["request"] == "b"
    assert "'soundcheck' or 'set'" in answers[2]["message"]
    assert answers[3] == {"class": "error", "message": "there is no stage", "request": "c"}
    assert "a bug" in answers[4]["message"]


def test_a_client_that_does_not_read_delays_nobody(
    server: LinkServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(link_server, "STUCK_S", 1.0)
    asleep, awake = (connect(tmp_path / "link.sock") for _ in range(2))
    with asleep, awake:
        awaited(lambda: server.client_count == 2)
        snapshot = {"class": "snapshot", "filler": "x" * 20000}
        took_s: list[float] = []
        buffer, n_read = LineBuffer(), 0
        until = time.monotonic() + 30.0
        while server.client_count > 1 or n_read <= 20:
            assert time.monotonic() < until, f"{n_read} read, {server.client_count} clients"
            began = time.monotonic()
            server.publish_snapshot({**snapshot, "seq": len(took_s)})
            took_s.append(time.monotonic() - began)
            n_read += len(buffer.push(awake.recv(65536)))
        # Publishing hands over and returns; a blocking send would take until the sleeper wakes.
        assert statistics.median(took_s) < 0.01
        assert max(took_s) < 0.2
        assert server.skipped_snapshot_count > 0
        assert server.dropped_client_count == 1


def test_a_client_whose_events_pile_up_is_dropped(server: LinkServer, tmp_path: Path) -> None:
    with connect(tmp_path / "link.sock"):
        awaited(lambda: server.client_count == 1)
        for number in range(600):
            server.publish_event({"class": "ring", "id": number, "filler": "x" * 2000})
        awaited(lambda: server.client_count == 0)
        assert server.dropped_client_count == 1


def test_an_endless_command_is_cut_off(server: LinkServer, tmp_path: Path) -> None:
    with connect(tmp_path / "link.sock") as connection:
        read_lines(connection, 1)
        connection.sendall(b"x" * 60000)
        awaited(lambda: server.dropped_client_count == 1)
        # Unread bytes turn the hanging up into a reset.
        with pytest.raises(ConnectionResetError, match="reset by peer"):
            connection.recv(100)


def test_too_many_clients_are_told(tmp_path: Path) -> None:
    server = LinkServer(tmp_path / "s", hello={}, handle=handle, max_clients=1)
    try:
        with connect(tmp_path / "s") as first:
            read_lines(first, 1)
            with connect(tmp_path / "s") as second:
                _, error = read_lines(second, 2)
                assert "too many clients" in error["message"]
            server.publish_event({"class": "ring"})
            assert read_lines(first, 1)[0]["class"] == "ring"
    finally:
        server.close()


def test_a_message_that_cannot_be_sent_is_reported(server: LinkServer, tmp_path: Path) -> None:
    server.publish_event({"class": "ring", "level_dbfs": float("nan")})
    awaited(lambda: "could not be sent" in server.problem)
    with connect(tmp_path / "link.sock") as connection:
        read_lines(connection, 1)  # who is not let in yet gets no event
        server.publish_event({"class": "ring", "id": 1})
        assert read_lines(connection, 1)[0]["id"] == 1


def test_whatever_is_put_out_wakes_the_one_that_sends_at_once() -> None:
    """Otherwise a ring would be sent when the link's thread next looks, a second later."""
    puts: list[Callable[[outbox.Outbox], None]] = [
        lambda box: box.put(None, {"class": "ring"}),
        lambda box: box.put_snapshot({"class": "snapshot"}),
        lambda box: box.wake(),
    ]
    box = outbox.Outbox()
    try:
        for put in puts:
            assert not select.select([box.awake], [], [], 0.0)[0]
            put(box)
            assert select.select([box.awake], [], [], 0.0)[0]
            box.drain()
    finally:
        box.close()
        box.awake.close()


def test_what_finds_no_room_is_counted_and_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(outbox, "MAX_UNSENT", 3)
    held, go_on = threading.Event(), threading.Event()

    def hold(_command: Mapping[str, Any], reply: Reply) -> None:
        held.set()
        assert go_on.wait(10.0)
        reply({"class": "done"})

    server = LinkServer(tmp_path / "s", hello={}, handle=hold)
    try:
        with connect(tmp_path / "s") as connection:
            read_lines(connection, 1)
            connection.sendall(b'{"class":"way","way":"set"}\n')
            assert held.wait(10.0)
            for number in range(10):
                server.publish_event({"class": "ring", "id": number})
            assert server.lost_event_count == 7
            go_on.set()
            # The answer pushes out one more.
            assert [m.get("id") for m in read_lines(connection, 3)] == [8, 9, None]
            assert server.problem == "8 messages found no room and were lost"
    finally:
        go_on.set()
        server.close()


def test_a_client_that_cannot_be_watched_is_hung_up_on_and_the_others_are_served(
    server: LinkServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    register = selectors.DefaultSelector.register

    def full(*_args: Any) -> None:
        # epoll_ctl(2): too many descriptors are watched by this user already.
        raise OSError(errno.ENOSPC, "No space left on device")

    with connect(tmp_path / "link.sock") as before:
        read_lines(before, 1)
        monkeypatch.setattr(selectors.DefaultSelector, "register", full)
        with connect(tmp_path / "link.sock") as refused:
            assert refused.recv(100) == b""
        # It hangs up first and says why then.
        awaited(lambda: server.problem == "nobody new can connect: No space left on device")
        server.publish_event({"class": "ring", "id": 1})
        assert read_lines(before, 1)[0]["id"] == 1
        assert server.client_count == 1
        monkeypatch.setattr(selectors.DefaultSelector, "register", register)
        with connect(tmp_path / "link.sock") as after:
            read_lines(after, 1)
            assert server.problem == ""


def test_a_turn_that_fails_is_said_and_the_next_goes_on(
    server: LinkServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail() -> None:
        raise RuntimeError("a bug")

    with connect(tmp_path / "link.sock") as connection:
        read_lines(connection, 1)
        monkeypatch.setattr(server, "_drop_stuck", fail)
        server.publish_event({"class": "ring", "id": 1})
        awaited(lambda: "the link failed: RuntimeError('a bug')" in server.problem)
        monkeypatch.undo()
        awaited(lambda: server.problem == "")
        server.publish_event({"class": "ring", "id": 2})
        assert [m["id"] for m in read_lines(connection, 2)] == [1, 2]


def test_a_socket_that_cannot_be_watched_yet_is_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    register = selectors.DefaultSelector.register

    def full(*_args: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(selectors.DefaultSelector, "register", full)
    server = LinkServer(tmp_path / "s", hello={}, handle=handle)
    try:
        awaited(lambda: "No space left on device" in server.problem)
        monkeypatch.setattr(selectors.DefaultSelector, "register", register)
        with connect(tmp_path / "s") as connection:
            assert read_lines(connection, 1)[0]["class"] == "hello"
        awaited(lambda: server.problem == "")
    finally:
        server.close()


def test_client_and_server_understand_each_other(server: LinkServer, tmp_path: Path) -> None:
    with LinkClient(tmp_path / "link.sock") as client, client.subscribe() as events:
        awaited(lambda: client.connected)
        server.publish_snapshot({"class": "snapshot", "seq": 5})
        sent = time.monotonic()
        server.publish_event({"class": "ring", "sent_mono_s": sent})
        event = events.get(10.0)
        assert event is not None
        assert event["sent_mono_s"] == sent
        assert client.request({"class": "way", "way": "set"}, 10.0)["class"] == "done"
        refused = client.request({"class": "stage", "fader_db": 0}, 10.0)
        assert refused["message"] == "there is no stage"


# --- the socket's file ------------------------------------------------------------------------


def test_a_living_watcher_is_left_alone(server: LinkServer, tmp_path: Path) -> None:
    with pytest.raises(LinkServerError, match="another watcher is running"):
        LinkServer(tmp_path / "link.sock", hello={}, handle=handle)
    with connect(tmp_path / "link.sock") as connection:
        assert read_lines(connection, 1)[0]["class"] == "hello"


def test_a_stranger_s_living_socket_is_left_alone(tmp_path: Path) -> None:
    # Somebody who listens without our lock, as a watcher of another release might.
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as stranger:
        stranger.bind(str(tmp_path / "s"))
        stranger.listen(1)
        with pytest.raises(LinkServerError, match="another watcher is running"):
            LinkServer(tmp_path / "s", hello={}, handle=handle)
        connect(tmp_path / "s").close()


def test_a_stale_socket_is_replaced(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as dead:
        dead.bind(str(tmp_path / "s"))
    server = LinkServer(tmp_path / "s", hello={}, handle=handle)
    with connect(tmp_path / "s") as connection:
        assert read_lines(connection, 1)
    server.close()
    assert not (tmp_path / "s").exists()
    server.close()


def test_the_place_is_free_again_after_a_kill(tmp_path: Path) -> None:
    script = (
        "import sys, time\nfrom pathlib import Path\nfrom monitor.link.server import LinkServer\n"
        "LinkServer(Path(sys.argv[1]), hello={}, handle=print)\nprint('up', flush=True)\n"
        "time.sleep(60)"
    )
    path = tmp_path / "s"
    root = Path(__file__).parents[2]
    with subprocess.Popen(
        [sys.executable, "-c", script, str(path)], stdout=subprocess.PIPE, cwd=root
    ) as victim:
        assert victim.stdout is not None
        assert victim.stdout.readline() == b"up\n"
        with pytest.raises(LinkServerError, match="another watcher is running"):
            LinkServer(path, hello={}, handle=handle)
        victim.kill()
        victim.wait()
    assert path.exists()
    LinkServer(path, hello={}, handle=handle).close()


def test_something_else_at_the_path_is_never_removed(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("mine")
    with pytest.raises(LinkServerError, match="not a socket is here; move it away"):
        LinkServer(path, hello={}, handle=handle)
    assert path.read_text() == "mine"


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("/proc/nowhere/s", "cannot open the socket"),
        ("/dev/null/s", "cannot open the socket"),
        ("/tmp/" + "x" * 110, "a socket's path may have 107 bytes"),
    ],
)
def test_places_that_cannot_be(path: str, expected: str) -> None:
    with pytest.raises(LinkServerError, match=expected) as caught:
        LinkServer(Path(path), hello={}, handle=handle)
    assert "\n" not in str(caught.value)
    assert "[link] socket" in str(caught.value)


def test_a_socket_that_was_taken_over_is_not_removed(tmp_path: Path) -> None:
    server = LinkServer(tmp_path / "s", hello={}, handle=handle)
    (tmp_path / "s").unlink()
    (tmp_path / "s").write_text("another's")
    server.close()
    assert (tmp_path / "s").exists()


@pytest.mark.parametrize("with_folder", [False, True])
def test_a_socket_that_was_removed_is_made_again(tmp_path: Path, with_folder: bool) -> None:
    path = tmp_path / "run" / "s"
    server = LinkServer(path, hello={"box": "lantern"}, handle=handle)
    try:
        with connect(path) as before:
            read_lines(before, 1)
            if with_folder:
                shutil.rmtree(path.parent)
            else:
                path.unlink()
            removed_mono_s = time.monotonic()
            # The file is there a moment before anybody listens at it.
            awaited(server._reception._socket.is_in_place)
            print(f"\nmade again after {time.monotonic() - removed_mono_s:.2f} s")
            awaited(lambda: server.problem == "")
            assert stat.S_IMODE(path.stat().st_mode) == 0o660
            with connect(path) as after:
                assert read_lines(after, 1)[0]["box"] == "lantern"
                # Who was connected before still is.
                server.publish_event({"class": "ring", "id": 1})
                assert [read_lines(c, 1)[0]["id"] for c in (before, after)] == [1, 1]
        with pytest.raises(LinkServerError, match="another watcher is running"):
            LinkServer(path, hello={}, handle=handle)
    finally:
        server.close()
    assert not path.exists()


def test_what_stands_in_the_socket_s_place_is_said_until_it_is_gone(tmp_path: Path) -> None:
    server = LinkServer(tmp_path / "s", hello={}, handle=handle)
    try:
        (tmp_path / "s").unlink()
        (tmp_path / "s").write_text("mine")
        awaited(lambda: "nobody new can connect" in server.problem, 10.0)
        assert "not a socket is here; move it away" in server.problem
        assert (tmp_path / "s").read_text() == "mine"
        (tmp_path / "s").unlink()
        awaited(lambda: server.problem == "", 10.0)
        connect(tmp_path / "s").close()
    finally:
        server.close()


def test_a_file_that_goes_before_anybody_waits_at_its_socket_leaves_no_socket_open(
    tmp_path: Path,
) -> None:
    with selectors.DefaultSelector() as selector:
        reception = Reception(tmp_path / "s", selector, pause=lambda: None)
        first = reception._socket.listening
        (tmp_path / "s").unlink()
        reception._look_next_mono_s = 0.0
        reception.look()
        assert first.fileno() == -1
        assert reception.listening is reception._socket.listening
        connect(tmp_path / "s").close()
        reception.close()
        assert reception.listening.fileno() == -1


def test_the_old_socket_is_closed_too_where_the_new_one_could_not_be_waited_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with selectors.DefaultSelector() as selector:
        reception = Reception(tmp_path / "s", selector, pause=lambda: None)
        reception.look()
        first = reception.listening
        assert first is not None
        (tmp_path / "s").unlink()
        reception._look_next_mono_s = 0.0
        with monkeypatch.context() as full:

            def register(*_: object) -> None:
                raise OSError(errno.ENOSPC, "No space left on device")

            full.setattr(selector, "register", register)
            reception.look()
        assert "nobody new can connect" in reception.problem
        assert reception.listening is first
        reception.close()
        assert first.fileno() == -1


def test_encode_is_what_the_client_reads() -> None:
    assert encode({"class": "a", "b": 1}) == b'{"class":"a","b":1}\n'
