"""What a live page is fed: parts that add up, once for all, never old for new, and it ends."""

from __future__ import annotations

import copy
import itertools
import json
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.web.screenshots import StillClient
from tests.web.states import STATES
from web import streams
from web.streams import Broadcast, Changes, Places, without_ages

Event = tuple[str, dict[str, Any]]


def events(text: bytes) -> list[Event]:
    found = []
    for block in text.decode().split("\n\n"):
        if block.startswith("event: "):
            name, data = block.split("\n")
            found.append((name.removeprefix("event: "), json.loads(data.removeprefix("data: "))))
    return found


class Page:
    """Puts together what comes, as the page does."""

    def __init__(self, stream: Iterator[bytes]) -> None:
        self.stream = stream
        self.names: list[str] = []
        self.shown: dict[str, Any] | None = None
        self.problem = ""

    def take(self, count: int = 1) -> None:
        """Read that many pieces of the stream."""
        for text in itertools.islice(self.stream, count):
            for name, data in events(text):
                self.names.append(name)
                self.problem = data.get("problem", self.problem)
                if name == "now":
                    self.shown = data.get("snapshot")
                elif name == "part":
                    assert self.shown is not None, "a part came before the whole"
                    self.shown = {**self.shown, **data["changed"]}
                    for key in data.get("gone", ()):
                        del self.shown[key]

    def take_until(self, condition: Any, seconds: float = 20.0) -> None:
        stop = time.monotonic() + seconds
        while not condition(self):
            assert time.monotonic() < stop, f"not within {seconds:g} s; came: {self.names}"
            self.take()


@pytest.fixture
def link(monkeypatch: pytest.MonkeyPatch) -> Iterator[StillClient]:
    monkeypatch.setattr(streams, "FULL_EVERY_S", 600.0)  # a whole one has a reason then
    client = StillClient()
    client.hold(STATES["quiet"])
    yield client
    client.close()


def test_a_page_begins_with_the_whole_and_goes_on_with_parts(link: StillClient) -> None:
    page = Page(Broadcast(link).stream())
    page.take(2)  # when to come again, then the whole
    assert page.names == ["now"]
    assert page.shown == STATES["quiet"]
    for state in ("howl", "deaf", "demo", "quiet"):
        link.hold(STATES[state])
        page.take_until(lambda p, state=state: p.shown == STATES[state])
    assert page.names.count("now") == 1
    page.stream.close()  # type: ignore[attr-defined]


def test_a_ring_comes_before_the_next_snapshot_and_is_never_made_a_part(link: StillClient) -> None:
    page = Page(Broadcast(link).stream())
    page.take(2)
    ring = {"class": "ring", "event": "flagged", "id": 7}
    with link.condition:
        for subscription in link._subscriptions:
            subscription.put(ring)
        link.condition.notify_all()
    page.take_until(lambda p: "ring" in p.names)
    assert page.shown == STATES["quiet"]


def test_a_lost_watcher_is_told_at_once_and_a_new_one_with_other_keys_adds_up(
    link: StillClient,
) -> None:
    broadcast = Broadcast(link)
    page = Page(broadcast.stream())
    page.take(2)
    link.hold(STATES["ring-out raise"])
    page.take_until(lambda p: "ring_out" in (p.shown or {}))
    with link.condition:
        link.connected, link.problem = False, "the watcher hung up"
        link.condition.notify_all()
    # A heartbeat may be on its way already.
    page.take_until(lambda p: p.problem == "the watcher hung up", 5.0)
    link.hold(STATES["starting"])
    page.take_until(lambda p: p.shown == STATES["starting"])


