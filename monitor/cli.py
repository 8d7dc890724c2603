"""The command line: one command each for watching, serving, practising and looking things up.

Every command imports what it needs by itself, so that ``bands`` does not wait for a display
library and the page never loads the listening.
"""

from __future__ import annotations

import argparse
import errno
import io
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from monitor.errors import LanternError, UsageError

if TYPE_CHECKING:
    from monitor.settings import Loaded

PROGRAM = "howl-lantern"

_NO_OUTPUT = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)
"""What a full disk, a full quota or a broken device says to what is printed."""

_EPILOG = """\
Start with one of these:
  howl-lantern demo             the whole lantern on a simulated stage, no hardware needed
  howl-lantern check            what is right with this box and what to do about the rest
  howl-lantern scan song.wav    find feedback in a recording

Each command has its own --help.
"""


class _OneLine(argparse.ArgumentParser):
    """Says what is wrong with a command line in one line."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}; see {self.prog} --help\n")


def _parser() -> argparse.ArgumentParser:
    parser = _OneLine(
        prog=PROGRAM,
        description="Hears feedback begin, lights a lamp, and names the slider to pull.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="store_true", help="print the release and end")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands")

    def command(
        name: str, short: str, long: str, example: str, *, settings: bool = True
    ) -> argparse.ArgumentParser:
        sub = commands.add_parser(
            name,
            help=short,
            description=long,
            epilog=f"Example:\n  {example}\n",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        if settings:
            _settings_options(sub)
        return sub

    command(
        "watch",
        "listen, and drive lamp, panel and socket (the box's daemon)",
        "Listens to the microphone until it is told to stop (SIGTERM or Ctrl-C), lights the\n"
        "lamp, draws the panel, keeps the journal and feeds the page through a socket.\n"
        "Missing parts are reported and never stop the listening.  Nothing is recorded.\n"
        "SIGUSR1 writes the stack of every thread to stderr.",
        "howl-lantern watch --set listening.way=soundcheck",
    )

    page = command(
        "page",
        "serve the status page from a running watcher",
        "Serves the status page on the local network.  It only knows what the watcher tells it\n"
        "over the socket, and says so when the watcher is not there.",
        "howl-lantern page --port 8081",
    )
    page.add_argument("--host", metavar="ADDRESS", help="answer at this address only")
    page.add_argument("--port", type=_port, metavar="N", help="answer at this port (1 to 65535)")
    page.add_argument("--socket", metavar="PATH", help="the watcher's socket")
    page.add_argument("--parent", type=int, metavar="PID", help=argparse.SUPPRESS)

    command(
        "demo",
        "the whole lantern on a simulated stage",
        "Runs watcher and page on the practice stage: a simulated room with loudspeaker,\n"
        "microphone, singer, fader and equaliser.  Prints the page's address, opens nothing by\n"
        "itself, plays no sound.  Push the fader on the page until it rings, then pull the\n"
        "slider that the lantern names.",
        "howl-lantern demo --set equaliser.kind=15",
    )

    pair = command(
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

    scan = command(
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

    level = command(
        "level",
        "gain and low cut of the vocal channel, by a line from the desk",
        "Listens to a line from the desk ([line] in the settings: the vocal channel before its\n"
        "fader), to the box's own microphone, or to a recording, and says in one sentence how far\n"
        "to turn the channel's gain, and which low cut suits the voice.  Sing your loudest line,\n"
        "then a minute of a song; Ctrl-C ends it with all that was found.  Nothing is recorded.",
        "howl-lantern level --device CODEC --picture voice.svg",
    )
    level.add_argument("file", nargs="?", metavar="FILE", help="a recording of the line instead")
    level.add_argument("--device", metavar="CARD", help="a line on this card instead")
    level.add_argument("--box", action="store_true", help="the box's own microphone instead")
    level.add_argument(
        "--json", action="store_true", help="one JSON object a line, five times a second"
    )
    level.add_argument(
        "--picture", metavar="FILE", help="draw spectrum, range and cut at the end (.svg or .png)"
    )
    level.add_argument("--feed", action="store_true", help=argparse.SUPPRESS)
    level.add_argument("--name", metavar="NAME", help=argparse.SUPPRESS)

    faces = command(
        "faces",
        "draw every face of the panel into PNG files",
        "Draws every face that the panel can show into DIR, one PNG file each.",
        "howl-lantern faces /tmp/faces",
        settings=False,
    )
    faces.add_argument("folder", metavar="DIR", help="made if it does not exist")

    bands = command(
        "bands",
        "the third octave of a frequency, and your slider for it",
        "For each frequency: the third-octave band it lies in, with its exact midband and edges\n"
        "(IEC 61260-1), and the nearest slider of your own equaliser.",
        "howl-lantern bands 2480 2.48k 2k5 --set equaliser.kind=10",
    )
    bands.add_argument("frequencies", nargs="+", metavar="HZ", help="like 2480, 2.48k, 2k5")

    plan = command(
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

    gigs = command(
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

    report = command(
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

    command(
        "merge",
        "take in gigs of another box",
        "Takes in gigs from JSON files that report wrote on another box.  What is there already\n"
        "is not doubled.  A file with a mistake changes nothing.",
        "howl-lantern merge slipway.json",
    ).add_argument("files", nargs="+", metavar="FILE", help="what report wrote as .json")

    command(
        "settings",
        "the settings in force and where each came from",
        "Prints every setting with its value and its source: the packaged default, the line of\n"
        "your settings file, or --set.",
        "howl-lantern settings --set page.port=8081",
    ).add_argument(
        "--example", action="store_true", help="print the commented file of all defaults instead"
    )

    check = command(
        "check",
        "look the box over, and say what to do",
        "Looks at settings, microphone, level, lamp, panel, socket, page, disk and clock, one\n"
        "after the other, and says for each what is right or what to do.  Ends with 1 if\n"
        "something needs doing.  With --walk it shows each rhythm and face, waits for a press\n"
        "and a clap, and asks what you have seen; the watcher must be stopped for that.",
        "howl-lantern check --walk",
    )
    check.add_argument(
        "--walk", action="store_true", help="try lamp, panel, button and microphone by eye"
    )
    return parser


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


def _port(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"a port is a number from 1 to 65535, not {text!r}")
    return int(text)


def _load(args: argparse.Namespace) -> Loaded:
    from monitor import settings

    return settings.load(args.settings, args.set)


def _load_for_service(args: argparse.Namespace) -> Loaded:
    """As ``_load``; in a service the last good settings stand in for a file with a mistake."""
    from monitor import settings_kept

    folder = settings_kept.service_folder()
    if folder is None or args.settings or args.set:
        return _load(args)
    return settings_kept.load_for_service(folder)


def _spare_socket() -> Path | None:
    """Where watcher and page meet in a service if not at the socket that is set."""
    from monitor import places, settings_kept

    return None if settings_kept.service_folder() is None else places.usual_socket_path()


# --- the commands --------------------------------------------------------------------------


def _watch(args: argparse.Namespace) -> int:
    import threading

    from monitor import log

    loaded = _load_for_service(args)
    log.set_up()
    from monitor import settings_kept, watch

    stop = threading.Event()
    watch.stop_on_signals(stop)

    def works() -> None:
        folder = settings_kept.service_folder()
        if folder is not None and not loaded.mistakes:
            # In a thread: a slow card must not hold up the listening.
            threading.Thread(target=settings_kept.keep, args=(folder,), daemon=True).start()

    watch.run(
        loaded.settings,
        stop,
        on_open=works,
        settings_health=settings_kept.health(loaded.mistakes),
        spare_socket=_spare_socket(),
    )
    return 0


def _page(args: argparse.Namespace) -> int:
    from monitor import log, places

    loaded = _load_for_service(args)
    page = loaded.settings.page
    log.set_up()
    from web.serve import serve

    if args.parent is not None:
        from monitor.parent import end_with_parent

        end_with_parent(args.parent)
    try:
        serve(
            args.host or page.host,
            args.port or page.port,
            args.socket or str(places.socket_path(loaded.settings)),
            spare_socket=_spare_socket(),
            max_streams=page.streams,
        )
    except OSError as error:
        where = f"{args.host or page.host}, port {args.port or page.port}"
        raise LanternError(f"the page cannot answer at {where}: {error.strerror}") from error
    return 0


def _demo(args: argparse.Namespace) -> int:
    import threading

    from monitor import log

    loaded = _load(args)
    log.set_up()
    from monitor import demo, watch

    stop = threading.Event()
    watch.stop_on_signals(stop)
    demo.run(demo.with_own_defaults(loaded), stop)
    return 0


def _pair(args: argparse.Namespace) -> int:
    from monitor import places
    from monitor.commands import pair

    path = Path(args.socket) if args.socket else places.socket_path(_load(args).settings)
    return pair.run(path, list_phones=args.phones, unpair=args.unpair)


def _scan(args: argparse.Namespace) -> int:
    from monitor.commands import scan

    return scan.run(args.files, json_lines=args.json, way=args.way)


def _level(args: argparse.Namespace) -> int:
    from monitor.level import command as level

    if args.picture is not None:
        level.check_picture(args.picture, args.file)
    settings = _load(args).settings
    source = level.chosen(
        settings, file=args.file, device=args.device, box=args.box, feed=args.feed, name=args.name
    )
    return level.run(source, settings.line, as_json=args.json, picture=args.picture)


def _faces(args: argparse.Namespace) -> int:
    from firmware.faces import write_faces

    if not args.folder:
        raise UsageError("faces needs a folder, and '' is none; '.' is the one you are in")
    try:
        written = write_faces(Path(args.folder))
    except OSError as error:
        raise LanternError(
            f"{args.folder}: the faces cannot be written here: {error.strerror}"
        ) from error
    for path in written:
        print(path)
    return 0


def _bands(args: argparse.Namespace) -> int:
    from monitor.advice.equaliser import Equaliser
    from monitor.advice.labels import parse_frequency
    from monitor.listening.bands import third_octave_of

    choice = _load(args).settings.equaliser
    equaliser = Equaliser.from_choice(choice)
    try:
        frequencies_hz = [parse_frequency(text) for text in args.frequencies]
    except ValueError as error:
        raise UsageError(str(error)) from error
    print(f"{'frequency':>12}  {'band':>6}  {'midband':>12}  {'edges':>25}  slider")
    for hz in frequencies_hz:
        band, slider = third_octave_of(hz), equaliser.nearest(hz)
        label, midband = band.label, f"{band.midband_hz:.2f} Hz"
        edges = f"{band.lower_hz:.2f} to {band.upper_hz:.2f} Hz"
        if not band.lower_hz <= hz <= band.upper_hz:
            label, midband, edges = "-", "-", "outside of them"
        print(f"{hz:>9.6g} Hz  {label:>6}  {midband:>12}  {edges:>25}  {slider.label}")
    return 0


def _plan(args: argparse.Namespace) -> int:
    from monitor.commands import plan

    return plan.run(
        plan.Wish(
            stage=args.stage,
            svg=args.svg,
            png=args.png,
            json=args.json,
            units="feet" if args.feet else "metres" if args.metres else None,
            theme="day" if args.day else "night",
            example=args.example,
        )
    )


def _gigs(args: argparse.Namespace) -> int:
    settings = _load(args).settings
    if args.delete is not None:
        from monitor.commands import merge

        return merge.delete_gig(settings, args.delete, sure=args.yes)
    from monitor.commands import report

    return report.list_gigs(settings, all_of_them=args.all, as_json=args.json)


def _report(args: argparse.Namespace) -> int:
    from monitor.commands import report

    wish = report.Wish(args.gig, args.output, args.format, args.part)
    return report.report(_load(args).settings, wish)


def _merge(args: argparse.Namespace) -> int:
    from monitor.commands import merge

    return merge.merge(_load(args).settings, args.files)


def _settings(args: argparse.Namespace) -> int:
    from monitor import settings

    if args.example:
        print(settings.default_text(), end="")
        return 0
    from monitor.commands.shown_settings import describe

    print(describe(_load(args)))
    return 0


def _check(args: argparse.Namespace) -> int:
    from monitor import settings
    from monitor.commands import checks
    from monitor.errors import SettingsError

    try:
        loaded = settings.load(args.settings, args.set)
    except SettingsError as error:
        return checks.report([checks.broken_settings(error)])
    if args.walk:
        if not sys.stdin.isatty():
            raise UsageError("check --walk asks a person; start it in a terminal")
        from monitor.commands import walk

        return checks.report(walk.walk(loaded.settings))
    return checks.report(checks.look_over(loaded))


_COMMANDS = {
    "watch": _watch,
    "page": _page,
    "demo": _demo,
    "pair": _pair,
    "scan": _scan,
    "level": _level,
    "faces": _faces,
    "bands": _bands,
    "plan": _plan,
    "gigs": _gigs,
    "report": _report,
    "merge": _merge,
    "settings": _settings,
    "check": _check,
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; return the exit code (0 well, 1 failed, 2 asked wrongly)."""
    # Before numpy is imported anywhere: idle BLAS threads spin, and a Pi's cores are few.
    for variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ.setdefault(variable, "1")
    _make_printable()
    parser = _parser()
    args = parser.parse_args(argv)
    if args.version:
        from monitor import watch

        print(f"{PROGRAM} {watch.release()}")
        return 0
    if args.command is None:
        parser.print_help()
        return 2
    try:
        code = _COMMANDS[args.command](args)
        sys.stdout.flush()
        return code
    except LanternError as error:
        for line in str(error).splitlines():
            print(f"{PROGRAM}: {line}", file=sys.stderr)
        return error.exit_code
    except ModuleNotFoundError as error:
        print(f"{PROGRAM}: the package {error.name} is missing; install it", file=sys.stderr)
        return 1
    except BrokenPipeError:
        _say_no_more()  # the reader (head, less) has had enough
        return 0
    except OSError as error:
        if error.errno not in _NO_OUTPUT or error.filename is not None:
            raise
        _say_no_more()
        print(f"{PROGRAM}: what is printed cannot be written: {error.strerror}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130


def _make_printable() -> None:
    """Let every name be printed wherever it goes, and have something to print to."""
    if sys.stdout is None:
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # as stderr does it


def _say_no_more() -> None:
    """What is still to be printed goes nowhere; Python would complain once more at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main())
