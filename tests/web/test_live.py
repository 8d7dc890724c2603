"""The live page: rings at once, the true age of what is shown, and a connection that comes back."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import pytest

from tests.waiting import awaited
from tests.web.looking import script, state, text
from tests.web.relay import Relay, relayed
from tests.web.screenshots import StillClient, page_server
from tests.web.states import STATES, cut, pull, ring

RING = {**ring(2480.3, ringing_for_s=0.1, id=31), "class": "ring", "event": "howl"}

WATCH = """
window.bands = [];
const band = document.getElementById('band');
new MutationObserver(() => window.bands.push([band.textContent,
  document.getElementById('slider').textContent])).observe(band, { childList: true });
"""


@pytest.fixture
def live(window: Any, link: StillClient) -> Iterator[tuple[Relay, Any]]:
    """A page whose connection can be frozen and cut."""
    link.hold(STATES["quiet"])
    with page_server(link) as url, relayed(url) as (relay, through):
        window.get("about:blank")
        window.get(through)
        assert awaited(lambda: text(window, "band") == "quiet", 10.0)
        yield relay, window
        window.get("about:blank")
        link.close()


def fresh(driver: Any) -> bool:
    return bool(script(driver, "document.body.dataset.fresh === 'yes'"))


def keep(link: StillClient, name: str, until: Any, within_s: float) -> bool:
    """Send news as a watcher does, until something is so."""
    stop = time.monotonic() + within_s
    while time.monotonic() < stop:
        link.hold(STATES[name])
        if until():
            return True
        time.sleep(0.1)
    return bool(until())


def test_a_ring_is_shown_before_the_snapshot_that_has_it_and_goes_with_the_next(
    live: tuple[Relay, Any], link: StillClient
) -> None:
    _, page = live
    old = {**STATES["quiet"], "advice": {"line": "pull 315 by 3", "pulls": []}}
    link.hold(old)
    page.execute_script(WATCH)
    link.announce(RING)
    # What was advised before was for another ring.
    shown = ["2.5k", "pull 2.5k"]
    assert awaited(lambda: shown in script(page, "window.bands"), 10.0)
    assert keep(link, "quiet", lambda: text(page, "band") == "quiet", 10.0)


def test_a_howl_comes_first_though_another_rang_before(live: tuple[Relay, Any]) -> None:
    _, page = live
    first = {"id": 1, "degree": "ringing", "band": "315"}
    second = {**first, "id": 2, "band": "500"}
    snapshot = {"rings": [first, second], "advice": {"line": "pull 315 by 4"}, "state": "ringing"}

    def with_ring(fields: dict[str, Any]) -> dict[str, Any]:
        made: dict[str, Any] = page.execute_async_script(
            "const [snapshot, ring, done] = arguments;"
            "import('/static/feed.js').then((m) => done(m.withRing(snapshot, ring)))",
            snapshot,
            {"class": "ring", **fields},
        )
        return made

    howling = with_ring({**second, "event": "howl", "degree": "howl"})
    assert [ring["band"] for ring in howling["rings"]] == ["500", "315"]
    assert howling["state"] == "howl"
    assert "advice" not in howling, "it was for the other one"
    third = with_ring({**first, "event": "ringing", "id": 3, "band": "80"})
    assert [ring["band"] for ring in third["rings"]] == ["315", "500", "80"]
    assert third["advice"] == snapshot["advice"]


def ages(driver: Any, steps: str) -> Any:
    """Run steps on a fresh instance of the page's own reckoning of age."""
    return driver.execute_async_script(
        "const done = arguments[arguments.length - 1];"
        f"import('/static/age.js?{time.monotonic_ns()}').then((age) => {{ {steps} }})"
        ".catch((error) => done(String(error)));"
    )


def test_what_waited_on_the_way_is_as_old_as_it_is(live: tuple[Relay, Any]) -> None:
    _, page = live
    delays = ages(
        page,
        # Sent at 100, 101, ... by the server's clock, 1 s apart; the fourth waits for 5 s.
        "done([[100, 10], [101, 11.02], [102, 12], [103, 18], [108, 18.1], [109, 19]]"
        ".map(([sent, now]) => age.delayOf(sent, now)))",
    )
    assert delays == pytest.approx([0.0, 0.02, 0.0, 5.0, 0.1, 0.0], abs=0.02)


def test_what_was_overtaken_is_not_news_and_a_clock_that_begins_anew_is(
    live: tuple[Relay, Any],
) -> None:
    _, page = live
    delays = ages(
        page, "done([[100, 10], [101, 11], [100.5, 11.1], [3, 12]].map((x) => age.delayOf(...x)))"
    )
    assert delays == [0, 0, None, 0]


def test_two_clocks_that_drift_apart_do_not_make_it_old(live: tuple[Relay, Any]) -> None:
    """Three hours with the phone's clock 100 ppm fast: 1.1 s at the end if it were not followed."""
    _, page = live
    last = ages(
        page, "let d; for (let s = 0; s < 10800; s += 1) d = age.delayOf(s, s * 1.0001); done(d)"
    )
    assert last < 0.01


