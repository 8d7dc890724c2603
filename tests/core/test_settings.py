"""Settings: defaults, precedence, where each value came from, and every kind of mistake."""

from __future__ import annotations

import dataclasses
import os
import re
import tomllib
from pathlib import Path
from typing import Any, get_type_hints

import pytest

from monitor import places, settings
from monitor.commands.shown_settings import describe
from monitor.errors import SettingsError
from monitor.settings import Settings, default_text, load
from monitor.settings_pins import panel_pins
from monitor.settings_rules import RULES, SPI_PANELS

NOWHERE: dict[str, str] = {"HOME": "/nonexistent"}


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "settings.toml"
    path.write_text(text, encoding="utf-8")
    return path


def problems(path: Path | None, *options: str) -> list[str]:
    with pytest.raises(SettingsError, match=".") as caught:  # never without a word
        load(path, options, environ=NOWHERE)
    return caught.value.problems


def test_defaults_rules_and_classes_hold_the_same_keys() -> None:
    defaults = tomllib.loads(default_text())
    classes = {
        f.name: [g.name for g in dataclasses.fields(get_type_hints(Settings)[f.name])]
        for f in dataclasses.fields(Settings)
    }
    assert {t: list(k) for t, k in defaults.items()} == classes
    assert {t: list(k) for t, k in RULES.items()} == classes


def test_every_default_is_explained() -> None:
    # The line or block above each key must be a comment, or another key of the same comment.
    explained = False
    for line in default_text().splitlines():
        if line.startswith("#"):
            explained = True
        elif not line.strip() or line.startswith("["):
            explained = False
        else:
            assert explained, f"no comment above: {line}"


def test_nothing_set_gives_the_defaults_and_says_so() -> None:
    loaded = load(environ=NOWHERE)
    assert loaded.settings.page.port == 8080
    assert loaded.settings.microphone.rates_hz == (48000, 44100, 32000, 16000)
    assert set(loaded.origins.values()) == {"default"}


def test_file_beats_default_and_option_beats_file(tmp_path: Path) -> None:
    path = write(tmp_path, '[box]\nname = "stage left"\n\n[page]\nport = 8181\nstreams = 3\n')
    loaded = load(path, ["page.port=8182"], environ=NOWHERE)
    assert loaded.settings.box.name == "stage left"
    assert (loaded.settings.page.port, loaded.settings.page.streams) == (8182, 3)
    assert loaded.origins["box.name"] == f"{path}, line 2"
    assert loaded.origins["page.streams"] == f"{path}, line 6"
    assert loaded.origins["page.port"] == "--set"
    assert loaded.origins["page.host"] == "default"


