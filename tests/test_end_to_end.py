"""The whole main job as a newcomer meets it: the demo, a browser, a fader, a ring, a slider."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.advice.equaliser import Equaliser
from monitor.listening.bands import third_octave_of
from monitor.stage.loop import StageLoop
from monitor.stage.scenario import DEFAULT_ROOM
from tests.browser import browser

PUSHED_OVER_DB = 2.0
PULLED_DB = -9.0


@pytest.fixture
def demo_url(tmp_path: Path) -> Iterator[str]:
    """A running demo with a state folder and a port of its own; must end cleanly."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with (tmp_path / "demo.log").open("w+") as log:
        process = subprocess.Popen(
            [
                *(sys.executable, "-m", "monitor.cli", "demo"),
                *("--set", f"page.port={port}", "--set", 'page.host="127.0.0.1"'),
            ],
            env={**os.environ, "XDG_STATE_HOME": str(tmp_path)},
            stdout=log,
            stderr=subprocess.STDOUT,
        )
        try:
            until(lambda: _answers(port), 30.0, "the page answers")
            yield f"http://127.0.0.1:{port}/"
        finally:
            process.send_signal(signal.SIGINT)
            code = process.wait(timeout=15)
            log.seek(0)
            print(log.read())
        assert code == 0


def _answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def until(condition: Callable[[], Any], seconds: float, what: str) -> Any:
    """The first true value of ``condition``; fails when it stays false for so long."""
    stop = time.monotonic() + seconds
    while time.monotonic() < stop:
        value = condition()
        if value:
            return value
        time.sleep(0.05)
    pytest.fail(f"not within {seconds:g} s: {what}")


def set_range(driver: Any, css: str, value: float) -> None:
    """Move a slider as a finger does: its value, and the event that says so."""
    driver.execute_script(
        "const e = document.querySelector(arguments[0]); e.value = arguments[1];"
        "e.dispatchEvent(new Event('input', {bubbles: true}));",
        css,
        value,
    )


def in_hz(text: str) -> float:
    """The frequency that a line of the page states."""
    found = re.search(r"([\d.]+) (k?)Hz", text)
    if found is None:
        pytest.fail(f"no frequency in {text!r}")
    return float(found[1]) * (1000.0 if found[2] else 1.0)


def test_fader_up_it_rings_the_lantern_names_it_the_slider_stops_it(demo_url: str) -> None:
    sliders = Equaliser.from_settings("31", ()).sliders
    twin = StageLoop(room=DEFAULT_ROOM, sliders=[(s.label, s.centre_hz) for s in sliders])
    twin.fader_db += twin.margin_db() + PUSHED_OVER_DB
    # Every frequency that the Nyquist criterion lets ring at this fader; the first leads.
    unstable = [mode for mode in twin.critical(20) if mode.margin_db < 0.0]

    with browser(390, 844) as driver:
        driver.get(demo_url)

        def state() -> str:
            return str(driver.find_element("id", "state").get_attribute("data-state"))

        until(lambda: state() == "quiet", 15.0, "the page is live and quiet")
        assert driver.find_element("id", "lamp").get_attribute("data-pattern") == "dark"
        quiet_panel = driver.execute_script("return document.getElementById('panel').toDataURL()")

        set_range(driver, "#fader", twin.fader_db)

        def howl_that_rings() -> tuple[str, float] | None:
            """Band and frequency that the page names, once that is where the loop is unstable.

            The fader may go up in the middle of a sung note, which rings on in the loop for a
            while; what howls outlasts it.
            """
            if state() != "howl":
                return None
            named = driver.find_element("id", "band").text
            heard_hz = in_hz(driver.find_element("id", "hz").text)
            near = any(abs(heard_hz / mode.frequency_hz - 1.0) <= 0.005 for mode in unstable)
            return (named, heard_hz) if near else None

        named, heard_hz = until(howl_that_rings, 20.0, "the page names what howls")
        nearest = min(unstable, key=lambda mode: abs(mode.frequency_hz - heard_hz))
        assert named == third_octave_of(nearest.frequency_hz).label
        assert driver.find_element("id", "lamp").get_attribute("data-pattern") == "steady"
        panel = driver.execute_script("return document.getElementById('panel').toDataURL()")
        assert panel != quiet_panel

        # Do what the lantern says until it is content: a pull for each name.
        labels = [slider.label for slider in sliders]
        pulled = set()
        stop = time.monotonic() + 40.0
        while time.monotonic() < stop:
            text = driver.find_element("id", "slider").text
            match = re.fullmatch(r"pull (\S+).*", text)
            if match and match[1] not in pulled:
                pulled.add(match[1])
                index = labels.index(match[1])
                set_range(driver, f'[data-slider-index="{index}"]', PULLED_DB)
                twin.set_cut(index, PULLED_DB)
            elif state() == "quiet":
                time.sleep(2.0)
                if state() == "quiet":
                    break
            time.sleep(0.2)
        assert named in pulled
        assert state() == "quiet"
        # By the criterion it is stable now, or so nearly that it climbs under 5 dB/s.
        assert twin.margin_db() > -0.3
        assert driver.find_element("id", "lamp").get_attribute("data-pattern") == "dark"
        assert named in driver.find_element("id", "recent").text
