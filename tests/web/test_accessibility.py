"""WCAG 2.2, A and AA: what a program can find, and what has to be walked through.

The rules are axe-core's (bundled in the package axe-core-python); its 4.4 knows WCAG up to 2.1, so
that the size of targets, new in 2.2 (2.5.8), is measured here, against our own larger 44 px.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser import browser
from tests.waiting import awaited
from tests.web.conftest import DESK, PHONE
from tests.web.kept import HERON, KeptClient
from tests.web.looking import script, text
from tests.web.screenshots import page_server
from tests.web.states import STATES

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]
LEAST_PX = 44

RUN = """
const done = arguments[arguments.length - 1];
axe.run(document, { runOnly: arguments[0], resultTypes: ['violations'] })
  .then((r) => done(r.violations.map((v) => [v.id, v.nodes.map((n) => n.html.slice(0, 160)
    + ' | ' + n.any.concat(n.all, n.none).map((c) => c.message).join('; '))])))
  .catch((error) => done([['axe', [String(error)]]]));
"""
TARGETS = """
return [...document.querySelectorAll('a[href], button, input, select, summary, [role=button]')]
  .filter((e) => e.checkVisibility({ visibilityProperty: true }) && !e.closest('.unseen, svg'))
  .map((e) => {
    // What is tapped: the label too, where the input stands in it.
    const one = (['radio', 'checkbox'].includes(e.type) && e.closest('label')) || e;
    const { width, height } = one.getBoundingClientRect();
    return [e.outerHTML.slice(0, 90), width, height];
  })
  .filter(([, width, height]) => width > 0 && Math.min(width, height) < arguments[0] - 0.5);
"""

STATE = "document.getElementById('state').dataset.state"
OPEN = "!!document.querySelector('dialog[open], #who[open], #memory-bands [open]')"
ARRIVED = {
    "place": "document.querySelector('#plan .thing')",
    "after": "document.querySelector('#af-timeline svg') && document.querySelector('#venues li')",
    "ears": "document.querySelector('#ears-levels input')",
    "practice": "document.querySelector('#placements input')",
}

Step = Callable[[Any, KeptClient], None]


def _nothing(_driver: Any, _box: KeptClient) -> None:
    pass


def _opened(selector: str) -> Step:
    def step(driver: Any, _box: KeptClient) -> None:
        driver.execute_script(
            "const e = document.querySelector(arguments[0]);"
            "if (e.tagName === 'DETAILS') e.open = true; else e.click()",
            selector,
        )

    return step


SHOWN: dict[str, tuple[str, str, Step]] = {
    # name: the room, the state of the box, what is done then
    "quiet": ("set", "quiet", _nothing),
    "howl": ("set", "howl", _nothing),
    "ringing": ("set", "ringing", _nothing),
    "three": ("set", "three", _nothing),
    "advised": ("set", "advised", _nothing),
    "deaf": ("set", "deaf", _nothing),
    "who": ("set", "quiet", _opened("#who")),
    "venue": ("set", "quiet", _opened("#gig-venue")),
    "place": ("place", "quiet", _nothing),
    "level": ("level", "quiet", _nothing),
    "ring-out": ("ring-out", "quiet", _nothing),
    "ring-out pull": ("ring-out", "ring-out pull", _nothing),
    "ring-out done": ("ring-out", "ring-out done", _nothing),
    "after": ("after", "quiet", _opened("#memory-bands details")),
    "practice": ("practice", "demo", _nothing),
    "ears": ("ears", "demo", _nothing),
}


def _axe_file() -> Path:
    axe = pytest.importorskip("axe_core_python", reason="pip install axe-core-python")
    return Path(axe.__file__).parent / "axe.min.js"


@pytest.fixture(
    scope="module",
    params=[(*PHONE, True), (*DESK, False)],
    ids=["phone-night", "desk-day"],
)
def eye(request: pytest.FixtureRequest) -> Iterator[Any]:
    """A browser of each size and each light, into which the rules are put.

    No ink depends on the window, so that two of the four say all.
    """
    axe = _axe_file().read_text(encoding="utf-8")
    width, height, night = request.param
    with browser(width, height, night=night) as driver:
        # The page's own policy would keep the rules out.
        driver.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
        driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": axe})
        yield driver


@pytest.fixture
def box() -> Iterator[KeptClient]:
    client = KeptClient(control="code")
    client.venue = HERON
    yield client
    client.close()


def found(driver: Any, name: str) -> list[Any]:
    return [[name, *one] for one in driver.execute_async_script(RUN, TAGS)]


def enter(driver: Any, url: str, box: KeptClient, name: str) -> None:
    """Bring the page to a room and a state; loaded anew only where something was opened."""
    room, state, step = SHOWN[name]
    box.base = STATES[state]
    if driver.current_url.startswith(url) and not script(driver, OPEN):
        driver.execute_script(f"location.hash = '#{room}'")
    else:
        driver.get("about:blank")
        driver.get(f"{url}#{room}")
    # The state is known only to a page that has been fed.
    wanted = STATES[state]["state"]
    for expression, value in ((STATE, wanted), ("document.body.dataset.room", room)):
        assert awaited(lambda: script(driver, expression) == value, 10.0), name  # noqa: B023
    arrived = ARRIVED.get(room, "true")
    assert awaited(lambda: bool(script(driver, arrived)), 20.0), name
    step(driver, box)
    time.sleep(0.5)  # what a step asks for has come


def test_no_rule_is_broken_in_any_room_or_state(eye: Any, box: KeptClient) -> None:
    broken, small, wide = [], [], []
    with page_server(box) as url:
        for name in SHOWN:
            enter(eye, url, box, name)
            broken += found(eye, name)
            small += [[name, *one] for one in eye.execute_script(TARGETS, LEAST_PX)]
            wide += (
                [name] if script(eye, "document.documentElement.scrollWidth > innerWidth") else []
            )
        # The digits' sheet, the stale page and the page without a box.
        enter(eye, url, box, "quiet")
        eye.execute_script("document.getElementById('gig-song').click()")
        sheet = "document.getElementById('pair-sheet').open"
        assert awaited(lambda: bool(script(eye, sheet)), 10.0)
        broken += found(eye, "pairing")
        small += [["pairing", *one] for one in eye.execute_script(TARGETS, LEAST_PX)]
        enter(eye, url, box, "howl")
        box.gone = True
        assert awaited(lambda: script(eye, "document.body.dataset.fresh") == "no", 15.0)
        broken += found(eye, "stale")
        eye.refresh()
        assert awaited(lambda: text(eye, "band") == "no box", 15.0)
        broken += found(eye, "gone")
        eye.get("about:blank")
        box.close()
    assert broken == []
    assert small == []
    assert wide == []


def test_the_rules_do_find_something(eye: Any, box: KeptClient) -> None:
    """A breach of each kind, so that an empty list above means something."""
    with page_server(box) as url:
        enter(eye, url, box, "quiet")
        eye.execute_script(
            "document.getElementById('gig-words').style.color = '#777';"
            "document.getElementById('gig-words').style.background = '#888';"
            "document.getElementById('theme').removeAttribute('aria-label');"
            "document.getElementById('theme').textContent = '';"
            "document.getElementById('gig-song').style = 'min-height:20px;height:20px'"
        )
        rules = {rule for _, rule, _ in found(eye, "planted")}
        assert {"color-contrast", "button-name"} <= rules
        assert any("gig-song" in html for html, *_ in eye.execute_script(TARGETS, LEAST_PX))
        eye.get("about:blank")
        box.close()
