"""What a command writes: whole or not at all, and never over what it reads."""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Callable, Mapping
from pathlib import Path

from monitor.errors import LanternError, UsageError


def check_outputs(outputs: Mapping[str, str | None], inputs: Mapping[str, Path]) -> None:
    """Refuse outputs that cannot be meant, before anything is done.

    Parameters
    ----------
    outputs : mapping
        File by option (``--svg``); None where the option was not given.
    inputs : mapping
        What is read, by what it is ("the stage plan").

    Raises
    ------
    UsageError
        If one is there and is no plain file, or is one of the inputs or
        another output.
    """
    taken = {path.resolve(): name for name, path in inputs.items()}
    for option, name in outputs.items():
        if name is None:
            continue
        path = Path(os.path.realpath(name))
        mode = _mode(path)
        if stat.S_ISDIR(mode):
            raise UsageError(f"{option} {name!r}: a file's name expected")
        if mode and not stat.S_ISREG(mode):
            raise UsageError(f"{option} {name}: there is something that is no file; name another")
        if path in taken:
            raise UsageError(f"{option} {name}: that is {taken[path]}; name another file")
        taken[path] = f"what {option} writes"


def _mode(path: Path) -> int:
    """What is there, 0 for nothing that could be seen: writing says why it cannot."""
    try:
        return path.stat().st_mode
    except (OSError, ValueError):
        return 0


def write_whole(path: Path, write: Callable[[Path], object], *, what: str) -> None:
    """Write beside the file and rename, so that a full disk leaves the old file or none.

    What is there already keeps its rights, and a link its place.

    Raises
    ------
    LanternError
        If it cannot be written; ``what`` says what it is.
    """
    real = Path(os.path.realpath(path))
    beside = real.with_name(f"{real.name}.{os.getpid()}.new")
    try:
        write(beside)
        with contextlib.suppress(FileNotFoundError):
            beside.chmod(stat.S_IMODE(real.stat().st_mode))
        beside.replace(real)
    except OSError as error:
        raise LanternError(
            f"{path}: {what} cannot be written ({error.strerror}); "
            "name a file in a folder that is yours"
        ) from error
    finally:  # also when somebody has had enough of waiting
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)
