"""Who has a key: known by a digest, kept for long, bounded."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest

from monitor.access.phones import MOST_PHONES, Phones, digest_of
from monitor.clock import Now

NOW = Now("boot", 12.0, 1.8e9, clock_trusted=True)


def names(phones: Phones) -> list[str]:
    return [each["name"] for each in phones.fields(lambda _: None)]


def test_a_key_is_long_and_known_by_its_digest_alone() -> None:
    phones = Phones()
    phone, key = phones.pair("ada", NOW)
    assert len(bytes.fromhex(key)) >= 32
    # SHA-256 of the key's bytes, by the standard library's own implementation of FIPS 180-4.
    assert digest_of(key) == hashlib.sha256(bytes.fromhex(key)).hexdigest() == phone.digest
    assert phones.known(digest_of(key)) == phone
    assert phones.known(key) is None, "a stolen file's digest must not pass for a key"
    assert key not in json.dumps(phones.kept)


def test_keys_are_fresh_each_time() -> None:
    phones = Phones()
    assert phones.pair("ada", NOW)[1] != phones.pair("ada", NOW)[1]


def test_an_unpaired_key_is_no_use_and_never_comes_back() -> None:
    phones = Phones()
    phone, key = phones.pair("ada", NOW)
    before = phones.revision
    assert phones.unpair(phone.id)
    assert phones.known(digest_of(key)) is None
    assert phones.revision != before
    assert not phones.unpair(phone.id)
    phones.pair("ada", NOW)
    assert phones.known(digest_of(key)) is None


def test_all_can_be_unpaired_at_once() -> None:
    phones = Phones()
    keys = [phones.pair(name, NOW)[1] for name in ("ada", "ben")]
    assert phones.unpair("all")
    assert len(phones) == 0
    assert not any(phones.known(digest_of(key)) for key in keys)
    assert not phones.unpair("all")


def test_the_phone_used_longest_ago_makes_room() -> None:
    phones = Phones()
    keys = [phones.pair(f"phone {n}", NOW)[1] for n in range(MOST_PHONES)]
    assert phones.known(digest_of(keys[0]))
    phones.pair("one more", NOW)
    assert len(phones) == MOST_PHONES
    assert phones.known(digest_of(keys[0])), "it was used"
    assert phones.known(digest_of(keys[1])) is None


def test_what_is_kept_comes_back() -> None:
    phones = Phones()
    keys = [phones.pair(name, NOW)[1] for name in ("ada", "ben")]
    again = Phones()
    again.restore(json.loads(json.dumps(phones.kept)))
    assert names(again) == ["ben", "ada"]
    assert again.revision == phones.revision
    assert all(again.known(digest_of(key)) for key in keys)


def test_an_age_that_nobody_knows_is_absent() -> None:
    phones = Phones()
    phones.pair("ada", NOW)
    assert "paired_ago_s" not in phones.fields(lambda _: None)[0]
    assert phones.fields(lambda _: 61.04)[0]["paired_ago_s"] == 61.0
    assert phones.fields(lambda _: -5.0)[0]["paired_ago_s"] == 0.0
    assert not {"digest", "key"} & phones.fields(lambda _: None)[0].keys()


GOOD: dict[str, Any] = {
    "id": "0123abcd",
    "name": "ada",
    "digest": "a" * 64,
    "paired": {"boot_id": "b", "uptime_s": 1.0, "utc_s": 2.0, "clock_trusted": True},
}


@pytest.mark.parametrize(
    "kept",
    [
        {},
        {"revision": "1", "phones": []},
        {"revision": True, "phones": []},
        {"revision": 1, "phones": {}},
        {"revision": 1, "phones": [GOOD] * (MOST_PHONES + 1)},
        {"revision": 1, "phones": ["ada"]},
        {"revision": 1, "phones": [{**GOOD, "digest": "a"}]},
        {"revision": 1, "phones": [{**GOOD, "id": "../../x"}]},
        {"revision": 1, "phones": [{**GOOD, "name": 3}]},
        {"revision": 1, "phones": [{**GOOD, "paired": 3}]},
        {"revision": 1, "phones": [{**GOOD, "paired": {**GOOD["paired"], "utc_s": 10**400}}]},
        {"revision": 1, "phones": [{**GOOD, "more": 3}]},
        {"revision": 1, "phones": [{"id": "0123abcd"}]},
    ],
)
def test_junk_is_not_gone_on_from(kept: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"must be|expected|cannot be read|is not one"):
        Phones().restore(kept)
    Phones().restore({"revision": 1, "phones": [GOOD]})
