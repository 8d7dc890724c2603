"""The settings: one TOML file over packaged defaults, typed, checked, and traceable.

Precedence, lowest first: ``monitor/defaults.toml``, one settings file, ``--set table.key=value``.
A wrong setting is never passed over: all problems are reported together, each with its file,
line and key and what was expected, and nothing starts.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from importlib import resources
from pathlib import Path
from typing import Any, Literal, get_type_hints

from monitor.advice.choice import EqualiserChoice
from monitor.advice.labels import parse_frequency
from monitor.errors import SettingsError
from monitor.input_file import read_within
from monitor.placing.stage_file import REVERBERATION_S
from monitor.settings_pins import pin_problems, usual_bus
from monitor.settings_reader import PACKAGED, Reader, as_tuples
from monitor.settings_rules import FREE, RULES

SYSTEM_FILE = Path("/etc/howl-lantern/settings.toml")
LARGEST_FILE_BYTES = 1_000_000
FILE_VARIABLE = "HOWL_LANTERN_SETTINGS"


@dataclass(frozen=True, slots=True)
class Box:
    """What the box is called."""

    name: str


@dataclass(frozen=True, slots=True)
class Microphone:
    """Where the sound comes from; ``channel`` counts from 1."""

    device: str
    channel: int
    rates_hz: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """A line from the desk, empty ``device`` for none, and what its channel's meter counts in."""

    device: str
    channel: int
    rates_hz: tuple[int, ...]
    meter: Literal["digital", "analogue"]
    zero_dbfs: float
    low_cuts: tuple[str, ...]
    low_cut_slope_db: int

    @property
    def low_cuts_hz(self) -> tuple[float, ...]:
        """The low cut's frequencies, lowest first; none where it can be turned to any."""
        return (
            () if self.low_cuts == (FREE,) else tuple(sorted(map(parse_frequency, self.low_cuts)))
        )


@dataclass(frozen=True, slots=True)
class Listening:
    """How to listen at the start."""

    way: Literal["soundcheck", "set"]


@dataclass(frozen=True, slots=True)
class AdviceChoice:
    """How much margin is wanted, and what is known of the room's reverberation."""

    margin_db: float
    t60_s: str | float

    @property
    def known_t60_s(self) -> float | None:
        """The reverberation time in s, None if nobody knows it."""
        return REVERBERATION_S.get(self.t60_s) if isinstance(self.t60_s, str) else float(self.t60_s)


@dataclass(frozen=True, slots=True)
class LampChoice:
    """The LED."""

    enabled: bool
    gpio_pin: int


@dataclass(frozen=True, slots=True)
class ButtonChoice:
    """The optional button."""

    enabled: bool
    gpio_pin: int


@dataclass(frozen=True, slots=True)
class PanelChoice:
    """The display; ``rotate`` counts quarter turns."""

    driver: str
    bus: int
    address: int
    width: int
    height: int
    rotate: int

    @property
    def hung_size(self) -> tuple[int, int]:
        """Width and height as it hangs."""
        sideways = self.rotate % 2 == 1
        return (self.height, self.width) if sideways else (self.width, self.height)


@dataclass(frozen=True, slots=True)
class Page:
    """Where the page answers, and how many live streams it feeds."""

    host: str
    port: int
    streams: int


@dataclass(frozen=True, slots=True)
class Access:
    """Who may change something from the page, and a code of the person's own, empty for none."""

    control: Literal["code", "open", "off"]
    code: str


@dataclass(frozen=True, slots=True)
class Link:
    """The socket's path; empty for the usual place."""

    socket: str


@dataclass(frozen=True, slots=True)
class Journal:
    """Where rings are kept (empty for the usual place), and how many."""

    file: str
    keep_rings: int