def test_which_file_counts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    system = tmp_path / "etc.toml"
    monkeypatch.setattr(settings, "SYSTEM_FILE", system)
    own = tmp_path / "howl-lantern" / "settings.toml"
    own.parent.mkdir()
    own.touch()
    environ = {"XDG_CONFIG_HOME": str(tmp_path)}
    assert settings.settings_file(None, environ) == own
    system.touch()
    assert settings.settings_file(None, environ) == system
    environ["HOWL_LANTERN_SETTINGS"] = "/by/variable.toml"
    assert settings.settings_file(None, environ) == Path("/by/variable.toml")
    assert settings.settings_file("/given.toml", environ) == Path("/given.toml")


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("box.name=stage left", "stage left"),
        ('box.name="stage left"', "stage left"),
        ("equaliser.kind=10", "10"),
        ("equaliser.kind='10'", "10"),
        ("lamp.enabled=false", False),
        ("panel.address=0x3D", 0x3D),
        ("microphone.rates_hz=[44100]", [44100]),
    ],
)
def test_options_may_lose_their_quotes(option: str, value: Any) -> None:
    loaded = load(None, [option], environ=NOWHERE)
    assert loaded.values[option.partition("=")[0]] == value


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[page]\nprot = 1", "line 2: unknown key prot in [page]; did you mean port?"),
        ("[pgae]\nport = 1", "line 1: unknown table [pgae]; did you mean page?"),
        ("[page]\nxyzzy = 1", "line 2: unknown key xyzzy in [page]; [page] has: host, port"),
        ("port = 1", "line 1: unknown table [port]"),
        ('page = "x"', 'line 1: [page] must be a table, not "x"'),
        (
            '[page]\nport = "80"',
            'line 2: page.port must be a whole number from 1024 to 65535, not "80',
        ),
        ("[page]\n\n# c\nport = 0", "line 4: page.port must be a whole number"),
        ("[page]\nport = 65536", "not 65536"),
        ("[page]\nport = 80", "from 1024 to 65535, not 80"),
        ("[page]\nport = true", "not true"),
        ("[page]\nport = 80.0", "not 80.0"),
        ("[page]\nport = nan", "not nan"),
        ("[lamp]\nenabled = 1", "line 2: lamp.enabled must be true or false, not 1"),
        ("[lamp]\ngpio_pin = 28", "from 0 to 27, not 28"),
        ("[button]\ngpio_pin = -1", "from 0 to 27, not -1"),
        (
            "[button]\nenabled = true\ngpio_pin = 17",
            "button.gpio_pin = 17 is the lamp's pin too; give each a GPIO of its own",
        ),
        ('[listening]\nway = "show"', 'one of "soundcheck", "set", not "show"'),
        ('[listening]\nway = ["set"]', "one of"),
        (
            "[lamp]\ngpio_pin = 3",
            "lamp.gpio_pin = 3 is a pin of the panel (ssd1306 needs GPIO 2, 3)",
        ),
        ("[panel]\nbus = 0\n[lamp]\ngpio_pin = 1", "needs GPIO 0, 1); give the lamp another"),
        (
            '[panel]\ndriver = "st7735"\n[button]\nenabled = true\ngpio_pin = 24',
            "line 5: button.gpio_pin = 24 is a pin of the panel (st7735 needs GPIO 7, 8, 9, 10,",
        ),
        ("[microphone]\nrates_hz = []", "a list of 1 to 8 sample rates"),
        ("[microphone]\nrates_hz = [4000]", "from 8000 to 192000"),
        ('[microphone]\ndevice = ""', "1 to 80 characters"),
        ("[microphone]\nchannel = 0", "from 1 to 64"),
        ('[line]\ndevice = "auto"', 'line.device must be a card\'s name other than "auto"'),
        ("[line]\nchannel = 0", "line.channel must be a whole number from 1 to 64"),
        ("[line]\nrates_hz = [4000]", "from 8000 to 192000"),
        ('[line]\nmeter = "needle"', 'one of "digital", "analogue", not "needle"'),
        ("[line]\nzero_dbfs = 3", "line.zero_dbfs must be a number from -60 to 0, not 3"),
        ("[line]\nlow_cuts = []", "different frequencies from 20 to 500 Hz"),
        ("[line]\nlow_cuts = [80]", "different frequencies from 20 to 500 Hz"),
        ('[line]\nlow_cuts = ["80", "free"]', 'or ["free"], not ["80", "free"]'),
        ('[line]\nlow_cuts = ["80", "80 Hz"]', "different frequencies"),
        ('[line]\nlow_cuts = ["8k"]', "from 20 to 500 Hz"),
        ('[line]\nlow_cuts = "free"', "a list of 1 to 16"),
        ("[line]\nlow_cut_slope_db = 6", "12, 18 or 24, not 6"),
        ("[line]\nlow_cut_slope_db = true", "12, 18 or 24, not true"),
        ('[box]\nname = "a name that is far too long"', "1 to 16 letters"),
        ('[box]\nname = "<b>"', "1 to 16 letters"),
        ('[box]\nname = "   "', "not only spaces"),
        ('[journal]\nfile = "rings.sqlite3"', "a whole path that begins with / or ~/"),
        ('[journal]\nfile = "~ann/rings.sqlite3"', "a whole path that begins with / or ~/"),
        ('[link]\nsocket = "link.sock"', 'of up to 107 bytes, or "", not "link.sock"'),
        (f'[link]\nsocket = "/{"ä" * 100}"', "of up to 107 bytes"),
        (f'[link]\nsocket = "/{"a" * 107}"', "of up to 107 bytes"),
        ("[link]\nsocket = 1", "a whole path"),
        ('[panel]\ndriver = "paper"', 'one of "none", "ssd1306"'),
        ("[panel]\naddress = 0x80", "from 3 to 119"),
        ("[journal]\nkeep_rings = 1", "from 100"),
        ('[equaliser]\nkind = "typed"', "needs the labels"),
        ('[equaliser]\nlabels = ["1k"]', 'only read with kind = "typed"'),
        ('[equaliser]\nkind = "typed"\nlabels = ["1k", "1000"]', "mean the same frequency"),
        ('[equaliser]\nkind = "typed"\nlabels = ["loud"]', '"loud" is not a frequency'),
        ('[equaliser]\nkind = "typed"\nlabels = [1000]', "a list of labels in quotes"),
        ('[equaliser]\nkind = "typed"\nlabels = []', "needs the labels"),
        ('[equaliser]\nkind = "graphic"', 'one of "31", "15"'),
        ("[equaliser]\ndeepest_db = 0", "line 2: equaliser.deepest_db must be a number from 1"),
        ("[equaliser]\ndeepest_db = true", "a number from 1 to 30, not true"),
        ("[equaliser]\nstep_db = nan", "a number from 0.1 to 6, not nan"),
        ("[equaliser]\nstep_db = 3\ndeepest_db = 2", "at most deepest_db, 2"),
        ('[equaliser]\nshape = "round"', 'one of "proportional", "constant"'),
        ("[equaliser]\nfilters = 0", "a whole number from 1 to 16"),
        ('[equaliser]\nfilter_range = ["20k", "20"]', "the lowest and the highest frequency"),
        ('[equaliser]\nfilter_range = ["20"]', "the lowest and the highest frequency"),
        ("[equaliser]\nfilter_q = [10, 1]", "the widest and the narrowest Q"),
        ('[equaliser]\nstrip_low = "deep"', 'like "80" or "2.5k", or "" for none, not "deep"'),
        ('[equaliser]\nstrip_mid = ["5k", "250"]', "the two it is swept between"),
        ("[equaliser]\nstrip_high = 10000", "a frequency in quotes"),
        ("[advice]\nmargin_db = 0", "advice.margin_db must be a number from 0.5 to 12, not 0"),
        ('[advice]\nt60_s = "wet"', '"unknown", "dead", "usual", "live", or seconds from 0.1'),
        ("[advice]\nt60_s = 9", "seconds from 0.1 to 5, not 9"),
        ("[advice]\nt60_s = true", "seconds from 0.1 to 5, not true"),
        ("[advice]\nt60_s = []", "seconds from 0.1 to 5"),
        (
            '[equaliser]\nkind = "strip"\nstrip_high = ""\nstrip_mid = []\nstrip_low = ""\n'
            'strip_low_cut = ""',
            "line 6: equaliser.strip_low_cut: a channel strip needs at least one",
        ),
        ("[page\nport = 1", "not valid TOML"),
        ("[page]\nport = 1\nport = 2", "not valid TOML"),
        ("\x00", "not valid TOML"),
    ],
)
def test_every_mistake_is_named_with_file_and_line(
    tmp_path: Path, text: str, expected: str
) -> None:
    path = write(tmp_path, text)
    found = problems(path)
    assert len(found) == 1
    assert expected in found[0]
    assert str(path) in found[0]
    assert "\n" not in found[0]


