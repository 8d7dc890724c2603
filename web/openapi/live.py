"""What the live page asks for: the snapshot and what is around it."""

from __future__ import annotations

from web.openapi.values import (
    COUNT,
    DATED,
    DEGREE,
    NUMBER,
    TEXT,
    UID,
    WAY,
    WHOLE,
    YES_NO,
    Schema,
    array,
    known,
    obj,
    one_of,
    ref,
)  # fmt: skip

HEALTH = obj({"health": TEXT}, about='"ok", or one sentence that says what is wrong.')
RING: dict[str, Schema] = {
    "id": WHOLE,
    "degree": DEGREE,
    "frequency_hz": NUMBER,
    "band": known("The third-octave band, as it is printed on equalisers.", TEXT),
    "band_hz": NUMBER,
    "slider": known("The slider of the person's own equaliser that lies nearest.", TEXT),
    "slider_hz": NUMBER,
    "level_dbfs": NUMBER,
    "growth_db_per_s": NUMBER,
    "again": known("How often this band has rung tonight, this time counted.", COUNT),
}
THIRD_OCTAVES = known("dB of full scale, 20 Hz to 20 kHz.", array(NUMBER, 31))

SCHEMAS: dict[str, Schema] = {
    "OpenRing": obj({**RING, "ringing_for_s": NUMBER}, about="A ring that sounds now."),
    "RecentRing": obj(
        {**RING, "lasted_s": NUMBER, "ended_ago_s": NUMBER}, about="A ring that has gone."
    ),
    "RingEvent": obj(
        {
            **RING,
            "class": {"const": "ring"},
            "event": TEXT,
            "ringing_for_s": NUMBER,
            "start_s": NUMBER,
            "flagged_s": NUMBER,
            "sent_mono_s": NUMBER,
        },
        {"end_s": NUMBER},
        "What `ring` carries on the stream, ahead of the next snapshot.",
    ),
    "Microphone": obj(
        {
            "state": TEXT,
            "device": TEXT,
            "detail": TEXT,
            "automatic_gain": TEXT,
            "overrun_count": COUNT,
            "dropped_block_count": COUNT,
        },
        {"sample_rate_hz": WHOLE, "sample_format": TEXT, "channels": WHOLE},
    ),
    "Equaliser": obj(
        {
            "name": TEXT,
            "deepest_db": NUMBER,
            "sliders": array(
                obj(
                    {"label": TEXT, "centre_hz": NUMBER},
                    {"switch": known("A low cut: on or off, without a depth.", YES_NO)},
                )
            ),
        },
        {
            "graphic": known("Whether all it has are sliders in fixed places.", YES_NO),
            "shape": known("How a dip changes with the pull.", one_of("proportional", "constant")),
        },
        about="The person's own equaliser.",
    ),
    "Panel": obj(
        {"width": COUNT, "height": COUNT, "bits": TEXT, "health": TEXT},
        about="Its picture: rows of bits, base64. While it shows a code, the picture before.",
    ),
    "Board": obj(
        {"health": TEXT},
        {
            "temperature_c": NUMBER,
            "is_undervolted": known("Whether the supply voltage is too low now.", YES_NO),
            "sag_count": known("How often it has been since the watcher began.", COUNT),
        },
        'The board itself; health is "ok", "unknown" where it says nothing, or one sentence.',
    ),
    "Practice": obj(
        {
            "room": TEXT,
            "description": TEXT,
            "band": TEXT,
            "rooms": array(TEXT),
            "placements": array(obj({"name": TEXT, "description": TEXT}, {"limit_db": NUMBER})),
            "fader_db": NUMBER,
            "fader_min_db": NUMBER,
            "fader_max_db": NUMBER,
            "sliders": array(
                obj(
                    {"label": TEXT, "cut_db": NUMBER},
                    {"centre_hz": NUMBER, "q": NUMBER, "cut_max_db": NUMBER},
                )
            ),
            "cut_max_db": NUMBER,
            "step_db": NUMBER,
            "sound": YES_NO,
            "advice": TEXT,
        },
        {
            "placement": TEXT,
            "moving": TEXT,
            "gain_db": NUMBER,
            "gain_min_db": NUMBER,
            "gain_max_db": NUMBER,
        },
        "The practice stage; in the demo alone.",
    ),
    "Access": obj(
        {
            "control": one_of("code", "open", "off"),
            "showing": YES_NO,
            "phones": COUNT,
            "revision": COUNT,
        },
        {"health": TEXT},
        about="Who may change something; whether a code is on the panel; how many phones.",
    ),
    "GigNow": obj(
        {"on": YES_NO},
        {
            "uid": UID,
            "title": TEXT,
            "venue": ref("VenueName"),
            "begun_age_s": NUMBER,
            "ring_count": COUNT,
            "song": COUNT,
            "in_doubt": YES_NO,
            "stays_over_for_s": known(
                "The last gig was ended by hand: so long what is heard begins none.", NUMBER
            ),
        },
    ),
    "Snapshot": obj(
        {
            "class": {"const": "snapshot"},
            "seq": COUNT,
            "box": TEXT,
            "uptime_s": NUMBER,
            "state": one_of("starting", "deaf", "quiet", "ringing", "howl"),
            "way": WAY,
            "rings": array(ref("OpenRing")),
            "recent": array(ref("RecentRing")),
            "bands": known("The names of the third-octave bands.", array(TEXT, 31)),
            "level_dbfs": NUMBER,
            "peak_dbfs": NUMBER,
            "third_octave_dbfs": THIRD_OCTAVES,
            "clipping": YES_NO,
            "microphone": ref("Microphone"),
            "equaliser": ref("Equaliser"),
            "lamp": obj({"pattern": one_of("dark", "pulse", "steady", "blink"), "health": TEXT}),
            "panel": ref("Panel"),
        },
        {
            "audio_age_s": NUMBER,
            "deaf_reason": TEXT,
            "quiet_for_s": NUMBER,
            "journal": HEALTH,
            "adviser": HEALTH,
            "board": ref("Board"),
            "button": HEALTH,
            "gigs": HEALTH,
            "settings": HEALTH,
            "showing": HEALTH,
            "link": known(
                "Who was too slow for the watcher: clients hung up on, snapshots left out; events "
                "and answers for which there was no room.",
                obj(
                    {"dropped_client_count": COUNT, "skipped_snapshot_count": COUNT},
                    {"lost_event_count": COUNT, "health": TEXT},
                ),
            ),
            "stage": ref("Practice"),
            "advice": ref("Advice"),
            "standing": array(
                obj({"cut_db": NUMBER}, {"slider": COUNT, "centre_hz": NUMBER, "q": NUMBER})
            ),
            "ring_out": ref("RingOut"),
            "soundcheck": ref("Soundcheck"),
            "gig": ref("GigNow"),
            "memory": ref("Recollection"),
            "access": ref("Access"),
            "dated": DATED,
            "utc_s": known(
                "What the date is on that word, in seconds since 1970, to the minute.", NUMBER
            ),
        },
        "All there is to show, at one instant.",
    ),
    "Now": obj(
        {
            "connected": known("Whether the watcher is connected.", YES_NO),
            "problem": known("Why it is not; empty if it is.", TEXT),
            "sent_s": known(
                "When this was sent, in seconds from anywhere that only grow: what arrives late "
                "can be told from what is new.",
                NUMBER,
            ),
        },
        {
            "age_s": known("Age of the snapshot when this was sent.", NUMBER),
            "snapshot": ref("Snapshot"),
        },
    ),
    "Part": obj(
        {
            "connected": YES_NO,
            "problem": TEXT,
            "sent_s": NUMBER,
            "changed": known("Keys of the snapshot, to be put over the one before.", {}),
        },
        {"age_s": NUMBER, "gone": known("Keys to be taken out.", array(TEXT))},
        "What `part` carries on the stream.",
    ),
    "Levels": obj(
        {
            "connected": YES_NO,
            "problem": TEXT,
            "sent_s": NUMBER,
            "age_s": NUMBER,
            "bands": array(TEXT, 31),
            "third_octave_dbfs": THIRD_OCTAVES,
            "level_dbfs": NUMBER,
            "peak_dbfs": NUMBER,
            "clipping": YES_NO,
        },
        {"audio_age_s": NUMBER},
    ),
    "KeptRings": obj(
        {
            "rings": array(
                obj(
                    {
                        "id": WHOLE,
                        "degree": DEGREE,
                        "way": WAY,
                        "frequency_hz": NUMBER,
                        "band": TEXT,
                        "slider": TEXT,
                        "level_dbfs": NUMBER,
                        "growth_db_per_s": NUMBER,
                        "start_uptime_s": NUMBER,
                    },
                    {
                        "lasted_s": NUMBER,
                        "ended_ago_s": NUMBER,
                        "utc": TEXT,
                        "clock_trusted": YES_NO,
                    },
                )
            )
        },
        {"problem": TEXT},
        "The last rings of the journal, newest first.",
    ),
}
