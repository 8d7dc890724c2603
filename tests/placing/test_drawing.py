"""The stage plan's drawing, read back: to scale, true to the patterns, touchable, readable."""

from __future__ import annotations

import dataclasses
import math
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from monitor.errors import LanternError
from monitor.placing.drawing import (
    draw_svg,
    plan_picture,
)
from monitor.placing.ground import NAME_PX, PHONE_PX, TALLEST, grid_m, length_words, view_of
from monitor.placing.name_places import width_of
from monitor.placing.picture_file import write_png, write_svg
from monitor.placing.plan_words import short_change
from monitor.placing.reckon import reckon
from monitor.placing.shapes import THEMES, Words
from monitor.placing.shapes_png import png_image
from monitor.placing.shapes_svg import svg_text
from monitor.placing.stage import FOOT_M, Stage, Units
from monitor.placing.stage_file import EXAMPLE, read_stage
from monitor.placing.things import POLAR_PX
from monitor.placing.words import sentence_of, spare_words
from tests.placing.drawn import (
    SVG,
    a_stage,
    aim,
    hold,
    many_microphones,
    parts,
    points_of,
    texts,
    things,
)


def drawn(stage: Stage) -> ET.Element:
    return ET.fromstring(draw_svg(stage, reckon(stage)))


# --- to scale -----------------------------------------------------------------------------------


def test_a_centimetre_of_the_drawing_is_a_centimetre_of_the_room() -> None:
    stage = a_stage()
    root = drawn(stage)
    (room,) = parts(root, "room")
    corners = points_of(room)
    assert math.dist(corners[0], corners[1]) == pytest.approx(700.0)
    assert math.dist(corners[1], corners[2]) == pytest.approx(1000.0)
    for element, one in zip(things(root, "microphone"), stage.microphones, strict=True):
        assert hold(element)[0] == pytest.approx((100 * one.x_m, 100 * one.y_m), abs=0.1)
    for element, speaker in zip(things(root, "loudspeaker"), stage.loudspeakers, strict=True):
        (front,) = (points_of(e) for e in element if e.get("class") == "front")
        middle = ((front[0][0] + front[1][0]) / 2, (front[0][1] + front[1][1]) / 2)
        assert middle == pytest.approx((100 * speaker.x_m, 100 * speaker.y_m), abs=0.1)


def test_the_limiting_path_is_as_long_as_the_floor_between() -> None:
    stage = a_stage()
    reckoning = reckon(stage)
    pair = reckoning.limiting
    (path,) = (e for e in parts(drawn(stage), "limits") if e.get("class") == "path limits")
    start, end = points_of(path)
    speaker = next(one for one in stage.loudspeakers if one.name == pair.loudspeaker)
    microphone = next(one for one in stage.microphones if one.name == pair.microphone)
    assert start == pytest.approx((100 * speaker.x_m, 100 * speaker.y_m), abs=0.1)
    # The shaft ends a little before the microphone, for the arrow's head, and points at it.
    target = (100 * microphone.x_m, 100 * microphone.y_m)
    assert aim(start, end) == pytest.approx(aim(start, target), abs=0.3)
    assert 0 < math.dist(end, target) < 20 * view_of(stage).px
    assert f"limits: {length_words(pair.distance_m, 'metres')}" in texts(drawn(stage))


@pytest.mark.parametrize(("units", "words"), [("metres", "1 m"), ("feet", "5 ft")])
def test_the_scale_bar_and_the_grid_are_round_and_true(units: str, words: str) -> None:
    scale = 1.0 if units == "metres" else 1.0 / FOOT_M
    stage = dataclasses.replace(a_stage(), units=units)  # type: ignore[arg-type]
    root = drawn(stage)
    (bar,) = parts(root, "scale")
    _, left, right, _ = points_of(bar)
    assert f"{words}, as the grid" in texts(root)
    assert math.dist(left, right) / 100 * scale == pytest.approx(float(words.split()[0]), abs=0.01)
    across = sorted(p[0][0] for p in map(points_of, parts(root, "grid")) if p[0][0] == p[1][0])
    assert across[0] == pytest.approx(math.dist(left, right), abs=0.1)


@pytest.mark.parametrize("size", [2.0, 7.0, 30.0, 200.0])
def test_a_grid_stays_countable(size: float) -> None:
    stage = a_stage()
    room = dataclasses.replace(stage.room, width_m=size, depth_m=size / 2)
    assert size / grid_m(dataclasses.replace(stage, room=room)) <= 20


