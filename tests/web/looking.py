"""What a test sees of a page in a browser, and how it takes hold of it."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from monitor.link.client import LinkClient
from tests.waiting import awaited
from tests.web.screenshots import page_server


@contextmanager
def visited(window: Any, client: LinkClient) -> Iterator[str]:
    """The address of a client's page, for a window that is at no page before and after."""
    with page_server(client) as url:
        window.get("about:blank")
        yield url
        window.get("about:blank")


def script(driver: Any, expression: str) -> Any:
    return driver.execute_script(f"return {expression}")


def text(driver: Any, element_id: str) -> str:
    return str(script(driver, f"document.getElementById('{element_id}').textContent"))


def click(driver: Any, selector: str) -> None:
    driver.execute_script("document.querySelector(arguments[0]).click()", selector)


def tap_on(driver: Any, selector: str) -> None:
    """The second tap on what asks back, when its question can have been read."""
    time.sleep(0.8)
    click(driver, selector)


def click_when_ready(driver: Any, element_id: str) -> None:
    """A tap on a button that has just begun to do another thing, and takes none at once."""
    rests = f"document.getElementById('{element_id}').ariaDisabled"
    awaited(lambda: not script(driver, rests), 10.0)
    click(driver, f"#{element_id}")


def lowest_seen(driver: Any) -> float:
    """The window's lower edge, or the rail's upper one where it stands there."""
    rail = "document.getElementById('rail').getBoundingClientRect()"
    fixed = f"({rail}.bottom >= innerHeight ? {rail}.top : innerHeight)"
    return float(script(driver, fixed))


def state(driver: Any) -> str:
    return str(script(driver, "document.getElementById('state').dataset.state"))


def module(driver: Any, name: str, expression: str) -> Any:
    """Evaluate an expression with a module of the page's own as ``m``."""
    return driver.execute_async_script(
        f"const done = arguments[0];"
        f"import('/static/{name}.js').then((m) => done({expression}), (e) => done(String(e)))"
    )


@contextmanager
def at_the_start(driver: Any, source: str) -> Iterator[None]:
    """Pages that are opened in here run a script before any of their own."""
    add, remove = (f"Page.{do}ScriptToEvaluateOnNewDocument" for do in ("add", "remove"))
    kept = driver.execute_cdp_cmd(add, {"source": source})
    try:
        yield
    finally:
        driver.execute_cdp_cmd(remove, kept)


def press(driver: Any, element_id: str) -> None:
    """A real click, which is what a browser wants before it plays; clear of the rail."""
    element = driver.find_element("id", element_id)
    driver.execute_script("arguments[0].scrollIntoView({ block: 'center' })", element)
    element.click()
