"""``howl-lantern page`` as a process: one clear line and an exit code for what cannot work."""

from __future__ import annotations

import socket
import subprocess
import sys
from pathlib import Path

import pytest

from web.address import own_address


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


# --- the address on the panel --------------------------------------------------------------------


def test_an_address_that_is_set_is_told_as_urls_have_it() -> None:
    assert own_address("192.168.1.7") == "192.168.1.7"
    assert own_address("fd00::1") == "[fd00::1]"  # RFC 3986, 3.2.2


def addresses_in_a_network_of_its_own(*commands: str) -> str:
    """What ``own_address`` says where only those interfaces are that the commands make."""
    ask = "from web.address import own_address; print(own_address('0.0.0.0'))"
    lines = [*(f"{line} || exit 77" for line in commands), f'exec {sys.executable} -c "{ask}"']
    result = subprocess.run(
        ["unshare", "-rn", "sh", "-c", "\n".join(lines)],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    if result.returncode == 77 or "unshare" in result.stderr:
        pytest.skip(f"a network of one's own cannot be made here: {result.stderr.strip()}")
    assert result.returncode == 0, result.stderr
    return result.stdout.strip()


def test_in_a_network_that_the_box_makes_itself_the_interface_s_address_is_told() -> None:
    # 10.42.0.1 is what NetworkManager gives a box that makes its own network; there is no route.
    own_network = (
        "ip link set lo up",
        "ip link add name wlan type veth peer name phone",
        "ip address add 10.42.0.1/24 dev wlan",
    )
    up = ("ip link set wlan up", "ip link set phone up")
    assert addresses_in_a_network_of_its_own(*own_network, *up) == "10.42.0.1"
    name = f"{socket.gethostname()}.local"
    assert addresses_in_a_network_of_its_own(*own_network) == name, "it is down"
    # One that has a link comes before one whose cable is out.
    two = ("ip link add name cable type veth peer name end", "ip address add 10.9.0.1/24 dev cable")
    unplugged = "ip link set cable up"
    assert addresses_in_a_network_of_its_own(*two, unplugged, *own_network, *up) == "10.42.0.1"
    assert addresses_in_a_network_of_its_own(*two, unplugged) == "10.9.0.1"