def test_coverage_is_as_wide_as_said_and_stays_in_the_room() -> None:
    stage = a_stage()
    first = parts(drawn(stage), "coverage")[0]
    points = points_of(first)
    assert points[0] == pytest.approx((80.0, 140.0), abs=0.1)
    assert all(-0.1 <= x <= 700.1 and -0.1 <= y <= 1000.1 for x, y in points)
    edges = [aim(*points_of(e)) for e in parts(drawn(stage), "edge")[:2]]
    # Aim 20 degrees, 90 degrees between the -6 dB points.
    assert sorted(edges) == pytest.approx([65.0, 335.0], abs=0.2)
    away = [p for p in points if math.dist(p, points[0]) > 1.0]
    angles = [(aim(points[0], p) + 180.0) % 360.0 for p in away]
    assert (min(angles), max(angles)) == pytest.approx((155.0, 245.0), abs=0.2)


def test_a_wedge_under_the_microphone_has_an_arrow_that_goes_forward() -> None:
    for y in (2.0, 2.05, 2.3):
        stage = a_stage(
            microphone=[{"name": "voice", "x": 3, "y": 2, "pattern": "omni"}],
            loudspeaker=[{"name": "wedge", "kind": "wedge", "x": 3, "y": y}],
        )
        (path,) = (e for e in parts(drawn(stage), "limits") if e.get("class") == "path limits")
        (_, start), (_, end) = points_of(path)
        assert 200.0 <= end <= start


# --- patterns -----------------------------------------------------------------------------------


def outline(stage: Stage, index: int) -> tuple[list[tuple[float, float]], float]:
    """A microphone's pattern about its place, and how far it reaches on its axis."""
    element = things(drawn(stage), "microphone")[index]
    (path,) = (e for e in element if e.get("class") == "pattern")
    view = view_of(stage)
    return points_of(path), POLAR_PX * view.crowd * view.px


@pytest.mark.parametrize(
    ("pattern", "omni"),
    [
        # A of A + (1 - A) cos: J. Eargle, The Microphone Book, 2nd ed. 2004, ch. 6, for omni,
        # cardioid, hypercardioid and figure-8; the other two from memory.
        ("omni", 1.0),
        ("subcardioid", 0.7),
        ("cardioid", 0.5),
        ("supercardioid", 0.37),
        ("hypercardioid", 0.25),
        ("figure-8", 0.0),
    ],
)
@pytest.mark.parametrize("tilt", [0.0, 30.0])
def test_polar_outlines_agree_with_the_formula(pattern: str, omni: float, tilt: float) -> None:
    microphone = {
        "name": "voice",
        "x": 3,
        "y": 4,
        "pattern": pattern,
        "aim_deg": 140,
        "tilt_deg": tilt,
    }
    points, reach = outline(a_stage(microphone=[microphone]), 0)
    at = (300.0, 400.0)
    assert len(points) >= 36
    checked = 0
    for point in points:
        amplitude = math.dist(point, at) / reach
        if amplitude < 0.05:
            continue  # coordinates are rounded to a millimetre: no direction left to tell
        cosine = math.cos(math.radians(aim(at, point) - 140.0)) * math.cos(math.radians(tilt))
        assert amplitude == pytest.approx(abs(omni + (1.0 - omni) * cosine), abs=0.02)
        checked += 1
    assert checked >= 30


@pytest.mark.parametrize(
    ("pattern", "nulls"),
    [
        # arccos(-A/B), from the same formula: 126 and 109.5 degrees.
        ("omni", []),
        ("cardioid", [180.0]),
        ("supercardioid", [126.0, 234.0]),
        ("hypercardioid", [109.5, 250.5]),
        ("figure-8", [90.0, 270.0]),
    ],
)
def test_deaf_directions_are_shown(pattern: str, nulls: list[float]) -> None:
    microphone = {"name": "voice", "x": 3, "y": 4, "pattern": pattern, "aim_deg": 0, "tilt_deg": 0}
    rays = parts(drawn(a_stage(microphone=[microphone])), "deaf")
    found = sorted(aim((300.0, 400.0), points_of(ray)[1]) for ray in rays)
    assert found == pytest.approx(nulls, abs=0.5)


# --- a page and a finger ------------------------------------------------------------------------


