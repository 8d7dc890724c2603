"""Reading the layers of the settings: each value against its rule, each mistake with its place."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from monitor.advice.choice import EqualiserChoice, sliders_of
from monitor.settings_rules import RULES

PACKAGED = "default"
"""Where a value comes from that nobody has set."""


class Reader:
    """Gathers values and problems over all layers.

    Attributes
    ----------
    values, origins : dict
        By "table.key": each value that passed its rule, and where the last one came from.
    problems : list of str
        Everything that is wrong so far, a line each.
    """

    def __init__(self) -> None:
        self.values: dict[str, Any] = {}
        self.origins: dict[str, str] = {}
        self.problems: list[str] = []
        self._refused: set[str] = set()

    def take_file(self, path: Path, text: str, *, origin: str | None = None) -> None:
        """Take what a file says.

        Parameters
        ----------
        path : Path
            What problems call the file.
        text : str
            What it holds: TOML.
        origin : str, optional
            Where its values are said to come from; file and line by default.
        """
        try:
            tables = tomllib.loads(text)
        except (ValueError, RecursionError) as error:  # also a number of thousands of digits
            self.problems.append(f"{path}: not valid TOML: {error}")
            return
        lines = _key_lines(text)
        for table, content in tables.items():
            at = _place(path, lines.get(table))
            if table not in RULES:
                self.problems.append(
                    f"{at}: unknown table [{_plain(table)}]{_nearest(table, RULES)}"
                )
            elif not isinstance(content, dict):
                self.problems.append(f"{at}: [{table}] must be a table, not {_shown(content)}")
            else:
                for key, value in content.items():
                    line = lines.get(f"{table}.{key}", lines.get(table))
                    at = _place(path, line)
                    self._take(f"{table}.{key}", value, at=at, origin=origin or at)

    def take_option(self, option: str) -> None:
        """Take one "table.key=value", the value as in TOML; a text's quotes may be missing."""
        at = f"--set {_short(option)}"
        name, equals, text = option.partition("=")
        name = name.strip()
        table, _, key = name.partition(".")
        if not equals or not table or not key:
            self.problems.append(f"{at}: table.key=value expected, like page.port=8081")
            return
        try:
            value = tomllib.loads(f"value = {text.strip()}")["value"]
        except (ValueError, RecursionError):
            value = text.strip()  # a shell has eaten the quotes of a text
        if table not in RULES:
            self.problems.append(f"{at}: unknown table [{_plain(table)}]{_nearest(table, RULES)}")
            return
        if isinstance(value, int) and not isinstance(value, bool) and name == "equaliser.kind":
            value = text.strip()
        self._take(name, value, at=at, origin="--set")

    def _take(self, name: str, value: Any, *, at: str, origin: str) -> None:
        table, _, key = name.partition(".")
        rule = RULES[table].get(key)
        if rule is None:
            hint = _nearest(key, RULES[table]) or f"; [{table}] has: {', '.join(RULES[table])}"
            self.problems.append(f"{at}: unknown key {_plain(key)} in [{table}]{hint}")
        elif not rule.check(value):
            self.problems.append(f"{at}: {name} must be {rule.expected}, not {_shown(value)}")
            self._refused.add(name)
        else:
            self.values[name] = value
            self.origins[name] = origin

    def check_together(self) -> None:
        """Check what a single key cannot tell; a key that was refused is not blamed twice."""
        if {"equaliser.kind", "equaliser.labels"} & self._refused:
            return
        kind = self.values.get("equaliser.kind")
        labels = self.values.get("equaliser.labels")
        at = self.origins.get("equaliser.labels", "")
        if kind == "typed" and labels == []:
            self.problems.append(
                f'{self.origins["equaliser.kind"]}: equaliser.kind = "typed" needs the labels '
                'of your sliders in equaliser.labels, like ["100", "1k", "10k"]'
            )
        elif kind != "typed" and labels:
            self.problems.append(
                f'{at}: equaliser.labels is only read with kind = "typed", but kind is "{kind}"'
            )
        elif not any(map(_of_equaliser, self._refused)):
            table = {n.partition(".")[2]: v for n, v in self.values.items() if _of_equaliser(n)}
            try:
                sliders_of(EqualiserChoice(**as_tuples(table)))
            except ValueError as error:
                key = "labels" if labels else "step_db"
                key = "strip_low_cut" if kind == "strip" and "strip" in str(error) else key
                at = self.origins[f"equaliser.{key}"]
                self.problems.append(f"{at}: equaliser.{key}: {error}")


def _place(path: Path, line: int | None) -> str:
    return f"{path}, line {line}" if line else str(path)


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        text = json.dumps(value, ensure_ascii=False)  # in quotes, on one line
        return text if len(text) <= 44 else text[:40] + '..."'
    try:
        text = str(value)
        if isinstance(value, list | dict):
            text = json.dumps(value, ensure_ascii=False, default=str)
    except ValueError:  # Python writes no whole number of thousands of digits, TOML reads one
        return "a number without end"
    return text if len(text) <= 60 else text[:60] + "..."


def _plain(name: str) -> str:
    return name if name.isprintable() else json.dumps(name)


def _short(option: str) -> str:
    """An option as it was typed, on one line of a screen."""
    text = _plain(option)
    return text if len(text) <= 120 else text[:120] + "..."


def _nearest(name: str, known: Mapping[str, Any]) -> str:
    near = difflib.get_close_matches(name.lower(), list(known), n=1, cutoff=0.6)
    return f"; did you mean {near[0]}?" if near else ""


def _key_lines(text: str) -> dict[str, int]:
    """Return the line of each "table" and "table.key"; the TOML reader does not tell."""
    lines: dict[str, int] = {}
    table = ""
    for number, line in enumerate(text.splitlines(), 1):
        if header := re.match(r"\s*\[\s*([\w.\"'-]+)\s*\]", line):
            table = header[1].strip("\"'")
            lines.setdefault(table, number)
        elif key := re.match(r"\s*([\w.\"'-]+)\s*=", line):
            name = key[1].replace('"', "").replace("'", "")
            lines.setdefault(f"{table}.{name}" if table else name, number)
            if not table:
                lines.setdefault(name.partition(".")[0], number)
    return lines


def _of_equaliser(name: str) -> bool:
    return name.startswith("equaliser.")


def as_tuples(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return a table with its lists as tuples, for values that are never changed."""
    return {k: tuple(v) if isinstance(v, list) else v for k, v in content.items()}
