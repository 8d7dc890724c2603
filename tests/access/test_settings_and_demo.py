"""Who may change things, by the settings: on a box, and in the demo."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.commands.shown_settings import describe
from monitor.demo import is_this_machine, print_code, with_own_defaults
from monitor.errors import SettingsError
from monitor.settings import Loaded, load

NOWHERE = {"HOME": "/nonexistent"}


def loaded(*options: str) -> Loaded:
    return load(None, options, environ=NOWHERE)


def test_a_box_asks_for_a_fresh_code() -> None:
    access = loaded().settings.access
    assert (access.control, access.code) == ("code", "")


@pytest.mark.parametrize("code", ["12345", "1234567", "12345x", "١٢٣٤٥٦", " 12345"])
def test_a_code_of_one_s_own_is_six_digits(tmp_path: Path, code: str) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(f'[access]\ncode = "{code}"\n', encoding="utf-8")
    with pytest.raises(SettingsError, match=r"line 2: access\.code must be six digits"):
        load(path, environ=NOWHERE)


def test_a_code_keeps_its_zeros(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text('[access]\ncode = "000042"\n', encoding="utf-8")
    assert load(path, environ=NOWHERE).settings.access.code == "000042"
    with pytest.raises(SettingsError, match=r"access\.code must be six digits in quotes"):
        loaded("access.code=123456")  # a number: who wrote 000042 so would have lost its zeros


def test_the_settings_are_printed_without_the_code() -> None:
    printed = describe(loaded('access.code="424242"'))
    assert "424242" not in printed
    assert 'code = "......"' in printed
    assert 'code = ""' in describe(loaded())


@pytest.mark.parametrize(
    ("options", "host", "control"),
    [
        ((), "127.0.0.1", "open"),
        (("page.host=0.0.0.0",), "0.0.0.0", "code"),
        (("page.host=::1",), "::1", "open"),
        (("page.host=localhost",), "localhost", "open"),
        (("access.control=code",), "127.0.0.1", "code"),
        (("page.host=0.0.0.0", "access.control=open"), "0.0.0.0", "open"),
        (("access.control=off",), "127.0.0.1", "off"),
    ],
)
def test_the_demo_is_open_where_nobody_else_can_reach_it(
    options: tuple[str, ...], host: str, control: str
) -> None:
    settings = with_own_defaults(loaded(*options))
    assert (settings.page.host, settings.access.control) == (host, control)


@pytest.mark.parametrize("host", ["", "0.0.0.0", "::", "192.168.4.1", "lantern.local"])
def test_every_other_host_is_a_network(host: str) -> None:
    assert not is_this_machine(host)


def test_the_demo_says_the_code_in_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    print_code("042817")
    assert "042 817" in capsys.readouterr().out
