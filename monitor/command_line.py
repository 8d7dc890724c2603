"""The words of the command line: every command, its options and its help."""

from __future__ import annotations

import argparse
from typing import Any, NoReturn

PROGRAM = "howl-lantern"

_EPILOG = """\
Start with one of these:
  howl-lantern demo             the whole lantern on the practice stage, no hardware needed
  howl-lantern check            what is right with this box and what to do about the rest
  howl-lantern scan song.wav    find feedback in a recording

Each command has its own --help.
"""


class _OneLine(argparse.ArgumentParser):
    """Says what is wrong with a command line in one line, and takes nothing for no name."""

    def __init__(self, **how: Any) -> None:
        super().__init__(**how)
        self.register("type", None, _named)  # what has no type of its own

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}; see {self.prog} --help\n")


class _Commands:
    """The commands of a parser, added one by one."""

    def __init__(self, parser: argparse.ArgumentParser) -> None:
        self._commands = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands")
        self._commands.type = str  # all words behind it, too: the command looks at them itself

    def add(
        self, name: str, short: str, long: str, example: str, *, settings: bool = True
    ) -> argparse.ArgumentParser:
        """Return the parser of one more; with ``settings`` it has ``--settings`` and ``--set``."""
        sub = self._commands.add_parser(
            name,
            help=short,
            description=long,
            epilog=f"Example:\n  {example}\n",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        if settings:
            _settings_options(sub)
        return sub


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line; ``command`` is the name that was given."""
    parser = _OneLine(
        prog=PROGRAM,
        description="Hears feedback begin, lights a lamp, and names the slider to pull.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="store_true", help="print the release and end")
    commands = _Commands(parser)
    _add_daemons(commands)
    _add_pair(commands)
    _add_scan(commands)
    _add_level(commands)
    _add_lookups(commands)
    _add_plan(commands)
    _add_gigs(commands)
    _add_box(commands)
    return parser


def _add_daemons(commands: _Commands) -> None:
    commands.add(
        "watch",
        "listen, drive lamp and panel, keep the journal (the box's daemon)",
        "Listens to the microphone until it is told to stop (SIGTERM or Ctrl-C), lights the\n"
        "lamp, draws the panel, keeps the journal and feeds the page through a socket.\n"
        "Missing parts are reported and never stop the listening.  Nothing is recorded.\n"
        "SIGUSR1 writes the stack of every thread to stderr.",
        "howl-lantern watch --set listening.way=soundcheck",
    )

    page = commands.add(
        "page",
        "serve the page on the local network",
        "Serves the page on the local network.  It only knows what the watcher tells it\n"
        "over the socket, and says so when the watcher is not there.",
        "howl-lantern page --port 8081",
    )
    page.add_argument("--host", metavar="ADDRESS", help="answer at this address only")
    page.add_argument("--port", type=_port, metavar="N", help="answer at this port (1 to 65535)")
    page.add_argument("--socket", metavar="PATH", help="the watcher's socket")
    page.add_argument("--parent", type=int, metavar="PID", help=argparse.SUPPRESS)

    commands.add(
        "demo",
        "the whole lantern on the practice stage",
        "Runs watcher and page on the practice stage: a simulated room with loudspeaker,\n"
        "microphone, singer, fader and equaliser.  Prints the page's address, opens nothing by\n"
        "itself, plays no sound.  Push the fader on the page until it rings, then pull the\n"
        "slider that the lantern names.",
        "howl-lantern demo --set equaliser.kind=15",
    )


def _add_pair(commands: _Commands) -> None:
    pair = commands.add(
        "pair",
        "a code for pairing a phone, asked for at the box itself",
        "Prints a fresh six-digit code that lets one phone change things on the page, for a box\n"
        "without a panel or when strangers keep asking for codes.  No waits and no crowd in the\n"
        "network can hold it up.  Needs root or the watcher's own user.",
        "howl-lantern pair",
    )
    pair.add_argument("--socket", metavar="PATH", help="the watcher's socket")
    instead = pair.add_mutually_exclusive_group()
    instead.add_argument("--phones", action="store_true", help="list the paired phones instead")
    instead.add_argument(
        "--unpair", metavar="PHONE", help='unpair one of them instead, or "all" of them'
    )


def _add_scan(commands: _Commands) -> None:
    scan = commands.add(
        "scan",
        "find feedback in recordings",
        "Runs the same listening as the box over recordings (WAV, FLAC, Ogg; 8 to 192 kHz; of\n"
        "several channels the mean is taken) and prints every ring from 60 Hz to 12.5 kHz.",
        "howl-lantern scan --json --way soundcheck rehearsal.wav",
        settings=False,
    )
    scan.add_argument("files", nargs="+", metavar="FILE", help="a recording")
    scan.add_argument(
        "--json", action="store_true", help="one JSON object a line for each degree reached"
    )
    scan.add_argument(
        "--way",
        choices=("soundcheck", "set"),
        default="set",
        help="how to listen: quick (soundcheck) or sure (set, the default)",
    )


def _add_level(commands: _Commands) -> None:
    level = commands.add(
        "level",
        "gain and low cut of the vocal channel, by a line from the desk",
        "Listens to a line from the desk ([line] in the settings: the vocal channel before its\n"
        "fader) or to a recording of it, and says in one sentence how far to turn the channel's\n"
        "gain, and which low cut suits the voice.  Sing your loudest line, then a minute of a\n"
        "song; Ctrl-C ends it with all that was found.  With --box it says only whether the\n"
        "box's own microphone hears.  Nothing is recorded.",
        "howl-lantern level --device CODEC --picture voice.svg",
    )
    level.add_argument("file", nargs="?", metavar="FILE", help="a recording of the line instead")
    level.add_argument("--device", metavar="CARD", help="a line on this card instead")
    level.add_argument("--box", action="store_true", help="the box's own microphone instead")
    level.add_argument(
        "--json", action="store_true", help="one JSON object a line, five times a second"
    )
    level.add_argument(
        "--picture",
        metavar="FILE",
        help="draw spectrum, notes and low cut at the end (.svg or .png)",
    )
    level.add_argument("--feed", action="store_true", help=argparse.SUPPRESS)
    level.add_argument("--name", metavar="NAME", help=argparse.SUPPRESS)


def _add_lookups(commands: _Commands) -> None:
    faces = commands.add(
        "faces",
        "draw every face of the panel into PNG files",
        "Draws every face that the panel can show into DIR, one PNG file each.",
        "howl-lantern faces /tmp/faces",
        settings=False,
    )
    faces.add_argument("folder", metavar="DIR", help="made if it does not exist")

    bands = commands.add(
        "bands",
        "the third octave of a frequency, and your slider for it",
        "For each frequency: the third-octave band it lies in, with its exact midband and edges\n"
        "(IEC 61260-1), and the nearest slider of your own equaliser.",
        "howl-lantern bands 2480 2.48k 2k5 --set equaliser.kind=10",
    )
    bands.add_argument("frequencies", nargs="+", metavar="HZ", help="like 2480, 2.48k, 2k5")


def _add_plan(commands: _Commands) -> None:
    plan = commands.add(
        "plan",
        "reckon and draw a stage plan: what limits, what to move",
        "Reads where microphones and loudspeakers are from a TOML file and prints which pair\n"
        "limits the gain before feedback, every pair, what each single change brings in dB\n"
        "with its range, and what is not known.  Draws the plan to scale.",
        "howl-lantern plan --svg stage.svg --feet stage.toml",
        settings=False,
    )
    plan.add_argument("stage", nargs="?", metavar="STAGE.toml", help="the stage plan")
    plan.add_argument("--svg", metavar="FILE", help="draw the plan into an SVG file")
    plan.add_argument("--png", metavar="FILE", help="draw the plan into a PNG file")
    plan.add_argument("--day", action="store_true", help="draw dark on light, for paper")
    plan.add_argument("--json", action="store_true", help="print one JSON object instead of words")
    lengths = plan.add_mutually_exclusive_group()
    lengths.add_argument("--feet", action="store_true", help="say lengths in feet")
    lengths.add_argument("--metres", action="store_true", help="say lengths in metres")
    plan.add_argument(
        "--example", action="store_true", help="print a commented stage plan to begin with"
    )


def _add_gigs(commands: _Commands) -> None:
    gigs = commands.add(
        "gigs",
        "the gigs that were kept",
        "Lists the gigs, the newest first: when, how long, how many rings and howls, where.\n"
        "The first digits of a gig's name are enough for the other commands.  A gig that is\n"
        "deleted is gone with all that was kept of it.",
        "howl-lantern gigs --all",
    )
    gigs.add_argument("--all", action="store_true", help="every gig, not only the newest 20")
    gigs.add_argument("--json", action="store_true", help="one JSON object a line for each gig")
    gigs.add_argument("--delete", metavar="GIG", help="delete this gig instead")
    gigs.add_argument("--yes", action="store_true", help="delete without asking once more")

    report = commands.add(
        "report",
        "a gig on paper, as pictures or as tables",
        "Writes what was kept of a gig: one page that needs nothing else and prints on one or two\n"
        "sheets (.html), its timeline or the equaliser's curve (.svg, .png), its rings or all\n"
        "else that happened as a table (.csv), or everything (.json, which merge takes in).\n"
        "Without GIG the newest one.",
        "howl-lantern report 5e1f -o slipway.html",
    )
    report.add_argument("gig", nargs="?", metavar="GIG", help="the first digits of its name")
    report.add_argument(
        "-o", "--output", required=True, metavar="FILE", help="its ending decides; - prints it"
    )
    report.add_argument(
        "--format", choices=("html", "svg", "png", "csv", "json"), help="instead of the ending"
    )
    report.add_argument(
        "--part",
        choices=("timeline", "curve", "rings", "happenings"),
        help="which picture (timeline, curve) or table (rings, happenings)",
    )

    commands.add(
        "merge",
        "take in gigs of another box",
        "Takes in gigs from JSON files that report wrote on another box.  What is there already\n"
        "is not doubled.  A file with a mistake changes nothing.",
        "howl-lantern merge slipway.json",
    ).add_argument("files", nargs="+", metavar="FILE", help="what report wrote as .json")


def _add_box(commands: _Commands) -> None:
    commands.add(
        "settings",
        "the settings in force and where each came from",
        "Prints every setting with its value and its source: the packaged default, the line of\n"
        "your settings file, or --set.",
        "howl-lantern settings --set page.port=8081",
    ).add_argument(
        "--example", action="store_true", help="print the commented file of all defaults instead"
    )

    check = commands.add(
        "check",
        "look the box over, and say what to do",
        "Looks at settings, microphone, level, lamp, panel, cards, socket, page, disk and clock,\n"
        "one after the other, and says for each what is right or what to do.  Ends with 1 if\n"
        "something needs doing.  With --walk it shows each rhythm and face, waits for a press\n"
        "and a clap, and asks what you have seen; the watcher must be stopped for that.",
        "howl-lantern check --walk",
    )
    check.add_argument(
        "--walk", action="store_true", help="try lamp, panel, button and microphone by eye"
    )


def _settings_options(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("settings")
    group.add_argument(
        "--settings", metavar="FILE", help="use this settings file instead of the usual one"
    )
    group.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="TABLE.KEY=VALUE",
        help="override one setting, for this run (may be given more than once)",
    )


def _named(text: str) -> str:
    if not text:  # as from a variable of the shell that is not set
        raise argparse.ArgumentTypeError("a name is expected, not nothing")
    return text


def _port(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"a port is a number from 1 to 65535, not {text!r}")
    return int(text)
