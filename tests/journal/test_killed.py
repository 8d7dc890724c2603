"""kill -9 at any instant: the file opens, and what was acknowledged is there."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from tests.journal.killed import Tally, _look, kill_often


def test_killed_at_any_instant_nothing_acknowledged_is_missing(tmp_path: Path) -> None:
    tally = kill_often(tmp_path / "j", 15, seed=7)
    assert (tally.kills, tally.opened, tally.missing) == (15, 15, 0)
    assert tally.acknowledged > 15
    # And that it would be found: one ring and one happening are taken away.
    connection = sqlite3.connect(tmp_path / "j")
    connection.execute("DELETE FROM rings WHERE id = 3")
    connection.execute("DELETE FROM happenings WHERE key = 5")
    connection.commit()
    connection.close()
    found = Tally()
    _look(tmp_path / "j", tally.acknowledged - 1, found)
    assert found.missing == 2
