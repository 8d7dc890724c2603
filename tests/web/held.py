"""Answers that a test holds back in the browser, and lets go in an order of its own."""

from __future__ import annotations

from typing import Any

from tests.waiting import awaited
from tests.web.looking import script

_HOLD = """
if (!window.heldAnswers) {
  const real = window.fetch;
  window.heldAnswers = [];
  window.heldPaths = new Set();
  window.fetch = async (path, options) => {
    const got = await real(path, options);
    if (!window.heldPaths.has(String(path).split("?")[0])) return got;
    return new Promise((done) => { window.heldAnswers.push(() => done(got)); });
  };
}
window.heldPaths.add(arguments[0]);
"""


def hold(driver: Any, path: str) -> None:
    """From now on answers at this path come to the page no sooner than they are let go."""
    driver.execute_script(_HOLD, path)


def held(driver: Any, count: int) -> None:
    """Wait until so many answers have come to the browser and are held."""
    awaited(lambda: script(driver, "window.heldAnswers.length") >= count, 10.0, f"{count} answers")


def let_go(driver: Any) -> None:
    """Let the page have the newest of those that are held."""
    driver.execute_script("window.heldAnswers.pop()()")


def hold_no_more(driver: Any) -> None:
    """Let the page have all that is held, the newest first, and all that comes."""
    driver.execute_script(
        "window.heldPaths.clear(); window.heldAnswers.splice(0).reverse().forEach((go) => go())"
    )


def shown_again(driver: Any) -> None:
    """Wait until the page has followed another snapshot."""
    driver.execute_script(
        "window.followed = 0; import('/static/feed.js').then((m) => m.follow(() => followed++))"
    )
    assert awaited(lambda: script(driver, "window.followed") > 2, 10.0)
