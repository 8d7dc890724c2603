"""``howl-lantern merge`` and ``gigs --delete``: what changes the journal from outside.

It goes through the watcher where one runs; only without one is the file opened here.
"""

from __future__ import annotations

import json
import logging
import os
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from monitor import places
from monitor.commands.asking import asked, is_nobody_there, problem_of
from monitor.commands.report import meant
from monitor.commands.whereabouts import where_it_answers
from monitor.counted import counted
from monitor.errors import LanternError, UsageError
from monitor.input_file import read_within
from monitor.journal.asks import DeleteGig, MergeRecords, Question
from monitor.journal.reading import open_reading
from monitor.journal.record import Record, read_records
from monitor.journal.record_values import RecordError
from monitor.journal.store import Journal
from monitor.link.client import LinkClient
from monitor.report.list_words import gig_lines
from monitor.report.words import listed
from monitor.settings import Settings

LARGEST_FILE_BYTES = 64_000_000
"""A hundred long gigs with everything kept are a tenth of it."""
ANSWER_S = 30.0
"""The longest question is a record of another box, written to a slow card."""
PIECE_CHARS = 20_000
"""Of a record on its way to the watcher; in plain ASCII, so that a piece fits in a line."""


def delete_gig(settings: Settings, name: str, *, sure: bool) -> int:
    """Delete a gig with all that was kept of it, after a question unless ``sure``.

    Raises
    ------
    UsageError
        If no gig, or more than one, is meant by ``name``, or nobody can be asked.
    LanternError
        If it cannot be deleted.
    """
    with open_reading(places.kept_journal_path(settings)) as reading:
        gig = meant(reading, name)
    if not sure and not _agreed(gig):
        print("nothing was deleted")
        return 1
    _changed(
        settings,
        lambda client: asked(
            client, {"class": "gig", "do": "delete", "gig": gig["uid"]}, timeout_s=ANSWER_S
        ),
        DeleteGig(gig["uid"]),
    )
    print(f"deleted: {gig['uid']}")
    return 0


def _agreed(gig: Mapping[str, Any]) -> bool:
    if not sys.stdin.isatty():
        raise UsageError("nobody can be asked here whether to delete; add --yes to mean it")
    print("\n".join(gig_lines([gig])))
    try:
        return input("Delete this gig for good? yes or no: ").strip().lower() in ("y", "yes")
    except EOFError:
        return False


# --- merge ----------------------------------------------------------------------------------------


def merge(settings: Settings, files: list[str]) -> int:
    """Take in the gigs of other boxes from their JSON files; print what was new.

    All files are read and checked before anything is changed.

    Raises
    ------
    UsageError
        If a file holds anything else: one line with the file and the place.
    LanternError
        If a file cannot be read, or the journal cannot take it.
    """
    for name, records in [(name, _read(name)) for name in files]:
        new = _merged(settings, records)
        said = listed([counted(new.get(f"{one}s", 0), f"new {one}") for one in ("gig", "ring")])
        print(f"{name}: {said}, of {counted(len(records), 'gig')}")
    return 0


def _read(name: str) -> list[Record]:
    try:
        return read_records(read_within(Path(name), LARGEST_FILE_BYTES).decode("utf-8"))
    except OSError as error:
        raise LanternError(f"{name}: cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise UsageError(f"{name}: this is no text; take a gig's JSON file") from error
    except RecordError as error:
        raise UsageError(f"{name}: {error}") from error


def _merged(settings: Settings, records: list[Record]) -> Mapping[str, int]:
    def through(client: LinkClient) -> Mapping[str, int]:
        new = {"gigs": 0, "rings": 0}
        for n, record in enumerate(records):
            try:
                answer = _sent(client, record)
            except LanternError as error:
                if not n:
                    raise
                before = f"{counted(n, 'gig')} of {len(records)} came in before that"
                raise LanternError(f"{error} ({before}; the file again doubles nothing)") from error
            new = {key: count + int(answer.get(key, 0)) for key, count in new.items()}
        return new

    return _changed(settings, through, MergeRecords(records))


def _sent(client: LinkClient, record: Record) -> Mapping[str, Any]:
    """Send one record in pieces; return the answer to the last."""
    whole = json.dumps(record, allow_nan=False, separators=(",", ":"))
    answer: Mapping[str, Any] = {}
    for offset in range(0, len(whole), PIECE_CHARS):
        answer = asked(
            client,
            {
                "class": "import",
                "upload": str(record["gig"]["uid"]),
                "offset": offset,
                "text": whole[offset : offset + PIECE_CHARS],
                "last": offset + PIECE_CHARS >= len(whole),
            },
            timeout_s=ANSWER_S,
        )
    return answer


# --- changing the journal -------------------------------------------------------------------------


def _changed(
    settings: Settings, through: Callable[[LinkClient], Mapping[str, Any]], question: Question
) -> Mapping[str, Any]:
    """Have the watcher change its journal; where none runs, change the file."""
    with _watcher(where_it_answers(settings)) as client:
        if client is not None:
            return through(client)
    return _asked_file(settings, question)


@contextmanager
def _watcher(path: Path) -> Iterator[LinkClient | None]:
    """Connect to the watcher; None where none runs.

    Raises
    ------
    LanternError
        If one may run and cannot be asked: its journal is not to be changed behind its back.
    """
    with LinkClient(path) as client:
        problem = problem_of(client)
        if problem and not is_nobody_there(client):
            raise LanternError(f"{problem}; or use sudo")
        yield None if problem else client


def _asked_file(settings: Settings, question: Question) -> Mapping[str, Any]:
    path = places.kept_journal_path(settings)
    found: list[tuple[Any, str]] = []
    ready = threading.Event()

    def answer(result: Any, problem: str) -> None:
        found.append((result, problem))
        ready.set()

    # What the journal logs it also tells whoever asks it: here one person hears both.
    logging.getLogger(Journal.__module__.rpartition(".")[0]).addHandler(logging.NullHandler())
    journal = Journal(
        path,
        keep_rings=settings.journal.keep_rings,
        keep_gigs=settings.gigs.keep,
        box=settings.box.name,
    )
    try:
        journal.ask(question, answer)
        ready.wait()  # hundreds of gigs take minutes on a small box, and are not left half done
    finally:
        journal.close()
        _give_to_the_folder_s_owner(path)
    result, problem = found[0]
    if problem:
        raise LanternError(problem)
    if (health := journal.health()) != "ok":
        print(f"howl-lantern: {health}", file=sys.stderr)
    return result if isinstance(result, Mapping) else {}


def _give_to_the_folder_s_owner(path: Path) -> None:
    """One that root has begun here, also in a damaged one's place, the watcher could not write."""
    with suppress(OSError):  # it could not be made, and the journal has said so
        owner = path.parent.stat()
        if path.stat().st_uid == 0 != owner.st_uid:
            os.chown(path, owner.st_uid, owner.st_gid)
