"""What all documents have in common: their links lead somewhere, their commands can be typed."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import pytest

from monitor.command_line import parser

ROOT = Path(__file__).parent.parent
DOCUMENTS = sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/*.md")])


def anchors(document: Path) -> set[str]:
    """The names that a forge gives to headings: small letters and digits, a dash for a blank."""
    headings = re.findall(r"^#+ (.+)$", document.read_text(), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def dead_links(text: str, document: Path) -> list[str]:
    """The links of a text that lead nowhere; ``document`` is where it stands."""
    dead = []
    for link in re.findall(r"\]\(([^)\s]+)\)", text):
        path, _, anchor = link.partition("#")
        target = document.parent / path if path else document
        if not target.exists() or (anchor and anchor not in anchors(target)):
            dead.append(link)
    return dead


def unknown_words(text: str) -> list[str]:
    """The commands of a text, and their options, that the command line does not know."""
    commands = next(
        action.choices
        for action in parser()._actions
        if isinstance(action, argparse._SubParsersAction)
    )
    unknown = []
    for name, words in re.findall(r"(?<![\w-])howl-lantern ([a-z]+)\b(?!-)([^`\n#]*)", text):
        if name not in commands:
            unknown.append(name)
            continue
        known = commands[name]._option_string_actions
        unknown += [
            f"{name} {word}" for word in re.findall(r"--[a-z-]+", words) if word not in known
        ]
    return unknown


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_links_lead_somewhere(document: Path) -> None:
    assert dead_links(document.read_text(), document) == []


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_commands_can_be_typed(document: Path) -> None:
    assert unknown_words(document.read_text()) == []


def test_what_is_wrong_is_found() -> None:
    here = ROOT / "README.md"
    links = "[a](docs/wiring.md#wiring) [b](#commands) [c](docs/nowhere) [d](docs/wiring.md#no)"
    assert dead_links(links, here) == ["docs/nowhere", "docs/wiring.md#no"]
    typed = (
        "`howl-lantern gigs --all`, `sudo howl-lantern gigs --al` and\nhowl-lantern dance # --no"
    )
    assert unknown_words(typed) == ["gigs --al", "dance"]
    assert unknown_words("sudo systemctl restart howl-lantern howl-lantern-page") == []
