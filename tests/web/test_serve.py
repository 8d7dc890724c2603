"""``howl-lantern page`` as a process: one clear line and an exit code for what cannot work."""

from __future__ import annotations

import socket
import subprocess
import sys
from pathlib import Path

import pytest


def run_page(tmp_path: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "monitor.cli", "page", "--socket", str(tmp_path / "none")]
    return subprocess.run(
        [*command, *arguments], capture_output=True, text=True, timeout=30, check=False
    )


def test_port_in_use(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        result = run_page(tmp_path, "--host", "127.0.0.1", "--port", port)
    assert result.returncode != 0
    assert result.stderr.count("\n") == 1
    assert "in use" in result.stderr
    assert port in result.stderr


@pytest.mark.parametrize("host", ["bad..host", "203.0.113.9"])  # the latter: RFC 5737, not ours
def test_host_that_is_not_here(tmp_path: Path, host: str) -> None:
    result = run_page(tmp_path, "--host", host, "--port", "18099")
    assert result.returncode != 0
    assert result.stderr.count("\n") == 1
    assert host in result.stderr
