"""Long texts in short lines."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.gigs.pieces import FORGOTTEN_S, MOST_BYTES, MOST_CHARS, Uploads, Whole
from monitor.link.messages import MAX_LINE_BYTES, encode


def put_together(whole: Whole) -> str:
    text, count = "", 0
    while True:
        piece = whole.piece(len(text))
        assert piece["total"] == len(whole.text)
        assert piece["digest"] == whole.digest
        assert len(piece["text"]) <= MOST_CHARS
        line = encode({"class": "record", "gig": "0" * 16, **piece, "request": "x" * 64})
        assert len(line) <= MAX_LINE_BYTES
        text, count = text + piece["text"], count + 1
        assert count < 1000
        if len(text) == piece["total"]:
            return text


@pytest.mark.parametrize(
    "content",
    [
        {},
        {"note": "x" * 200_000},
        {"note": '"' * 200_000},
        {"note": "\\" * 200_000},
        {"note": "\u4e00" * 100_000},
        {"note": "\U0001f3a4" * 50_000},
    ],
)
def test_pieces_fit_in_lines_and_make_the_whole(content: dict[str, Any]) -> None:
    assert json.loads(put_together(Whole.of(content))) == content


@settings(max_examples=30)
@given(st.lists(st.text(max_size=2000), max_size=40))
def test_whatever_is_written_comes_back(content: list[str]) -> None:
    assert json.loads(put_together(Whole.of(content))) == content


def test_another_text_has_another_digest_and_nothing_begins_beyond_the_end() -> None:
    whole = Whole.of({"a": 1})
    assert whole.digest != Whole.of({"a": 2}).digest
    assert whole.piece(len(whole.text))["text"] == ""
    with pytest.raises(ValueError, match="beyond the record's 7 characters"):
        whole.piece(8)


def take(uploads: Uploads, text: str, offset: int = 0, **more: Any) -> list[Any] | None:
    words = {"upload": "a", "last": False, "now_s": 0.0, **more}
    return uploads.take(words.pop("upload"), offset=offset, text=text, **words)


def test_pieces_of_one_record_or_of_a_list() -> None:
    uploads = Uploads()
    assert take(uploads, '{"rec') is None
    assert take(uploads, 'ord":1}', 5, last=True) == [{"record": 1}]
    assert take(uploads, "[{},{}]", last=True) == [{}, {}]


@pytest.mark.parametrize(
    ("text", "expected"),
    [("{", "no record of a gig: not JSON"), ("[NaN]", "NaN is not allowed"), ("", "not JSON"),
     ("[" * 100_000, "not JSON")],
)  # fmt: skip
def test_what_is_no_json_is_refused(text: str, expected: str) -> None:
    with pytest.raises(ValueError, match=expected):
        take(Uploads(), text, last=True)


def test_uploads_are_few_bounded_and_forgotten(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monitor.gigs.pieces.MOST_RECORD_CHARS", 10)
    uploads = Uploads()
    take(uploads, "123456")
    with pytest.raises(ValueError, match="does not follow on 6 characters; send all again"):
        take(uploads, "7", 7)
    with pytest.raises(ValueError, match="nothing of the upload 'a' is here; begin at offset 0"):
        take(uploads, "7", 6)
    take(uploads, "123456")
    with pytest.raises(ValueError, match="more than 10 characters of records"):
        take(uploads, "789ab", 6)
    take(uploads, "1", upload="b")
    take(uploads, "1", upload="c")
    with pytest.raises(ValueError, match="2 uploads are under way already"):
        take(uploads, "1", upload="d")
    take(uploads, "2", upload="b")  # from the beginning again: not a third one
    assert take(uploads, "1", upload="d", now_s=FORGOTTEN_S + 1.0) is None


def test_the_longest_piece_leaves_room_for_its_line() -> None:
    assert MOST_BYTES < MAX_LINE_BYTES - 512
