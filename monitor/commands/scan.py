"""``howl-lantern scan``: the live listening chain over recordings."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from dataclasses import replace
from typing import TextIO

from monitor.listening.listener import Listener
from monitor.listening.rings import Ring, RingEvent, Way
from monitor.recordings import Recording, RecordingError

_PROGRESS_FROM_S = 30.0


def rings_of(recording: Recording, *, way: Way, progress: TextIO | None = None) -> list[Ring]:
    """Every degree that every ring of a recording reaches, in the order of their flags.

    A ring that goes from ringing to howl comes twice: with the state it had at each flag and
    the common end.

    Raises
    ------
    RecordingError
        If the recording turns out to be broken while it is read.
    """
    listener = Listener(sample_rate_hz=recording.sample_rate_hz, way=way)
    flagged: list[RingEvent] = []
    ends: dict[int, float] = {}
    duration_s = recording.n_frames / recording.sample_rate_hz
    shown = progress if duration_s >= _PROGRESS_FROM_S else None
    try:
        for block in recording.blocks():
            _sort_in(listener.push(block), flagged, ends)
            if shown is not None:
                done = min(1.0, listener.clock_s / duration_s)
                shown.write(f"\r{recording.path.name}: {100.0 * done:3.0f} %")
                shown.flush()
    finally:  # what is said next, be it a refusal, has the line to itself
        if shown is not None:
            shown.write("\r\033[K")
            shown.flush()
    _sort_in(listener.reset(), flagged, ends)
    return [replace(event.ring, end_s=ends[event.ring.id]) for event in flagged]


def _sort_in(events: Iterable[RingEvent], flagged: list[RingEvent], ends: dict[int, float]) -> None:
    for event in events:
        if event.kind == "closed":
            ends[event.ring.id] = event.at_s
        else:
            flagged.append(event)


def as_json(name: str, ring: Ring) -> str:
    """One line of ``scan --json``."""
    return json.dumps(
        {
            "file": name,
            "kind": ring.degree,
            "flagged_s": round(ring.flagged_s, 6),
            "start_s": round(ring.start_s, 6),
            "end_s": round(ring.end_s if ring.end_s is not None else ring.flagged_s, 6),
            "frequency_hz": round(ring.frequency_hz, 3),
            "band_hz": round(ring.band.midband_hz, 3),
            "band": ring.band.label,
            "level_dbfs": round(ring.level_dbfs, 2),
            "growth_db_per_s": round(ring.growth_db_per_s, 2),
        },
        allow_nan=False,
    )


def _clock(seconds: float) -> str:
    minutes, hundredths = divmod(round(100.0 * seconds), 6000)  # rounded first: no 0:60.00
    return f"{minutes:3d}:{hundredths / 100.0:05.2f}"


def _table(name: str, rings: list[Ring], out: TextIO) -> None:
    if not rings:
        print(f"{name}: nothing rings", file=out)
        return
    print(name, file=out)
    print("    flagged  degree   band   frequency     level     growth    lasts", file=out)
    for ring in rings:
        lasts_s = (ring.end_s or ring.flagged_s) - ring.start_s
        print(
            f"   {_clock(ring.flagged_s)}  {ring.degree:<8} {ring.band.label:<5} "
            f"{ring.frequency_hz:8.1f} Hz  {ring.level_dbfs:5.1f} dBFS "
            f"{ring.growth_db_per_s:5.0f} dB/s {lasts_s:7.2f} s",
            file=out,
        )


def run(files: Iterable[str], *, json_lines: bool, way: Way) -> int:
    """Scan files in turn; a broken one is named on stderr and gives no lines.

    Returns
    -------
    int
        0, or 2 if any file could not be scanned.
    """
    status = 0
    progress = sys.stderr if sys.stderr.isatty() else None
    for name in files:
        try:
            rings = rings_of(Recording(name), way=way, progress=progress)
        except RecordingError as error:
            print(f"howl-lantern: {error}", file=sys.stderr)
            status = 2
            continue
        if json_lines:
            for ring in rings:
                print(as_json(name, ring))
        else:
            _table(name, rings, sys.stdout)
        sys.stdout.flush()
    return status
