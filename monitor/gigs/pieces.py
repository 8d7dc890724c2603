"""Long texts over a link whose lines are short: records out in pieces, records in from pieces.

Pure: no clock of its own, no I/O.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from typing import Any

from monitor.link.gig_commands import MOST_RECORD_CHARS
from monitor.link.messages import strict_json

MOST_CHARS = 40_000
MOST_BYTES = 60_000
"""Of a piece as it stands in a line, its quotes escaped; a line has 65,536 with all around it."""
MOST_UPLOADS = 2
FORGOTTEN_S = 60.0
"""An upload of which nothing more comes makes room for another."""


@dataclass(frozen=True, slots=True)
class Whole:
    """A text to hand out; who reads pieces of two different ones sees two digests."""

    text: str
    digest: str

    @classmethod
    def of(cls, content: Any) -> Whole:
        """Return content as compact JSON in plain ASCII."""
        text = json.dumps(content, allow_nan=False, separators=(",", ":"))
        return cls(text, hashlib.sha256(text.encode()).hexdigest()[:16])

    def piece(self, offset: int) -> dict[str, Any]:
        """Return the piece that begins at ``offset``.

        Raises
        ------
        ValueError
            If nothing begins there.
        """
        if offset > len(self.text):
            raise ValueError(
                f"offset {offset} is beyond the record's {len(self.text)} characters; begin at 0"
            )
        count = MOST_CHARS
        while len(json.dumps(self.text[offset : offset + count])) > MOST_BYTES:
            count = count * 3 // 4
        return {
            "text": self.text[offset : offset + count],
            "offset": offset,
            "total": len(self.text),
            "digest": self.digest,
        }


@dataclass(slots=True)
class _Upload:
    pieces: list[str] = field(default_factory=list)
    chars: int = 0
    touched_s: float = 0.0


class Uploads:
    """Puts together what comes in pieces, few and bounded."""

    def __init__(self) -> None:
        self._open: dict[str, _Upload] = {}

    def take(
        self, upload: str, *, offset: int, text: str, last: bool, now_s: float
    ) -> list[Any] | None:
        """Take a piece; return the records once the last one is there, None before.

        Raises
        ------
        ValueError
            If it does not fit on what came before, there is too much of it, or the whole is no
            JSON; one clear line, and the upload is forgotten.
        """
        found = self._found(upload, offset, now_s)
        if offset != found.chars:
            del self._open[upload]
            raise ValueError(
                f"the piece at {offset} does not follow on {found.chars} characters; send all again"
            )
        found.chars += len(text)
        if found.chars > MOST_RECORD_CHARS:
            del self._open[upload]
            raise ValueError(
                f"more than {MOST_RECORD_CHARS} characters of records; send fewer gigs at once"
            )
        found.pieces.append(text)
        if not last:
            return None
        del self._open[upload]
        return _records("".join(found.pieces))

    def _found(self, upload: str, offset: int, now_s: float) -> _Upload:
        for name, one in list(self._open.items()):
            if now_s - one.touched_s > FORGOTTEN_S:
                del self._open[name]
        if offset == 0:
            self._open.pop(upload, None)
            if len(self._open) >= MOST_UPLOADS:
                raise ValueError(
                    f"{MOST_UPLOADS} uploads are under way already; try again in a minute"
                )
            self._open[upload] = _Upload()
        found = self._open.get(upload)
        if found is None:
            raise ValueError(f"nothing of the upload {upload!r} is here; begin at offset 0")
        found.touched_s = now_s
        return found


def _records(text: str) -> list[Any]:
    """Return the records in a text: one, or a list of them."""
    try:
        content = strict_json(text)
    except (ValueError, RecursionError) as error:
        raise ValueError(f"that is no record of a gig: not JSON ({error!s:.80})") from error
    return content if isinstance(content, list) else [content]
