"""Words with letters that the typeface has not: without their marks, never as boxes."""

from __future__ import annotations

import pytest
from PIL import ImageFont

from firmware.lettering import drawable


@pytest.mark.parametrize(
    ("text", "drawn"),
    [
        ("Jürgen", "Jurgen"),
        ("Renée Žuk", "Renee Zuk"),
        ("e\u0301te\u0301", "ete"),
        ("Straße, Łódź", "Strasse, Lodz"),
        ("\u22123 dB", "-3 dB"),
        ("2.5k at -4 dB · 1/3", "2.5k at -4 dB · 1/3"),
        ("東京 🎤", "?? ?"),
        ("", ""),
    ],
)
def test_what_is_drawn(text: str, drawn: str) -> None:
    assert drawable(text) == drawn


def test_every_letter_that_is_drawn_is_in_the_typeface() -> None:
    font = ImageFont.load_default(20)
    missing = bytes(font.getmask("\uffff"))
    letters = "".join(map(chr, range(0x20, 0x250)))
    assert all(sign.isspace() or bytes(font.getmask(sign)) != missing for sign in drawable(letters))
