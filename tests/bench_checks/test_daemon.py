"""The daemon's table: what of strace's words counts as a write to the card."""

from __future__ import annotations

from pathlib import Path

from tests.bench.daemon import SYNCS, WRITES, counted

# As strace 6.1 writes them with -f -y.
LINES = """\
123 pwrite64(7</var/lib/box/journal.sqlite3-wal>, "..."..., 4120, 32) = 4120
124 write(9</var/lib/box/watch.log>, "quiet\\n", 6) = 6
124 write(4<socket:[8812]>, "{}", 2) = 2
124 write(9</var/lib/boxes/other>, "quiet\\n", 6) = 6
125 fdatasync(7</var/lib/box/journal.sqlite3-wal>) = 0
126 <... write resumed>) = 6
""".splitlines()


def test_only_what_goes_to_the_folder_is_counted() -> None:
    assert counted(LINES, WRITES, Path("/var/lib/box")) == 2
    assert counted(LINES, SYNCS, Path("/var/lib/box")) == 1
    assert counted(LINES, WRITES, Path("/home")) == 0
