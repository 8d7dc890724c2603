"""Music from games: many composers and styles, a few minutes of each.

How many hands it comes from teaches more than how long it is.
"""

from __future__ import annotations

from tests.bench.sounds.recipe import Recipe
from tests.bench.sounds.recorded import Source, Tracks

TRACK_S = 75.0
GAME_S = 900.0
STATED = "free (see package copyright)"
GPL_2, GPL_3, LGPL = "GPL-2+", "GPL-3+", "LGPL-2+"
BY_3, BY_SA_3 = "CC-BY-3.0", "CC-BY-SA-3.0"

GAMES: list[Recipe] = [
    Tracks(
        Source(package, kind, licence, f"game: {note}", pattern, 40_000),
        f"game_{package.removesuffix('-data')}",
        longest_s=TRACK_S,
        total_s=GAME_S,
    )
    for package, kind, licence, note, pattern in (
        ("a7xpg-data", "band", STATED, "quick electronic", "/bgm"),
        ("amoebax-data", "music", "Free Art License 1.2", "light synthesised", "/music/"),
        ("angrydd", "music", "GPL-2", "synthesised", "/music/"),
        ("biniax2-data", "music", "zlib", "tracker pieces", "/music/"),
        ("bomberclone-data", "band", "GPL-2", "tracker pieces", "/music/"),
        ("caveexpress-data", "music", "CC-BY-SA-4.0", "light electronic", "/music-"),
        ("circuslinux-data", "music", GPL_2, "tracker pieces", "/music/"),
        ("colobot-common-sounds", "music", GPL_3, "slow electronic, pads", "/music/"),
        ("davegnukem-data", "band", STATED, "electronic", "/music/"),
        ("enigma-data", "music", GPL_2, "quiet electronic, pads", "/music/"),
        ("flare-game", "music", BY_SA_3, "orchestral fantasy", "/music/"),
        ("freecol", "music", STATED, "folk of many lands, orchestral", "/music/"),
        ("freedroidrpg-data", "music", GPL_2, "dark ambient, electronic", "/sound/music/"),
        ("gigalomania-data", "music", BY_3, "orchestral, electronic", "/music/"),
        ("gl-117-data", "music", "GPL-2", "tracker pieces", "/music/"),
        ("gunroar-data", "band", STATED, "quick electronic", "/musics/"),
        ("hedgewars-data", "music", "GPL-2", "pieces of every style", "/Music/"),
        ("heroes-sound-tracks", "band", GPL_2, "tracker pieces", "/mod/"),
        ("hex-a-hop-data", "music", BY_SA_3, "calm electronic", "music-"),
        ("lordsawar-data", "music", GPL_3, "orchestral, synthesised", "/music/"),
        ("madbomber-data", "music", "GPL-2", "tracker pieces", "/music/"),
        ("marsshooter-data", "band", BY_SA_3, "electronic with long pads", "/music/"),
        ("megaglest-data", "music", BY_SA_3, "orchestral, folk, drums", "/music/"),
        ("miceamaze", "music", BY_3, "electronic", "/music/"),
        ("mu-cade-data", "band", STATED, "quick electronic", "/musics/"),
        ("naev-data", "music", STATED, "ambient, electronic, orchestral", "/music/"),
        ("neverball-common", "music", GPL_2, "light electronic", "/bgm/"),
        ("open-invaders-data", "band", GPL_2, "tracker pieces", "song"),
        ("openclonk-data", "music", STATED, "orchestral, folk, rock", "/Music"),
        ("pachi-data", "music", GPL_2, "tracker pieces", "/music/"),
        ("pathological", "music", GPL_2, "synthesised", "/music/"),
        ("pekka-kana-2-data", "band", "BSD-2-Clause", "tracker pieces", "/music/"),
        ("pingus-data", "music", GPL_2, "tracker pieces", "/music/"),
        ("plee-the-bear-data", "music", BY_SA_3, "jazz and folk, synthesised", "/music/"),
        ("powermanga-data", "band", GPL_3, "electronic", "/music_"),
        ("pushover-data", "music", GPL_3, "pieces of many lands, synthesised", "/themes/"),
        ("rafkill-data", "band", LGPL, "tracker pieces", "/music/"),
        ("scorched3d-data", "music", GPL_2, "drums, pads", "/data/music/"),
        ("seahorse-adventures", "music", "GPL-2", "light synthesised", "/music/"),
        ("solarwolf", "band", LGPL, "tracker pieces", "/music/"),
        ("starfighter-data", "music", GPL_2, "electronic, orchestral", "/music/"),
        ("supertux-data", "music", GPL_2, "light orchestral, rock, synthesised", "/music/"),
        ("supertuxkart-data", "band", STATED, "pop, folk, electronic", "/music/"),
        ("tecnoballz-data", "band", GPL_3, "tracker pieces", "/musics/"),
        ("titanion-data", "band", STATED, "quick electronic", "/musics/"),
        ("torus-trooper-data", "band", STATED, "quick electronic", "/musics/"),
        ("trackballs-data", "music", STATED, "electronic, synthesised", "/music/"),
        ("unknown-horizons", "music", GPL_2, "orchestral, folk", "/audio/music/"),
        ("val-and-rick-data", "band", STATED, "quick electronic", "/musics/"),
        ("vonsh", "music", "MIT", "synthesised", "_tune"),
        ("warmux-data", "band", GPL_2, "rock, funk, electronic", "/music/"),
        ("widelands-data", "music", GPL_2, "orchestral, folk, piano", "/music/"),
        ("wizznic-data", "music", "GPL-3", "electronic, pads", "music"),
        ("xmoto-data", "band", GPL_2, "rock, electronic", "/Musics/"),
    )
]
