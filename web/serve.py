"""Serve the page: a production server around the application; the panel is told its address."""

from __future__ import annotations

import logging
import signal
import threading
from pathlib import Path

from firmware.supervisor import Supervisor
from monitor.link.client import LinkClient
from monitor.link.messages import LinkError
from web.address import own_address
from web.app import create_app
from web.server import Served
from web.sound import LISTENERS

LOG = logging.getLogger(__name__)
OTHER_THREADS = 6 + LISTENERS
"""Threads beyond the streams: page loads and polls are answered while all streams are open and
the practice stage is listened to."""
ADDRESS_EVERY_S = 5.0


def _tell_address(client: LinkClient, host: str, port: int, stopping: threading.Event) -> None:
    """Keep the panel's address right: after each connection, and when the network changes."""
    told: tuple[int, str] | None = None
    while not stopping.wait(0.2 if told is None else ADDRESS_EVERY_S):
        with client.condition:
            greeting = id(client.hello) if client.connected else None
        if greeting is None:
            told = None
            continue
        address = own_address(host)
        url = f"http://{address}/" if port == 80 else f"http://{address}:{port}/"
        if told == (greeting, url):
            continue
        try:
            client.request({"class": "address", "url": url})
            told = (greeting, url)
        except LinkError as error:
            LOG.info("the panel does not show the address: %s", error)


def serve(
    host: str,
    port: int,
    socket_path: str,
    *,
    spare_socket: Path | None,
    max_streams: int,
) -> None:
    """Serve until SIGTERM or SIGINT; ``spare_socket`` is where the watcher may be instead.

    Raises
    ------
    OSError
        If the host or port cannot be listened on.
    """
    stopping = threading.Event()
    supervisor = Supervisor()
    for name in ("waitress", "waitress.queue"):  # a crowd is no news, nor a phone that goes
        logging.getLogger(name).setLevel(logging.ERROR)
    with LinkClient(socket_path, spare=spare_socket) as client:
        served = Served(
            create_app(client, max_streams=max_streams),
            host=host,
            port=port,
            threads=max_streams + OTHER_THREADS,
        )
        teller = threading.Thread(
            target=_tell_address, args=(client, host, port, stopping), daemon=True, name="address"
        )
        teller.start()

        def stop(*_: object) -> None:
            raise SystemExit(0)

        signal.signal(signal.SIGTERM, stop)
        LOG.info("the page is at http://%s:%d/", own_address(host), port)
        supervisor.ready()
        try:
            served.run(supervisor.alive)
        except (SystemExit, KeyboardInterrupt):
            pass
        finally:
            supervisor.stopping()
            stopping.set()
            client.close()  # ends the streams, so that their threads end
            served.close()
