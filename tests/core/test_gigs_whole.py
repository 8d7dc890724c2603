"""A whole gig through the link, with the real listening: what happened is what is read back."""

from __future__ import annotations

import json
import re
import socket
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.link.messages import LinkError
from tests.core.running import Running
from tests.core.stand_ins import PLAN, RATE_HZ, growing_ring, noise
from tests.waiting import awaited

Start = Callable[..., Running]


def ask(box: Running, **command: Any) -> dict[str, Any]:
    return dict(box.client.request(command, 20.0))


def gig(box: Running, do: str, **more: Any) -> dict[str, Any]:
    answer = ask(box, **{"class": "gig", "do": do, **more})
    assert answer["class"] == "done", answer
    assert "problem" not in answer
    return answer


def read_record(box: Running, uid: str) -> dict[str, Any]:
    """As the page does: piece after piece, again if it became another meanwhile."""
    text, digest = "", None
    until = time.monotonic() + 30.0
    while time.monotonic() < until:
        piece = ask(box, **{"class": "record", "gig": uid, "offset": len(text)})
        assert piece["class"] == "record", piece
        if digest not in (None, piece["digest"]):
            text, digest = "", None
            continue
        text, digest = text + piece["text"], piece["digest"]
        if len(text) == piece["total"]:
            return dict(json.loads(text))
    raise AssertionError("the record never ends")


def play_ring(box: Running, seed: int = 1) -> None:
    box.play(np.concatenate([noise(RATE_HZ, seed=seed), growing_ring(2.0)]))
    box.play(noise(2 * RATE_HZ, seed=seed + 10))


def is_over(snapshot: dict[str, Any]) -> bool:
    """Whether what rang has ended."""
    return snapshot["state"] == "quiet" and len(snapshot["recent"]) == snapshot["gig"]["ring_count"]


def test_a_whole_gig(start: Start) -> None:
    box = start("box.name=left")
    assert box.snapshot()["gig"] == {"on": False, "ring_count": 0}
    assert box.snapshot()["dated"] in ("network", "believed")
    # A ring begins it.
    play_ring(box)
    s = box.wait_for(lambda s: s["gig"]["on"] and s["gig"]["ring_count"] == 1 and is_over(s))
    uid = s["gig"]["uid"]
    venue = gig(box, "venue", name="The Ferry Inn")
    assert venue["gig"] == uid
    box.wait_for(lambda s: s["gig"].get("venue", {}).get("name") == "The Ferry Inn")
    # The way, pulls, a plan, ticks, a song, a note.
    assert ask(box, **{"class": "way", "way": "soundcheck"})["class"] == "done"
    for cut_db in (-3, -6):
        assert ask(box, **{"class": "pull", "slider": 21, "cut_db": cut_db})["class"] == "done"
    assert ask(box, **{"class": "plan", "stage": PLAN})["class"] == "done"
    item = {"class": "soundcheck", "do": "tick", "item": first_item()}
    assert ask(box, **item)["class"] == "done"
    assert gig(box, "song")["song"] == 1
    gig(box, "note", text="the left wedge hums")
    gig(box, "rename", name="The Ferry Lamps")
    # A ring-out to its end.
    for do in ("open", "begin", "stop"):
        assert ask(box, **{"class": "ring_out", "do": do})["class"] == "done"
    until = time.monotonic() + 60.0
    while box.snapshot().get("ring_out", {}).get("phase") != "done":
        assert time.monotonic() < until, box.snapshot().get("ring_out")
        box.play(noise(RATE_HZ), paced=True)
    awaited(lambda: "plan" in kinds(read_record(box, uid)), 30.0)
    awaited(lambda: "ring_out" in kinds(read_record(box, uid)), 30.0)
    awaited(lambda: "check" in kinds(read_record(box, uid)), 30.0)
    assert gig(box, "end")["gig"] == uid
    box.wait_for(lambda s: not s["gig"]["on"] and s["gig"]["stays_over_for_s"] <= 900.0)
    record = read_record(box, uid)
    assert record["gig"]["box"] == "left"
    assert record["gig"]["title"] == "The Ferry Lamps"
    assert record["gig"]["venue"] == {"uid": venue["venue"], "name": "The Ferry Inn"}
    assert record["gig"]["ended_by"] == "button"
    assert record["equaliser"]["name"] == box.snapshot()["equaliser"]["name"]
    (ring,) = record["rings"]
    assert (ring["band"], ring["slider"], ring["degree"]) == ("2.5k", "2.5k", "howl")
    assert ring["at_s"] == pytest.approx(0.0, abs=1.0)
    happened = {h["kind"]: h for h in record["happenings"]}
    assert set(happened) >= {
        "equaliser",
        "way",
        "pull",
        "song",
        "note",
        "plan",
        "check",
        "ring_out",
    }
    assert happened["way"]["way"] == "soundcheck"
    (pull,) = happened["pull"]["pulls"]
    assert (pull["label"], pull["pull_db"]) == ("2.5k", 6.0)
    assert happened["plan"]["stage"] == PLAN
    assert happened["check"]["ticks"] == [first_item()]
    times = [h["at_s"] for h in record["happenings"]]
    assert times == sorted(times)
    (line,) = ask(box, **{"class": "gigs"})["gigs"]
    assert (line["uid"], line["on"], line["ring_count"]) == (uid, False, 1)