@pytest.mark.parametrize("option", [".=1", "page.=1", ".port=1", "=", "page=1"])
def test_an_option_needs_table_and_key(option: str) -> None:
    (found,) = problems(None, option)
    assert found == f"--set {option}: table.key=value expected, like page.port=8081"


@pytest.mark.parametrize(
    "option",
    [
        "page.port=" + "9" * 5000,
        "page.port=0x" + "f" * 5000,
        "equaliser.kind=0x" + "f" * 5000,
        "page.host=one\ntwo",
        "x" * 5000,
    ],
)
def test_what_is_said_of_an_option_is_one_short_line(option: str) -> None:
    (found,) = problems(None, option)
    assert found.startswith("--set ")
    assert "\n" not in found
    assert len(found) < 300


def test_a_pin_given_twice_is_blamed_on_what_was_set(tmp_path: Path) -> None:
    path = write(tmp_path, "[button]\nenabled = true\n[lamp]\ngpio_pin = 26\n")
    (found,) = problems(path)
    assert found.startswith(f"{path}, line 4: button.gpio_pin = 26 is the lamp's pin too")
    (found,) = problems(None, "panel.driver=st7735", "panel.bus=1", "lamp.gpio_pin=24")
    assert found.startswith("--set: lamp.gpio_pin = 24 is a pin of the panel")


