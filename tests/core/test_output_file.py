"""Output files: whole or not at all, and never over what is read or what is no file."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from monitor.errors import LanternError, UsageError
from monitor.output_file import check_outputs, write_whole


def write(path: Path, text: str = "new") -> None:
    write_whole(path, lambda beside: beside.write_text(text), what="the picture")


def test_a_link_keeps_its_place_and_a_file_its_rights(tmp_path: Path) -> None:
    target, link = tmp_path / "target.svg", tmp_path / "link.svg"
    target.write_text("old")
    target.chmod(0o640)
    link.symlink_to(target)
    write(link)
    assert link.is_symlink()
    assert target.read_text() == "new"
    assert stat.S_IMODE(target.stat().st_mode) == 0o640


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_what_fails_leaves_the_old_file_and_nothing_beside(
    tmp_path: Path, error: BaseException
) -> None:
    path = tmp_path / "plan.svg"
    path.write_text("old")

    def half(beside: Path) -> None:
        beside.write_text("ha")
        raise error

    with pytest.raises((LanternError, KeyboardInterrupt)):
        write_whole(path, half, what="the picture")
    assert [found.name for found in tmp_path.iterdir()] == ["plan.svg"]
    assert path.read_text() == "old"


@pytest.mark.parametrize("name", ["file/x.svg", "x" * 250 + ".svg", "nowhere/x.svg"])
def test_where_nothing_can_be_written_one_line_says_so(tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(LanternError, match=r"the picture cannot be written \(.+\); name a file"):
        write(tmp_path / name)


def test_what_is_no_file_is_left_alone(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.svg"
    os.mkfifo(pipe)
    for name in (str(pipe), str(tmp_path), ".", "", "/", os.devnull):
        with pytest.raises(UsageError, match="--svg"):
            check_outputs({"--svg": name}, {})
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_neither_what_is_read_nor_another_output_is_written_over(tmp_path: Path) -> None:
    read, link = tmp_path / "stage.toml", tmp_path / "link"
    read.write_text("")
    link.symlink_to(read)
    inputs = {"the stage plan itself": read}
    for name in (str(read), str(link), f"{tmp_path}/../{tmp_path.name}/stage.toml"):
        with pytest.raises(UsageError, match="that is the stage plan itself"):
            check_outputs({"--svg": name}, inputs)
    with pytest.raises(UsageError, match="that is what --svg writes"):
        check_outputs({"--svg": "a.svg", "--png": "a.svg"}, inputs)
    check_outputs({"--svg": "a.svg", "--png": None}, inputs)
