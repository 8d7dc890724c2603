"""Small file systems of a test's own, which are gone again however the test ends."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

CARD_MIB = 16


class CannotMount(RuntimeError):
    """This machine, or this user, may not mount anything."""


@contextmanager
def small_disk(place: Path, size_kib: int) -> Iterator[Path]:
    """A disk in memory that fills up soon, at ``place``; CannotMount where none may be mounted."""
    place.mkdir()
    try:
        _run("mount", "-t", "tmpfs", "-o", f"size={size_kib}k", "tmpfs", str(place))
    except (OSError, subprocess.CalledProcessError) as error:
        raise CannotMount(f"a small disk cannot be mounted here: {error}; run as root") from None
    try:
        yield place
    finally:
        _let_go(place)


def turn(disk: Path, how: str) -> None:
    """Turn a disk read-only (``ro``), writable (``rw``), or let it fail in use (``abort``).

    ext4 turns read-only by itself after an error of the card; its mount option ``abort`` does the
    same (mount(8), ext4(5)).
    """
    _run("mount", "-o", f"remount,{how}", str(disk))


class WornCard:
    """A file system made of a file, which can fail as a worn card does.

    A context manager: it is mounted inside, and CannotMount where that cannot be done.

    Args:
        folder: Where the file and the place it is mounted at are made.
    """

    def __init__(self, folder: Path) -> None:
        self.place = folder / "card"
        self._image = folder / "image"

    def __enter__(self) -> WornCard:
        self.place.mkdir()
        with self._image.open("wb") as file:
            file.truncate(CARD_MIB * 1024 * 1024)
        try:
            _run("mkfs.ext4", "-q", str(self._image))
            self._mount()
        except (OSError, subprocess.CalledProcessError) as error:
            raise CannotMount(
                f"a card cannot be made of a file here: {error}; run as root"
            ) from None
        return self

    def __exit__(self, *_: object) -> None:
        _let_go(self.place)

    def power_cycle(self) -> None:
        """Unmount it, have the file system looked over, and mount it again."""
        _run("umount", str(self.place))
        subprocess.run(["e2fsck", "-p", str(self._image)], check=False, capture_output=True)
        self._mount()

    def _mount(self) -> None:
        _run("mount", "-o", "loop,errors=remount-ro", str(self._image), str(self.place))


def fill(disk: Path) -> Path:
    """Leave no byte free; the file that takes the room."""
    filler = disk / "filler"
    try:
        with filler.open("wb") as file:
            while True:
                file.write(bytes(64 * 1024))
                file.flush()
    except OSError:
        return filler  # full now, as intended


def _let_go(place: Path) -> None:
    """Unmount; RuntimeError where something still holds a file open, which ought to be closed.

    It is unmounted then too, lazily, so that it is not in the way of the next test.
    """
    try:
        _run("umount", str(place))
    except subprocess.CalledProcessError:
        subprocess.run(["umount", "--lazy", str(place)], check=False, capture_output=True)
        raise RuntimeError(f"{place} could not be unmounted: is a file still open?") from None


def _run(*words: str) -> None:
    subprocess.run(words, check=True, capture_output=True)