@pytest.mark.parametrize("standalone", [False, True])
def test_nothing_that_a_strict_policy_forbids(standalone: bool) -> None:
    stage = a_stage()
    picture = plan_picture(stage, reckon(stage), caption=standalone)
    root = ET.fromstring(svg_text(picture, theme="night" if standalone else None))
    for element in root.iter():
        assert element.tag not in {f"{SVG}style", f"{SVG}script", f"{SVG}image", f"{SVG}use"}
        assert not [k for k in element.attrib if k == "style" or k.startswith("on") or "href" in k]
    assert ("var(" in ET.tostring(root, encoding="unicode")) != standalone


def test_things_can_be_reached_by_finger_keyboard_and_reader() -> None:
    stage = a_stage()
    root = drawn(stage)
    kinds = ("microphone", "loudspeaker", "mouth", "listener")
    assert [len(things(root, kind)) for kind in kinds] == [3, 3, 3, 1]
    px_at_360 = PHONE_PX / float((root.get("viewBox") or "").split()[2])
    for kind in kinds:
        for index, thing in enumerate(things(root, kind)):
            assert thing.get("data-index") == str(index)
            assert (thing.get("role"), thing.get("tabindex")) == ("button", "0")
            assert (thing.get("aria-label") or "").startswith(kind if kind != "listener" else "far")
            assert 2 * hold(thing)[1] * px_at_360 >= 43.9
    label = things(root, "microphone")[2].get("aria-label") or ""
    assert "guitar" in label
    assert "hypercardioid, muted, 1.6 m from the left, 1.2 m from the back wall" in label


def test_microphone_and_mouth_have_each_a_place_for_the_finger() -> None:
    # The mouth is 5 cm from the microphone, a dot or two on a phone.
    root = drawn(a_stage())
    for microphone, mouth in zip(things(root, "microphone"), things(root, "mouth"), strict=True):
        (here, radius), (there, _) = hold(microphone), hold(mouth)
        # WCAG 2.2, 2.5.8: a target's own place is at least 24 dots.
        assert math.dist(here, there) >= radius
    order = [g.get("data-kind") for g in root.iter(f"{SVG}g")]
    assert order.index("mouth") < order.index("microphone"), "the last drawn is touched first"


@pytest.mark.parametrize(("width", "depth"), [(7, 10), (30, 6), (4, 25), (3.5, 3.5)])
def test_any_room_fits_a_phone(width: float, depth: float) -> None:
    x, y = width / 2, depth / 3
    stage = a_stage(
        room={"width": width, "depth": depth, "height": 4},
        microphone=[{"name": "voice", "x": x, "y": y, "pattern": "cardioid"}],
        loudspeaker=[{"name": "box", "kind": "mains", "x": x - 1, "y": y + 0.5}],
        listener={},
    )
    picture = plan_picture(stage, reckon(stage))
    view = view_of(stage)
    assert picture.width_cm >= 100 * width
    assert picture.height_cm <= (TALLEST + 0.3) * picture.width_cm
    assert picture.left_cm <= 0
    assert picture.width_cm == pytest.approx(PHONE_PX * view.px)


# --- words --------------------------------------------------------------------------------------


def test_what_limits_and_the_best_change_are_said_in_words() -> None:
    stage = a_stage()
    reckoning = reckon(stage)
    words = texts(drawn(stage))
    best = reckoning.changes[0]
    assert f"+{best.gain_db:.1f} dB" in words
    assert spare_words(reckoning.gain.spare_db) in words
    for fixed in ("back wall", "audience", "farthest listener", "guitar (muted)"):
        assert fixed in words
    for thing in (*stage.microphones[:2], *stage.loudspeakers):
        assert thing.name in words


def test_a_change_is_drawn_where_it_leads() -> None:
    stage = a_stage()
    moved = dataclasses.replace(stage.loudspeakers[0], y_m=2.4)
    changed = dataclasses.replace(stage, loudspeakers=(moved, *stage.loudspeakers[1:]))
    reckoning = reckon(stage)
    best = dataclasses.replace(reckoning.changes[0], words="left mains 1 m forward", stage=changed)
    reckoning = dataclasses.replace(reckoning, changes=(best,))
    root = ET.fromstring(draw_svg(stage, reckoning))
    ghosts = parts(root, "ghost")
    body = next(e for e in ghosts if e.get("stroke-dasharray"))
    now = points_of(things(root, "loudspeaker")[0][1])
    for ghost, (x, y) in zip(points_of(body), now, strict=True):
        assert ghost == pytest.approx((x, y + 100.0), abs=0.11)
    tip = points_of(next(e for e in ghosts if e.get("fill") != "none"))[0]
    assert tip == pytest.approx((80.0, 240.0), abs=0.1)
    shaft = points_of(next(e for e in ghosts if len(points_of(e)) == 2))
    assert shaft[0] == pytest.approx((80.0, 140.0), abs=0.1)
    assert aim(*shaft) == pytest.approx(0.0, abs=0.1)


