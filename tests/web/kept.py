"""A link to a watcher that keeps gigs and venues, and pairs phones; all of it invented.

The code is judged by the watcher's own doorkeeper; the gigs are lists in here.
"""

from __future__ import annotations

import copy
import hashlib
import json
import time
from typing import Any

from monitor import clock
from monitor.access.doorkeeper import Doorkeeper, Refused
from monitor.access.phones import Phones
from tests.web.evening import EveningClient
from tests.web.states import EQUALISER, pull, ring

CODE = "135790"
HERON = {"uid": "00000000000000a1", "name": "Back Room of the Blue Heron"}
CHAPEL = {"uid": "00000000000000a2", "name": "Tin Chapel"}
PIECE_CHARS = 4000


def rang_at(at_s: float, frequency_hz: float, degree: str, lasted_s: float) -> dict[str, Any]:
    one = ring(frequency_hz, degree)
    kept = ("degree", "frequency_hz", "band", "slider", "level_dbfs", "growth_db_per_s")
    return {
        "id": int(at_s),
        "session": "s1",
        "at_s": at_s,
        "lasted_s": lasted_s,
        "way": "soundcheck" if at_s < 1800.0 else "set",
        **{key: one[key] for key in kept},
    }


def made_record(uid: str, venue: dict[str, str] | None, utc: str, count: int) -> dict[str, Any]:
    """A gig of two and a half hours with some rings of three bands."""
    rings = [
        rang_at(
            200.0 + 8600.0 * i / max(1, count),
            (2480.0, 313.0, 2480.0, 1068.0)[i % 4],
            "howl" if i % 5 == 4 else "ringing",
            1.0 + i % 4,
        )
        for i in range(count)
    ]
    pulls = [pull("315", 4.0, 0.0), pull("2.5k", 6.0, 0.0)]
    kept = [
        {"label": p["label"], "centre_hz": EQUALISER.sliders[p["slider"]].centre_hz, **p}
        for p in pulls
    ]
    return {
        "record": 1,
        "gig": {
            "uid": uid,
            **({"venue": venue} if venue else {}),
            "begun": {"utc": utc, "dated": "network", "boot": 1, "uptime_s": 60.0},
            "lasted_s": 9240.0,
            "box": "lantern",
        },
        "rings": rings,
        "happenings": [
            {"at_s": 5.0, "kind": "way", "way": "soundcheck"},
            {"at_s": 1500.0, "kind": "pull", "pulls": kept},
            {
                "at_s": 1700.0,
                "kind": "ring_out",
                "gain_won_db": 6.5,
                "cut_count": 2,
                "tone_cost_db": 1.2,
                "pulls": kept,
                "rings": [],
                "why": "3 ring together: that is this room's limit",
            },
            {"at_s": 1800.0, "kind": "way", "way": "set"},
            {"at_s": 2000.0, "kind": "song", "n": 1},
            {"at_s": 2400.0, "kind": "song", "n": 2},
            {"at_s": 9000.0, "kind": "note", "text": "wedge too near the squeezebox"},
        ],
        "equaliser": {
            "name": "31 bands",
            "deepest_db": 12.0,
            "sliders": [{"label": s.label, "centre_hz": s.centre_hz} for s in EQUALISER.sliders],
        },
    }


TONIGHT, BEFORE, FIRST = "00000000000000b1", "00000000000000b2", "00000000000000b3"
MEMORY: dict[str, Any] = {
    "gig_count": 3,
    "venue_count": 2,
    "venue": {
        **HERON,
        "gig_count": 2,
        "last_utc": "2026-10-16T19:30:00Z",
        "last": {"gig": "00000000000000b2", "utc": "2026-10-16T19:30:00Z"},
        "rang": [
            {
                "band": "2.5k",
                "frequency_hz": 2480.0,
                "evenings": 2,
                "of": 2,
                "howls": 3,
                "words": "2.48 kHz on 2 of 2 evenings, 3 howls",
            },
            {
                "band": "315",
                "frequency_hz": 313.0,
                "evenings": 1,
                "of": 2,
                "howls": 0,
                "words": "313 Hz on 1 of 2 evenings",
            },
        ],
        "begin_with": [
            {
                "label": "2.5k",
                "centre_hz": 2500.0,
                "pull_db": 4.0,
                "why": "pulled by 6 and by 4 on both evenings here",
            }
        ],
        "gain": {
            "last_db": 6.5,
            "before_db": 5.0,
            "change_db": 1.5,
            "words": "the last ring-out here won 6.5 dB, 1.5 dB more than the one before",
        },
        "words": [],
    },
    "bands": [
        {
            "band": "2.5k",
            "frequency_hz": 2480.0,
            "verdict": "rig",
            "rate": 0.9,
            "words": "rang on 4 of 4 evenings in 3 venues: more likely your microphone, wedge or "
            "loudspeaker than a room; odds 30 to 1",
            "evidence": {"evenings": 4},
        },
        {
            "band": "315",
            "frequency_hz": 313.0,
            "verdict": "room",
            "venue": HERON,
            "rate": 0.6,
            "words": "rang on 3 of 3 evenings at the Blue Heron and on none of 5 elsewhere",
            "evidence": {"evenings": 3},
        },
        {
            "band": "1k",
            "frequency_hz": 1068.0,
            "verdict": "unsure",
            "rate": 0.2,
            "words": "rang on 1 of 4 evenings: not enough evenings yet",
            "evidence": {"evenings": 1},
        },
    ],
    "when": {"hours": [], "songs": [], "words": ["most rings came in the first half hour"]},
    "words": ["2.5k rings wherever you play: look at the microphone and the wedge first"],
    "enough": True,
}


