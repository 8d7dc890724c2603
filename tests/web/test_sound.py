"""The practice stage's sound on its way to a phone: only there, few, bounded, and it ends."""

from __future__ import annotations

import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from flask.testing import FlaskClient

from monitor.stage.sound import SoundDoor, softened
from tests.waiting import awaited
from tests.web.screenshots import StillClient, page_server
from tests.web.states import STATES
from web import sound as web_sound
from web.app import create_app
from web.sound import LISTENERS, Lease, Listeners, SoundError, knock

NAME = "abcdef0123456789"
BLOCK = (0.01 * np.sin(np.arange(512) / 7.0)).astype(np.float32)


@pytest.fixture
def link(tmp_path: Path) -> StillClient:
    client = StillClient()
    client.socket_path = tmp_path / "link.sock"
    client.hold(STATES["demo"])
    return client


@pytest.fixture
def phone(link: StillClient) -> FlaskClient:
    return create_app(link, max_streams=1).test_client()


@pytest.fixture
def playing(tmp_path: Path) -> Iterator[SoundDoor]:
    """A stage that plays the same block over and over, at the stage's own pace."""
    door, stop = SoundDoor(tmp_path / "sound.sock"), threading.Event()

    def play() -> None:
        while not stop.wait(512 / 48000):
            door.publish(BLOCK)

    thread = threading.Thread(target=play, daemon=True)
    thread.start()
    yield door
    stop.set()
    thread.join(5.0)
    door.close()


def test_a_box_has_no_sound(
    phone: FlaskClient, link: StillClient, playing: SoundDoor, tmp_path: Path
) -> None:
    link.hold(STATES["quiet"])  # even if somebody left a door open beside its socket
    answer = phone.get(f"/api/v1/sound?listener={NAME}")
    assert answer.status_code == 403
    assert (
        answer.get_json()["error"] == "only the practice stage can be heard; a box plays no sound"
    )
    link.hold(None)
    assert phone.get(f"/api/v1/sound?listener={NAME}").status_code == 403
    assert playing.listener_count == 0


@pytest.mark.parametrize(
    ("query", "headers", "status"),
    [
        ("", {}, 400),
        ("?listener=short", {}, 400),
        ("?listener=" + "x" * 33, {}, 400),
        ("?listener=../../etc/passwd", {}, 400),
        (f"?listener={NAME}", {"Sec-Fetch-Site": "cross-site"}, 403),
        (f"?listener={NAME}", {"Host": "evil.example"}, 421),
        (f"?listener={NAME}", {}, 503),  # a stage without a door
    ],
)
def test_bad_listeners_are_refused_in_one_line(
    phone: FlaskClient, query: str, headers: dict[str, str], status: int
) -> None:
    answer = phone.get("/api/v1/sound" + query, headers=headers)
    assert answer.status_code == status
    assert "\n" not in answer.get_json()["error"]


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        ({"data": "x"}, 415),
        ({"json": [1]}, 400),
        ({"json": {"listener": NAME}}, 400),
        ({"json": {"listener": NAME, "arrived_bytes": 1.5}}, 400),
        ({"json": {"listener": NAME, "arrived_bytes": True}}, 400),
        ({"json": {"listener": 7, "arrived_bytes": 1}}, 400),
        ({"json": {"listener": NAME, "arrived_bytes": 1}}, 404),
        ({"json": {}, "headers": {"Sec-Fetch-Site": "cross-site"}}, 403),
    ],
)
def test_bad_reports_are_refused(
    phone: FlaskClient, arguments: dict[str, Any], status: int
) -> None:
    answer = phone.post("/api/v1/sound", **arguments)
    assert answer.status_code == status
    assert answer.get_json()["error"]


def test_sound_arrives_whole_and_the_place_comes_free(
    link: StillClient, playing: SoundDoor
) -> None:
    with page_server(link) as url:
        with urllib.request.urlopen(f"{url}api/v1/sound?listener={NAME}", timeout=20) as answer:
            assert answer.headers["X-Sample-Rate"] == "48000"
            assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
            heard = np.frombuffer(answer.read(4 * 1024), "<i2")
            assert heard.tolist() == np.tile(softened(BLOCK), 4).tolist()
        awaited(lambda: not playing.listener_count, 20.0, "the phone is gone, its place not free")


def test_a_phone_that_says_nothing_is_let_go(
    link: StillClient, playing: SoundDoor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(web_sound, "LEASE_S", 0.5)
    with (
        page_server(link) as url,
        urllib.request.urlopen(f"{url}api/v1/sound?listener={NAME}", timeout=20) as answer,
    ):
        began_mono_s = time.monotonic()
        assert 0 < len(answer.read()) <= 1.5 * 96_000
        assert time.monotonic() - began_mono_s < 15.0


def test_what_nobody_took_is_not_heaped_up() -> None:
    lease = Lease(96_000)
    sent = 0
    while lease.may_send(4096):
        sent += 4096
    assert sent <= web_sound.MOST_UNDER_WAY_S * 96_000
    lease.report(sent // 2)
    assert lease.may_send(4096)
    lease.report(10**12)  # a made-up number buys no more than what was sent
    more = 0
    while lease.may_send(4096):
        more += 4096
    assert more <= web_sound.MOST_UNDER_WAY_S * 96_000


def test_few_listen_and_the_same_phone_begins_again_in_its_own_place() -> None:
    listeners = Listeners()
    leases = [listeners.enter(f"phone{i}aaa", 96_000) for i in range(LISTENERS)]
    with pytest.raises(SoundError, match="phones are listening already"):
        listeners.enter("onemore00", 96_000)
    again = listeners.enter("phone0aaa", 96_000)
    assert not leases[0].is_alive
    listeners.leave("phone0aaa", leases[0])
    assert again.is_alive
    assert listeners.count == LISTENERS
    listeners.leave("phone0aaa", again)
    assert listeners.count == LISTENERS - 1
    assert not listeners.report("phone0aaa", 5)


def test_a_stage_without_a_door_is_named(tmp_path: Path) -> None:
    with pytest.raises(SoundError, match="No such file or directory.*; start the demo again"):
        knock(tmp_path / "sound.sock")
