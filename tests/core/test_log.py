"""The log: in order and in full where it is read, and never waited for where it is not."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.log import LAST_WORDS_S, MOST_LINES
from tests.waiting import awaited

ROOT = Path(__file__).parents[2]
PIPE_HOLDS = 65536
"""Bytes of a pipe by default; source: pipe(7)."""


def logging_process(
    words: str, *, last_words_s: float = 15.0, **environ: str
) -> subprocess.Popen[bytes]:
    """A process that logs; by default it gives its last lines more time than a box would."""
    program = (
        "import logging\nimport sys\nfrom monitor import log\n"
        f"log.LAST_WORDS_S = {last_words_s}\nlog.set_up()\n{words}"
    )
    kept = {k: v for k, v in os.environ.items() if k not in ("INVOCATION_ID", "JOURNAL_STREAM")}
    return subprocess.Popen(
        [sys.executable, "-c", program],
        cwd=ROOT,
        env={**kept, **environ},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def test_all_lines_come_in_order_also_the_last() -> None:
    words = "for n in range(200): logging.getLogger('a').info('line %d', n)"
    _, said = logging_process(words).communicate(timeout=20.0)
    assert said.decode().splitlines() == [f"howl-lantern: line {n}" for n in range(200)]


@pytest.mark.parametrize(("level", "priority"), [("info", 6), ("warning", 4), ("error", 3)])
def test_the_service_manager_gets_priorities(level: str, priority: int) -> None:
    """Source: sd-daemon(3), SD_INFO and the others."""
    words = f"logging.getLogger('a').{level}('one\\ntwo')"
    _, said = logging_process(words, INVOCATION_ID="1").communicate(timeout=20.0)
    assert said.decode() == f"<{priority}>one\n<{priority}>two\n"


def test_a_line_that_cannot_be_made_does_not_end_whoever_logs() -> None:
    words = "logging.getLogger('a').info('%d lost', 'x')\nlogging.getLogger('a').info('on')"
    process = logging_process(words)
    _, said = process.communicate(timeout=20.0)
    assert process.returncode == 0
    first, second = said.decode().splitlines()
    assert "'%d lost'" in first
    assert second == "howl-lantern: on"


def test_a_traceback_has_a_priority_on_every_line() -> None:
    words = "try: 1 / 0\nexcept ZeroDivisionError: logging.getLogger('a').exception('oh')"
    _, said = logging_process(words, INVOCATION_ID="1").communicate(timeout=20.0)
    lines = said.decode().splitlines()
    assert lines[0] == "<3>oh"
    assert lines[-1] == "<3>ZeroDivisionError: division by zero"
    assert all(line.startswith("<3>") for line in lines)


def test_nobody_waits_for_a_reader_and_what_is_left_out_is_told() -> None:
    line, lines = 200, 2 * (PIPE_HOLDS // 200 + MOST_LINES)
    words = (
        f"for n in range({lines}): logging.getLogger('a').info('x' * {line})\n"
        "print('through', flush=True)\nsys.stdin.read()"
    )
    said = b""
    with logging_process(words) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        descriptor = process.stderr.fileno()
        assert process.stdout.readline() == b"through\n"

        def accounted_for() -> int:
            nonlocal said
            said += os.read(descriptor, PIPE_HOLDS)
            whole = said.decode().splitlines()
            return sum(
                int(text.split()[1]) if "left out" in text else text.endswith("x" * line)
                for text in whole
            )

        awaited(lambda: accounted_for() == lines, 20.0)
        process.communicate(timeout=20.0)
    assert b"left out" in said


def test_a_process_ends_though_nobody_reads() -> None:
    words = "for n in range(2000): logging.getLogger('a').info('x' * 200)"
    with logging_process(words, last_words_s=LAST_WORDS_S) as process:
        assert process.wait(timeout=20.0) == 0
