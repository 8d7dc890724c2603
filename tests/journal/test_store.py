"""The journal: nothing shown is lost, and no trouble with the disk reaches the listening."""

from __future__ import annotations

import contextlib
import dataclasses
import os
import queue
import shutil
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from monitor import busy
from monitor.journal import keeping, store
from monitor.journal.asks import ListVenues
from monitor.journal.opening import move_aside
from monitor.journal.rows import RingRow, history_fields
from monitor.journal.store import Journal
from monitor.journal.tables import MIGRATIONS
from monitor.journal.waiting import LOST
from monitor.link.commands import MAX_HISTORY
from monitor.link.messages import MAX_LINE_BYTES, encode
from tests.disks import fill, turn
from tests.journal.telling import PATIENCE_S
from tests.waiting import awaited

ROOT = Path(__file__).parents[2]


def row(number: int, **changes: object) -> RingRow:
    plain = RingRow(
        session="s",
        id=number,
        boot_id="boot",
        degree="ringing",
        way="set",
        frequency_hz=2480.0,
        band="2.5k",
        slider="2.5k",
        level_dbfs=-20.0,
        growth_db_per_s=30.0,
        start_uptime_s=100.0 + number,
        end_uptime_s=None,
        utc=1.7e9 + number,
        clock_trusted=False,
    )
    return dataclasses.replace(plain, **changes)  # type: ignore[arg-type]


def read(journal: Journal, limit: int = 1000) -> tuple[list[RingRow], str]:
    answers: queue.Queue[tuple[list[RingRow], str]] = queue.Queue()
    journal.read(limit, lambda rows, problem: answers.put((rows, problem)))
    return answers.get(timeout=PATIENCE_S)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    journal = Journal(tmp_path / "state" / "j.sqlite3", keep_rings=1000, retry_s=0.2)
    yield journal
    journal.close(PATIENCE_S)


def test_rows_come_back_newest_first_and_exact(journal: Journal) -> None:
    rows = [row(n, gig="g" if n % 2 else None, end_uptime_s=101.5 + n) for n in range(5)]
    rows[3] = row(3)
    for r in rows:
        journal.put(r)
    assert read(journal) == (rows[::-1], "")
    assert read(journal, limit=2)[0] == rows[:-3:-1]
    assert journal.health() == "ok"


def test_a_ring_that_goes_on_stays_one_row(journal: Journal) -> None:
    journal.put(row(1))
    read(journal)
    journal.put(row(1, degree="howl", level_dbfs=-3.0))
    journal.put(row(1, degree="howl", level_dbfs=-3.0, end_uptime_s=104.0))
    (found,), _ = read(journal)
    assert (found.degree, found.end_uptime_s) == ("howl", 104.0)


def test_rows_survive_closing_and_opening(tmp_path: Path) -> None:
    path = tmp_path / "j.sqlite3"
    first = Journal(path, keep_rings=1000)
    first.put(row(1))
    first.close(PATIENCE_S)
    first.close(PATIENCE_S)
    second = Journal(path, keep_rings=1000)
    assert read(second)[0] == [row(1)]
    second.close(PATIENCE_S)


def test_settings_of_the_database(journal: Journal, tmp_path: Path) -> None:
    journal.put(row(1))
    read(journal)
    with sqlite3.connect(tmp_path / "state" / "j.sqlite3") as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert connection.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)
    connection.close()


def test_what_is_told_faster_than_it_is_written_is_not_lost(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "j.sqlite3", keep_rings=100_000)
    count = 3 * store.MAX_WAITING
    for number in range(count):
        journal.put(row(number))
    rows, problem = read(journal, limit=2 * count)
    journal.close(PATIENCE_S)
    assert (len(rows), problem, journal.lost_count) == (count, "", 0)


def test_the_oldest_go_first(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "j.sqlite3", keep_rings=150)
    for number in range(500):
        journal.put(row(number))
    rows, _ = read(journal)
    journal.close(PATIENCE_S)
    # Thinned once for every so many rows, so a few more than asked for may be there.
    assert 150 <= len(rows) <= 150 + keeping.THIN_EVERY
    assert rows[0].id == 499
    assert [r.id for r in rows] == sorted((r.id for r in rows), reverse=True)