def test_everybody_gets_the_same_bytes_encoded_once(
    link: StillClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    encoded: list[str] = []
    told = streams.event

    def counted(name: str, data: object) -> bytes:
        encoded.append(name)
        return told(name, data)

    broadcast = Broadcast(link)
    pages = [Page(broadcast.stream()) for _ in range(20)]
    for page in pages:
        page.take(2)
    monkeypatch.setattr(streams, "event", counted)
    link.hold(STATES["howl"])
    for page in pages:
        page.take_until(lambda p: p.shown == STATES["howl"])
    # Twenty pages and one change: with one encoding a page there would be twenty.
    assert encoded.count("part") < 10
    assert "now" not in encoded


def test_who_fell_behind_gets_the_whole_and_nothing_stale(link: StillClient) -> None:
    waiting = [0]
    broadcast = Broadcast(link)
    page = Page(broadcast.stream(lambda: waiting[0]))
    other = Page(broadcast.stream())
    page.take(2)
    other.take(2)
    waiting[0] = streams.BACKLOG_BYTES + 1
    reader = threading.Thread(target=lambda: page.take_until(lambda p: p.shown != STATES["quiet"]))
    reader.start()
    for i in range(2 * streams.KEPT_EVENTS):
        link.hold({**STATES["howl"], "seq": i})
        other.take_until(lambda p, i=i: (p.shown or {}).get("seq") == i)
    assert page.names == ["now"], "something was put behind what waits already"
    waiting[0] = 0
    reader.join(20.0)
    assert page.names == ["now", "now"]
    assert page.shown is not None
    assert page.shown["seq"] == 2 * streams.KEPT_EVENTS - 1


def test_who_takes_nothing_is_let_go(link: StillClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(streams, "STUCK_S", 0.3)
    broadcast = Broadcast(link)
    left = list(broadcast.stream(lambda: streams.BACKLOG_BYTES + 1))
    assert left == [b"retry: 500\n\n"]
    assert broadcast.stuck_count == 1


def test_a_stream_ends_and_its_thread_too(
    link: StillClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(streams, "LONGEST_S", 2.0)
    broadcast = Broadcast(link)
    assert len(list(broadcast.stream())) >= 2
    stop = time.monotonic() + 20.0
    while any(thread.name == "broadcast" for thread in threading.enumerate()):
        assert time.monotonic() < stop
        time.sleep(0.05)
    page = Page(broadcast.stream())  # and begins anew
    page.take(2)
    assert page.shown == STATES["quiet"]


def test_places_are_counted_and_none_takes_them_all() -> None:
    places = Places(5, per_address=2)
    assert [places.take("10.0.0.1") for _ in range(3)] == [True, True, False]
    assert [places.take(f"10.0.0.{i}") for i in range(2, 6)] == [True, True, True, False]
    places.give_back("10.0.0.1")
    assert places.taken_count == 4
    assert places.take("10.0.0.5")


def test_what_only_ages_comes_once_a_second() -> None:
    changes, told_s = Changes(), []
    for tick in range(100):
        now_s = 50.0 + tick / 10
        recent = [{"id": 4, "ended_ago_s": tick / 10}]
        changed, _ = changes.of({"seq": tick, "recent": recent}, now_s)
        assert changed["seq"] == tick
        told_s += [now_s] * ("recent" in changed)
    assert len(told_s) == pytest.approx(10, abs=1)
    changed, _ = changes.of({"seq": 100, "recent": [{"id": 5, "ended_ago_s": 0.0}]}, 60.0)
    assert changed["recent"] == [{"id": 5, "ended_ago_s": 0.0}]  # another ring: at once


SNAPSHOTS = st.lists(
    st.dictionaries(
        st.sampled_from(["seq", "rings", "soundcheck", "audio_age_s", "advice"]),
        st.one_of(
            st.integers(0, 2),
            st.fixed_dictionaries({"age_s": st.integers(0, 3), "x": st.integers(0, 1)}),
            st.lists(st.fixed_dictionaries({"ended_ago_s": st.integers(0, 3)}), max_size=2),
        ),
    ),
    min_size=1,
    max_size=8,
)


@given(SNAPSHOTS, st.lists(st.floats(0.05, 2.0), min_size=8, max_size=8))
def test_parts_add_up_to_the_snapshot_but_for_ages_of_a_second(
    snapshots: list[dict[str, Any]], pauses_s: list[float]
) -> None:
    changes, shown, now_s = Changes(), {}, 100.0
    behind_s: dict[str, float] = {}
    for snapshot, pause_s in zip(snapshots, pauses_s, strict=False):
        now_s += pause_s
        before = copy.deepcopy(snapshot)
        changed, gone = changes.of(snapshot, now_s)
        assert snapshot == before
        shown.update(changed)
        for key in gone:
            del shown[key]
        assert shown.keys() == snapshot.keys()
        assert without_ages(shown) == without_ages(snapshot)
        for key in snapshot:
            since_s = behind_s.get(key, now_s)
            if shown[key] == snapshot[key]:
                behind_s.pop(key, None)
            else:
                behind_s[key] = since_s
                # Never longer than a second and the pause that ended it.
                assert now_s - since_s < streams.AGES_EVERY_S + pause_s
                assert isinstance(snapshot[key], dict | list)
