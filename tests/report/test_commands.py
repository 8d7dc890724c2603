"""``gigs``, ``report`` and ``merge``: with a real journal, and with a watcher that runs."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor import cli
from monitor.journal.asks import MergeRecords
from monitor.journal.record import check_record
from monitor.journal.store import Journal
from monitor.link.client import LinkClient
from tests.report.made_gig import VENUE, record
from tests.watching import WatchProcess

PATIENCE_S = 20.0
ROOT = Path(__file__).parents[2]
UID = "5e1fca7b00d1e001"


@pytest.fixture(autouse=True)
def _no_settings_of_this_machine(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    monkeypatch.delenv("HOWL_LANTERN_SETTINGS", raising=False)
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def journal_path(tmp_path: Path) -> Path:
    """A journal with one gig of 24 rings."""
    path = tmp_path / "journal.sqlite3"
    journal = Journal(path, keep_rings=1000)
    done = threading.Event()
    journal.ask(MergeRecords([check_record(record(24))]), lambda *_: done.set())
    assert done.wait(PATIENCE_S)
    journal.close(PATIENCE_S)
    return path


class Typed:
    """Runs a command with settings that name the journal and a socket where nobody answers."""

    def __init__(self, capsys: pytest.CaptureFixture[str], journal: Path, socket: Path) -> None:
        self._capsys = capsys
        self._set = ["--set", f"journal.file={journal}", "--set", f"link.socket={socket}"]

    def __call__(self, *words: str) -> tuple[int, str, str]:
        code = cli.main([words[0], *self._set, *words[1:]])
        out, err = self._capsys.readouterr()
        return code, out, err


@pytest.fixture
def typed(capsys: pytest.CaptureFixture[str], journal_path: Path, tmp_path: Path) -> Typed:
    return Typed(capsys, journal_path, tmp_path / "no.sock")


# --- gigs -----------------------------------------------------------------------------------------


def test_gigs_are_listed(typed: Typed) -> None:
    code, out, _ = typed("gigs")
    assert code == 0
    head, line = out.splitlines()
    assert head.split() == ["gig", "begun", "length", "rings", "howls", "where"]
    assert line.split()[0] == UID
    assert line.split()[3:] == "3 h 24 6 The Ferry Lamps at The Slipway".split()


def test_gigs_as_json(typed: Typed) -> None:
    (line,) = typed("gigs", "--json")[1].splitlines()
    gig = json.loads(line)
    assert (gig["uid"], gig["ring_count"], gig["on"]) == (UID, 24, False)


def test_without_a_journal_one_line_says_so(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    typed = Typed(capsys, tmp_path / "none.sqlite3", tmp_path / "no.sock")
    for words in (("gigs",), ("report", "-o", "x.html"), ("gigs", "--delete", UID)):
        code, out, err = typed(*words)
        assert (code, out) == (1, "")
        assert err.startswith("howl-lantern: there is no journal at ")
        assert err.count("\n") == 1


def test_a_gig_is_deleted_only_when_meant(typed: Typed, monkeypatch: pytest.MonkeyPatch) -> None:
    code, _, err = typed("gigs", "--delete", "5e1f")
    assert code == 2
    assert "add --yes to mean it" in err

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr("sys.stdin", Terminal("no\n"))
    assert typed("gigs", "--delete", "5e1f")[0] == 1
    assert UID in typed("gigs")[1]
    monkeypatch.setattr("sys.stdin", Terminal("yes\n"))
    code, out, _ = typed("gigs", "--delete", "5e1f")
    assert (code, out.splitlines()[-1].split(": ")[-1]) == (0, UID)
    assert "no gig is kept yet" in typed("gigs")[1]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("ffff", "there is no gig 'ffff'; howl-lantern gigs lists them"),
        ("5e1", "'5e1' is too short; give at least 4 digits"),
        ("../../etc", "there is no gig '../../etc'; howl-lantern gigs lists them"),
    ],
)
def test_a_gig_that_is_not_meant(typed: Typed, name: str, said: str) -> None:
    for words in (("report", name, "-o", "x.html"), ("gigs", "--delete", name, "--yes")):
        assert typed(*words) == (2, "", f"howl-lantern: {said}\n")


def test_two_gigs_that_begin_alike(typed: Typed, tmp_path: Path) -> None:
    twin = record(2)
    twin["gig"]["uid"] = UID[:-1] + "f"
    for one in twin["rings"]:
        one["session"] = "twin"
    (tmp_path / "twin.json").write_text(json.dumps(twin))
    assert typed("merge", "twin.json")[0] == 0
    code, _, err = typed("report", "5e1f", "-o", "x.html")
    assert code == 2
    assert "2 gigs begin so; give more digits" in err
    assert typed("report", UID, "-o", "x.html")[0] == 0


# --- report ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "begins"),
    [
        ("a.html", b"<!doctype html>"),
        ("a.SVG", b"<svg"),
        ("a.png", b"\x89PNG"),
        ("a.csv", b"gig,session,id,"),
        ("a.json", b'{\n "'),
    ],
)
def test_the_ending_decides(typed: Typed, tmp_path: Path, name: str, begins: bytes) -> None:
    assert typed("report", "-o", name) == (0, "", "")
    assert (tmp_path / name).read_bytes().startswith(begins)
    assert [p.name for p in tmp_path.iterdir() if "new" in p.name] == []


def test_the_parts(typed: Typed, tmp_path: Path) -> None:
    assert typed("report", "-o", "h.csv", "--part", "happenings")[0] == 0
    assert (tmp_path / "h.csv").read_text().startswith("gig,at_s,at_utc,kind,content")
    assert typed("report", "-o", "c.svg", "--part", "curve")[0] == 0
    assert "equaliser at the end" in (tmp_path / "c.svg").read_text()


def test_it_can_be_printed(typed: Typed) -> None:
    assert typed("report", "-o", "-")[1].startswith("<!doctype html>")
    assert json.loads(typed("report", "-o", "-", "--format", "json")[1])["gig"]["uid"] == UID


def test_the_report_has_what_the_memory_says(typed: Typed) -> None:
    assert "What the memory says" in typed("report", "-o", "-")[1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("-o", "x.pdf"), "x.pdf: its ending does not say what to write; let it end with "
                          ".html, .svg, .png, .csv or .json"),
        (("-o", "noending"), "noending: its ending does not say"),
        (("-o", "-", "--format", "png"), "a PNG is not printed; name a file that ends with .png"),
        (("-o", "x.csv", "--part", "curve"), "--part curve: not a part of csv; it is rings or "
                                             "happenings"),
        (("-o", "x.html", "--part", "curve"), "--part curve: not a part of html; it is always "
                                              "whole; leave --part out"),
    ],
)  # fmt: skip
def test_what_cannot_be_written(
    typed: Typed, tmp_path: Path, words: tuple[str, ...], said: str
) -> None:
    code, out, err = typed("report", *words)
    assert (code, out) == (2, "")
    assert err.startswith(f"howl-lantern: {said}")
    assert err.count("\n") == 1
    assert not list(tmp_path.glob("x.*"))


@pytest.mark.parametrize("name", ["nowhere/x.html", "nowhere/x.svg", "nowhere/x.png"])
def test_a_folder_that_is_not_there(typed: Typed, name: str) -> None:
    code, _, err = typed("report", "-o", name)
    assert code == 1
    assert err.startswith(f"howl-lantern: {name}: the ")
    assert "cannot be written (No such file or directory)" in err


# --- merge ----------------------------------------------------------------------------------------


def test_what_one_box_writes_another_takes_in(
    typed: Typed, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert typed("report", "-o", "gig.json")[0] == 0
    other = Typed(capsys, tmp_path / "other.sqlite3", tmp_path / "no.sock")
    said = "gig.json: 1 new gig and 24 new rings, of 1 gig\n"
    assert other("merge", "gig.json") == (0, said, "")
    assert other("merge", "gig.json")[1] == "gig.json: 0 new gigs and 0 new rings, of 1 gig\n"
    assert other("gigs")[1] == typed("gigs")[1]
    assert other("report", "-o", "-", "--format", "json") == (
        0,
        (tmp_path / "gig.json").read_text(),
        "",
    )


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"no json", "x.json: this is no JSON"),
        (b"\xff\xfe", "x.json: this is no text; take a gig's JSON file"),
        (b"{}", "x.json: "),
        (b"[]", "x.json: "),
        (b"[" * 100_000, "x.json: this is no JSON"),
    ],
)
def test_a_file_that_is_no_record_changes_nothing(
    typed: Typed, tmp_path: Path, content: bytes, said: str
) -> None:
    other = record(2)
    other["gig"]["uid"] = "aa"
    (tmp_path / "good.json").write_text(json.dumps(other))
    (tmp_path / "x.json").write_bytes(content)
    before = typed("gigs")
    code, out, err = typed("merge", "good.json", "x.json")
    assert (code, out) == (2, "")
    assert err.startswith(f"howl-lantern: {said}")
    assert err.count("\n") == 1
    assert typed("gigs") == before


def test_a_file_that_is_not_there(typed: Typed) -> None:
    assert typed("merge", "gone.json") == (
        1, "", "howl-lantern: gone.json: cannot be read: No such file or directory\n",
    )  # fmt: skip


def test_a_journal_that_cannot_be_opened_is_said_once(tmp_path: Path) -> None:
    (tmp_path / "gig.json").write_text(json.dumps(record(2)))
    (tmp_path / "file").touch()
    words = [
        *("--set", f"journal.file={tmp_path / 'file' / 'j'}"),
        "--set",
        f"link.socket={tmp_path / 'no.sock'}",
    ]
    done = subprocess.run(  # not in here: the tests' own log takes what nobody else does
        [sys.executable, "-m", "monitor.cli", "merge", *words, "gig.json"],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=False,
    )
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.count("\n") == 1, done.stderr
    assert done.stderr.startswith(f"howl-lantern: the journal {tmp_path / 'file' / 'j'} cannot be")


def test_a_journal_that_was_set_aside_is_said(typed: Typed, tmp_path: Path) -> None:
    (tmp_path / "gig.json").write_text(json.dumps(record(2)))
    (tmp_path / "journal.sqlite3").write_bytes(b"no database, but long enough for one" * 200)
    code, out, err = typed("merge", "gig.json")
    assert (code, out) == (0, "gig.json: 1 new gig and 2 new rings, of 1 gig\n")
    assert "the journal was damaged; it is kept as " in err


# --- with a watcher -------------------------------------------------------------------------------


@pytest.fixture
def watched(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Iterator[Typed]:
    folder = tmp_path / "watch"
    folder.mkdir()
    with WatchProcess(folder, dict(os.environ), device="nothing") as process:
        with LinkClient(process.socket_path) as client:
            # It greets before its parts are open, and tells of itself when they are.
            assert client.wait_for_snapshot(0.0, PATIENCE_S), process.log
        yield Typed(capsys, process.journal_path, process.socket_path)


def big() -> dict[str, Any]:
    """Longer than one line of the link, with letters that are long in JSON."""
    made = record(400)
    made["happenings"].append({"at_s": 5.0, "kind": "note", "text": "Ñandú “quotes” \\ " * 20})
    return made


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a folder to somebody else")
@pytest.mark.parametrize("before", ["", "no database, but long enough for one" * 200])
def test_a_journal_that_root_begins_is_the_watcher_s(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], before: str
) -> None:
    """Else the watcher could write nothing from then on."""
    (tmp_path / "gig.json").write_text(json.dumps(record(24)))
    folder = tmp_path / "lib"
    folder.mkdir()
    if before:
        (folder / "journal.sqlite3").write_text(before)
        os.chown(folder / "journal.sqlite3", 12345, 23456)
    os.chown(folder, 12345, 23456)
    typed = Typed(capsys, folder / "journal.sqlite3", tmp_path / "no.sock")
    assert typed("merge", str(tmp_path / "gig.json"))[0] == 0
    found = {p.name: (p.stat().st_uid, p.stat().st_gid) for p in folder.iterdir()}
    names = ["journal.sqlite3", *(["journal.sqlite3.damaged-1"] if before else [])]
    assert found == dict.fromkeys(names, (12345, 23456))


def test_a_running_watcher_takes_in_and_deletes(watched: Typed, tmp_path: Path) -> None:
    (tmp_path / "gig.json").write_text(json.dumps(big(), ensure_ascii=False), encoding="utf-8")
    said = "gig.json: 1 new gig and 400 new rings, of 1 gig\n"
    assert watched("merge", "gig.json") == (0, said, "")
    assert VENUE in watched("gigs")[1]
    kept = json.loads(watched("report", UID, "-o", "-", "--format", "json")[1])
    (note,) = [one for one in kept["happenings"] if one["kind"] == "note"]
    assert note["text"] == big()["happenings"][-1]["text"]
    assert watched("gigs", "--delete", UID, "--yes") == (0, f"deleted: {UID}\n", "")
    assert UID not in watched("gigs")[1]


def test_what_came_in_before_a_merge_broke_off_is_said(watched: Typed, tmp_path: Path) -> None:
    """The watcher takes record by record: the first fits, the second would push others out."""
    records = []
    for uid, count in (("aa", 2), ("bb", 19_000), ("cc", 19_000), ("dd", 19_000)):
        made = record(count if count < 100 else 2)
        made["gig"]["uid"] = uid
        for ring in made["rings"]:
            ring["session"] = uid
        if count > 100:
            made["rings"] = [{**made["rings"][0], "id": n} for n in range(count)]
        records.append(made)
    (tmp_path / "several.json").write_text(json.dumps(records))
    code, out, err = watched("merge", "several.json")
    assert (code, out) == (1, "")
    assert "and the journal keeps 50000" in err
    assert "(3 gigs of 4 came in before that; the file again doubles nothing)" in err
    assert err.count("\n") == 1
