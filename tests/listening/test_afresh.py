"""After a reset, as after a long gap, what was heard before has no part in what is heard now."""

import numpy as np
import pytest

from monitor.listening.evidence import Candidates
from monitor.listening.layers import Layer
from monitor.listening.listener import Listener
from monitor.listening.scorer import Scorers
from monitor.listening.suspects import Suspected, Suspects
from tests.bench.lines import hops_of, layers_at
from tests.listening.test_listener import growing_line

RATE_HZ = 48000
BEFORE = [(990.0, 40.0), (146.0, 25.0), (2950.0, 60.0)]
AFTER = [(1003.0, 20.0), (150.0, 30.0), (500.0, 15.0)]


def lines(hz_and_db_per_s: list[tuple[float, float]], rate_hz: int) -> np.ndarray:
    return sum(
        growing_line(
            rate_hz=rate_hz,
            frequency_hz=hz,
            growth_db_per_s=growth,
            from_s=0.4,
            total_s=3.0,
            seed=i,
        )
        for i, (hz, growth) in enumerate(hz_and_db_per_s)
    )


def test_every_measurement_is_that_of_a_fresh_beginning(monkeypatch: pytest.MonkeyPatch) -> None:
    layers = layers_at(RATE_HZ)
    all_suspects = [Suspects(layer, Scorers.packaged().look) for layer in layers]
    look, found = Layer.look, list[Candidates | Suspected | None]()

    def noted_look(layer: Layer, window: np.ndarray) -> Candidates | None:
        found.append(look(layer, window))
        return found[-1]

    monkeypatch.setattr(Layer, "look", noted_look)

    def hear(samples: np.ndarray) -> list[Candidates | Suspected | None]:
        found.clear()
        hops = hops_of(samples, sample_rate_hz=RATE_HZ, layers=layers)
        for hop, (_, window) in enumerate(hops):
            for layer, suspects in zip(layers, all_suspects, strict=True):
                if hop % layer.resolution.stride == 0:
                    found.append(suspects.look(window))
        return found.copy()

    fresh = hear(lines(AFTER, RATE_HZ))
    for samples in (BEFORE, AFTER):
        for layer, suspects in zip(layers, all_suspects, strict=True):
            layer.reset()
            suspects.reset()
        again = hear(lines(samples, RATE_HZ))
    assert sum(one is not None for one in fresh) > 200
    for one, other in zip(fresh, again, strict=True):
        told = [None if each is None else each.features.tolist() for each in (one, other)]
        assert told[0] == told[1]


@pytest.mark.parametrize("rate_hz", [RATE_HZ, 96000])
def test_the_rings_are_those_of_a_fresh_listener(rate_hz: int) -> None:
    def rings(listener: Listener) -> list[tuple[object, ...]]:
        events = listener.push(lines(AFTER, rate_hz))
        return [
            (e.kind, e.ring.frequency_hz, e.ring.level_dbfs, e.ring.growth_db_per_s) for e in events
        ]

    used = Listener(sample_rate_hz=rate_hz)
    used.push(lines(BEFORE, rate_hz))
    used.reset()
    expected = rings(Listener(sample_rate_hz=rate_hz))
    assert len(expected) >= 4
    assert rings(used) == expected
