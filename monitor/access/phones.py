"""The paired phones: who has a key, of which only a digest is known here."""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from monitor.access.waits import mapping
from monitor.clock import Now

MOST_PHONES = 16
"""A band's phones and a few old ones; the one that was used longest ago makes room for another."""
KEY_BYTES = 32
"""256 bits: nobody guesses one, so that keys need no waits and their digests no salt."""

_DIGEST = re.compile(r"[0-9a-f]{64}")
_ID = re.compile(r"[0-9a-f]{8}")


def digest_of(key: str) -> str:
    """Return the digest by which a key is known: SHA-256 of its bytes, in hexadecimal."""
    return hashlib.sha256(bytes.fromhex(key)).hexdigest()


@dataclass(frozen=True, slots=True)
class Phone:
    """One that was paired; ``paired`` is when, by every clock there was."""

    id: str
    name: str
    digest: str
    paired: Now


class Phones:
    """At most ``MOST_PHONES``, the one used longest ago first.

    Attributes
    ----------
    revision : int
        Another one whenever a phone has come or gone: what was known of keys is known no more.
    """

    def __init__(self) -> None:
        self._phones: list[Phone] = []
        self.revision = 1

    def __len__(self) -> int:
        return len(self._phones)

    def pair(self, name: str, now: Now) -> tuple[Phone, str]:
        """Add a phone; return it and its key, which is known to nobody else and not kept here."""
        key = secrets.token_hex(KEY_BYTES)
        phone = Phone(secrets.token_hex(4), name, digest_of(key), now)
        self._phones = [*self._phones, phone][-MOST_PHONES:]
        self.revision += 1
        return phone, key

    def known(self, digest: str) -> Phone | None:
        """Return the phone of a key's digest, and note that it was used."""
        found = None
        for phone in self._phones:  # all of them: how long it takes tells nothing
            if hmac.compare_digest(phone.digest, digest):
                found = phone
        if found is not None:
            self._phones.remove(found)
            self._phones.append(found)
        return found

    def unpair(self, wanted: str) -> bool:
        """Forget a phone, or with "all" every one; return whether there was any."""
        left = [p for p in self._phones if wanted not in ("all", p.id)]
        was_any = len(left) < len(self._phones)
        self._phones = left
        self.revision += was_any
        return was_any

    def fields(self, age_s: Callable[[Now], float | None]) -> list[dict[str, Any]]:
        """Return what may be told of them, the newest used first; an age that nobody knows is
        absent."""
        found = []
        for phone in reversed(self._phones):
            ago_s = age_s(phone.paired)
            known = {} if ago_s is None else {"paired_ago_s": round(max(0.0, ago_s), 1)}
            found.append({"phone": phone.id, "name": phone.name, **known})
        return found

    @property
    def kept(self) -> dict[str, Any]:
        """What a restart must not lose."""
        return {"revision": self.revision, "phones": [asdict(phone) for phone in self._phones]}

    def restore(self, kept: Mapping[str, Any]) -> None:
        """Go on from what was kept.

        Raises
        ------
        ValueError
            If it is not what ``kept`` gave; then nothing of it counts.
        """
        revision, phones = kept.get("revision"), kept.get("phones")
        if isinstance(revision, bool) or not isinstance(revision, int):
            raise ValueError(f"revision must be a whole number, not {revision!r:.40}")
        if not isinstance(phones, list) or len(phones) > MOST_PHONES:
            raise ValueError(f"phones must be a list of at most {MOST_PHONES}")
        self._phones = [_phone(mapping(content)) for content in phones]
        self.revision = revision


def _phone(content: Mapping[str, Any]) -> Phone:
    try:
        phone = Phone(**{**content, "paired": Now.of_kept(mapping(content["paired"]))})
        fits = _ID.fullmatch(phone.id) and _DIGEST.fullmatch(phone.digest)
        if not fits or not isinstance(phone.name, str):
            raise ValueError("a phone's id, digest or name is not one")
    except (TypeError, KeyError) as error:
        raise ValueError(f"a phone that cannot be read: {error}") from error
    return phone
