"""What is rendered from which sound font."""

from __future__ import annotations

from tests.bench.sounds.drifting import drifts
from tests.bench.sounds.ensemble import ensembles
from tests.bench.sounds.instruments import INSTRUMENTS
from tests.bench.sounds.recipe import Recipe
from tests.bench.sounds.rendered import Font, Grooves, Songs, Steady, Swells

FLUID = Font("fluid-soundfont-gm", "MIT / GPL-2+")
MINUET = Font("minuet-data", "GeneralUser GS licence (in a GPL package)")
TIM = Font("timgm6mb-soundfont", "GPL-2")
FREEPATS = Font("freepats", "GPL-2+ with exception for music made")
CSOUND = Font("csound-soundfont", "LGPL-2.1+")
GENERAL = Font("musescore-general-soundfont", "MIT (parts CC0 or public domain)")
OPERATORS = Font("opl3-soundfont", "GPL-3+, CC-BY-SA-4.0")

SWELLING = tuple(
    "drawbar_organ church_organ reed_organ accordion violin cello string_ensemble synth_strings "
    "choir_aahs voice_oohs synth_voice trumpet french_horn clarinet flute recorder pan_flute "
    "blown_bottle shakuhachi whistle ocarina square_lead calliope_lead warm_pad polysynth "
    "choir_pad bowed_glass_pad halo_pad sweep_pad atmosphere oboe alto_sax".split()
)
STANDING = tuple(
    "drawbar_organ rock_organ church_organ reed_organ accordion harmonica bandoneon "
    "overdrive_guitar distortion_guitar guitar_harmonics violin viola cello contrabass "
    "tremolo_strings string_ensemble synth_strings choir_aahs voice_oohs synth_voice trumpet "
    "trombone muted_trumpet french_horn brass_section soprano_sax alto_sax tenor_sax oboe "
    "english_horn bassoon clarinet piccolo flute recorder pan_flute blown_bottle shakuhachi "
    "whistle ocarina square_lead saw_lead calliope_lead voice_lead newage_pad warm_pad polysynth "
    "choir_pad bowed_glass_pad metal_pad halo_pad sweep_pad atmosphere bagpipe fiddle shanai "
    "glockenspiel vibraphone tubular_bells music_box crystal piano nylon_guitar "
    "jazz_guitar".split()
)

EARLIER = tuple(
    "drawbar_organ church_organ accordion guitar_harmonics violin cello string_ensemble voice_oohs "
    "trumpet oboe clarinet flute pan_flute whistle ocarina square_lead calliope_lead newage_pad "
    "bowed_glass_pad crystal bagpipe glockenspiel".split()
)
NOT_EARLIER = (
    "piano nylon_guitar jazz_guitar finger_bass synth_strings tuba baritone_sax contrabass "
    "perc_organ polysynth metal_pad atmosphere bandoneon muted_trumpet brass_section".split()
)

RENDERED: list[Recipe] = [
    Steady(TIM, EARLIER, 21),
    Steady(MINUET, tuple(name for name in INSTRUMENTS if name not in NOT_EARLIER), 52),
    Grooves(MINUET, 5, 40),
    Songs("openttd-openmsx", "GPL-2", MINUET, count=14),
    Songs("pianobooster", "CC-BY", MINUET, count=6),
    Swells(FLUID, SWELLING, 61),
    Steady(FLUID, STANDING[::2], 62),
    Songs("simutrans-data", "Artistic-1.0", FLUID, count=20),
    Grooves(FLUID, 4, 63),
    Swells(FREEPATS, SWELLING[::2], 64),
    Steady(FREEPATS, STANDING[1::3], 65),
    Swells(CSOUND, SWELLING[1::2], 66),
    Steady(CSOUND, STANDING[2::3], 67),
    Songs("freedink-data", "free (see package copyright)", CSOUND),
    Songs("planetblupi-music-midi", "GPL-3+", CSOUND),
    ensembles(FLUID, 12, 68),
    ensembles(FREEPATS, 8, 69),
    ensembles(CSOUND, 10, 70),
    Swells(GENERAL, SWELLING, 71),
    Steady(GENERAL, STANDING[::2], 72),
    ensembles(GENERAL, 12, 73),
    Swells(OPERATORS, SWELLING[::2], 74),
    Steady(OPERATORS, STANDING[1::2], 75),
    ensembles(OPERATORS, 6, 76),
    drifts(FLUID, 24, 77),
    drifts(FREEPATS, 12, 78),
    drifts(GENERAL, 24, 79),
    drifts(OPERATORS, 16, 80),
    drifts(TIM, 24, 81),
]