def test_putting_never_waits(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    go_on = threading.Event()

    def slow_open(_path: Path) -> sqlite3.Connection:
        go_on.wait(PATIENCE_S)
        raise sqlite3.OperationalError("disk I/O error")

    monkeypatch.setattr(keeping, "open_file", slow_open)
    monkeypatch.setattr(keeping, "is_damage", lambda _: False)
    began = time.monotonic()
    journal = Journal(tmp_path / "j", keep_rings=100)
    for number in range(1000):
        journal.put(row(number))
    assert time.monotonic() - began < PATIENCE_S / 2.0
    go_on.set()
    awaited(lambda: "cannot be opened" in journal.health(), PATIENCE_S)
    journal.close(PATIENCE_S)


def test_a_write_that_hangs_is_said_and_what_finds_no_room_is_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store, "MAX_WAITING", 10)
    monkeypatch.setattr(store, "MOST_NOT_TAKEN_IN", 40)
    hanging, go_on, write_all = threading.Event(), threading.Event(), keeping.write_all

    def hang(*args: object, **more: object) -> dict[int, str]:
        hanging.set()
        assert go_on.wait(PATIENCE_S)
        return write_all(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(keeping, "write_all", hang)
    journal = Journal(tmp_path / "j", keep_rings=1000)
    try:
        journal.put(row(0))
        assert hanging.wait(PATIENCE_S)
        for number in range(1, 12):
            journal.put(row(number))
        assert journal.health() == "the journal is behind: 11 entries wait to be written"
        with monkeypatch.context() as later:  # it is said also where next to nothing waits
            later.setattr(busy, "LONG_S", 0.0)
            assert journal.health().startswith(f"{store.HANGS}; ")
        for number in range(12, 61):
            journal.put(row(number))
        told: list[str] = []
        journal.tell(row(61), told.append)
        answers: list[tuple[object, str]] = []
        journal.read(5, lambda rows, problem: answers.append((rows, problem)))
        journal.ask(ListVenues(), lambda found, problem: answers.append((found, problem)))
        assert told == [LOST]
        assert answers == [([], store.BEHIND), (None, store.BEHIND)]
        assert journal.lost_count == 21
        assert "21 entries were lost" in journal.health()
        began_mono_s = time.monotonic()
        journal.close(timeout_s=0.1)  # waits no longer for a full queue either
        assert time.monotonic() - began_mono_s < PATIENCE_S / 2.0
    finally:
        go_on.set()
        journal.close(PATIENCE_S)
    assert not journal._thread.is_alive()
    with sqlite3.connect(tmp_path / "j") as connection:
        kept = connection.execute("SELECT count(*), max(id) FROM rings").fetchone()
    connection.close()
    # Of the 40 that were taken in once it went on, the bound on what waits may lose some more.
    assert 10 <= kept[0] <= 41
    assert kept[1] == 40


def test_waiting_for_no_time_at_all_ends(journal: Journal) -> None:
    # A batch's last wait may be of a nanosecond; CPython 3.11's SimpleQueue then waits for ever.
    waits: queue.Queue[object] = type(journal._queue)()
    done = threading.Event()

    def wait_often() -> None:
        for _ in range(1000):
            waits.put(1)
            waits.get()
            with contextlib.suppress(queue.Empty):
                waits.get(timeout=1e-9)
        done.set()

    threading.Thread(target=wait_often, daemon=True).start()
    assert done.wait(PATIENCE_S)


def test_what_waits_in_memory_is_bounded_and_the_loss_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store, "MAX_WAITING", 10)
    (tmp_path / "file").touch()
    journal = Journal(tmp_path / "file" / "j", keep_rings=100, retry_s=0.2)
    for number in range(15):
        journal.put(row(number))
    awaited(lambda: "5 entries were lost" in journal.health(), PATIENCE_S)
    rows, problem = read(journal)
    assert [r.id for r in rows] == list(range(14, 4, -1))
    assert "cannot be opened" in problem
    assert "10 entries wait in memory" in journal.health()
    assert "listening goes on" in journal.health()
    # The folder appears (a card is put in): everything that waited is written.
    (tmp_path / "file").unlink()
    awaited(lambda: "cannot" not in journal.health(), PATIENCE_S)
    journal.close(PATIENCE_S)
    with sqlite3.connect(tmp_path / "file" / "j") as connection:
        assert connection.execute("SELECT count(*) FROM rings").fetchone() == (10,)
    connection.close()


@pytest.mark.parametrize(
    "damage",
    [
        lambda p: p.write_bytes(b"this is no database at all, but it is long enough" * 100),
        lambda p: p.write_bytes(p.read_bytes()[:2048]),
        lambda p: p.write_bytes(p.read_bytes()[:4096] + b"\xa5" * (p.stat().st_size - 4096)),
    ],
    ids=["not a database", "cut off", "overwritten pages"],
)
def test_a_damaged_file_is_kept_aside(tmp_path: Path, damage: Callable[[Path], None]) -> None:
    path = tmp_path / "j.sqlite3"
    first = Journal(path, keep_rings=1000)
    for number in range(200):
        first.put(row(number))
    first.close(PATIENCE_S)
    damage(path)
    spoilt = path.read_bytes()
    second = Journal(path, keep_rings=1000)
    second.put(row(1000))
    assert [r.id for r in read(second)[0]] == [1000]
    assert "was damaged; it is kept as j.sqlite3.damaged-1" in second.health()
    second.close(PATIENCE_S)
    assert (tmp_path / "j.sqlite3.damaged-1").read_bytes() == spoilt
    # And once more: the first one is not overwritten.
    path.write_bytes(b"x" * 5000)
    third = Journal(path, keep_rings=1000)
    assert read(third)[0] == []
    third.close(PATIENCE_S)
    assert (tmp_path / "j.sqlite3.damaged-1").read_bytes() == spoilt
    assert (tmp_path / "j.sqlite3.damaged-2").exists()


