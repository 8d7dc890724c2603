"""Errors that are meant to be read by the person at the box: one plain line each."""

from __future__ import annotations


class LanternError(Exception):
    """Something that stops a command, said in one line: what is wrong and what to do."""

    exit_code = 1


class UsageError(LanternError, ValueError):
    """The person asked for something that cannot be (a bad setting, number or file name)."""

    exit_code = 2


class SettingsError(UsageError):
    """One or more settings are wrong; ``problems`` holds one line for each."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems
