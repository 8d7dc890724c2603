"""The examples as pictures in a folder."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from firmware.example_faces import EXAMPLE_FACES, write_faces


def test_the_faces_are_written(tmp_path: Path) -> None:
    written = write_faces(tmp_path / "new" / "folder")
    assert {path.stem for path in written} == {"faces", *EXAMPLE_FACES}
    for path in written:
        with Image.open(path) as image:
            assert path.stem == "faces" or image.size == (4 * 128, 4 * 64)


def test_a_folder_that_cannot_be_written_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OSError, match="file"):
        write_faces(tmp_path / "file")