def test_a_phone_that_slept_knows_how_long(live: tuple[Relay, Any]) -> None:
    """Some devices stop the page's running clock while they sleep; wall time goes on."""
    _, page = live
    age_s = ages(
        page,
        "age.hear({ sent_s: 5, age_s: 0.1, snapshot: { audio_age_s: 0.1 } });"
        "const real = Date.now; Date.now = () => real() + 3600000;"
        "const s = age.ageS(); Date.now = real; done(s)",
    )
    assert age_s == pytest.approx(3600.2, abs=2.0)


def test_nothing_is_live_while_the_wifi_is_gone_and_it_comes_back(
    live: tuple[Relay, Any], link: StillClient
) -> None:
    relay, page = live
    assert keep(link, "quiet", lambda: fresh(page), 10.0)
    relay.freeze()
    assert keep(link, "howl", lambda: not fresh(page), 15.0)
    assert text(page, "band") == "quiet"  # what was known, and said to be old
    assert "old" in text(page, "age")
    relay.thaw()
    assert keep(link, "howl", lambda: state(page) == "howl" and fresh(page), 30.0)


def test_a_stream_that_is_cut_is_taken_up_again(live: tuple[Relay, Any], link: StillClient) -> None:
    relay, page = live
    relay.cut()
    assert keep(link, "howl", lambda: state(page) == "howl" and fresh(page), 20.0)


def test_a_page_without_a_stream_polls(window: Any, link: StillClient) -> None:
    link.hold(STATES["quiet"])
    with page_server(link, max_streams=0) as url:
        window.get("about:blank")
        window.get(url)
        assert keep(link, "quiet", lambda: text(window, "band") == "quiet", 10.0)
        assert keep(link, "howl", lambda: text(window, "band") == "2.5k", 10.0)
        window.get("about:blank")
        link.close()


def test_a_ring_stays_marked_for_some_seconds_on_the_third_octaves(
    live: tuple[Relay, Any], link: StillClient
) -> None:
    _, page = live
    link.hold(STATES["howl"])
    marks = "document.querySelectorAll('#levels .held:not(.was)').length"
    assert awaited(lambda: script(page, marks) == 1, 10.0)
    just = ring(2480.3, "howl", lasted_s=2.4, ended_ago_s=3.0)
    link.hold({**STATES["quiet"], "recent": [just]})
    was = "document.querySelectorAll('#levels .held.was').length"
    assert awaited(lambda: script(page, was) == 1, 10.0)
    label = "document.getElementById('levels').getAttribute('aria-label')"
    assert "rang just now: 2.5k" in script(page, label)
    link.hold({**STATES["quiet"], "recent": [{**just, "ended_ago_s": 30.0}]})
    assert awaited(lambda: script(page, was) == 0, 10.0)


def test_the_slider_to_pull_is_marked_by_shape_and_word_among_those_that_stand(
    live: tuple[Relay, Any], link: StillClient
) -> None:
    _, page = live
    link.hold(
        {
            **STATES["howl"],
            "standing": [cut("315", -4.0)],
            "advice": {"line": "pull 2.5k by 4", "pulls": [pull("2.5k", 4.0, 4.0)]},
        }
    )
    assert awaited(lambda: text(page, "slider") == "pull 2.5k by 4", 10.0)
    shapes = "[...document.querySelectorAll('#sliders .wedge')].length"
    assert script(page, shapes) == 1
    named = "document.querySelector('#sliders .named').textContent"
    assert script(page, named) == "2.5k"
    assert script(page, "document.querySelectorAll('#sliders .pulled').length") == 1


def test_the_largest_type_is_what_the_hand_looks_for(
    live: tuple[Relay, Any], link: StillClient
) -> None:
    """On fewer than 31 bands, or a parametric, what rings often has no slider of its own name."""
    _, page = live
    sizes = (
        "['band', 'slider'].map((id) =>"
        " parseFloat(getComputedStyle(document.getElementById(id)).fontSize))"
    )

    def told(label: str) -> list[float]:
        line = f"pull {label} by 4"
        pulls = [pull(label, 4.0, 4.0)]
        link.hold({**STATES["howl"], "advice": {"line": line, "pulls": pulls}})
        assert awaited(lambda: text(page, "slider") == line, 10.0)
        return list(script(page, sizes))

    band, slider = told("2.5k")
    other_band, other_slider = told("2k")
    assert other_band < 0.7 * band
    assert other_slider > 1.2 * slider


def test_a_journal_that_cannot_write_is_said_where_it_is_seen(
    live: tuple[Relay, Any], link: StillClient
) -> None:
    _, page = live
    assert script(page, "document.getElementById('trouble').hidden")
    link.hold({**STATES["quiet"], "journal": {"health": "the disk is full"}})
    assert awaited(lambda: "journal: the disk is full" in text(page, "trouble"), 10.0)
    link.hold(STATES["quiet"])
    assert awaited(lambda: bool(script(page, "document.getElementById('trouble').hidden")), 10.0)


def test_the_way_is_changed_on_a_box_too(live: tuple[Relay, Any], link: StillClient) -> None:
    _, page = live
    page.execute_script("document.querySelector('#ways input[value=soundcheck]').click()")
    assert awaited(lambda: {"class": "way", "way": "soundcheck"} in link.asked, 10.0), link.asked
    link.hold({**STATES["quiet"], "way": "soundcheck"})
    assert awaited(lambda: text(page, "way") == "listens: soundcheck", 10.0)
