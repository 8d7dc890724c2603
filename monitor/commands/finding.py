"""What a look at one part of the box found, and how it is printed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the report; ``to_do`` says what to do and is empty when all is well."""

    part: str
    well: str
    to_do: str = ""


def report(findings: Iterable[Finding]) -> int:
    """Print findings as they come; return 1 if anything needs doing."""
    n_to_do = 0
    for finding in findings:
        if finding.to_do:
            n_to_do += 1
            print(f"  !!  {finding.part:<11} {finding.to_do}", flush=True)
        else:
            print(f"  ok  {finding.part:<11} {finding.well}", flush=True)
    if n_to_do:
        print(f"{n_to_do} thing{'s need' if n_to_do > 1 else ' needs'} doing.")
    else:
        print("All is well.")
    return 1 if n_to_do else 0