def test_without_a_change_there_is_no_ghost() -> None:
    stage = a_stage()
    reckoning = dataclasses.replace(reckon(stage), changes=())
    root = ET.fromstring(draw_svg(stage, reckoning))
    assert parts(root, "ghost") == []
    assert not any("best change" in words for words in texts(root))


@pytest.mark.parametrize(
    ("spare_db", "words"),
    [(3.4, "3 dB to spare"), (-2.6, "3 dB short"), (0.4, "just enough"), (-0.4, "just enough")],
)
def test_spare_gain_in_words(spare_db: float, words: str) -> None:
    assert spare_words(spare_db) == words
    about = "" if words == "just enough" else "about "
    assert f"limits the gain: {about}{words};" in sentence_of(spare_db, "lead", "wedge", ())


@pytest.mark.parametrize(
    ("words", "short"),
    [
        ("'wedge' 1 m to the left as the audience sees it", "'wedge' 1 m to the left"),
        ("'lead vocal': mouth from 15 to 4 cm", "mouth from 15 to 4 cm"),
        ("both mains 1 m forward", "both mains 1 m forward"),
    ],
)
def test_what_the_drawing_shows_is_not_said_again(words: str, short: str) -> None:
    assert short_change(words).replace("\N{NO-BREAK SPACE}", " ") == short
    assert " cm" not in short_change(words)


def test_the_changes_words_fit_on_the_drawing() -> None:
    stage = a_stage()
    reckoning = reckon(stage)
    assert len(reckoning.changes) > 3
    for change in reckoning.changes:
        root = ET.fromstring(draw_svg(stage, dataclasses.replace(reckoning, changes=(change,))))
        strong = [e.text or "" for e in root.iter(f"{SVG}text") if e.get("font-weight")]
        assert not [words for words in strong if "…" in words], change.words
        assert parts(root, "ghost"), f"{change.words}: nothing shows it"


def test_hard_names_stay_names() -> None:
    names = ['<script>alert("x")</script>&amp;', "Übergroßes Mikrofon, hinten ganz links"]
    stage = a_stage(
        microphone=[
            {"name": name, "x": 2 + 2 * i, "y": 2, "pattern": "omni"}
            for i, name in enumerate(names)
        ]
    )
    root = drawn(stage)
    labels = " ".join(g.get("aria-label") or "" for g in things(root, "microphone"))
    assert all(name in labels for name in names)
    assert all(len(words) <= 80 for words in texts(root))
    assert any(words.startswith('<script>alert("x")</') for words in texts(root))


@pytest.mark.parametrize("units", ["metres", "feet"])
def test_a_name_stands_beside_its_own_thing(units: Units) -> None:
    # Gestalt law of proximity: what stands nearer to another thing is read as that one's.
    stage = dataclasses.replace(read_stage(EXAMPLE), units=units)
    height = NAME_PX * view_of(stage).px
    reckoning = reckon(stage)
    root = ET.fromstring(draw_svg(stage, reckoning))
    voices = [one.name for one in stage.microphones]
    names = {"microphone": voices, "mouth": voices}
    names["loudspeaker"] = [one.name for one in stage.loudspeakers]
    places = [
        (name, hold(element)[0])
        for kind, listed in names.items()
        for element, name in zip(things(root, kind), listed, strict=True)
    ]
    drawn_parts = plan_picture(stage, reckoning).parts
    said = [part for part in drawn_parts if isinstance(part, Words)]
    words = {part.text.removesuffix(" (muted)"): part for part in said}
    for name in {name for name, _ in places}:
        (x, y), width = words[name].at, width_of(words[name].text, height)
        left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[words[name].anchor] * width
        # How far each thing is from the box of type, the nearest first.
        away = [
            (math.hypot(max(left - a, 0, a - left - width), max(y - height - b, 0, b - y)), other)
            for other, (a, b) in places
        ]
        assert min(away)[1] == name, sorted(away)[:2]


def test_forty_microphones_are_drawn_and_small_enough_for_a_page() -> None:
    stage = many_microphones(40)
    reckoning = reckon(stage)
    text = draw_svg(stage, reckoning)
    root = ET.fromstring(text)
    assert len(things(root, "microphone")) == 40
    assert len(text.encode()) < 120_000
    assert {reckoning.limiting.microphone, reckoning.limiting.loudspeaker} <= set(texts(root))


