"""The small kept files: whole or not at all, of this evening or not, and nothing written over."""

from __future__ import annotations

import errno
import json
import os
import threading
from dataclasses import asdict
from pathlib import Path

import pytest

from monitor import busy, kept_file
from monitor.clock import Now
from monitor.kept_file import MOST_ASIDE, OLDEST_S, KeptFile

NOW = Now("boot-1", 1000.0, 1.7e9, clock_trusted=True)


def kept_at(path: Path) -> KeptFile:
    return KeptFile(path, key="soundcheck", what="the soundcheck")


@pytest.mark.parametrize(
    ("read", "is_of_this_evening"),
    [
        (Now("boot-1", 1000.0 + OLDEST_S - 1, 0.0, clock_trusted=False), True),
        (Now("boot-1", 1000.0 + OLDEST_S + 1, 1.7e9, clock_trusted=True), False),
        (Now("boot-2", 30.0, 1.7e9 + 600.0, clock_trusted=True), True),
        (Now("boot-2", 30.0, 1.7e9 + OLDEST_S, clock_trusted=True), False),
        (Now("boot-2", 30.0, 1.7e9 - 600.0, clock_trusted=True), False),
        # After another boot without a set date nobody knows how long ago it was.
        (Now("boot-2", 30.0, 1.7e9 + 600.0, clock_trusted=False), None),
    ],
)
def test_what_comes_back_and_whether_it_is_of_this_evening(
    tmp_path: Path, read: Now, is_of_this_evening: bool | None
) -> None:
    path = tmp_path / "state" / "soundcheck.json"
    assert kept_at(path).read(NOW) is None
    assert kept_at(path).write({"a": 1}, NOW)
    kept = kept_at(path).read(read)
    assert kept is not None
    assert kept.content == {"a": 1}
    assert kept.written == NOW
    assert kept.is_of_this_evening is is_of_this_evening


def test_the_card_is_written_only_when_something_changed(tmp_path: Path) -> None:
    path = tmp_path / "soundcheck.json"
    kept = kept_at(path)
    kept.write({"a": 1}, NOW)
    first = path.stat().st_ino
    assert kept.write({"a": 1}, Now("boot-1", 2000.0, 1.7e9, clock_trusted=True))
    assert path.stat().st_ino == first
    kept.write({"a": 2}, NOW)
    assert path.stat().st_ino != first, "renamed into place, never written over"
    assert json.loads(path.read_text())["soundcheck"] == {"a": 2}
    assert [p.name for p in tmp_path.iterdir()] == ["soundcheck.json"]


@pytest.mark.parametrize(
    "content",
    [
        *("", "{}", "[]", "null", '{"version": 9}', "\x00\xff", "[" * 100_000),
        json.dumps({"version": 2, "soundcheck": {}, "written": {}}),
        json.dumps({"version": 1, "soundcheck": [], "written": {}}),
        json.dumps({"version": 1, "soundcheck": [], "written": asdict(NOW)}),
        *(
            json.dumps({"version": 1, "soundcheck": {}, "written": asdict(NOW) | wrong})
            for wrong in (
                {"uptime_s": 10**400},  # more than a float holds
                {"utc_s": -1e300},
                {"uptime_s": True},
                {"uptime_s": "12"},
                {"utc_s": None},
                {"boot_id": 1},
                {"clock_trusted": 1},
                {"more": 1},
            )
        ),
    ],
)
def test_a_damaged_file_is_put_aside_and_said(
    tmp_path: Path, content: str, caplog: pytest.LogCaptureFixture
) -> None:
    path = tmp_path / "soundcheck.json"
    path.write_text(content, encoding="utf-8")
    kept = kept_at(path)
    assert kept.read(NOW) is None
    assert "kept as soundcheck.json.aside, the soundcheck begun anew" in kept.trouble
    assert kept.aside in caplog.text
    assert kept.write({"a": 1}, NOW)
    assert "soundcheck.json.aside" in kept.trouble, "said for as long as this runs"
    assert (tmp_path / "soundcheck.json.aside").read_text(encoding="utf-8") == content