def kinds(record: dict[str, Any]) -> set[str]:
    return {happening["kind"] for happening in record["happenings"]}


def first_item() -> str:
    from monitor.placing.checklist import CHECKLIST

    return CHECKLIST[0].id


def test_a_gig_goes_on_over_a_restart_of_the_watcher(start: Start) -> None:
    box = start()
    play_ring(box)
    box.wait_for(lambda s: s["gig"]["ring_count"] == 1 and is_over(s))
    gig(box, "venue", name="The Ferry Inn")
    uid = box.snapshot()["gig"]["uid"]
    box.close()
    box = start()
    box.wait_for(lambda s: s["gig"].get("uid") == uid, 20.0)
    assert box.snapshot()["gig"]["venue"]["name"] == "The Ferry Inn"
    play_ring(box)
    box.wait_for(lambda s: s["gig"]["ring_count"] == 2, 20.0)
    assert len(read_record(box, uid)["rings"]) == 2
    # After the button nothing is left to go on with.
    gig(box, "end")
    box.close()
    box = start()
    box.play(noise(RATE_HZ))
    box.wait_for(lambda s: s["state"] == "quiet", 20.0)
    assert box.snapshot()["gig"]["on"] is False
    assert box.snapshot()["recent"] == []


def test_a_gig_goes_on_without_a_disk_and_says_so(start: Start) -> None:
    box = start(journal_path=Path("/dev/null/journal.sqlite3"))
    answer = ask(box, **{"class": "gig", "do": "begin"})
    assert answer["class"] == "done"
    assert "cannot be opened" in answer["problem"]
    gig_answer = ask(box, **{"class": "gig", "do": "venue", "name": "The Ferry Inn"})
    assert "cannot be opened" in gig_answer["problem"]
    play_ring(box)
    box.wait_for(lambda s: s["gig"]["ring_count"] == 1, 20.0)
    assert box.snapshot()["gig"]["venue"]["name"] == "The Ferry Inn"
    assert "cannot be opened" in box.snapshot()["journal"]["health"]


def test_a_clock_is_told_through_the_link(start: Start) -> None:
    box = start()
    assert ask(box, **{"class": "clock", "utc_s": 1_900_000_000})["class"] == "done"
    box.wait_for(lambda s: s["dated"] in ("phone", "network"))


@pytest.mark.parametrize(
    "words", ["\U0001f468\u200d\U0001f3a4", "\u0645\u06cc\u200c\u062e\u0648\u0627\u0646\u062f"]
)
def test_a_composed_picture_and_a_persian_word_can_be_written(words: str) -> None:
    """A man with a microphone, by its joiner; "sings", with its non-joiner."""
    from monitor.journal.record_values import RecordError, Values
    from monitor.link.commands import check_command
    from monitor.report.words import text

    asked = {"class": "gig", "do": "note", "text": words}
    assert check_command(asked)["text"] == words
    assert Values({"text": words}, "here").text("text", 500) == words
    assert text(words) == words
    with pytest.raises(RecordError, match=r"U\+202E \(right-to-left override\) is none"):
        Values({"text": "a\u202eb"}, "here").text("text", 500)