def test_all_mistakes_are_reported_at_once(tmp_path: Path) -> None:
    path = write(tmp_path, '[page]\nport = 0\n[lamp]\nenabled = "yes"\n[foo]\n')
    found = problems(path, "box.nmae=x", "nonsense")
    assert len(found) == 5
    assert "did you mean name?" in found[3]
    assert "table.key=value expected" in found[4]


@pytest.mark.parametrize(
    ("make", "expected"),
    [
        (lambda p: p.mkdir(), "this is a folder, a TOML file is expected"),
        (lambda p: None, "there is no such file"),
        (lambda p: p.write_bytes(b"\xff\xfe\x00"), "not a text file in UTF-8"),
        (lambda p: p.symlink_to(p), "cannot read the settings"),
    ],
)
def test_files_that_cannot_be_read(tmp_path: Path, make: Any, expected: str) -> None:
    path = tmp_path / "settings.toml"
    make(path)
    (found,) = problems(path)
    assert found.startswith(str(path))
    assert expected in found


def test_a_file_without_the_right_to_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # The tests may run as root, whom no mode keeps out; so the refusal is played.
    path = write(tmp_path, "")

    def refuse(*_: Any, **__: Any) -> str:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(SettingsError, match="no right to read it"):
        settings._read_text(path)


def test_description_is_toml_that_gives_the_same_settings(tmp_path: Path) -> None:
    path = write(tmp_path, '[equaliser]\nkind = "typed"\nlabels = ["3k3", "1k"]\n')
    loaded = load(path, ["lamp.enabled=false"], environ=NOWHERE)
    text = describe(loaded)
    again = load(write(tmp_path, text), environ=NOWHERE)
    assert again.settings == loaded.settings
    assert re.search(rf'labels = \["3k3", "1k"\] +# {re.escape(str(path))}, line 3', text)
    assert re.search(r"enabled = false +# --set", text)


# --- places ----------------------------------------------------------------------------------


def test_places_of_the_service(monkeypatch: pytest.MonkeyPatch) -> None:
    own = load(environ=NOWHERE).settings
    service = {"RUNTIME_DIRECTORY": "/run/x", "STATE_DIRECTORY": "/var/lib/x"}
    assert places.socket_path(own, service) == Path("/run/x/link.sock")
    assert places.journal_path(own, service) == Path("/var/lib/x/journal.sqlite3")


