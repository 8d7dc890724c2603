"""How far which slider is pulled, and what a ring gets from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.advice.equaliser import Equaliser


@dataclass(frozen=True, slots=True)
class Pull:
    """One slider pulled ``pull_db`` from flat; where and how wide is needed for swept ones.

    ``more_db`` is how much of it is new, beyond what stands already.
    """

    label: str
    pull_db: float
    centre_hz: float
    q: float
    more_db: float = 0.0


@dataclass(frozen=True, slots=True)
class Reached:
    """What a ring needs below flat and what it gets."""

    frequency_hz: float
    need_db: float
    depth_db: float
    met: bool


def stood(equaliser: Equaliser, standing: Sequence[Pull]) -> tuple[Equaliser, list[float]]:
    """Return the equaliser with its filters where they stand, and every slider's pull in dB.

    Raises
    ------
    ValueError
        For a label that the equaliser does not have, one that comes twice, or a pull that is
        beyond its travel; one clear line.
    """
    places = {slider.label: i for i, slider in enumerate(equaliser.sliders)}
    sliders, pulls_db = list(equaliser.sliders), [0.0] * len(places)
    seen: set[str] = set()
    for pull in standing:
        if pull.label not in places:
            raise ValueError(
                f'there is no slider "{pull.label:.20}"; this equaliser has {", ".join(places)}'
            )
        if pull.label in seen:
            raise ValueError(f'slider "{pull.label}" stands twice; give each once')
        seen.add(pull.label)
        i = places[pull.label]
        if not 0.0 <= pull.pull_db <= sliders[i].deepest_db:
            raise ValueError(
                f'slider "{pull.label}" cannot stand at {pull.pull_db:g} dB; '
                f"0 to {sliders[i].deepest_db:g} dB are possible"
            )
        if sliders[i].is_swept and pull.pull_db > 0.0:
            sliders[i] = sliders[i].moved(pull.centre_hz, pull.q)
        pulls_db[i] = float(pull.pull_db)
    return equaliser.with_sliders(sliders), pulls_db


def standing_response_db(
    equaliser: Equaliser, standing: Sequence[Pull], frequency_hz: np.ndarray
) -> np.ndarray:
    """Return what these pulls give each frequency [n] in dB, never positive for a cut.

    Raises
    ------
    ValueError
        As ``stood``.
    """
    there, pulls_db = stood(equaliser, standing)
    return there.response_db(pulls_db, frequency_hz)


def pulls_of(
    equaliser: Equaliser, pulls_db: Sequence[float], standing_db: Sequence[float]
) -> tuple[Pull, ...]:
    """Return the sliders that are pulled at all."""
    return tuple(
        Pull(s.label, float(pull), s.centre_hz, s.q, float(pull - before))
        for s, pull, before in zip(equaliser.sliders, pulls_db, standing_db, strict=True)
        if pull > 0.0
    )


def differ(some: Sequence[Pull], others: Sequence[Pull]) -> bool:
    """Return whether the sliders stand otherwise, by more than a desk rounds."""
    return _stands(some) != _stands(others)


def deepest(some: Sequence[Pull], others: Sequence[Pull]) -> tuple[Pull, ...]:
    """Return every slider of both as deep as the deeper has it; of like depth the first one."""
    found: dict[str, Pull] = {}
    for pull in (*some, *others):
        if pull.label not in found or pull.pull_db > found[pull.label].pull_db:
            found[pull.label] = pull
    return tuple(found.values())


def same_place(one: Pull, other: Pull) -> bool:
    """Return whether two pulls are at the same frequency and as wide, but for a desk's rounding."""
    return _place(one) == _place(other)


def _place(pull: Pull) -> tuple[float, float]:
    return round(pull.centre_hz, 1), round(pull.q, 2)


def _stands(pulls: Sequence[Pull]) -> set[tuple[str, float, tuple[float, float]]]:
    return {(p.label, round(p.pull_db, 1), _place(p)) for p in pulls}
