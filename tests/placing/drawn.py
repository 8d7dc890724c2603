"""Stages of The Ferry Lamps for the drawing's tests, and how a drawing is read back."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from typing import Any

from monitor.placing.stage import Stage
from monitor.placing.stage_file import parse_stage

SVG = "{http://www.w3.org/2000/svg}"
DOCUMENT: dict[str, Any] = {
    "name": "The Ferry Lamps",
    "room": {"width": 7, "depth": 10, "height": 3},
    "microphone": [
        {"name": "lead vocal", "x": 3.5, "y": 1.8, "pattern": "cardioid", "tilt_deg": 0},
        {"name": "second vocal", "x": 5.2, "y": 1.6, "pattern": "supercardioid", "aim_deg": 170},
        {"name": "guitar", "x": 1.6, "y": 1.2, "pattern": "hypercardioid", "open": False},
    ],
    "loudspeaker": [
        {"name": "left mains", "kind": "mains", "x": 0.8, "y": 1.4, "aim_deg": 20},
        {"name": "right mains", "kind": "mains", "x": 6.2, "y": 1.4, "aim_deg": 340},
        {"name": "wedge", "kind": "wedge", "x": 3.2, "y": 2.9},
    ],
    "listener": {"x": 3.5, "y": 9.0},
}
Point = tuple[float, float]


def a_stage(**changed: Any) -> Stage:
    """Return the stage above with some tables changed."""
    return parse_stage({**DOCUMENT, **changed})


def many_microphones(count: int) -> Stage:
    """Return a stage with a choir's worth of microphones in rows."""
    patterns = ("omni", "cardioid", "supercardioid", "figure-8")
    microphones = [
        {
            "name": f"voice {i}",
            "x": 0.8 + (i % 10) * 0.6,
            "y": 1.0 + (i // 10) * 0.7,
            "pattern": patterns[i % 4],
        }
        for i in range(count)
    ]
    mains = [
        {"name": f"mains {side}", "kind": "mains", "x": x, "y": 4.5}
        for side, x in (("left", 0.8), ("right", 6.2))
    ]
    return a_stage(microphone=microphones, loudspeaker=mains)


def points_of(path: ET.Element) -> list[Point]:
    """Return a path's points."""
    numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", path.get("d", ""))]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def parts(root: ET.Element, part: str) -> list[ET.Element]:
    """Return the elements of a part of the drawing, by its class."""
    return [e for e in root.iter() if part in (e.get("class") or "").split()]


def things(root: ET.Element, kind: str) -> list[ET.Element]:
    """Return the groups of one kind of thing, in the order of their index."""
    found = [g for g in root.iter(f"{SVG}g") if g.get("data-kind") == kind]
    return sorted(found, key=lambda g: int(g.get("data-index") or 0))


def hold(thing: ET.Element) -> tuple[Point, float]:
    """Return the middle and the radius of where a finger may touch a thing."""
    (circle,) = (e for e in thing if e.get("class") == "hold")
    x, y, r = (float(circle.get(key) or "nan") for key in ("cx", "cy", "r"))
    return (x, y), r


def texts(root: ET.Element) -> list[str]:
    """Return all words on the drawing."""
    return [e.text or "" for e in root.iter(f"{SVG}text")]


def aim(here: Point, there: Point) -> float:
    """Return a direction as the stage file counts it: 0 towards the audience, 90 to the right."""
    return math.degrees(math.atan2(there[0] - here[0], there[1] - here[1])) % 360.0