@pytest.mark.parametrize(
    ("command", "expected"),
    [
        ({"class": "gig"}, "do must be one of begin, end, venue"),
        ({"class": "gig", "do": ["begin"]}, "do must be one of"),
        ({"class": "gig", "do": "venue"}, "one of venue and name is needed, not none of them"),
        ({"class": "gig", "do": "venue", "name": "x", "venue": "0" * 16}, "not venue and name"),
        ({"class": "gig", "do": "venue", "venue": "F" * 16}, "venue must be 16 small hexa"),
        ({"class": "gig", "do": "venue", "venue": 7}, "venue must be 16 small hexadecimal"),
        ({"class": "gig", "do": "venue", "name": ""}, "name must be 1 to 60 printable"),
        ({"class": "gig", "do": "venue", "name": "  "}, "name must not be only spaces"),
        ({"class": "gig", "do": "venue", "name": "x" * 61}, "name must be 1 to 60 printable"),
        ({"class": "gig", "do": "venue", "name": "a\nb"}, "name must be 1 to 60 printable"),
        ({"class": "gig", "do": "venue", "name": "a\u202eb"}, "U+202E (right-to-left override) is"),
        ({"class": "gig", "do": "note", "text": "a\tb"}, "U+0009 (control character) is none"),
        ({"class": "gig", "do": "rename", "name": "\u200d"}, "name must not be only spaces"),
        ({"class": "gig", "do": "rename", "name": "x", "gig": "0", "venue": "0"}, "gig and venue"),
        ({"class": "gig", "do": "note", "text": "x" * 501}, "text must be 1 to 500 printable"),
        ({"class": "gig", "do": "delete"}, "one of gig and venue is needed"),
        ({"class": "gig", "do": "end", "gig": "x"}, "gig must be 16 small hexadecimal digits"),
        ({"class": "gigs", "limit": 0}, "limit must be from 1 to 100, not 0"),
        ({"class": "gigs", "limit": True}, "limit must be a number from 1 to 100"),
        ({"class": "gigs", "before": "../x"}, "before must be 16 small hexadecimal digits"),
        ({"class": "record"}, "gig must be 16 small hexadecimal digits, not None"),
        ({"class": "record", "gig": "0" * 16, "offset": -1}, "offset must be from 0"),
        ({"class": "record", "gig": "0" * 16, "offset": 1.5}, "offset must be a whole number"),
        ({"class": "recollection", "venue": {}}, "venue must be 16 small hexadecimal digits"),
        ({"class": "recollection", "but": "b"}, "but must be 16 small hexadecimal digits"),
        ({"class": "clock"}, "utc_s must be a number from"),
        ({"class": "clock", "utc_s": 0}, "utc_s must be from"),
        ({"class": "clock", "utc_s": 1_700_000_000}, "utc_s must be from"),  # before this release
        ({"class": "clock", "utc_s": 4_000_000_000}, "utc_s must be from"),
        ({"class": "clock", "utc_s": "now"}, "utc_s must be a number from"),
        ({"class": "import"}, "upload must be 1 to 32 letters"),
        ({"class": "import", "upload": "a b"}, "upload must be 1 to 32 letters"),
        ({"class": "import", "upload": "a", "text": ""}, "text must be 1 to 24000 characters"),
        ({"class": "import", "upload": "a", "text": "x" * 24001}, "text must be 1 to 24000"),
        ({"class": "import", "upload": "a", "text": "x"}, "last must be true or false, not None"),
        ({"class": "import", "upload": "a", "text": "x", "last": 1}, "last must be true or false"),
        ({"class": "import", "upload": "a", "text": "x", "last": True}, "offset must be a number"),
    ],
)
def test_junk_is_refused_with_one_line(command: dict[str, Any], expected: str) -> None:
    from monitor.link.commands import check_command

    with pytest.raises(LinkError, match=re.escape(expected)) as refused:
        check_command(command)
    assert "\n" not in str(refused.value)


def test_what_is_no_record_is_refused_by_the_watcher(start: Start) -> None:
    box = start()
    for text in ("{}", "[]", "[1]", '{"record": 1}', "x"):
        piece = {"class": "import", "upload": "a", "offset": 0, "text": text, "last": True}
        answer = ask(box, **piece)
        if text == "[]":
            assert (answer["class"], answer["gigs"]) == ("done", 0)
            continue
        assert answer["class"] == "error", (text, answer)
        assert "\n" not in answer["message"]
    assert ask(box, **{"class": "gigs"})["gigs"] == []


@pytest.mark.realtime
def test_a_flood_of_gig_commands_leaves_the_listening_alone(start: Start, tmp_path: Path) -> None:
    box = start()
    box.play(noise(RATE_HZ))
    box.wait_for(lambda s: s["state"] == "quiet")
    gig(box, "begin")
    stop = threading.Event()

    def flood() -> None:
        line = b'{"class":"gig","do":"song"}\n{"class":"gigs","limit":100}\n{"class":"venues"}\n'
        with socket.socket(socket.AF_UNIX) as one:
            one.connect(str(tmp_path / "link.sock"))
            one.settimeout(0.2)
            while not stop.is_set():
                try:
                    one.sendall(line)
                    one.recv(1 << 20)
                except TimeoutError:
                    continue
                except OSError:
                    return  # turned away as a client that does not read

    floods = [threading.Thread(target=flood) for _ in range(3)]
    for thread in floods:
        thread.start()
    try:
        box.play(noise(RATE_HZ), paced=True)
        box.play(growing_ring(2.0), paced=True)
        event = box.events.get(30.0)
        assert event is not None
        assert event["band"] == "2.5k"
    finally:
        stop.set()
        for thread in floods:
            thread.join(timeout=10.0)
    box.wait_for(lambda s: s["gig"]["ring_count"] >= 1, 30.0)
    assert box.snapshot()["journal"]["health"] == "ok"