class KeptClient(EveningClient):
    """Keeps gigs and pairs phones; ``dated`` and ``control`` are what the snapshot says of them."""

    def __init__(self, base: str = "quiet", *, control: str = "open") -> None:
        self.records = {
            TONIGHT: made_record(TONIGHT, HERON, "2026-11-20T19:30:00Z", 14),
            BEFORE: made_record(BEFORE, HERON, "2026-10-16T19:30:00Z", 5),
            FIRST: made_record(FIRST, None, "2025-12-31T18:00:00Z", 0),
        }
        del self.records[FIRST]["gig"]["lasted_s"]
        self.records[FIRST]["gig"]["begun"]["dated"] = "believed"
        self.venues = [HERON, CHAPEL]
        self.on = True
        self.stays_over_for_s = 0.0
        self.venue: dict[str, str] | None = None
        self.song = 0
        self.dated = "network"
        self.utc_s: float | None = None
        self.door = Doorkeeper(control, make_code=lambda: CODE)  # type: ignore[arg-type]
        self.phones = Phones()
        self.uploads: dict[str, str] = {}
        super().__init__(base)

    def snapshot(self) -> dict[str, Any]:
        made = super().snapshot()
        made["dated"] = self.dated
        if self.utc_s is not None:
            made["utc_s"] = self.utc_s
        made["access"] = {
            "control": self.door.control,
            "showing": bool(self.door.on_panel(time.monotonic())),
            "phones": len(self.phones),
            "revision": self.phones.revision,
        }
        made["gig"] = {"on": self.on}
        if not self.on and self.stays_over_for_s:
            made["gig"]["stays_over_for_s"] = self.stays_over_for_s
        if self.on:
            gig = {"uid": TONIGHT, "begun_age_s": 4320.0, "ring_count": 14, "song": self.song}
            made["gig"].update({key: value for key, value in gig.items() if value})
        if self.venue is not None:
            made["gig"]["venue"] = self.venue
            made["memory"] = copy.deepcopy(MEMORY)
        return made

    def request(self, command: Any, timeout_s: float = 2.0) -> dict[str, Any]:
        answer = super().request(command, timeout_s)
        command = self.asked[-1]
        answers = getattr(self, f"_{command['class']}", None)
        if answer["class"] == "error" or command["class"] == "soundcheck" or answers is None:
            return answer
        try:
            return dict(answers(command))
        except Refused as error:
            wait = {} if error.wait_s is None else {"wait_s": error.wait_s}
            return {"class": "error", "message": str(error), "why": error.why, **wait}

    # --- gigs ----------------------------------------------------------------------------------

    def _gig(self, command: dict[str, Any]) -> dict[str, Any]:
        do = command["do"]
        if do in ("end", "song", "note", "clear_venue") and command.get("gig") != TONIGHT:
            return {"class": "error", "message": "the page always says which gig it means"}
        if do == "end":
            self.on = False
            self.stays_over_for_s = 840.0
        elif do == "begin":
            self.on = True
        elif do == "song":
            self.song += 1
        elif do == "clear_venue":
            self.venue = None
        elif do == "venue":
            named = {"uid": f"{len(self.venues):016x}", "name": command.get("name", "")}
            known = [v for v in self.venues if v["uid"] == command.get("venue")]
            if not known:
                self.venues.append(named)
            self.venue = known[0] if known else named
        elif do == "delete" and "venue" in command:
            self.venues = [v for v in self.venues if v["uid"] != command["venue"]]
        elif do == "delete":
            del self.records[command["gig"]]
        elif do == "rename" and "venue" in command:
            if any(v["name"] == command["name"] for v in self.venues):
                said = f"another venue is called {command['name']!r} already"
                return {"class": "error", "message": said}
            self.venues = [
                {**v, "name": command["name"]} if v["uid"] == command["venue"] else v
                for v in self.venues
            ]
        elif do == "rename":
            self.records[command["gig"]]["gig"]["title"] = command["name"]
        elif do == "note":
            note = {"at_s": 9100.0, "kind": "note", "text": command["text"]}
            self.records[TONIGHT]["happenings"].append(note)
        return {"class": "done"}

    def _gigs(self, command: dict[str, Any]) -> dict[str, Any]:
        gigs = []
        for uid, record in self.records.items():
            howls = sum(one["degree"] == "howl" for one in record["rings"])
            counts = {"ring_count": len(record["rings"]), "howl_count": howls}
            keys = ("uid", "title", "venue", "lasted_s")
            told = {key: record["gig"][key] for key in keys if key in record["gig"]}
            begun = record["gig"]["begun"]
            told["begun"] = {key: begun[key] for key in ("utc", "dated") if key in begun}
            gigs.append({**told, **counts, "on": self.on and uid == TONIGHT})
        first = 0
        if "before" in command:
            first = 1 + [gig["uid"] for gig in gigs].index(command["before"])
        return {"class": "gigs", "gigs": gigs[first : first + command["limit"]]}

    def _venues(self, _command: dict[str, Any]) -> dict[str, Any]:
        return {
            "class": "venues",
            "venues": [
                {**v, "gig_count": 2, "last_utc": "2026-10-16T19:30:00Z", "dated": "network"}
                if v["uid"] == HERON["uid"]
                else {**v, "gig_count": 0, "dated": "believed"}
                for v in self.venues
            ],
        }

    def _record(self, command: dict[str, Any]) -> dict[str, Any]:
        if command["gig"] not in self.records:
            return {"class": "error", "message": f"no gig {command['gig']} is kept"}
        text = json.dumps(self.records[command["gig"]], separators=(",", ":"))
        piece = text[command["offset"] : command["offset"] + PIECE_CHARS]
        return {
            "class": "record",
            "gig": command["gig"],
            "text": piece,
            "offset": command["offset"],
            "total": len(text),
            "digest": hashlib.sha256(text.encode()).hexdigest(),
        }

    def _recollection(self, _command: dict[str, Any]) -> dict[str, Any]:
        return {"class": "recollection", **copy.deepcopy(MEMORY)}

    def _import(self, command: dict[str, Any]) -> dict[str, Any]:
        so_far = self.uploads.get(command["upload"], "")
        if len(so_far) != command["offset"]:
            return {"class": "error", "message": f"the next piece begins at {len(so_far)}"}
        self.uploads[command["upload"]] = so_far + command["text"]
        if not command["last"]:
            return {"class": "done"}
        brought = json.loads(self.uploads[command["upload"]])
        self.records[brought["gig"]["uid"]] = brought
        return {"class": "done", "gigs": 1, "rings": len(brought["rings"])}

    def _clock(self, _command: dict[str, Any]) -> dict[str, Any]:
        self.dated = "phone"
        return {"class": "done"}

    # --- pairing -------------------------------------------------------------------------------

    def _pair_ask(self, command: dict[str, Any]) -> dict[str, Any]:
        shown = self.door.ask(time.monotonic(), command["from"])
        return {"class": "done", "showing": True, "where": shown.where, "lasts_s": shown.lasts_s}

    def _pair(self, command: dict[str, Any]) -> dict[str, Any]:
        self.door.judge(time.monotonic(), command["code"], command["from"])
        phone, key = self.phones.pair(command["name"], clock.now())
        return {"class": "paired", "key": key, "phone": phone.id}

    def _key_check(self, command: dict[str, Any]) -> dict[str, Any]:
        phone = self.phones.known(command["key_digest"])
        if phone is None:
            return {"class": "error", "message": "that phone is not paired", "why": "unpaired"}
        return {"class": "key", "phone": phone.id}

    def _phones(self, _command: dict[str, Any]) -> dict[str, Any]:
        return {"class": "phones", "phones": self.phones.fields(lambda _: 90.0)}

    def _unpair(self, command: dict[str, Any]) -> dict[str, Any]:
        if not self.phones.unpair(command["phone"]):
            return {"class": "error", "message": "that phone is not paired", "why": "unpaired"}
        return {"class": "done"}
