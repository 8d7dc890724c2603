"""What one resolution found in one sound, line by line and look by look, with the truth beside."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np

from monitor.listening.evidence import FEATURES, Candidates

FEEDBACK, OWN, UNSAID = 1, 0, -1
"""Labels of lines; ``sources`` says which is which."""


@dataclass(frozen=True, slots=True)
class Stream:
    """What one resolution found in one sound.

    ``looks`` is how many looks there were.  All else is one value a line found, [n], in the order
    of the looks: ``look`` its number from 1, ``candidates`` as the evidence gave them,
    ``label`` int8, ``weight`` how much it counts, ``late_s`` how long after the overtake.
    """

    resolution: int
    bin_hz: float
    looks: int
    look: np.ndarray
    candidates: Candidates
    label: np.ndarray
    weight: np.ndarray
    late_s: np.ndarray


COLUMNS = tuple(field.name for field in fields(Candidates))
"""What candidates are made of."""


def save_streams(streams: Sequence[Stream], path: Path) -> None:
    """Write the streams of a source into one file."""
    held = {}
    for number, stream in enumerate(streams):
        own = {
            "head": np.array([stream.resolution, stream.bin_hz, stream.looks]),
            "look": stream.look,
            "label": stream.label,
            "weight": stream.weight,
            "late_s": stream.late_s,
            **{name: getattr(stream.candidates, name) for name in COLUMNS},
        }
        held.update({f"{number}.{name}": values for name, values in own.items()})
    np.savez(path, n=np.array(len(streams)), **held)


def read_streams(path: Path) -> list[Stream]:
    """The streams of a source."""
    with np.load(path) as held:

        def own(number: int) -> Stream:
            resolution, bin_hz, looks = held[f"{number}.head"]
            return Stream(
                resolution=int(resolution),
                bin_hz=float(bin_hz),
                looks=int(looks),
                candidates=Candidates(**{name: held[f"{number}.{name}"] for name in COLUMNS}),
                **{
                    name: held[f"{number}.{name}"] for name in ("look", "label", "weight", "late_s")
                },
            )

        return [own(number) for number in range(int(held["n"]))]


class Notes:
    """Gathers what one resolution finds into a stream."""

    def __init__(self, resolution: int, bin_hz: float) -> None:
        self._resolution, self._bin_hz = resolution, bin_hz
        self._looks = 0
        self._found: list[tuple[int, Candidates, np.ndarray, np.ndarray, float]] = []

    def pass_by(self) -> None:
        self._looks += 1

    def take(
        self, found: Candidates, label: np.ndarray, weight: np.ndarray, late_s: float = 0.0
    ) -> None:
        """The lines of the look that has just passed by."""
        self._found.append((self._looks, found, label, weight, late_s))

    def stream(self) -> Stream:
        counts = [len(found.bins) for _, found, *_ in self._found]

        def joined(name: str) -> np.ndarray:
            kind = np.int32 if name == "bins" else np.float32
            none = np.zeros((0, len(FEATURES)) if name == "features" else 0, kind)
            parts = [getattr(found, name).astype(kind) for _, found, *_ in self._found]
            return np.concatenate([none, *parts])

        def each(values: Sequence[float], kind: type) -> np.ndarray:
            return np.repeat(np.asarray(values, kind), counts)

        return Stream(
            resolution=self._resolution,
            bin_hz=self._bin_hz,
            looks=self._looks,
            look=each([look for look, *_ in self._found], np.int32),
            candidates=Candidates(**{name: joined(name) for name in COLUMNS}),
            label=np.concatenate(
                [np.zeros(0, np.int8), *(label for _, _, label, _, _ in self._found)]
            ),
            weight=np.concatenate(
                [np.zeros(0, np.float32), *(weight for _, _, _, weight, _ in self._found)]
            ),
            late_s=each([late_s for *_, late_s in self._found], np.float32),
        )


def looks_of(stream: Stream) -> Iterator[tuple[int, slice]]:
    """Each look of a stream at which something was found, and its lines."""
    numbers, starts = np.unique(stream.look, return_index=True)
    ends = np.append(starts, len(stream.look))[1:]
    for number, start, end in zip(numbers, starts, ends, strict=True):
        yield int(number), slice(int(start), int(end))
