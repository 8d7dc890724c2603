"""General MIDI instruments whose notes can stand for seconds, with the range they play in."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Instrument:
    """``low`` and ``high`` are MIDI keys; ``chords`` whether it plays several at once."""

    program: int
    bank: int
    name: str
    low: int
    high: int
    chords: bool

    @property
    def kind(self) -> str:
        """What the manifest calls its sound."""
        if "feedback" in self.name:
            return "guitar_feedback_effect"
        voices = ("choir_aahs", "voice_oohs", "synth_voice")
        return "synth_singing" if self.name in voices else "instrument_sustain"


_TABLE = """
  0  0 piano              30  96 chords
  9  0 glockenspiel       79 105 -
 10  0 music_box          67  96 -
 11  0 vibraphone         53  89 -
 14  0 tubular_bells      60  84 -
 16  0 drawbar_organ      48  88 chords
 17  0 perc_organ         48  88 chords
 18  0 rock_organ         48  84 chords
 19  0 church_organ       43  88 chords
 20  0 reed_organ         48  84 chords
 21  0 accordion          50  84 chords
 22  0 harmonica          60  88 -
 23  0 bandoneon          50  84 chords
 24  0 nylon_guitar       40  79 chords
 26  0 jazz_guitar        40  79 chords
 29  0 overdrive_guitar   45  81 -
 30  0 distortion_guitar  45  81 -
 31  0 guitar_harmonics   52  84 -
 33  0 finger_bass        28  55 -
 40  0 violin             57  93 -
 41  0 viola              50  84 -
 42  0 cello              38  72 -
 43  0 contrabass         30  55 -
 44  0 tremolo_strings    48  84 chords
 48  0 string_ensemble    43  88 chords
 50  0 synth_strings      43  88 chords
 52  0 choir_aahs         48  81 chords
 53  0 voice_oohs         48  81 -
 54  0 synth_voice        48  81 -
 56  0 trumpet            55  84 -
 57  0 trombone           43  72 -
 58  0 tuba               30  55 -
 59  0 muted_trumpet      55  84 -
 60  0 french_horn        43  77 -
 61  0 brass_section      48  79 chords
 64  0 soprano_sax        57  86 -
 65  0 alto_sax           50  81 -
 66  0 tenor_sax          45  76 -
 67  0 baritone_sax       38  69 -
 68  0 oboe               59  90 -
 69  0 english_horn       53  81 -
 70  0 bassoon            36  69 -
 71  0 clarinet           51  90 -
 72  0 piccolo            75 104 -
 73  0 flute              60  94 -
 74  0 recorder           67  95 -
 75  0 pan_flute          60  92 -
 76  0 blown_bottle       57  88 -
 77  0 shakuhachi         57  88 -
 78  0 whistle            72 103 -
 79  0 ocarina            64  93 -
 80  0 square_lead        55  91 -
 81  0 saw_lead           48  88 -
 82  0 calliope_lead      60  91 -
 83  0 chiff_lead         60  91 -
 85  0 voice_lead         55  84 -
 88  0 newage_pad         48  88 chords
 89  0 warm_pad           45  84 chords
 90  0 polysynth          48  84 chords
 91  0 choir_pad          48  84 chords
 92  0 bowed_glass_pad    48  93 chords
 93  0 metal_pad          48  84 chords
 94  0 halo_pad           48  88 chords
 95  0 sweep_pad          48  84 chords
 98  0 crystal            60  96 -
 99  0 atmosphere         48  84 chords
109  0 bagpipe            55  81 -
110  0 fiddle             55  91 -
111  0 shanai             57  86 -
 30  8 feedback_guitar    45  79 -
 31  8 guitar_feedback    52  84 -
 80  8 sine_lead          57  98 -
 78 11 human_whistle      72 100 -
"""
"""Program, bank, name, lowest and highest key, chords or not."""

INSTRUMENTS = {
    name: Instrument(int(program), int(bank), name, int(low), int(high), chords == "chords")
    for program, bank, name, low, high, chords in map(str.split, _TABLE.strip().splitlines())
}
