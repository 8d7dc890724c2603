"""The faces: what must hold for a glance at two metres, measured on the pixels."""

from __future__ import annotations

from itertools import combinations
from typing import get_args

import numpy as np
import pytest
from PIL import Image

from firmware.example_faces import EXAMPLE_FACES
from firmware.faces import draw_face
from firmware.ports import Face, FaceKind

# The nominal third-octave labels of IEC 61260-1 in the short form of the panel.
KINDS: tuple[FaceKind, ...] = get_args(FaceKind)
LABELS = (
    "20 25 31.5 40 50 63 80 100 125 160 200 250 315 400 500 630 800 "
    "1k 1.25k 1.6k 2k 2.5k 3.15k 4k 5k 6.3k 8k 10k 12.5k 16k 20k"
).split()


def pixels(image: Image.Image) -> np.ndarray:
    return np.asarray(image, dtype=bool)


def seen_from_afar(image: Image.Image) -> np.ndarray:
    """The picture blurred to 16 x 8: shapes stay, letters go."""
    return np.asarray(image.convert("L").resize((16, 8), Image.Resampling.BOX), float) / 255


@pytest.mark.parametrize("name", EXAMPLE_FACES)
def test_one_bit_in_the_panels_size(name: str) -> None:
    image = draw_face(EXAMPLE_FACES[name])
    assert (image.mode, image.size) == ("1", (128, 64))
    assert 0.02 < pixels(image).mean() < 0.75


def test_every_kind_has_an_example() -> None:
    kinds = {face.kind for face in EXAMPLE_FACES.values()}
    assert kinds == set(KINDS)


@pytest.mark.parametrize("label", LABELS)
@pytest.mark.parametrize("kind", ["ringing", "howl"])
def test_the_band_fills_the_width(kind: str, label: str) -> None:
    lit = pixels(draw_face(Face(kind, label, "1234 Hz", "pull it")))  # type: ignore[arg-type]
    # Inside the outline or block; the letters are dark in the block.
    inside = lit[3:38, 4:124]
    ink = ~inside if kind == "howl" else inside
    columns = np.flatnonzero(ink.any(axis=0))
    rows = np.flatnonzero(ink.any(axis=1))
    assert columns[-1] - columns[0] + 1 >= 0.6 * 128
    assert rows[-1] - rows[0] + 1 >= 0.4 * 64


@pytest.mark.parametrize("kind", ["ringing", "howl"])
def test_all_labels_look_different(kind: str) -> None:
    pictures = {
        draw_face(Face(kind, label)).tobytes()  # type: ignore[arg-type]
        for label in LABELS
    }
    assert len(pictures) == len(LABELS)


def test_kinds_are_told_apart_by_shape_alone() -> None:
    """With the very same words, blurred until nothing can be read."""
    seen = {
        kind: seen_from_afar(draw_face(Face(kind, "2.5k", "pull 2.5k", "2480 Hz", ("630",))))
        for kind in KINDS
    }
    for one, other in combinations(KINDS, 2):
        difference = np.abs(seen[one] - seen[other])
        # At least an eighth of the blurred picture differs by a third of the full contrast.
        assert np.mean(difference > 1 / 3) >= 1 / 8, (one, other)


def test_howl_is_a_block_and_ringing_an_outline() -> None:
    howl = pixels(draw_face(EXAMPLE_FACES["howl"]))[:40]
    ringing = pixels(draw_face(EXAMPLE_FACES["ringing"]))[:40]
    assert howl.mean() > 0.5 > 0.45 > ringing.mean()
    assert howl[0, 10:118].all()
    assert ringing[0, 10:118].all()
    assert not ringing[3, 10:118].any()


def test_the_frame_of_deafness_is_broken_all_round() -> None:
    lit = pixels(draw_face(EXAMPLE_FACES["deaf-no-microphone"]))
    for edge in (lit[0], lit[-1], lit[:, 0], lit[:, -1]):
        assert 0.3 < edge.mean() < 0.7


