"""The checklist: whole, in order, sourced, and agreeing with what the patterns say."""

from __future__ import annotations

import math
import re

from monitor.placing.checklist import CHECKLIST, STEPS


def test_every_step_has_items_and_the_items_stand_in_the_steps_order() -> None:
    order = [step for step, _ in STEPS]
    assert order == ["place", "level", "low_cut", "ring_out"]
    steps = [item.step for item in CHECKLIST]
    assert [step for i, step in enumerate(steps) if i == 0 or steps[i - 1] != step] == order


def test_ids_are_slugs_and_unlike() -> None:
    ids = [item.id for item in CHECKLIST]
    assert len(set(ids)) == len(ids)
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", slug) for slug in ids)


def test_words_are_short_plain_and_have_a_source() -> None:
    for item in CHECKLIST:
        assert 0 < len(item.title) <= 60, item.id
        assert 0 < len(item.words) <= 170, item.id
        assert "!" not in item.title + item.words
        # A book, a paper, or the honest admission that there is none.
        assert "no source" in item.source or re.search(r"ch\. \d|eq\. \d|section", item.source)


def test_cautions_defer_to_codes_and_licensed_people() -> None:
    words = {item.id: item.words for item in CHECKLIST}
    assert "licensed" in words["safe-electricity"]
    assert "local codes" in words["safe-electricity"]
    assert "local codes" in words["ears-first"]


def test_the_wedge_s_angles_are_the_nulls_of_the_patterns() -> None:
    # A + B cos(angle) = 0, A = 0.37 and 0.25 (J. Eargle, The Microphone Book, 2nd ed. 2004,
    # Table 6-1 for the hypercardioid; 0.37 from memory); told from straight behind.
    (item,) = (item for item in CHECKLIST if item.id == "wedge-deaf-side")
    told = [float(n) for n in re.findall(r"about (\d+)", item.words)]
    nulls = [180.0 - math.degrees(math.acos(-a / (1.0 - a))) for a in (0.37, 0.25)]
    assert all(abs(t - n) <= 2.0 for t, n in zip(told, nulls, strict=True))
