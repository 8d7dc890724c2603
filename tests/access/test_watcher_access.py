"""Pairing through the whole watcher: link, panel thread, snapshot, and the command at the box."""

from __future__ import annotations

import base64
import ctypes
import hashlib
import json
import os
import platform
import socket
import tempfile
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from firmware.faces import draw_face
from firmware.ports import CODE as CODE_FACE
from firmware.ports import Face
from monitor import cli, present
from monitor.link.client import LinkClient
from monitor.news import Advised
from tests.core.running import Running, unhurried
from tests.core.stand_ins import RATE_HZ, FakePanel, growing_ring, noise
from tests.core.test_present import NO_MIC, ring_out_state, shown, situation
from tests.waiting import awaited

CODE = "042817"


class SeenPanel(FakePanel):
    """Keeps the pictures that it was given."""

    def __init__(self, said: str) -> None:
        super().__init__()
        self._said = said
        self.shown: list[bytes] = []

    def health(self) -> str:
        return self._said

    def show(self, image: object) -> None:
        assert isinstance(image, Image.Image)
        self.shown.append(image.tobytes())

    def now(self) -> bytes:
        return self.shown[-1] if self.shown else b""


class Box(Running):
    """A watcher whose panel is looked at by a person, the test."""

    def __init__(self, folder: Path, *options: str, panel_health: str = "ok") -> None:
        self.seen = SeenPanel(panel_health)
        self.codes: list[str] = []
        super().__init__(
            folder,
            *options,
            panel_opener=lambda _: self.seen,
            tell_code=self.codes.append,
        )

    def ask(self, **command: Any) -> dict[str, Any]:
        return self.client.request(command, 10.0)

    def ask_for_code(self) -> str:
        """What a person reads on the panel; asked for again while the box still starts."""
        answers: list[dict[str, Any]] = []

        def is_shown() -> bool:
            answers.append(self.ask(**{"class": "pair_ask", "from": "192.168.4.7"}))
            return answers[-1]["class"] == "done"

        awaited(is_shown, 10.0)
        return self.codes[-1]

    def pair(self, code: str) -> dict[str, Any]:
        command = {"class": "pair", "code": code, "name": "ada", "from": "192.168.4.7"}
        return self.client.request(command, 10.0)

    def knows(self, key: str) -> bool:
        digest = hashlib.sha256(bytes.fromhex(key)).hexdigest()
        return self.ask(**{"class": "key_check", "key_digest": digest})["class"] == "key"


@pytest.fixture
def start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Box]]:
    unhurried(monkeypatch)
    opened: list[Box] = []

    def begin(*options: str, **changes: str) -> Box:
        if opened:
            opened[-1].close()
        opened.append(Box(tmp_path, *options, **changes))
        return opened[-1]

    yield begin
    if opened:
        opened[-1].close()


def code_face(code: str) -> bytes:
    face = Face(CODE_FACE, f"{code[:3]} {code[3:]}", "type it on your phone")
    return draw_face(face, width=128, height=64).tobytes()


def test_a_code_is_on_the_panel_and_nowhere_else(start: Callable[..., Box]) -> None:
    box = start()
    box.play(noise(2 * RATE_HZ))
    box.wait_for(lambda s: s["panel"]["bits"] != "" and s["state"] == "quiet", 10.0)
    code = box.ask_for_code()
    awaited(lambda: box.seen.now() == code_face(code), 10.0)
    box.wait_for(lambda s: s["access"]["showing"], 10.0)
    pictured = base64.b64decode(box.snapshot()["panel"]["bits"])
    assert pictured in box.seen.shown, "the picture is one that was on the panel"
    assert pictured != code_face(code)
    seq = box.snapshot()["seq"]
    box.wait_for(lambda s: s["seq"] > seq + 5, 10.0)
    assert code_face(code) != base64.b64decode(box.snapshot()["panel"]["bits"])
    assert code not in json.dumps(box.snapshot())
    assert box.pair(code)["class"] == "paired"
    box.wait_for(lambda s: not s["access"]["showing"] and s["access"]["phones"] == 1, 10.0)
    awaited(lambda: box.seen.now() == pictured, 10.0)


def test_a_paired_phone_is_known_after_a_restart(start: Callable[..., Box]) -> None:
    box = start()
    paired = box.pair(box.ask_for_code())
    assert box.knows(paired["key"])
    again = start()
    awaited(lambda: again.knows(paired["key"]), 10.0)
    again.wait_for(lambda s: s["access"]["phones"] == 1, 10.0)


def test_a_ring_takes_the_panel_and_no_code_takes_it_back(start: Callable[..., Box]) -> None:
    box = start()
    box.play(noise(2 * RATE_HZ))
    code = box.ask_for_code()
    awaited(lambda: box.seen.now() == code_face(code), 10.0)
    box.play(growing_ring(2.0))
    box.wait_for(lambda s: s["rings"] != [], 20.0)
    # Pictures of its own, lit more than the code's dots: the big block of what rings.
    awaited(lambda: box.seen.now() != code_face(code), 10.0)
    assert box.snapshot()["access"]["showing"], "it still counts"
    assert box.pair(code)["class"] == "paired"
    answer = box.ask(**{"class": "pair_ask", "from": "192.168.4.7"})
    assert (answer["class"], answer["why"]) == ("error", "busy")
    assert "something rings" in answer["message"]


def test_without_a_panel_the_box_itself_is_asked(start: Callable[..., Box]) -> None:
    box = start(panel_health="no panel at 0x3C")
    awaited(
        lambda: (
            "howl-lantern pair"
            in box.ask(**{"class": "pair_ask", "from": "192.168.4.7"}).get("message", "")
        ),
        10.0,
    )
    assert box.codes == []


