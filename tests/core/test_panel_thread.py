"""The panel's thread: what cannot be drawn or shown is said, and nothing old stands in for it."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest
from PIL import Image

from firmware.example_faces import EXAMPLE_FACES
from firmware.faces import draw_face
from firmware.ports import Face
from monitor import busy, panel_thread
from monitor.panel_thread import PanelThread
from tests.waiting import awaited


class Glass:
    """A panel that keeps what it shows."""

    def __init__(self) -> None:
        self.shown: list[bytes] = []

    def show(self, image: Image.Image) -> None:
        self.shown.append(image.tobytes())

    def health(self) -> str:
        return "ok"

    def close(self) -> None:
        """Nothing to release."""


def draw(face: Face) -> Image.Image:
    if face.kind == "howl":
        raise ValueError("no such letter")
    return draw_face(face)


@pytest.fixture
def glass(monkeypatch: pytest.MonkeyPatch) -> Glass:
    monkeypatch.setattr(panel_thread, "REFRESH_S", 0.05)
    return Glass()


@pytest.fixture
def thread(glass: Glass) -> Iterator[PanelThread]:
    one = PanelThread(lambda: glass, draw)
    yield one
    one.close()


def test_a_face_that_cannot_be_drawn_leaves_the_panel_dark_and_is_said_until_one_can(
    glass: Glass, thread: PanelThread
) -> None:
    quiet = draw_face(EXAMPLE_FACES["quiet"]).tobytes()
    dark = bytes(len(quiet))
    thread.show(EXAMPLE_FACES["quiet"])
    awaited(lambda: glass.shown[-1:] == [quiet])
    thread.show(EXAMPLE_FACES["howl"])
    awaited(lambda: glass.shown[-1] == dark)
    count = len(glass.shown)
    awaited(lambda: len(glass.shown) > count + 3)  # refreshed again and again
    assert thread.health() == "the panel failed: no such letter"
    assert thread.picture.bits == dark
    assert set(glass.shown[count:]) == {dark}
    thread.show(EXAMPLE_FACES["quiet"])
    awaited(lambda: glass.shown[-1] == quiet)
    assert thread.health() == "ok"


def test_a_bus_that_hangs_is_said_and_not_what_the_panel_said_last(
    glass: Glass, thread: PanelThread, monkeypatch: pytest.MonkeyPatch
) -> None:
    thread.show(EXAMPLE_FACES["quiet"])
    awaited(lambda: glass.shown)
    hanging, go_on = threading.Event(), threading.Event()

    def hang(_image: Image.Image) -> None:
        hanging.set()
        assert go_on.wait(20.0)

    monkeypatch.setattr(glass, "show", hang)
    try:
        assert hanging.wait(20.0)
        assert thread.health() == "ok"
        with monkeypatch.context() as later:
            later.setattr(busy, "LONG_S", 0.0)
            assert "shows what was before" in thread.health()
    finally:
        go_on.set()
    awaited(lambda: thread.health() == "ok")
