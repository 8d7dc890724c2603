"""Names of gigs, venues and ring-outs, which no other box will give."""

from __future__ import annotations

import re
import secrets

UID = re.compile(r"[0-9a-f]{16}")


def new_uid() -> str:
    """Return a new one: 16 hexadecimal digits."""
    return secrets.token_hex(8)
