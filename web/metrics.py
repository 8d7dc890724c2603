"""What a monitoring program asks, in the Prometheus text format, version 0.0.4.

Names and units follow that project's conventions: base units, ``_total`` for what only grows.
What is not known is left out; what is old is still told, beside its age.
"""

from __future__ import annotations

import resource
import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.link.messages import CALM_HEALTH

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"
PREFIX = "howl_lantern_"
STATES = ("starting", "deaf", "quiet", "ringing", "howl")

Sample = tuple[Mapping[str, str], float]


@dataclass(frozen=True, slots=True)
class Family:
    """Samples of one name."""

    name: str
    kind: str
    help: str
    samples: tuple[Sample, ...]


def text_of(families: Iterable[Family]) -> str:
    """Write families that have samples, one line each."""
    lines: list[str] = []
    for family in families:
        if not family.samples:
            continue
        name = PREFIX + family.name
        lines += [f"# HELP {name} {_escaped(family.help)}", f"# TYPE {name} {family.kind}"]
        lines += [f"{name}{_labels(labels)} {value!r}" for labels, value in family.samples]
    return "\n".join(lines) + "\n"


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace("\n", "\\n")


def _labels(labels: Mapping[str, str]) -> str:
    if not labels:
        return ""
    parts = [f'{key}="{_escaped(value).replace(chr(34), chr(92) + chr(34))}"'
             for key, value in labels.items()]  # fmt: skip
    return "{" + ",".join(parts) + "}"


def _number(value: Any) -> float | int | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return value


def _one(name: str, kind: str, told: str, value: Any) -> Family:
    number = _number(int(value) if isinstance(value, bool) else value)
    return Family(name, kind, told, () if number is None else (({}, number),))


def watcher_families(answer: Mapping[str, Any]) -> list[Family]:
    """What is known of the watcher, from what ``/api/v1/now`` answers."""
    snapshot = answer.get("snapshot")
    up = _one("watcher_up", "gauge", "1 while the watcher is connected.", answer["connected"])
    if not isinstance(snapshot, Mapping):
        return [up]
    microphone, link = _mapping(snapshot.get("microphone")), _mapping(snapshot.get("link"))
    return [
        up,
        _one("snapshot_age_seconds", "gauge", "Age of what is told.", answer.get("age_s")),
        _one("uptime_seconds", "gauge", "Since the watcher began.", snapshot.get("uptime_s")),
        _one("audio_age_seconds", "gauge", "Age of the last sound.", snapshot.get("audio_age_s")),
        Family(
            "state",
            "gauge",
            "1 for the state that is on.",
            tuple(({"state": name}, int(snapshot.get("state") == name)) for name in STATES),
        ),
        *_ring_families(snapshot),
        *_level_families(snapshot),
        _one(
            "microphone_overruns_total",
            "counter",
            "Stretches of sound that were lost before they were read.",
            microphone.get("overrun_count"),
        ),
        _one(
            "microphone_dropped_blocks_total",
            "counter",
            "Blocks of sound that were read and not listened to.",
            microphone.get("dropped_block_count"),
        ),
        _one(
            "link_clients_dropped_total",
            "counter",
            "Clients of the watcher that were hung up on, as they took nothing for seconds.",
            link.get("dropped_client_count"),
        ),
        _one(
            "link_snapshots_skipped_total",
            "counter",
            "Snapshots that a client was too slow for.",
            link.get("skipped_snapshot_count"),
        ),
        _one(
            "link_events_lost_total",
            "counter",
            "Events and answers of the watcher for which there was no room.",
            link.get("lost_event_count"),
        ),
        *_part_families(snapshot, microphone),
    ]


def _ring_families(snapshot: Mapping[str, Any]) -> list[Family]:
    rings = [ring for ring in snapshot.get("rings", ()) if isinstance(ring, Mapping)]
    gig = _mapping(snapshot.get("gig"))
    return [
        _one("rings_open", "gauge", "Rings that sound now.", len(rings)),
        # Two rings of one band are one sample: the louder, since names must not come twice.
        Family(
            "ring_level_dbfs",
            "gauge",
            "Level of a ring that sounds now, dB of full scale; the microphone is uncalibrated.",
            tuple(({"band": band}, level) for band, level in sorted(_loudest(rings).items())),
        ),
        _one("gig_on", "gauge", "1 while a gig is on.", gig.get("on")),
        _one("gig_rings", "gauge", "Rings of the gig that is on.", gig.get("ring_count")),
    ]


def _loudest(rings: list[Mapping[str, Any]]) -> dict[str, float]:
    levels: dict[str, float] = {}
    for ring in rings:
        level = _number(ring.get("level_dbfs"))
        band = str(ring.get("band", ""))
        if level is not None:
            levels[band] = max(level, levels.get(band, level))
    return levels


def _level_families(snapshot: Mapping[str, Any]) -> list[Family]:
    bands, levels = snapshot.get("bands", ()), snapshot.get("third_octave_dbfs", ())
    return [
        _one("level_dbfs", "gauge", "Level, dB of full scale.", snapshot.get("level_dbfs")),
        _one("peak_dbfs", "gauge", "Peak, dB of full scale.", snapshot.get("peak_dbfs")),
        _one("clipping", "gauge", "1 while the input clips.", snapshot.get("clipping")),
        Family(
            "third_octave_dbfs",
            "gauge",
            "Level of a third-octave band, dB of full scale.",
            tuple(({"band": str(b)}, v) for b, v in zip(bands, levels, strict=False)),
        ),
    ]


def _part_families(snapshot: Mapping[str, Any], microphone: Mapping[str, Any]) -> list[Family]:
    health = {name: _mapping(part).get("health") for name, part in snapshot.items()}
    ok = {
        name: said in CALM_HEALTH
        for name, said in health.items()
        if isinstance(said, str) and said != "unknown"
    }
    ok["microphone"] = microphone.get("state") == "hearing"
    return [
        Family(
            "part_ok",
            "gauge",
            "1 while a part of the box is well, or off by its settings.",
            tuple(({"part": name}, int(well)) for name, well in sorted(ok.items())),
        )
    ]


def _mapping(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def page_families(
    *,
    answers: Mapping[tuple[str, int], int],
    streams_open: int,
    streams_most: int,
    streams_stuck: int,
) -> list[Family]:
    """What is known of the page's own process."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return [
        Family(
            "page_answers_total",
            "counter",
            "Answers by the page, by method and status.",
            tuple(
                ({"method": method, "status": str(status)}, count)
                for (method, status), count in sorted(answers.items())
            ),
        ),
        _one("page_streams_open", "gauge", "Live pages that are fed.", streams_open),
        _one("page_streams_most", "gauge", "Live pages that can be fed.", streams_most),
        _one(
            "page_streams_stuck_total",
            "counter",
            "Streams ended because their page took nothing.",
            streams_stuck,
        ),
        _one("page_threads", "gauge", "Threads of the page.", threading.active_count()),
        _one("page_resident_memory_bytes", "gauge", "Memory of the page.", resident_bytes()),
        _one(
            "page_cpu_seconds_total",
            "counter",
            "Processor time of the page.",
            round(used.ru_utime + used.ru_stime, 3),
        ),
    ]


def resident_bytes() -> int | None:
    """This process's resident memory, from proc(5); None where there is none."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except (OSError, ValueError, IndexError):
        return None
    return pages * resource.getpagesize()
