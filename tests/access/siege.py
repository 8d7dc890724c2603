"""How the page answers while it is besieged by slow requests: ``python -m tests.access.siege``.

The box's own server in this process, and attackers at loopback addresses of their own: each opens
as many connections as it gets, sends a letter every two seconds and begins again when it is cut
off.  Somebody else asks for what rings now meanwhile, each time on a new connection.
"""

from __future__ import annotations

import socket
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from tests.access.house import House
from web.server import Served

SECONDS = 40.0
DRIP_S = 2.0
PER_ATTACKER = 40
REQUEST = b"GET /api/v1/now HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"


def drip(port: int, address: str, stop: threading.Event) -> None:
    """One attacker."""
    held: list[socket.socket] = []
    while not stop.is_set():
        while len(held) < PER_ATTACKER:
            try:
                held.append(
                    socket.create_connection(("127.0.0.1", port), 1.0, source_address=(address, 0))
                )
            except OSError:
                break
        left = []
        for connection in held:
            try:
                connection.send(b"G")
                connection.setblocking(False)
                if connection.recv(1) == b"":
                    raise ConnectionResetError
            except BlockingIOError:
                left.append(connection)
            except OSError:
                connection.close()
        held = left
        stop.wait(DRIP_S)
    for connection in held:
        connection.close()


def ask(port: int) -> float:
    """How long one answer takes in ms, NaN if none comes within five seconds."""
    began = time.monotonic()
    try:
        with socket.create_connection(("127.0.0.1", port), 5.0) as connection:
            connection.sendall(REQUEST)
            text = b""
            while chunk := connection.recv(65536):
                text += chunk
    except OSError:
        return float("nan")
    return 1000.0 * (time.monotonic() - began) if b" 200 " in text[:20] else float("nan")


def row(house: House, attackers: int) -> str:
    """One line of the table."""
    served = Served(house.app, host="127.0.0.1", port=0, threads=8)
    threading.Thread(target=served.run, daemon=True).start()
    stop = threading.Event()
    crowd = [
        threading.Thread(target=drip, args=(served.port, f"127.0.1.{1 + n}", stop), daemon=True)
        for n in range(attackers)
    ]
    for one in crowd:
        one.start()
    took_ms, until = [], time.monotonic() + SECONDS
    most = 0
    while time.monotonic() < until:
        took_ms.append(ask(served.port))
        most = max(most, served.lines.count)
        time.sleep(0.1)
    stop.set()
    for one in crowd:
        one.join()
    served.stop()
    found = np.array(took_ms)
    return (
        f"{attackers:>9}  {most:>11}  {len(found):>5}  {np.isnan(found).sum():>10}  "
        f"{np.nanmedian(found):>9.0f}  {np.nanmax(found):>10.0f}"
    )


def main() -> None:
    """Print the table."""
    print("attackers  connections  asked  unanswered  median ms  longest ms")
    with tempfile.TemporaryDirectory() as folder:
        house = House(Path(folder))
        for attackers in (0, 1, 5, 30):
            print(row(house, attackers), flush=True)
        house.close()


if __name__ == "__main__":
    main()
