"""A page with a real door behind it, and people at addresses who come to it."""

from __future__ import annotations

import queue
from pathlib import Path
from typing import Any

from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from monitor.access.clerk import AccessClerk
from monitor.access.doorkeeper import Doorkeeper
from monitor.kept_file import KeptFile
from monitor.link.commands import check_command
from tests.web.screenshots import StillClient
from tests.web.states import STATES
from web.app import create_app
from web.doors import COOKIE

CODE = "042817"
OF_THE_DOOR = ("pair_ask", "pair", "key_check", "phones", "unpair")
MUSICIAN, STRANGER = "192.168.4.7", "192.168.4.66"


class DoorClient(StillClient):
    """A link whose watcher has a real door; every other command is done and noted."""

    def __init__(self, folder: Path, control: Any, fixed_code: str = "") -> None:
        super().__init__()
        self.clerk = AccessClerk(
            KeptFile(folder / "access.json", key="access", what="who is paired", private=True),
            Doorkeeper(control, fixed_code, make_code=lambda: CODE),
        )
        self.clerk.wait_until_begun(10.0)
        self.clerk.hindrance = ""
        self.checks = 0
        self.see()

    def see(self) -> None:
        """Have the next snapshot come."""
        self.hold({**STATES["quiet"], "access": self.clerk.fields()})

    def request(self, command: Any, timeout_s: float = 2.0) -> dict[str, Any]:
        checked = check_command(dict(command))
        self.asked.append(checked)
        self.checks += checked["class"] == "key_check"
        if checked["class"] not in OF_THE_DOOR:
            return {"class": "done"}
        answers: queue.Queue[dict[str, Any]] = queue.Queue()
        self.clerk.ask(checked, lambda answer: answers.put(dict(answer)))
        return answers.get(timeout=10.0)

    @property
    def changes(self) -> list[dict[str, Any]]:
        """What has reached the watcher but questions at the door."""
        return [each for each in self.asked if each["class"] not in OF_THE_DOOR]


class Person:
    """A phone or a program at an address, with its own cookies."""

    def __init__(self, app: Flask, address: str) -> None:
        self.client: FlaskClient = app.test_client()
        self._environ = {"REMOTE_ADDR": address}

    def post(self, path: str, body: Any = None, **more: Any) -> TestResponse:
        more = {"json": {} if body is None else body} | more
        return self.client.post(f"/api/v1{path}", environ_overrides=self._environ, **more)

    def get(self, path: str) -> TestResponse:
        return self.client.get(path, environ_overrides=self._environ)

    def way(self, **more: Any) -> int:
        """Try to change something."""
        return self.post("/way", {"way": "set"}, **more).status_code

    def key(self) -> str:
        cookie = self.client.get_cookie(COOKIE)
        return "" if cookie is None else cookie.value

    def pair(self, code: str = CODE, name: str = "phone") -> TestResponse:
        self.post("/pair/ask")
        return self.post("/pair", {"code": code, "name": name})


class House:
    """The application, its watcher's door, and whoever comes."""

    def __init__(self, folder: Path, control: str = "code", fixed_code: str = "") -> None:
        self.link = DoorClient(folder, control, fixed_code)
        self.app = create_app(self.link, max_streams=2)

    def at(self, address: str) -> Person:
        return Person(self.app, address)

    def paired(self, address: str = MUSICIAN) -> Person:
        person = self.at(address)
        assert person.pair().status_code == 200
        self.link.see()
        return person

    def close(self) -> None:
        self.link.close()
        self.link.clerk.close()