@dataclass(frozen=True, slots=True)
class Gigs:
    """When a gig ends by itself, in minutes, and how many keep all their detail."""

    quiet_ends_min: int
    keep: int


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything that can be set."""

    box: Box
    microphone: Microphone
    line: Line
    listening: Listening
    equaliser: EqualiserChoice
    advice: AdviceChoice
    lamp: LampChoice
    button: ButtonChoice
    panel: PanelChoice
    page: Page
    access: Access
    link: Link
    journal: Journal
    gigs: Gigs


@dataclass(frozen=True, slots=True)
class Loaded:
    """The settings in force and, for each "table.key", where its value came from.

    ``mistakes`` are those of the settings file if the last good one stands in for it, ``text`` is
    what the file said that was read, empty where there was none.
    """

    settings: Settings
    origins: Mapping[str, str]
    values: Mapping[str, Any]
    mistakes: tuple[str, ...] = ()
    text: str = ""


def _read_text(path: Path) -> str:
    try:
        # Some editors put a mark before the first letter.
        return read_within(path, LARGEST_FILE_BYTES).decode("utf-8-sig")
    except FileNotFoundError:
        why = "there is no such file"
    except IsADirectoryError:
        why = "this is a folder, a TOML file is expected"
    except PermissionError:
        why = "no right to read it"
    except UnicodeDecodeError:
        why = "not a text file in UTF-8"
    except OSError as error:
        why = error.strerror or str(error)
    raise SettingsError([f"{path}: cannot read the settings: {why}"])


def default_text() -> str:
    """Return the packaged defaults file, comments and all: the example to copy from."""
    return resources.files("monitor").joinpath("defaults.toml").read_text(encoding="utf-8")


def settings_file(given: str | Path | None, environ: Mapping[str, str]) -> Path | None:
    """Return the one settings file that counts, or None if there is none.

    A file asked for (``given`` or the environment variable) is returned even if it does not
    exist, so that reading it says so.
    """
    if given is not None:
        return Path(given)
    if environ.get(FILE_VARIABLE):
        return Path(environ[FILE_VARIABLE])
    home = Path(environ.get("XDG_CONFIG_HOME") or Path(environ.get("HOME", "/")) / ".config")
    for path in (SYSTEM_FILE, home / "howl-lantern" / "settings.toml"):
        if os.path.lexists(path):  # a link to nowhere is a mistake, not nothing
            return path
    return None


def load(
    given: str | Path | None = None,
    options: Sequence[str] = (),
    *,
    environ: Mapping[str, str] | None = None,
) -> Loaded:
    """Read defaults, the settings file and the ``--set`` options.

    Parameters
    ----------
    given : str or Path, optional
        The file named on the command line.
    options : sequence of str
        "table.key=value", the value as in TOML; quotes around plain text may be missing.
    environ : mapping, optional
        ``os.environ`` by default.

    Raises
    ------
    SettingsError
        With every problem found, one line each.
    """
    reader = Reader()
    reader.take_file(Path("defaults.toml"), default_text(), origin=PACKAGED)
    path = settings_file(given, os.environ if environ is None else environ)
    text = "" if path is None else _read_text(path)
    if path is not None:
        reader.take_file(path, text)
    for option in options:
        reader.take_option(option)
    missing = [f"{t}.{k}" for t in RULES for k in RULES[t] if f"{t}.{k}" not in reader.values]
    if missing and not reader.problems:
        reader.problems.append(f"defaults.toml lacks {', '.join(missing)}: reinstall")
    reader.check_together()
    if reader.origins.get("panel.bus") == PACKAGED and "panel.driver" in reader.values:
        reader.values["panel.bus"] = usual_bus(reader.values["panel.driver"])
    reader.problems += pin_problems(reader.values, reader.origins)
    if reader.problems:
        raise SettingsError(reader.problems)
    return Loaded(_build(reader.values), reader.origins, reader.values, text=text)


def _build(values: Mapping[str, Any]) -> Settings:
    tables: dict[str, Any] = {}
    for table, cls in get_type_hints(Settings).items():
        content = {f.name: values[f"{table}.{f.name}"] for f in fields(cls)}
        tables[table] = cls(**as_tuples(content))
    return Settings(**tables)
