"""The address at which a phone reaches this machine, found out without sending anything."""

from __future__ import annotations

import array
import fcntl
import socket
import struct

_SIOCGIFCONF, _SIOCGIFFLAGS = 0x8912, 0x8913
_UP, _LOOPBACK, _RUNNING = 0x1, 0x8, 0x40
_MOST_INTERFACES = 64
_NAME = 16
"""``IFNAMSIZ``; these numbers and the layouts below are netdevice(7)'s."""


def own_address(host: str) -> str:
    """Return the address a phone can reach this machine at, as URLs have it (RFC 3986, 3.2.2).

    Parameters
    ----------
    host : str
        Where the page answers; every address of the machine for "", "0.0.0.0" and "::".

    Returns
    -------
    str
        The address by the routing table; where that knows no way out, as in a network that the
        box makes itself, an interface's own; the host's name only where there is none.
    """
    if host not in ("", "0.0.0.0", "::"):
        return f"[{host}]" if ":" in host else host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # A UDP socket that is connected but never written to asks only the routing table.
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1, RFC 5737: nobody is there
            return str(probe.getsockname()[0])
        except OSError:
            return _of_an_interface(probe) or socket.gethostname() + ".local"


def _of_an_interface(probe: socket.socket) -> str:
    """Return the IPv4 address of an interface that is up, one that has a link first; or "".

    Asked by ``ioctl``: ``socket.if_nameindex`` needs a netlink socket, which the unit refuses.
    """
    # struct ifreq: a name, and a union as large as struct ifmap, which grows with the pointers.
    entry = _NAME + (24 if struct.calcsize("P") == 8 else 16)
    room = array.array("B", bytes(entry * _MOST_INTERFACES))
    try:
        answer = fcntl.ioctl(
            probe, _SIOCGIFCONF, struct.pack("iP", len(room), room.buffer_info()[0])
        )
        length = struct.unpack("iP", answer)[0]
        found = {}
        for start in range(0, length, entry):
            name = bytes(room[start : start + _NAME])
            address = bytes(room[start + _NAME + 4 : start + _NAME + 8])  # struct sockaddr_in
            flags = fcntl.ioctl(probe, _SIOCGIFFLAGS, name.ljust(entry, b"\0"))
            found[socket.inet_ntoa(address)] = struct.unpack_from("H", flags, _NAME)[0]
    except OSError:
        return ""  # an interface went away meanwhile: it is asked again in a few seconds
    up = [a for a, flags in found.items() if flags & _UP and not flags & _LOOPBACK]
    return next((a for a in up if found[a] & _RUNNING), up[0] if up else "")
