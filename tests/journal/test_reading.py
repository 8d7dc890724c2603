"""Reading beside the watcher, and what a person is told where that is not possible."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.errors import LanternError
from monitor.journal.reading import open_reading
from tests.journal.evenings import play_evening
from tests.journal.telling import Told

ROOT = Path(__file__).parents[2]


def test_it_reads_while_the_watcher_writes(told: Told) -> None:
    play_evening(told, "g", rings=5, hours=0.1, seed=1)
    with open_reading(told.path) as reading:
        assert [gig["uid"] for gig in reading.gigs()] == ["g"]
        assert len(reading.record("g")["rings"]) == 5
        assert [venue["name"] for venue in reading.venues()] == ["The Slipway 1"]
        assert reading.recollection("venue1").fields()["venue"]["gig_count"] == 1
        told.begin("h")
        assert [gig["uid"] for gig in reading.gigs()] == ["h", "g"]
        with pytest.raises(LanternError, match="no gig 'x' is kept"):
            reading.record("x")
    assert told.journal.health() == "ok"


def test_it_cannot_write(told: Told) -> None:
    told.begin("g")
    with (
        open_reading(told.path) as reading,
        pytest.raises(sqlite3.OperationalError, match="readonly"),
    ):
        reading._connection.execute("DELETE FROM gigs")


def test_no_journal_is_one_line(tmp_path: Path) -> None:
    with (
        pytest.raises(LanternError, match="there is no journal at .*nowhere") as caught,
        open_reading(tmp_path / "nowhere"),
    ):
        pass
    assert "\n" not in str(caught.value)
    assert not (tmp_path / "nowhere").exists()


def test_a_folder_that_is_not_ours_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def not_ours(_path: Path) -> bool:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "exists", not_ours)
    with (
        pytest.raises(LanternError, match=r"cannot be read \(Permission denied\); .* with sudo"),
        open_reading(tmp_path / "j"),
    ):
        pass


@pytest.mark.parametrize(
    ("version", "why"), [(1, "older release"), (0, "older release"), (99, "newer release")]
)
def test_another_release_s_file_is_one_line(tmp_path: Path, version: int, why: str) -> None:
    connection = sqlite3.connect(tmp_path / "j")
    connection.execute(f"PRAGMA user_version = {version}")
    connection.close()
    with pytest.raises(LanternError, match=why), open_reading(tmp_path / "j"):
        pass


def test_a_file_that_is_no_journal_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "j").write_bytes(b"this is no database at all" * 100)
    with (
        pytest.raises(LanternError, match="cannot be read") as caught,
        open_reading(tmp_path / "j"),
    ):
        pass
    assert "\n" not in str(caught.value)


READER = """
import sys
sys.path.insert(0, sys.argv[2])
from pathlib import Path
from monitor.journal.reading import open_reading
with open_reading(Path(sys.argv[1])) as reading:
    print([gig["uid"] for gig in reading.gigs()])
"""


def test_somebody_who_may_not_write_the_folder_reads_all_the_same(tmp_path: Path) -> None:
    if os.geteuid() != 0:
        pytest.skip("needs root, to become somebody else")
    folder = tmp_path / "state"
    told = Told(folder / "j")
    told.begin("g")
    told.close()
    for place in (tmp_path, *tmp_path.parents):
        if place.owner() == "root" and place not in (Path("/"), Path("/tmp")):
            place.chmod(place.stat().st_mode | 0o005)
    script = folder / "read.py"
    script.write_text(READER, encoding="utf-8")
    run = subprocess.run(
        ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups",
         sys.executable, str(script), str(folder / "j"), str(ROOT)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    if "Permission denied" in run.stderr or "No such file" in run.stderr:
        pytest.skip(f"nobody may not run this Python here: {run.stderr.splitlines()[-1]}")
    assert run.stdout.strip() == "['g']", run.stderr
    assert sorted(p.name for p in folder.iterdir()) == ["j", "read.py"]
