"""``manifest.csv``: what each sound file is, where it comes from and under which licence."""

from __future__ import annotations

import csv
from dataclasses import astuple, dataclass, fields
from pathlib import Path
from typing import Any


@dataclass(frozen=True, order=True, slots=True)
class Row:
    """One finished file; ``file`` is its name inside the folder."""

    file: str
    kind: str
    duration_s: float
    source_package: str
    licence: str
    note: str = ""


COLUMNS = tuple(field.name for field in fields(Row))


def read(path: Path) -> list[Row]:
    """The rows of a manifest, none if there is no such file."""
    if not path.is_file():
        return []
    with path.open(newline="", encoding="utf-8") as file:
        rows: list[dict[str, Any]] = list(csv.DictReader(file))
    for row in rows:
        row["duration_s"] = float(row["duration_s"])
    return [Row(**row) for row in rows]


def write(path: Path, rows: list[Row]) -> None:
    """Put ``rows``, sorted by file, in the place of the manifest.

    Somebody may be training from the folder meanwhile: a reader sees the old manifest or the
    new one, never half of one.
    """
    fresh = path.with_suffix(".new")
    with fresh.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(COLUMNS)
        writer.writerows(astuple(row) for row in sorted(rows))
    fresh.replace(path)
