"""The command line: one command each for watching, serving, practising and looking things up.

Every command imports what it needs by itself, so that ``bands`` does not wait for a display
library and the page never loads the listening.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from monitor import printed
from monitor.command_line import PROGRAM, parser
from monitor.errors import LanternError, UsageError

if TYPE_CHECKING:
    from monitor.settings import Loaded


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
            keeping = (folder, loaded.text)
            threading.Thread(target=settings_kept.keep, args=keeping, daemon=True).start()

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
        raise LanternError(
            f"the page cannot answer at {where}: {error.strerror}; give another --host or --port, "
            "or set them in [page]"
        ) from error
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
    from monitor.commands import pair
    from monitor.commands.whereabouts import where_it_answers

    path = Path(args.socket) if args.socket else where_it_answers(_load(args).settings)
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
    from firmware.example_faces import write_faces

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
    from monitor.commands import bands

    return bands.run(_load(args).settings.equaliser, args.frequencies)


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
    if args.yes and args.delete is None:
        raise UsageError("--yes says yes to deleting; name the gig with --delete GIG")
    if args.delete is not None and (args.all or args.json):
        raise UsageError("--delete lists nothing; leave --all and --json away")
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
    from monitor.commands.finding import report
    from monitor.errors import SettingsError

    try:
        loaded = settings.load(args.settings, args.set)
    except SettingsError as error:
        return report([checks.broken_settings(error)])
    if args.walk:
        if not sys.stdin.isatty():
            raise UsageError("check --walk asks a person; start it in a terminal")
        from monitor.commands import walk

        return report(walk.walk(loaded.settings))
    return report(checks.look_over(loaded))


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
    printed.make_printable()
    words = parser()
    args = words.parse_args(argv)
    if args.version:
        from monitor import watch

        print(f"{PROGRAM} {watch.release()}")
        return 0
    if args.command is None:
        words.print_help()
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
        printed.say_no_more()  # the reader (head, less) has had enough
        return 0
    except OSError as error:
        if not printed.is_output_lost(error):
            raise
        printed.say_no_more()
        print(f"{PROGRAM}: what is printed cannot be written: {error.strerror}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main())
