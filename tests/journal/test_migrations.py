"""A file of an earlier release: opens, keeps its rings, and they are gigs."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from monitor.journal.asks import GetRecord, ListGigs
from monitor.journal.first_gigs import EVENING_S
from monitor.journal.tables import MIGRATIONS, migrate
from tests.journal.telling import MAY_2031_S, HandClock, Told

# As release 0.1.0 wrote it; not taken from the code under test, which may only add to it.
VERSION_1 = """
CREATE TABLE rings (
    key INTEGER PRIMARY KEY, session TEXT NOT NULL, id INTEGER NOT NULL, boot_id TEXT NOT NULL,
    degree TEXT NOT NULL, way TEXT NOT NULL, frequency_hz REAL NOT NULL, band TEXT NOT NULL,
    slider TEXT NOT NULL, level_dbfs REAL NOT NULL, growth_db_per_s REAL NOT NULL,
    start_uptime_s REAL NOT NULL, end_uptime_s REAL, utc REAL NOT NULL,
    clock_trusted INTEGER NOT NULL, UNIQUE (session, id)
);
PRAGMA user_version = 1;
"""


def old_file(path: Path, rings: list[tuple[str, float, float, bool]]) -> None:
    """Write one; rings are (boot, uptime, utc, trusted)."""
    connection = sqlite3.connect(path)
    connection.executescript(VERSION_1)
    connection.executemany(
        "INSERT INTO rings VALUES (NULL, 's', ?, ?, 'howl', 'set', 2480.0, '2.5k', '2.5k', -20.0,"
        " 30.0, ?, ?, ?, ?)",
        [
            (number, boot, uptime_s, uptime_s + 3.0, utc_s, trusted)
            for number, (boot, uptime_s, utc_s, trusted) in enumerate(rings)
        ],
    )
    connection.commit()
    connection.close()


def test_the_first_migration_is_as_it_was_released(tmp_path: Path) -> None:
    old_file(tmp_path / "old", [])
    (before,) = _shapes(tmp_path / "old")
    connection = sqlite3.connect(tmp_path / "new", isolation_level=None)
    connection.executescript(MIGRATIONS[0][0])
    connection.close()
    (after,) = _shapes(tmp_path / "new")
    assert after == before


def _shapes(path: Path) -> list[list[object]]:
    connection = sqlite3.connect(path)
    tables = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
    shapes = [connection.execute(f"PRAGMA table_info({name})").fetchall() for (name,) in tables]
    connection.close()
    return shapes


def test_old_rings_stay_and_become_gigs_by_evening(tmp_path: Path) -> None:
    path = tmp_path / "j"
    old_file(
        path,
        [
            ("a", 100.0, MAY_2031_S, True),
            ("a", 900.0, MAY_2031_S + 800.0, True),
            # The next evening on the same boot.
            ("a", 900.0 + EVENING_S, MAY_2031_S + 800.0 + EVENING_S, True),
            # The plug was pulled in between, and both dates were known.
            ("b", 60.0, MAY_2031_S + EVENING_S + 2000.0, True),
            # Nobody knows when this was.
            ("c", 10.0, 0.0, False),
        ],
    )
    told = Told(path, HandClock())
    gigs = told.ask(ListGigs(10))
    assert [gig["ring_count"] for gig in gigs] == [1, 2, 2]
    assert [gig["howl_count"] for gig in gigs] == [1, 2, 2]
    assert not any(gig["on"] for gig in gigs)
    assert gigs[2]["begun"] == {"utc": "2031-05-17T20:15:00Z", "dated": "network"}
    assert gigs[2]["lasted_s"] == 803.0
    assert gigs[0]["begun"] == {"utc": "1970-01-01T00:00:00Z", "dated": "believed"}
    record = told.ask(GetRecord(gigs[1]["uid"]))
    assert [ring["id"] for ring in record["rings"]] == [2, 3]
    assert record["rings"][1]["at_s"] == pytest.approx(1200.0)
    told.close()


def test_a_migration_that_fails_leaves_the_file_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(_connection: sqlite3.Connection) -> None:
        raise sqlite3.OperationalError("disk I/O error")

    path = tmp_path / "j"
    old_file(path, [("a", 1.0, MAY_2031_S, True)])
    script, _ = MIGRATIONS[1]
    monkeypatch.setattr("monitor.journal.tables.MIGRATIONS", (MIGRATIONS[0], (script, fails)))
    connection = sqlite3.connect(path, isolation_level=None)
    with pytest.raises(sqlite3.OperationalError, match="disk I/O error"):
        migrate(connection)
    assert connection.execute("PRAGMA user_version").fetchone() == (1,)
    assert connection.execute("SELECT name FROM sqlite_master WHERE name = 'gigs'").fetchall() == []
    connection.close()
