"""The demo's own parts: port, folder, words, and a page that falls over."""

from __future__ import annotations

import os
import socket
import sys
import threading
import time
from pathlib import Path

import pytest

from monitor import demo
from monitor.errors import LanternError
from monitor.settings import load
from tests.waiting import awaited

NOWHERE = {"HOME": "/nonexistent"}


def test_a_free_port_is_taken_as_wished_and_a_taken_one_replaced() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen(1)
        wanted = taken.getsockname()[1]
        other = demo.free_port("127.0.0.1", wanted)
        assert other != wanted
    assert demo.free_port("127.0.0.1", wanted) == wanted


def test_an_address_that_is_not_ours_is_refused() -> None:
    # 192.0.2.0/24 is for documentation (RFC 5737); no machine has it.
    with pytest.raises(LanternError, match="set \\[page\\] host"):
        demo.free_port("192.0.2.1", 8080)


def test_demo_keeps_apart_from_the_box(tmp_path: Path) -> None:
    folder = demo.state_folder({"XDG_STATE_HOME": str(tmp_path)})
    assert folder == tmp_path / "howl-lantern" / "demo"
    own = demo.demo_settings(load(environ=NOWHERE).settings, folder=folder, port=81)
    assert own.page.port == 81
    assert Path(own.journal.file).parent == folder
    assert Path(own.link.socket).parent == folder


def test_demo_without_a_home_still_runs(tmp_path: Path) -> None:
    folder = demo.state_folder({"XDG_STATE_HOME": "/proc/nowhere"})
    try:
        assert folder.is_dir()
        assert os.access(folder, os.W_OK)
    finally:
        folder.rmdir()


def test_a_deep_home_leaves_room_for_the_socket(tmp_path: Path) -> None:
    deep = tmp_path / ("x" * 100)
    path = demo._socket_in(deep)
    assert len(os.fsencode(path)) <= 107
    path.parent.rmdir()


def test_welcome_says_where_and_what_to_do() -> None:
    words = demo.welcome("http://localhost:8081/", "port 8080 is taken, so 8081 is used")
    assert "http://localhost:8081/" in words
    assert "port 8080 is taken" in words
    assert "Push the fader" in words
    assert max(len(line) for line in words.splitlines()) <= 90


def test_welcome_says_what_a_phone_has_to_open() -> None:
    """A phone's localhost is the phone."""
    assert "on a phone" in demo.note_of("0.0.0.0", 8080, 8080)
    assert "on a phone" in demo.note_of("::", 8080, 8081)
    assert "so 8081 is used" in demo.note_of("::", 8080, 8081)
    assert demo.note_of("127.0.0.1", 8080, 8080) == ""
    assert demo.note_of("192.168.4.1", 8080, 8080) == ""


@pytest.mark.parametrize(
    ("host", "shown"),
    [("0.0.0.0", "localhost"), ("::", "localhost"), ("127.0.0.1", "127.0.0.1"), ("::1", "[::1]")],
)
def test_host_to_type(host: str, shown: str) -> None:
    assert demo.shown_host(host) == shown


def test_a_page_that_falls_over_is_started_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(demo, "PAGE_RESTART_S", 0.01)
    script = f"open({str(tmp_path / 'n')!r}, 'a').write('x'); raise SystemExit(3)"
    page = demo.PageProcess([sys.executable, "-c", script])
    page.start()
    awaited(lambda: "in a row" in caplog.text, 60.0)  # six processes
    page.close()
    assert len((tmp_path / "n").read_text()) == demo.MOST_PAGE_RESTARTS + 1
    assert "the page ended with code 3 and is started again" in caplog.text


def test_a_page_that_will_not_end_is_ended(tmp_path: Path) -> None:
    script = (
        "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN);"
        f"open({str(tmp_path / 'up')!r}, 'w').close(); time.sleep(60)"
    )
    page = demo.PageProcess([sys.executable, "-c", script])
    page.start()
    awaited((tmp_path / "up").exists, 20.0)
    began = time.monotonic()
    page.close()
    assert time.monotonic() - began < 10.0
    assert page._process is not None
    assert page._process.returncode is not None


def test_no_page_begins_once_it_is_to_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    looked, go_on = threading.Event(), threading.Event()
    page = demo.PageProcess([sys.executable, "-c", "import time; time.sleep(60)"])

    class Slow(threading.Event):
        """Stands still between being looked at and what is done about it."""

        def is_set(self) -> bool:
            found = super().is_set()
            if threading.current_thread() is page._thread:
                looked.set()
                go_on.wait(20.0)
            return found

    page._stopping = Slow()
    page.start()
    assert looked.wait(20.0)
    closing = threading.Thread(target=page.close)
    closing.start()
    awaited(page._stopping.is_set)
    go_on.set()
    closing.join(20.0)
    assert not closing.is_alive()
    assert not page._thread.is_alive()
    assert page._process is None


def test_missing_stage_packages_are_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "scipy", None)
    for name in [n for n in sys.modules if n.startswith(("scipy.", "monitor.stage"))]:
        monkeypatch.delitem(sys.modules, name)
    with pytest.raises(LanternError, match="install howl-lantern with its extra"):
        demo.run(load(environ=NOWHERE).settings, threading.Event())
