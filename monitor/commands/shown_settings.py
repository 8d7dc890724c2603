"""``howl-lantern settings``: the settings in force and where each came from."""

from __future__ import annotations

import json
from typing import Any

from monitor.settings import Loaded
from monitor.settings_rules import RULES

SECRETS = ("access.code",)
"""Shown as dots: what is printed is what people send around when they ask for help."""


def describe(loaded: Loaded) -> str:
    """Return every setting in force as TOML, with where it came from as a comment."""
    lines: list[str] = []
    for table, rules in RULES.items():
        lines.append(f"[{table}]")
        for key in rules:
            name = f"{table}.{key}"
            value = loaded.values[name]
            said = _toml("......" if value and name in SECRETS else value)
            lines.append(f"{f'{key} = {said}':<44}  # {loaded.origins[name]}")
        lines.append("")
    return "\n".join(lines).rstrip()


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    if isinstance(value, str):
        # JSON's escapes are also TOML's for printable text, which is all that is accepted.
        return json.dumps(value, ensure_ascii=False)
    return str(value)