def test_bytes_that_are_no_text_are_put_aside_too(tmp_path: Path) -> None:
    path = tmp_path / "soundcheck.json"
    path.write_bytes(b"\xff\xfe\x00")
    assert kept_at(path).read(NOW) is None
    assert (tmp_path / "soundcheck.json.aside").read_bytes() == b"\xff\xfe\x00"


def test_files_aside_do_not_pile_up(tmp_path: Path) -> None:
    path = tmp_path / "soundcheck.json"
    for number in range(MOST_ASIDE + 3):
        path.write_text(f"damage {number}")
        kept_at(path).read(NOW)
    names = sorted(p.name for p in tmp_path.iterdir())
    assert len(names) == MOST_ASIDE
    assert (tmp_path / "soundcheck.json.aside").read_text() == "damage 0"
    assert (tmp_path / names[-1]).read_text() == f"damage {MOST_ASIDE + 2}"


def test_what_cannot_be_put_aside_is_not_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "soundcheck.json"
    path.write_text("damage")

    def refuse(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "rename", refuse)
    kept = kept_at(path)
    assert kept.read(NOW) is None
    assert "cannot be put aside: Operation not permitted" in kept.trouble
    assert not kept.write({"a": 1}, NOW)
    assert path.read_text() == "damage"
    path.unlink()
    assert kept.write({"a": 1}, NOW)


def test_a_full_disk_is_said_and_over_when_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    kept = kept_at(tmp_path / "soundcheck.json")
    kept.write({"a": 1}, NOW)
    monkeypatch.setattr(os, "fsync", full)
    assert not kept.write({"a": 2}, NOW)
    assert "the soundcheck cannot be kept for a restart: No space left" in kept.trouble
    monkeypatch.undo()
    old = kept_at(tmp_path / "soundcheck.json").read(NOW)
    assert old is not None
    assert old.content == {"a": 1}
    assert kept.write({"a": 2}, NOW)
    assert kept.trouble == ""


def test_a_file_that_cannot_be_read_is_put_aside_and_not_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A card that fails for a moment at the start must not cost the stage plan."""
    path = tmp_path / "soundcheck.json"
    kept_at(path).write({"plan": "the whole stage"}, NOW)
    written = path.read_bytes()

    def fail(*_: object, **__: object) -> str:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(Path, "read_text", fail)
    kept = kept_at(path)
    assert kept.read(NOW) is None
    monkeypatch.undo()
    said = "cannot be read: Input/output error; kept as soundcheck.json.aside, the soundcheck begun"
    assert said in kept.trouble
    assert kept.write({"plan": None}, NOW)
    assert (tmp_path / "soundcheck.json.aside").read_bytes() == written


def test_a_folder_that_may_not_be_entered_is_said_and_raises_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither can it be seen which names are free; stat(2) gives EACCES, and EIO on a bad card."""
    path = tmp_path / "soundcheck.json"
    path.write_text("of somebody else")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    for what in ("read_text", "stat", "rename"):
        monkeypatch.setattr(Path, what, refuse)
    kept = kept_at(path)
    assert kept.read(NOW) is None
    assert "cannot be read: Permission denied, and it cannot be put aside" in kept.trouble
    assert not kept.write({"a": 1}, NOW)
    assert "the soundcheck cannot be kept for a restart: Permission denied" in kept.trouble
    monkeypatch.undo()
    assert not kept.write({"a": 1}, NOW)
    assert path.read_text() == "of somebody else"


def test_a_card_that_hangs_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It gives no error, and nothing else would ever say that nothing is kept any more."""
    writing, go_on = threading.Event(), threading.Event()

    def hang(*_: object, **_more: object) -> None:
        writing.set()
        assert go_on.wait(20.0)

    monkeypatch.setattr(kept_file, "write_surely", hang)
    kept = kept_at(tmp_path / "soundcheck.json")
    thread = threading.Thread(target=kept.write, args=({"a": 1}, NOW))
    thread.start()
    try:
        assert writing.wait(20.0)
        assert kept.trouble == ""
        monkeypatch.setattr(busy, "LONG_S", 0.0)
        assert kept.trouble.startswith("the card does not answer, and the soundcheck waits for it")
    finally:
        go_on.set()
        thread.join()
    assert kept.trouble == ""