def test_a_plug_pulled_while_a_damaged_file_is_put_aside_takes_no_log_with_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite deletes a log beside a file of no pages (its pager.c, pagerOpenWalIfPresent)."""
    path = tmp_path / "j.sqlite3"
    path.write_bytes(b"this is no database" * 100)
    log = tmp_path / "j.sqlite3-wal"
    log.write_bytes(b"an evening")
    rename = Path.rename

    def pulled(part: Path, target: Path) -> None:
        rename(part, target)
        raise RuntimeError("the plug is pulled")

    with monkeypatch.context() as plug:
        plug.setattr(Path, "rename", pulled)
        with pytest.raises(RuntimeError, match="plug"):
            move_aside(path)
    journal = Journal(path, keep_rings=1000)
    journal.put(row(1))
    assert read(journal)[0] == [row(1)]
    journal.close(PATIENCE_S)
    kept = {p.read_bytes() for p in tmp_path.iterdir() if ".damaged-" in p.name}
    assert kept == {b"this is no database" * 100, b"an evening"}


def test_an_empty_file_is_a_new_journal(tmp_path: Path) -> None:
    (tmp_path / "j").touch()
    journal = Journal(tmp_path / "j", keep_rings=1000)
    journal.put(row(1))
    assert read(journal) == ([row(1)], "")
    assert journal.health() == "ok"
    journal.close(PATIENCE_S)


def test_a_newer_release_s_file_is_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "j"
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    before = path.read_bytes()[100:]
    journal = Journal(path, keep_rings=1000, retry_s=0.05)
    journal.put(row(1))
    awaited(lambda: "written by a newer release (version 99" in journal.health(), PATIENCE_S)
    journal.close(PATIENCE_S)
    assert path.read_bytes()[100:] == before


def test_a_full_disk_is_survived_and_writing_resumes(disk: Path) -> None:
    journal = Journal(disk / "j.sqlite3", keep_rings=100_000, retry_s=0.2)
    journal.put(row(0))
    assert len(read(journal)[0]) == 1
    filler = fill(disk)
    for number in range(1, 400):
        journal.put(row(number))
    awaited(lambda: "cannot be" in journal.health(), PATIENCE_S)
    assert len(read(journal)[0]) == 400
    filler.unlink()
    awaited(lambda: journal.health() == "ok", PATIENCE_S)
    journal.close(PATIENCE_S)
    again = Journal(disk / "j.sqlite3", keep_rings=100_000)
    assert [r.id for r in read(again)[0]] == list(range(399, -1, -1))
    again.close(PATIENCE_S)


def test_a_read_only_disk_is_survived_and_writing_resumes(disk: Path) -> None:
    Journal(disk / "j.sqlite3", keep_rings=1000).close(PATIENCE_S)
    turn(disk, "ro")
    journal = Journal(disk / "j.sqlite3", keep_rings=1000, retry_s=0.2)
    journal.put(row(1))
    awaited(lambda: "cannot be" in journal.health(), PATIENCE_S)
    assert len(read(journal)[0]) == 1
    turn(disk, "rw")
    awaited(lambda: journal.health() == "ok", PATIENCE_S)
    journal.close(PATIENCE_S)


def test_history_fits_into_one_line_of_the_link() -> None:
    long = row(2**40, slider="12.5 kHz xxx", clock_trusted=True, end_uptime_s=1e9 + 0.123)
    long = dataclasses.replace(
        long, utc=1.7e9, way="soundcheck", frequency_hz=12345.67, start_uptime_s=1e9
    )
    rings = [history_fields(long, boot_id="boot", uptime_s=2e9)] * MAX_HISTORY
    line = encode({"class": "history", "request": "x" * 64, "problem": "y" * 500, "rings": rings})
    assert len(line) <= MAX_LINE_BYTES


def test_history_says_only_what_is_known() -> None:
    other = history_fields(row(1), boot_id="another", uptime_s=500.0)
    assert other["ended_ago_s"] is None
    assert other["lasted_s"] is None
    assert other["utc"] == "2023-11-14T22:13:21Z"  # 1.7e9 s + 1 s
    assert history_fields(row(1, utc=1e15), boot_id="b", uptime_s=0.0)["utc"] is None
    same = history_fields(row(1, end_uptime_s=111.0), boot_id="boot", uptime_s=500.0)
    assert (same["ended_ago_s"], same["lasted_s"]) == (389.0, 10.0)


def test_only_one_place_is_left_behind(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "a" / "j", keep_rings=100)
    journal.put(row(1))
    journal.close(PATIENCE_S)
    assert os.listdir(tmp_path / "a") == ["j"]  # noqa: PTH208
    shutil.rmtree(tmp_path / "a")
