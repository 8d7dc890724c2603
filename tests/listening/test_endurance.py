"""Memory over a long time: the listening keeps nothing of what has passed."""

import gc
import itertools
import sys
import types

import numpy as np

from monitor.listening.listener import Listener
from tests.bench.endurance import BLOCK_S, evening

RATE_HZ = 8000
SETTLE_S = 20.0
MOST_BYTES = 1000
MOST_BLOCKS = 200
"""Ten rings kept would be 70 kB and 1200 blocks.  Blocks are the whole process's: numpy's caches,
and what else goes on in a test run, added up to 300 the first time and some 50 the second
(measured); rings that are kept add theirs every time."""


def held_bytes(root):
    """Bytes of all that can be reached from an object: values, closures, arrays and their bases."""
    seen, waiting, total = set(), [root], 0
    while waiting:
        one = waiting.pop()
        if id(one) in seen or isinstance(one, type | types.ModuleType):
            continue
        seen.add(id(one))
        total += sys.getsizeof(one)
        if isinstance(one, types.FunctionType):
            waiting.append(one.__closure__)  # its globals are the module's
        elif isinstance(one, np.ndarray):
            waiting.append(one.base)
        else:
            waiting.extend(gc.get_referents(one))
    return total


def growth(*, seconds, keeps_events=False):
    """What was added from 20 s on: bytes held by the listener, Python's blocks, and rings."""
    listener = Listener(sample_rate_hz=RATE_HZ)
    listener.kept = []
    blocks = evening(sample_rate_hz=RATE_HZ, seconds=seconds + 1.0)
    rings = 0

    def hear(seconds):
        nonlocal rings
        for block in itertools.islice(blocks, round(seconds / BLOCK_S)):
            events = listener.push(block)
            rings += sum(event.kind == "closed" for event in events)
            if keeps_events:
                listener.kept.append(events)
        listener.reset()
        gc.collect()
        return np.array([held_bytes(listener), sys.getallocatedblocks()])

    before = hear(SETTLE_S)
    rings = 0
    return *(hear(seconds - SETTLE_S) - before), rings


def test_many_rings_leave_nothing_behind():
    times = [growth(seconds=60.0) for _ in range(2)]
    for grown_bytes, _, rings in times:
        assert rings >= 3  # one that is kept is 7 kB
        assert grown_bytes <= MOST_BYTES
    assert min(grown_blocks for _, grown_blocks, _ in times) <= MOST_BLOCKS


def test_somebody_who_kept_them_would_be_found():
    grown_bytes, grown_blocks, rings = growth(seconds=50.0, keeps_events=True)
    assert rings >= 2
    assert grown_bytes > MOST_BYTES
    assert grown_blocks > MOST_BLOCKS
