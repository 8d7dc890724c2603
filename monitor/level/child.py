"""One ``howl-lantern level --json`` at work as a child process, and the thread that minds it.

The measuring has its own process so that its arithmetic can never delay the listening: the
child is nice, what it is fed goes through a small queue that nobody waits for, and whatever it
does, it is gone after ``LONGEST_S``.
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
import queue
import selectors
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import IO, Any

from firmware.ports import AudioBlock
from monitor.channel.feed import packed
from monitor.link.messages import strict_json

LOG = logging.getLogger(__name__)

MOST_WAITING = 64
"""Blocks: 1.4 s as a microphone at 48 kHz delivers them."""
LONGEST_S = 300.0
"""A measurement somebody forgot must not burn a core all evening."""
FIRST_S = 30.0
"""A small box needs seconds to load the arithmetic."""
SILENT_S = 7.0
"""The child itself gives up a card that is silent for 5 s, and knows why."""
LOOK_S = 0.05
NICE = 10
LONGEST_LINE = 16 * 1024
_POLITE_S = 0.7
_PENDING_BYTES = 64 * 1024


class LevelChild:
    """Runs the command once it is started; all but ``close`` return at once.

    Parameters
    ----------
    command : sequence of str
        What to run; it writes one JSON object a line.
    fed : bool
        Whether it reads blocks from its standard input.
    on_end : callable
        Called once in the minding thread when it has ended, however.

    Attributes
    ----------
    fields : dict or None
        The newest figures.
    fields_mono_s : float
        When they came.
    lost_count : int
        Blocks that found no room, once it measured.
    ended : bool
    why : str
        Why it ended, one line; empty if it was told to.
    """

    def __init__(
        self,
        command: Sequence[str],
        *,
        fed: bool,
        on_end: Callable[[], None] = lambda: None,
        longest_s: float = LONGEST_S,
        silent_s: float = SILENT_S,
    ) -> None:
        self._command = list(command)
        self._fed = fed
        self._on_end = on_end
        self._longest_s = longest_s
        self._silent_s = silent_s
        self._waiting: queue.Queue[AudioBlock] = queue.Queue(MOST_WAITING)
        self._lost_before = False
        self._pending = b""
        self._said = b""
        self._complained = b""
        self.begun_mono_s = time.monotonic()
        self._fed_mono_s = self.begun_mono_s
        self.fields: dict[str, Any] | None = None
        self.fields_mono_s = self.begun_mono_s
        self.lost_count = 0
        self.ended = False
        self.why = ""
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="measuring", daemon=True)

    def start(self) -> None:
        """Begin; once only."""
        self._thread.start()

    def put(self, block: AudioBlock) -> None:
        """Feed a block; dropped, and a gap for the measuring, if there is no room."""
        self._fed_mono_s = time.monotonic()
        try:
            self._waiting.put_nowait(replace(block, gap=True) if self._lost_before else block)
            self._lost_before = False
        except queue.Full:
            self._lost_before = True
            self.lost_count += self.fields is not None

    def stop(self) -> None:
        """Have it ended soon."""
        self._stopping.set()

    def close(self, timeout_s: float = 3.0) -> None:
        """End it; may be called twice."""
        self.stop()
        if self._thread.ident is not None and self._thread is not threading.current_thread():
            self._thread.join(timeout=timeout_s)

    # --- everything below runs in the minding thread -----------------------------------------

    def _run(self) -> None:
        process: subprocess.Popen[bytes] | None = None
        try:
            process = self._start()
            self.why = self._mind(process)
        except OSError as error:
            self.why = f"the measuring cannot be started: {error.strerror or error}"
        except Exception as error:
            LOG.exception("the measuring failed")
            self.why = f"the measuring failed: {error!r}"
        finally:
            if process is not None:
                _end(process)
            if self.why:
                LOG.warning("measuring: %s", self.why)
            self._on_end()
            self.ended = True

    def _start(self) -> subprocess.Popen[bytes]:
        # Its own session: Ctrl-C reaches only us, and all that it started ends with it.
        process = subprocess.Popen(
            self._command,
            stdin=subprocess.PIPE if self._fed else subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            start_new_session=True,
        )
        try:
            os.setpriority(os.PRIO_PROCESS, process.pid, NICE)
        except ProcessLookupError:
            pass  # it has ended already, and its last words say why
        except OSError as error:
            LOG.warning("the measuring cannot be made nice (%s); it goes on", error.strerror)
        for pipe in (process.stdin, process.stdout, process.stderr):
            if pipe is not None:
                os.set_blocking(pipe.fileno(), False)
        return process

    def _mind(self, process: subprocess.Popen[bytes]) -> str:
        """Relay until it ends or has to; return why."""
        assert process.stdout is not None and process.stderr is not None  # noqa: PT018
        with selectors.DefaultSelector() as selector:
            selector.register(process.stdout, selectors.EVENT_READ, self._hear)
            selector.register(process.stderr, selectors.EVENT_READ, self._hear_complaint)
            while not self._stopping.is_set():
                if process.stdin is not None:
                    self._write(process.stdin)
                for key, _ in selector.select(timeout=LOOK_S):
                    chunk = os.read(key.fd, 65536)
                    if chunk:
                        key.data(chunk)
                    else:
                        selector.unregister(key.fileobj)
                if process.poll() is not None and not selector.get_map():
                    return self._last_words(process.returncode)
                if why := self._overdue():
                    return why
        return ""

    def _overdue(self) -> str:
        now_mono_s = time.monotonic()
        if now_mono_s > self.begun_mono_s + self._longest_s:
            return f"ended by itself after {self._longest_s / 60.0:g} minutes; begin again"
        patience_s = FIRST_S if self.fields is None else self._silent_s
        if now_mono_s <= self.fields_mono_s + patience_s:
            return ""
        if self._fed and now_mono_s > self._fed_mono_s + self._silent_s:
            return f"nothing came to measure for {self._silent_s:g} s; see whether it is plugged in"
        return f"no figure came for {patience_s:g} s, so it was ended; begin again"

    def _last_words(self, code: int) -> str:
        lines = self._complained.decode("utf-8", "replace").strip().splitlines()
        if lines:
            return lines[-1].removeprefix("howl-lantern: ")[:300]
        return f"the measuring ended with code {code}; begin again"

    def _hear(self, chunk: bytes) -> None:
        *lines, self._said = (self._said + chunk).split(b"\n")
        if len(self._said) > LONGEST_LINE:
            self._said = b""
        for line in lines:
            fields = _fields(line)
            if fields is not None:
                self.fields, self.fields_mono_s = fields, time.monotonic()

    def _hear_complaint(self, chunk: bytes) -> None:
        self._complained = (self._complained + chunk)[-4096:]

    def _write(self, pipe: IO[bytes]) -> None:
        """Write what the pipe takes now."""
        while len(self._pending) < _PENDING_BYTES:
            try:
                block = self._waiting.get_nowait()
            except queue.Empty:
                break
            self._pending += packed(block.samples, block.sample_rate_hz, gap=block.gap)
        while self._pending:
            try:
                written = os.write(pipe.fileno(), self._pending[:_PENDING_BYTES])
            except BlockingIOError:
                return
            except BrokenPipeError:  # it is ending; its last words are still to come
                self._pending = b""
                return
            self._pending = self._pending[written:]


def _fields(line: bytes) -> dict[str, Any] | None:
    """Return the figures in a line; None if it is not one that could go out on the link."""
    if not line.strip() or len(line) > LONGEST_LINE:
        return None
    try:
        found = strict_json(line.decode())
        json.dumps(found, ensure_ascii=False).encode()  # half a character cannot be sent
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def _end(process: subprocess.Popen[bytes]) -> None:
    """End it and all that it started: politely, then firmly."""
    for number in (signal.SIGTERM, signal.SIGKILL):
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, number)
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(timeout=_POLITE_S)
            break
    for pipe in (process.stdin, process.stdout, process.stderr):
        if pipe is not None:
            with contextlib.suppress(OSError):
                pipe.close()
