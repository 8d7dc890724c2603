"""The page and its files: read, packed and named by their content once, when the page starts.

A phone keeps them and asks each time whether they are still the same (``ETag``, RFC 9110, 8.8.3):
on a local network that costs less than a page that is older than its box.
"""

from __future__ import annotations

import gzip
import hashlib
import mimetypes
import re
from dataclasses import dataclass
from pathlib import Path

from flask import Flask, Response, render_template, request

from monitor.placing.checklist import CHECKLIST
from web.answers import line
from web.packing import takes_gzip

FOLDER = Path(__file__).parent / "static"
PACKED = (".css", ".js", ".svg", ".json", ".html")
KINDS = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
"""Named here: what the system's own table says of scripts differs from machine to machine."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A file as it is sent: plain, packed if that is shorter, its kind and its name by content."""

    plain: bytes
    packed: bytes | None
    mimetype: str
    etag: str

    @classmethod
    def of(cls, plain: bytes, suffix: str) -> Kept:
        """Prepare a file's bytes."""
        packed = gzip.compress(plain, 9, mtime=0) if suffix in PACKED else None
        kind = KINDS.get(suffix) or mimetypes.types_map.get(suffix, "application/octet-stream")
        return cls(
            plain=plain,
            packed=packed if packed is not None and len(packed) < len(plain) else None,
            mimetype="text/html" if suffix == ".html" else kind,
            etag=hashlib.sha256(plain).hexdigest()[:16],
        )

    def answer(self) -> Response:
        """The answer to the present request: the file, or that it is still the same."""
        as_packed = self.packed is not None and takes_gzip()
        body = self.packed if as_packed and self.packed is not None else self.plain
        etag = self.etag + ("-gz" if as_packed else "")
        response = Response(body, mimetype=self.mimetype)
        response.set_etag(etag)
        response.headers["Cache-Control"] = "no-cache"
        if self.packed is not None:
            response.vary.add("Accept-Encoding")
        if as_packed:
            response.headers["Content-Encoding"] = "gzip"
        response.make_conditional(request)
        return response


def _read_files() -> dict[str, Kept]:
    """All files of the folder, by name."""
    return {
        path.relative_to(FOLDER).as_posix(): Kept.of(path.read_bytes(), path.suffix)
        for path in sorted(FOLDER.rglob("*"))
        if path.is_file()
    }


def add_static_files(app: Flask) -> None:
    """Add ``/`` and ``/static/``."""
    files = _read_files()
    pages: list[Kept] = []

    @app.get("/")
    def page() -> Response:
        if not pages:  # drawn when first asked for: its addresses need a request
            html = render_template("page.html", checklist=CHECKLIST)
            # The indentation is for us, not for the phone.
            pages.append(Kept.of(re.sub(r"\n\s+", "\n", html).encode(), ".html"))
        return pages[0].answer()

    @app.get("/static/<path:filename>", endpoint="static")
    def static(filename: str) -> Response | tuple[Response, int]:
        kept = files.get(filename)
        return line("not found", 404) if kept is None else kept.answer()