@pytest.mark.parametrize("control", ["open", "off"])
def test_the_settings_say_who_may(start: Callable[..., Box], control: str) -> None:
    box = start(f"access.control={control}")
    assert box.snapshot()["access"]["control"] == control
    assert box.ask(**{"class": "pair_ask", "from": "a"})["why"] == "closed"


def test_a_code_of_the_settings_pairs(start: Callable[..., Box]) -> None:
    box = start('access.code="123456"')
    assert box.ask(**{"class": "pair_ask", "from": "a"})["where"] == "settings"
    assert box.pair("123457")["why"] == "wrong"
    assert box.pair("123456")["class"] == "paired"
    assert "123456" not in json.dumps(box.snapshot())


# --- the command at the box -------------------------------------------------------------------


def test_a_code_is_printed_at_the_box(
    start: Callable[..., Box], capsys: pytest.CaptureFixture[str]
) -> None:
    box = start()
    assert cli.main(["pair", "--socket", str(box.socket)]) == 0
    printed = capsys.readouterr().out
    code = printed[:7].replace(" ", "")
    assert len(code) == 6
    assert "5 minutes" in printed
    assert not box.snapshot()["access"]["showing"]
    paired = box.pair(code)
    assert paired["class"] == "paired"
    assert cli.main(["pair", "--socket", str(box.socket), "--phones"]) == 0
    assert f"{paired['phone']}  ada" in capsys.readouterr().out
    assert cli.main(["pair", "--socket", str(box.socket), "--unpair", paired["phone"]]) == 0
    assert capsys.readouterr().out == "unpaired\n"
    assert not box.knows(paired["key"])
    assert cli.main(["pair", "--socket", str(box.socket), "--phones"]) == 0
    assert capsys.readouterr().out == "no phone is paired\n"


@pytest.mark.parametrize(
    ("words", "said"),
    [(["--unpair", "ada"], "phone must be 'all'"), (["--unpair", "ffffffff"], "is not paired")],
)
def test_what_cannot_be_unpaired_is_said_in_one_line(
    start: Callable[..., Box], capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    box = start()
    assert cli.main(["pair", "--socket", str(box.socket), *words]) == 1
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1


def test_without_a_watcher_the_command_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("monitor.commands.asking.CONNECT_S", 0.2)
    assert cli.main(["pair", "--socket", str(tmp_path / "none.sock")]) == 1
    assert "no watcher is running" in capsys.readouterr().err


SETRESUID = {"x86_64": 117, "aarch64": 147}
"""The system call's number (asm/unistd.h of each architecture): libc's own function changes the
user of all threads, the bare call that of one."""
NOBODY = 65534


def as_nobody(path: Path, line: bytes) -> dict[str, Any]:
    """Connect as another user, in a thread of its own that ends with it; return what comes."""
    received: list[dict[str, Any]] = []

    def talk() -> None:
        libc = ctypes.CDLL(None, use_errno=True)
        # The socket's own rights let no stranger in, but the page has its group: open it first.
        with socket.socket(socket.AF_UNIX) as connection:
            assert libc.syscall(SETRESUID[platform.machine()], -1, NOBODY, -1) == 0
            connection.settimeout(10.0)
            connection.connect(str(path))
            connection.sendall(line)
            text = b""
            while not (lines := [each for each in text.splitlines() if b'"mine"' in each]):
                text += connection.recv(65536)
            received.append(json.loads(lines[0]))

    thread = threading.Thread(target=talk)
    thread.start()
    thread.join(timeout=20.0)
    return received[0]


def test_the_page_s_user_cannot_have_a_code_made(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # A folder that others may enter, unlike pytest's: what is tried is the watcher's own door.
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        box = Box(Path(name))
        try:
            if os.geteuid() == 0 and platform.machine() in SETRESUID:
                box.socket.chmod(0o666)
                answer = as_nobody(box.socket, b'{"class":"pair_here","request":"mine"}\n')
            else:  # nobody can become another user, but the watcher may be one
                monkeypatch.setattr("monitor.link.server.os.geteuid", lambda: os.getuid() + 1)
                with LinkClient(box.socket) as client:
                    awaited(lambda: client.connected, 10.0)
                    answer = client.request({"class": "pair_here"}, 10.0)
        finally:
            box.close()
    assert answer["class"] == "error"
    assert "only the watcher's own user and root may ask that" in answer["message"]


# --- the face, without a watcher ---------------------------------------------------------------


def test_the_code_s_face_is_read_in_two_halves() -> None:
    face = present.face(situation(code=CODE))
    assert (face.kind, face.headline) == (CODE_FACE, "042 817")
    assert present.face(situation(code="")).kind != CODE_FACE
    assert present.face(situation(code=CODE, hears=False)).kind == CODE_FACE
    assert present.face(situation(code=CODE, deafness=NO_MIC, hears=False)).kind == CODE_FACE


def test_what_rings_and_a_ring_out_count_for_more_than_a_code() -> None:
    guided = Advised(ring_out=ring_out_state(phase="raise"))
    assert present.face(situation(code=CODE, rings=(shown(),))).kind == "ringing"
    assert present.face(situation(code=CODE, advised=guided)).kind == "raise"
    assert "something rings" in present.hindrance(situation(rings=(shown(),)), "ok")
    assert "leads a ring-out" in present.hindrance(situation(advised=guided), "ok")
    assert present.hindrance(situation(), "ok") == ""


@pytest.mark.parametrize(
    ("health", "words"), [("off", "howl-lantern pair"), ("opening", "ask again in a moment")]
)
def test_a_panel_that_nobody_can_read_is_a_hindrance(health: str, words: str) -> None:
    assert words in present.hindrance(situation(), health)
