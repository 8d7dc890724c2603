"""Shapes and outlines: geometry, SVG text, dots, names' places."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

import pytest

from monitor.placing.name_places import NamePlaces, shortened, wrapped
from monitor.placing.outlines import (
    CABINET_CM,
    aim_from,
    arrow_head,
    bearing,
    cabinet,
    clipped,
    moved,
    polar,
    sector,
)
from monitor.placing.shapes import THEMES, Disc, Outline, Picture, Thing, Words
from monitor.placing.shapes_png import dashes, png_image
from monitor.placing.shapes_svg import svg_text

SVG = "{http://www.w3.org/2000/svg}"


def area(points: tuple[tuple[float, float], ...]) -> float:
    """The shoelace formula."""
    pairs = zip(points, points[1:] + points[:1], strict=True)
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)) / 2.0


def picture(*parts: object) -> Picture:
    return Picture(-10.0, -20.0, 200.0, 100.0, "a picture", parts)  # type: ignore[arg-type]


# --- geometry ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("aim", "x", "y"), [(0, 0, 1), (90, 1, 0), (180, 0, -1), (270, -1, 0)])
def test_directions_are_the_stage_file_s(aim: float, x: float, y: float) -> None:
    assert bearing(aim) == pytest.approx((x, y), abs=1e-12)
    assert aim_from((5.0, 5.0), (5.0 + x, 5.0 + y)) % 360 == pytest.approx(aim)


def test_right_is_the_right_hand_of_whoever_looks_along_the_aim() -> None:
    # Whoever faces the audience (down on the paper) has it on the paper's left.
    assert moved((0.0, 0.0), 0.0, 2.0, 1.0) == pytest.approx((-1.0, 2.0))
    assert moved((0.0, 0.0), 90.0, 2.0, 1.0) == pytest.approx((2.0, 1.0))


def test_a_polar_outline_has_the_pattern_s_amplitude_at_every_angle() -> None:
    points = polar(
        (100.0, 50.0), 180.0, 10.0, lambda deg: 0.37 + 0.63 * math.cos(math.radians(deg))
    )
    for point in points:
        angle = aim_from((100.0, 50.0), point) - 180.0
        formula = abs(0.37 + 0.63 * math.cos(math.radians(angle)))
        if formula > 1e-3:
            assert math.dist(point, (100.0, 50.0)) == pytest.approx(10.0 * formula, rel=1e-6)
    assert max(math.dist(p, (100.0, 50.0)) for p in points) == pytest.approx(10.0)


@pytest.mark.parametrize("angle", [60.0, 90.0, 180.0, 270.0])
def test_a_sector_is_as_wide_as_the_coverage(angle: float) -> None:
    points = sector((0.0, 0.0), 30.0, angle, 100.0)
    # Chords of 5 degrees cut 0.13 % off a circle's part.
    assert area(points) == pytest.approx(math.pi * 100.0**2 * angle / 360.0, rel=2e-3)
    assert aim_from(points[0], points[1]) == pytest.approx(30.0 - angle / 2.0)
    assert aim_from(points[0], points[-1]) == pytest.approx(30.0 + angle / 2.0)


def test_all_round_is_a_circle_without_a_cut() -> None:
    points = sector((0.0, 0.0), 0.0, 360.0, 100.0)
    assert all(math.hypot(*p) == pytest.approx(100.0) for p in points)
    assert area(points) == pytest.approx(math.pi * 100.0**2, rel=2e-3)


def test_what_lies_outside_is_clipped() -> None:
    square = ((-10.0, -10.0), (30.0, -10.0), (30.0, 30.0), (-10.0, 30.0))
    assert area(clipped(square, (0.0, 0.0, 20.0, 10.0))) == pytest.approx(200.0)
    inside = ((1.0, 1.0), (5.0, 1.0), (3.0, 4.0))
    assert area(clipped(inside, (0.0, 0.0, 20.0, 10.0))) == pytest.approx(area(inside))
    assert clipped(inside, (6.0, 0.0, 20.0, 10.0)) == ()


def test_a_cabinet_stands_behind_its_front() -> None:
    points = cabinet((100.0, 100.0), 0.0)
    assert math.dist(points[0], points[1]) == pytest.approx(CABINET_CM[0])
    assert {p[1] for p in points[:2]} == {100.0}
    assert all(p[1] == pytest.approx(100.0 - CABINET_CM[1]) for p in points[2:])


def test_an_arrow_head_points_where_it_goes() -> None:
    tip, left, right = arrow_head((0.0, 0.0), 90.0, 10.0)
    assert tip == (0.0, 0.0)
    assert left[0] == pytest.approx(-10.0)
    assert right == pytest.approx((left[0], -left[1]))


# --- SVG ---------------------------------------------------------------------------------------

EVERYTHING = picture(
    Outline(((0.0, 0.0), (50.0, 0.0), (50.0, 40.0)), closed=True, fill="quiet", strength=0.25),
    Outline(((0.0, 60.0), (100.0, 60.0)), stroke="paper", width_cm=2.0, dash_cm=(6.0, 3.0)),
    Thing(
        "microphone",
        3,
        'the "best" <one> & only',
        (120.0, 30.0),
        15.0,
        (120.0, 30.0),
        (Disc((120.0, 30.0), 8.0, fill="candle", stroke="paper", width_cm=2.0),),
    ),
    Words((120.0, 60.0), "</text><script>x</script>\x00\ud800", 8.0, bold=True),
)


def test_svg_is_well_formed_and_names_are_words_only() -> None:
    root = ET.fromstring(svg_text(EVERYTHING))
    assert root.get("viewBox") == "-10 -20 200 100"
    assert [e.text for e in root.iter(f"{SVG}text")] == ["</text><script>x</script>  "]
    (thing,) = root.iter(f"{SVG}g")
    assert thing.get("aria-label") == 'the "best" <one> & only'
    assert (thing.get("data-kind"), thing.get("data-index")) == ("microphone", "3")
    assert (thing.get("tabindex"), thing.get("role")) == ("0", "button")
    assert not [e for e in root.iter() if e.tag in (f"{SVG}script", f"{SVG}style")]


@pytest.mark.parametrize("theme", [None, "night", "day"])
def test_svg_has_nothing_that_a_strict_policy_forbids(theme: None) -> None:
    root = ET.fromstring(svg_text(EVERYTHING, theme=theme))
    for element in root.iter():
        assert element.tag != f"{SVG}style"
        assert not [key for key in element.attrib if key == "style" or key.startswith("on")]


def test_the_page_s_inks_are_its_own_and_a_file_s_are_plain() -> None:
    assert f"var(--candle, {THEMES['night']['candle']})" in svg_text(EVERYTHING)
    day = svg_text(EVERYTHING, theme="day")
    assert "var(" not in day
    assert THEMES["day"]["candle"] in day
    assert f'fill="{THEMES["day"]["ground"]}"/>' in day


# --- dots --------------------------------------------------------------------------------------


def dot(image: object, x_cm: float, y_cm: float) -> tuple[int, ...]:
    """The colour at a place of ``picture``, drawn four dots a centimetre."""
    return image.getpixel((round(4 * (x_cm + 10)), round(4 * (y_cm + 20))))  # type: ignore[attr-defined,no-any-return]


def rgb(ink: str) -> tuple[int, ...]:
    code = THEMES["night"][ink]  # type: ignore[index]
    return tuple(int(code[i : i + 2], 16) for i in (1, 3, 5))


def test_dots_stand_where_the_shapes_say() -> None:
    image = png_image(EVERYTHING, width_px=800)
    assert image.size == (800, 400)
    assert dot(image, 120.0, 30.0) == rgb("candle")
    assert dot(image, 128.0, 30.0) == rgb("paper")  # the rim's middle
    assert dot(image, 150.0, 30.0) == rgb("ground")
    mixed = tuple(0.25 * a + 0.75 * b for a, b in zip(rgb("quiet"), rgb("ground"), strict=True))
    assert dot(image, 45.0, 10.0) == pytest.approx(mixed, abs=2)
    assert dot(image, 3.0, 60.0) == rgb("paper")  # within the first dash
    assert dot(image, 7.5, 60.0) == rgb("ground")  # within the first gap


def test_dashes_go_round_corners() -> None:
    found = list(dashes([(0.0, 0.0), (10.0, 0.0), (10.0, 10.0)], 4.0, 4.0))
    assert found == [
        [(0.0, 0.0), (4.0, 0.0)],
        [(8.0, 0.0), (10.0, 0.0), (10.0, 2.0)],
        [(10.0, 6.0), (10.0, 10.0)],
    ]


# --- names -------------------------------------------------------------------------------------


def test_names_cover_neither_each_other_nor_things() -> None:
    places = NamePlaces((0.0, 0.0, 300.0, 300.0))
    places.keep_free((150.0, 150.0), 10.0)
    boxes = []
    for _ in range(4):
        found = places.place(((150.0, 150.0),), 12.0, ("eight ch",), 10.0, must=False)
        assert found is not None
        ((x, y),), anchor = found
        width = 0.58 * 10.0 * 8
        left = {"start": x, "middle": x - width / 2, "end": x - width}[anchor]
        boxes.append((left, y - 9.0, left + width, y))
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            assert a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] or b[1] >= a[3]


def test_a_name_without_room_is_left_out_unless_it_must_stand() -> None:
    places = NamePlaces((0.0, 0.0, 40.0, 20.0))
    places.keep_free((20.0, 10.0), 30.0)
    assert places.place(((20.0, 10.0),), 5.0, ("name",), 10.0, must=False) is None
    assert places.place(((20.0, 10.0),), 5.0, ("name",), 10.0, must=True) is not None


def test_a_name_stands_nearer_to_its_own_thing_than_to_another() -> None:
    places = NamePlaces((0.0, 0.0, 400.0, 300.0))
    places.keep_free((150.0, 150.0), 10.0)
    places.keep_free((260.0, 150.0), 10.0)
    found = places.place(((150.0, 150.0),), 30.0, ("eleven sign",), 10.0, must=False)
    assert found is not None
    ((x, _),), anchor = found
    # To the right it would end a dot before the other thing.
    assert anchor == "end"
    assert x < 150.0


def test_names_stay_within_the_view() -> None:
    places = NamePlaces((0.0, 0.0, 300.0, 100.0))
    places.keep_free((295.0, 50.0), 8.0)
    found = places.place(((295.0, 50.0),), 10.0, ("a longer name",), 10.0, must=False)
    assert found is not None
    ((x, _),), anchor = found
    assert anchor == "end"
    assert x <= 300.0


def test_lines_are_about_as_long_as_each_other_and_no_longer_than_asked() -> None:
    assert wrapped("mute the voice while nobody uses it", 20, 4) == (
        "mute the voice while",
        "nobody uses it",
    )
    assert wrapped("one two three four five six", 8, 2) == ("one two", "three f…")
    assert wrapped("15 to 4\N{NO-BREAK SPACE}cm", 8, 4) == ("15 to", "4 cm")
    assert wrapped("", 20, 4) == ("",)


def test_long_names_are_shortened_to_one_line() -> None:
    assert shortened("left  mains\n", 20) == "left mains"
    assert shortened("a" * 30, 20) == "a" * 19 + "…"