# --- files --------------------------------------------------------------------------------------


def test_png_and_svg_show_the_same(tmp_path: Path) -> None:
    """A few places of the PNG, read against the shapes that the SVG has."""
    from PIL import Image

    stage = a_stage()
    reckoning = reckon(stage)
    path = tmp_path / "plan.png"
    picture = plan_picture(stage, reckoning, caption=True)
    write_png(path, picture, width_px=1400)
    image = Image.open(path).convert("RGB")
    assert image.size == (1400, round(1400 * picture.height_cm / picture.width_cm))
    night = {
        ink: tuple(int(code[i : i + 2], 16) for i in (1, 3, 5))
        for ink, code in THEMES["night"].items()
    }

    def at(x_cm: float, y_cm: float) -> tuple[int, ...]:
        scale = 1400 / picture.width_cm
        return image.getpixel(  # type: ignore[return-value]
            (int((x_cm - picture.left_cm) * scale), int((y_cm - picture.top_cm) * scale))
        )

    root = drawn(stage)
    (path_,) = (e for e in parts(root, "limits") if e.get("class") == "path limits")
    (x0, y0), (x1, y1) = points_of(path_)
    near = (x0 + 0.8 * (x1 - x0), y0 + 0.8 * (y1 - y0))
    assert at(*near) == pytest.approx(night["candle"], abs=3)
    listener = hold(things(root, "listener")[0])[0]
    assert at(*listener) == pytest.approx(night["ground"], abs=3)
    (front,) = (points_of(e) for e in things(root, "loudspeaker")[0] if e.get("class") == "front")
    third = (0.7 * front[0][0] + 0.3 * front[1][0], 0.7 * front[0][1] + 0.3 * front[1][1])
    assert at(*third) == pytest.approx(night["paper"], abs=3)
    assert at(350.0, 995.0) != night["ground"], "the mains' coverage reaches there"


def test_day_and_night_differ_in_colours_only() -> None:
    stage = a_stage()
    picture = plan_picture(stage, reckon(stage), caption=True)
    night, day = svg_text(picture, theme="night"), svg_text(picture, theme="day")
    for ink, code in THEMES["night"].items():
        night = night.replace(code, ink)
    for ink, code in THEMES["day"].items():
        day = day.replace(code, ink)
    assert night == day


@pytest.mark.parametrize("theme", ["night", "day"])
def test_it_reads_in_grey(theme: str) -> None:
    """Contrast against the ground: 4.5 for type, 3 for shapes (WCAG 2.2, 1.4.3 and 1.4.11)."""
    inks = THEMES[theme]  # type: ignore[index]

    def luminance(code: str) -> float:
        parts_ = [int(code[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts_]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    ground = luminance(inks["ground"])
    for ink in ("paper", "quiet", "candle"):
        bright, dark = sorted((ground, luminance(inks[ink])), reverse=True)  # type: ignore[index]
        assert (bright + 0.05) / (dark + 0.05) >= 4.5


def test_files_are_written_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stage = a_stage()
    picture = plan_picture(stage, reckon(stage), caption=True)
    path = tmp_path / "plan.svg"
    write_svg(path, picture, theme="day")
    before = path.read_text()
    assert ET.fromstring(before).tag == f"{SVG}svg"

    def full(self: Path, *_: object, **__: object) -> int:
        self.touch()
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(LanternError, match="No space left"):
        write_svg(path, picture, theme="night")
    assert path.read_text() == before
    assert [p.name for p in tmp_path.iterdir()] == ["plan.svg"]
    with pytest.raises(LanternError, match="cannot be written"):
        write_png(tmp_path / "nowhere" / "plan.png", picture, width_px=50)


def test_pillow_is_not_loaded_for_svg() -> None:
    import subprocess
    import sys

    run = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys\n"
            "from monitor.placing import drawing, reckon\n"
            "from monitor.placing.stage_file import read_stage\n"
            "stage = read_stage('monitor/placing/example.toml')\n"
            "drawing.draw_svg(stage, reckon.reckon(stage))\n"
            "print(*sorted({name.split('.')[0] for name in sys.modules}))",
        ],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert not {"PIL", "numpy", "scipy"} & set(run.stdout.split())


def test_a_picture_of_one_dot_can_be_drawn() -> None:
    stage = a_stage()
    assert png_image(plan_picture(stage, reckon(stage)), width_px=1).size[0] == 1