def test_places_of_a_person(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(places, "RUN_FOLDER", tmp_path / "no-run")
    monkeypatch.setattr(places, "STATE_FOLDER", tmp_path / "no-state")
    own = load(environ=NOWHERE).settings
    person = {"HOME": "/h", "XDG_RUNTIME_DIR": "/r"}
    assert places.socket_path(own, person) == Path("/r/howl-lantern/link.sock")
    assert places.journal_path(own, person) == Path("/h/.local/state/howl-lantern/journal.sqlite3")
    person = {"XDG_STATE_HOME": "/s"}
    assert places.socket_path(own, person) == Path("/s/howl-lantern/link.sock")
    # The page of an installed box finds the watcher's socket without being told.
    (tmp_path / "no-run").mkdir()
    assert places.socket_path(own, person) == tmp_path / "no-run" / "link.sock"


def test_what_is_read_is_the_service_s_on_an_installed_box(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(places, "STATE_FOLDER", tmp_path / "service")
    settings, person = load(environ=NOWHERE).settings, {"XDG_STATE_HOME": str(tmp_path / "own")}
    own = tmp_path / "own" / "howl-lantern" / "journal.sqlite3"
    assert places.kept_journal_path(settings, person) == own
    (tmp_path / "service").mkdir()
    monkeypatch.setattr(os, "access", lambda *_: False)  # not this person's to write
    assert places.journal_path(settings, person) == own
    service = tmp_path / "service" / "journal.sqlite3"
    assert places.kept_journal_path(settings, person) == service
    # Who has one of their own, from a watcher at their terminal, means that.
    own.parent.mkdir(parents=True)
    own.touch()
    assert places.kept_journal_path(settings, person) == own
    set_ = load(None, ["journal.file=/c/d.db"], environ=NOWHERE).settings
    assert places.kept_journal_path(set_, person) == Path("/c/d.db")


def test_a_place_may_be_in_one_s_home_and_as_long_as_a_socket_takes() -> None:
    longest = "/" + "a" * 106  # sun_path of unix(7): 108 bytes with the final zero
    options = [f"link.socket={longest}", "journal.file=~/rings.sqlite3"]
    own = load(None, options, environ=NOWHERE).settings
    assert places.socket_path(own, {}) == Path(longest)
    assert places.journal_path(own, {}) == Path.home() / "rings.sqlite3"


def test_places_that_are_set(monkeypatch: pytest.MonkeyPatch) -> None:
    own = load(None, ["link.socket=/a/b.sock", "journal.file=/c/d.db"], environ=NOWHERE).settings
    assert places.socket_path(own, {"RUNTIME_DIRECTORY": "/x"}) == Path("/a/b.sock")
    assert places.journal_path(own, {"STATE_DIRECTORY": "/x"}) == Path("/c/d.db")
    assert os.fspath(places.socket_path(own, {})) == "/a/b.sock"


def test_displays_that_may_be_set_are_those_that_there_are() -> None:
    from firmware.panel import LCD_DRIVERS, OLED_DRIVERS

    check = RULES["panel"]["driver"].check
    assert all(check(driver) for driver in ("none", *OLED_DRIVERS, *LCD_DRIVERS))
    assert len(settings_drivers()) == 1 + len(OLED_DRIVERS) + len(LCD_DRIVERS)
    assert SPI_PANELS == LCD_DRIVERS


def test_a_display_on_spi_is_on_the_first_port_where_none_is_set() -> None:
    spi = ["panel.driver=st7735"]
    assert load(environ=NOWHERE).settings.panel.bus == 1
    assert load(None, spi, environ=NOWHERE).settings.panel.bus == 0
    assert load(None, [*spi, "panel.bus=1"], environ=NOWHERE).settings.panel.bus == 1


@pytest.mark.parametrize(
    "options",
    [
        ["lamp.gpio_pin=2", "panel.driver=none"],
        ["lamp.gpio_pin=2", "lamp.enabled=false"],
        ["button.gpio_pin=2"],  # it is off
        ["lamp.gpio_pin=2", "panel.bus=3"],  # a bus that is made on pins of one's choice
        ["lamp.gpio_pin=2", "panel.driver=st7735"],
        ["lamp.gpio_pin=24"],
    ],
)
def test_a_pin_that_the_panel_does_not_need_is_free(options: list[str]) -> None:
    assert load(None, options, environ=NOWHERE).settings


def test_the_pins_beside_spi_are_those_of_the_display_library() -> None:
    import inspect

    from luma.core.interface.serial import spi
    from luma.lcd.device import backlit_device

    bus, light = (inspect.signature(one.__init__).parameters for one in (spi, backlit_device))
    theirs = {bus["gpio_DC"].default, bus["gpio_RST"].default, light["gpio_LIGHT"].default}
    assert theirs <= {*panel_pins("st7735", 0)}


def settings_drivers() -> list[str]:
    return re.findall(r'"(\w+)"', RULES["panel"]["driver"].expected)


@pytest.mark.parametrize(
    ("option", "t60_s"),
    [("unknown", None), ("dead", 0.3), ("usual", 0.6), ("live", 1.2), ("0.45", 0.45), ("1", 1.0)],
)
def test_what_is_known_of_the_room_is_a_word_or_seconds(option: str, t60_s: float | None) -> None:
    loaded = load(None, [f"advice.t60_s={option}"], environ=NOWHERE)
    assert loaded.settings.advice.known_t60_s == t60_s
    assert loaded.settings.advice.margin_db == 3.0


@pytest.mark.parametrize(
    ("option", "cuts_hz"),
    [('["120", "80"]', (80.0, 120.0)), ('["free"]', ()), ('["0.1k"]', (100.0,))],
)
def test_the_low_cuts_of_a_desk_in_hz(option: str, cuts_hz: tuple[float, ...]) -> None:
    line = load(None, [f"line.low_cuts={option}"], environ=NOWHERE).settings.line
    assert line.low_cuts_hz == cuts_hz
    assert (line.device, line.meter, line.zero_dbfs) == ("", "digital", -18.0)
