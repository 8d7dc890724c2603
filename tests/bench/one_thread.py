"""Imported before numpy: one thread a process, as a pool has as many processes as processors, and
what is timed is timed on one.
"""

from __future__ import annotations

import os

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ[_name] = "1"
