"""The metrics, read by Prometheus's own reader of its format (prometheus_client)."""

from __future__ import annotations

from typing import Any

import pytest
from prometheus_client.parser import text_string_to_metric_families

from tests.web.screenshots import StillClient
from tests.web.states import STATES
from web.app import create_app
from web.metrics import CONTENT_TYPE, Family, text_of

Samples = dict[str, list[tuple[dict[str, str], float]]]


def read(text: str) -> Samples:
    found: Samples = {}
    for family in text_string_to_metric_families(text):
        assert family.documentation, family.name
        assert family.type in ("gauge", "counter"), family.name
        for sample in family.samples:
            assert sample.name not in found or family.samples[0].name == sample.name
            found.setdefault(sample.name, []).append((sample.labels, sample.value))
    return found


def metrics(state: dict[str, Any] | None) -> Samples:
    client = StillClient()
    client.hold(state, age_s=2.0)
    phone = create_app(client).test_client()
    phone.get("/nothing")
    phone.open("/", method="BREW")
    answer = phone.get("/metrics")
    assert answer.headers["Content-Type"] == CONTENT_TYPE
    return read(answer.get_data(as_text=True))


def test_what_the_box_hears_is_told() -> None:
    found = metrics(STATES["three"])
    assert found["howl_lantern_watcher_up"] == [({}, 1)]
    assert found["howl_lantern_rings_open"] == [({}, 3)]
    rings = {labels["band"] for labels, _ in found["howl_lantern_ring_level_dbfs"]}
    assert rings == {"2.5k", "800", "5k"}
    on = [labels["state"] for labels, value in found["howl_lantern_state"] if value]
    assert on == ["howl"]
    assert len(found["howl_lantern_third_octave_dbfs"]) == 31
    ((_, age_s),) = found["howl_lantern_snapshot_age_seconds"]
    assert 2.0 <= age_s < 30.0
    assert found["howl_lantern_microphone_overruns_total"][0][1] >= 0


def test_what_is_wrong_is_told() -> None:
    found = metrics(STATES["deaf"])
    parts = {labels["part"]: value for labels, value in found["howl_lantern_part_ok"]}
    assert parts["microphone"] == 0
    assert parts["lamp"] == 1


def test_every_part_with_a_health_is_told_and_off_is_well() -> None:
    state = {
        **STATES["quiet"],
        "lamp": {"pattern": "dark", "health": "off"},
        "panel": {**STATES["quiet"]["panel"], "health": "the panel cannot be opened: broken"},
        "soundcheck": {"health": "the soundcheck cannot be shown: oh"},
        "settings": {"health": "ok"},
        "board": {"health": "unknown"},
        "link": {
            "dropped_client_count": 2,
            "skipped_snapshot_count": 31,
            "lost_event_count": 4,
            "health": "4 messages found no room and were lost",
        },
    }
    found = metrics(state)
    parts = {labels["part"]: value for labels, value in found["howl_lantern_part_ok"]}
    assert (parts["lamp"], parts["panel"], parts["soundcheck"], parts["settings"]) == (1, 0, 0, 1)
    assert "board" not in parts
    assert found["howl_lantern_link_clients_dropped_total"] == [({}, 2)]
    assert found["howl_lantern_link_snapshots_skipped_total"] == [({}, 31)]
    assert found["howl_lantern_link_events_lost_total"] == [({}, 4)]
    assert parts["link"] == 0


def test_without_a_watcher_only_the_page_is_told() -> None:
    found = metrics(None)
    assert found["howl_lantern_watcher_up"] == [({}, 0)]
    assert "howl_lantern_rings_open" not in found
    answers = {
        (labels["method"], labels["status"]): value
        for labels, value in found["howl_lantern_page_answers_total"]
    }
    assert answers["GET", "404"] == 1
    assert answers["other", "405"] == 1
    ((_, resident),) = found["howl_lantern_page_resident_memory_bytes"]
    assert resident > 1_000_000


@pytest.mark.parametrize("name", ['say "when"', "a\\b", "two\nlines", "{}=,"])
def test_whatever_a_label_says_is_read_back(name: str) -> None:
    family = Family("x", "gauge", "Of \\ and\nlines.", (({"band": name}, 1.5),))
    assert read(text_of([family])) == {"howl_lantern_x": [({"band": name}, 1.5)]}


@pytest.mark.parametrize("louder_first", [True, False])
def test_two_rings_of_a_band_are_one_sample_the_louder(louder_first: bool) -> None:
    ring = STATES["howl"]["rings"][0]
    rings = [{**ring, "id": 9, "level_dbfs": -3.0}, {**ring, "level_dbfs": -30.0}]
    state = {**STATES["howl"], "rings": rings if louder_first else rings[::-1]}
    assert metrics(state)["howl_lantern_ring_level_dbfs"] == [({"band": "2.5k"}, -3.0)]
