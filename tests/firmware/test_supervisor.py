"""Messages to the service manager, received on a real socket (protocol: sd_notify(3))."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware.supervisor import Supervisor


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[str, socket.socket]]:
    name = f"@howl-lantern-test-{os.getpid()}"
    if request.param == "path":
        name = str(tmp_path / "notify")
    receiver = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    receiver.bind("\0" + name[1:] if name[0] == "@" else name)
    receiver.settimeout(1.0)
    with receiver:
        yield name, receiver


def test_what_is_said(manager: tuple[str, socket.socket]) -> None:
    name, receiver = manager
    supervisor = Supervisor({"NOTIFY_SOCKET": name, "WATCHDOG_USEC": "10000000"})
    supervisor.ready()
    supervisor.status("hearing\nwell")
    supervisor.status("hearing well")  # unchanged: not sent again
    supervisor.alive()
    supervisor.alive()  # within half the limit: not sent again
    supervisor.stopping()
    said = [receiver.recv(4096) for _ in range(4)]
    assert said == [b"READY=1", b"STATUS=hearing well", b"WATCHDOG=1", b"STOPPING=1"]
    receiver.setblocking(False)
    with pytest.raises(BlockingIOError, match="temporarily unavailable"):
        receiver.recv(4096)
    assert supervisor.health() == "ok"
    assert supervisor.watchdog_s == 10.0


def test_without_a_manager_nothing_happens() -> None:
    supervisor = Supervisor({})
    supervisor.ready()
    supervisor.status("hearing")
    supervisor.alive()
    supervisor.stopping()
    assert (supervisor.health(), supervisor.watchdog_s) == ("off", None)


def test_a_manager_that_is_gone_is_said(tmp_path: Path) -> None:
    supervisor = Supervisor({"NOTIFY_SOCKET": str(tmp_path / "gone")})
    supervisor.ready()
    assert "cannot be told" in supervisor.health()


@pytest.mark.parametrize(
    "environ", [{"WATCHDOG_USEC": "soon"}, {"WATCHDOG_USEC": "5000", "WATCHDOG_PID": "1"}]
)
def test_a_watchdog_that_is_not_ours_is_left_alone(environ: dict[str, str]) -> None:
    assert Supervisor(environ).watchdog_s is None


def test_what_did_not_go_out_is_sent_again(tmp_path: Path) -> None:
    """A manager that reloads misses one message; the next turn of the loop must reach it."""
    name = str(tmp_path / "notify")
    supervisor = Supervisor({"NOTIFY_SOCKET": name, "WATCHDOG_USEC": "10000000"})
    supervisor.alive()
    supervisor.status("hearing")
    assert "cannot be told" in supervisor.health()
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as receiver:
        receiver.bind(name)
        receiver.settimeout(1.0)
        supervisor.alive()
        supervisor.status("hearing")
        assert [receiver.recv(4096) for _ in range(2)] == [b"WATCHDOG=1", b"STATUS=hearing"]
    assert "cannot be told" not in supervisor.health()


def test_a_manager_that_does_not_read_blocks_nobody(tmp_path: Path) -> None:
    name = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as receiver:
        receiver.bind(name)
        supervisor = Supervisor({"NOTIFY_SOCKET": name})
        for number in range(2000):  # more than any queue of datagrams holds
            supervisor.status(str(number))
        assert "cannot be told" in supervisor.health()


@pytest.mark.parametrize("address", ["@", "/" + "x" * 200, "/with\0zero", "vsock:2:1234", "\udce4"])
def test_no_address_and_no_text_makes_it_raise(address: str) -> None:
    supervisor = Supervisor({"NOTIFY_SOCKET": address})
    supervisor.ready()
    supervisor.status("a name that is no UTF-8: \udce4 \0")
    supervisor.stopping()
    assert "cannot be told" in supervisor.health()
    assert "\n" not in supervisor.health()