def test_the_edges_of_words_are_not_cut_off() -> None:
    for name, face in EXAMPLE_FACES.items():
        if face.kind in ("ringing", "howl"):
            below = pixels(draw_face(face))[43:]
            assert not below[:, -1].any(), name
            assert not below[0].all(), name


@pytest.mark.parametrize("size", [(128, 32), (64, 128), (160, 128), (84, 48), (256, 64)])
@pytest.mark.parametrize("name", EXAMPLE_FACES)
def test_other_panels_get_every_face_too(name: str, size: tuple[int, int]) -> None:
    image = draw_face(EXAMPLE_FACES[name], width=size[0], height=size[1])
    assert image.size == size
    assert pixels(image).any()


@pytest.mark.parametrize("kind", KINDS)
def test_empty_and_endless_words_do_no_harm(kind: str) -> None:
    for words in ("", " ", "x" * 300, "wort " * 60, "ü—…"):
        image = draw_face(Face(kind, words, words, words, (words,)))  # type: ignore[arg-type]
        assert image.size == (128, 64)


def test_each_small_line_is_drawn() -> None:
    whole = draw_face(Face("ringing", "2.5k", "pull 2.5k", "2480 Hz"))
    for poorer in (Face("ringing", "2.5k", "pull 2.5k"), Face("ringing", "2.5k", "", "2480 Hz")):
        assert not np.array_equal(pixels(whole)[43:], pixels(draw_face(poorer))[43:])
    assert not pixels(draw_face(Face("ringing", "2.5k")))[43:].any()


def test_a_flat_panel_keeps_what_to_do() -> None:
    """Where there is no room for both lines, the exact frequency goes."""

    def below(face: Face) -> np.ndarray:
        return pixels(draw_face(face, height=32))[21:]

    action = "pull 12.5k and come down 3"
    kept = below(Face("howl", "12.5k", action, "12496 Hz"))
    assert kept.any()
    assert np.array_equal(kept, below(Face("howl", "12.5k", action, "12501 Hz")))
    assert not np.array_equal(kept, below(Face("howl", "12.5k", action[:-1], "12496 Hz")))


@pytest.mark.parametrize("size", [(128, 64), (64, 128), (160, 128), (240, 240)])
@pytest.mark.parametrize(
    "address",
    ["http://10.42.0.1/", "http://192.168.178.234:8080/", "http://lantern-left.local:8080/"],
)
def test_a_camera_reads_the_address(address: str, size: tuple[int, int]) -> None:
    # Read back by another library's eye (zxing-cpp), as dark squares on a lit panel in the dark.
    zxingcpp = pytest.importorskip("zxingcpp", reason="pip install zxing-cpp")
    face = Face("starting", "lantern", address, "set")
    picture = draw_face(face, width=size[0], height=size[1])
    seen = Image.new("L", (size[0] * 3 + 60, size[1] * 3 + 60), 0)
    seen.paste(picture.convert("L").resize((size[0] * 3, size[1] * 3)), (30, 30))
    assert [code.text for code in zxingcpp.read_barcodes(seen)] == [address]


@pytest.mark.parametrize("size", [(128, 32), (84, 48)])
def test_a_small_panel_shows_the_address_in_words_alone(size: tuple[int, int]) -> None:
    words, code = (
        draw_face(Face("starting", "lantern", line, "set"), width=size[0], height=size[1])
        for line in ("//10.42.0.1", "http://10.42.0.1/")
    )
    # Without a code: about as much light as the words alone.
    assert pixels(code).mean() < pixels(words).mean() + 0.1


def test_an_address_too_long_for_any_code_is_shown_in_words() -> None:
    face = Face("starting", "lantern", "http://" + 300 * "a" + ".local/", "set")
    assert pixels(draw_face(face)).mean() < 0.4
