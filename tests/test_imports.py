"""The house's walls: who may import whom, read from the source, and what the watcher loads."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
OURS = ("firmware", "monitor", "web")

# What a package (or module, the longest match counts) may import of ours besides itself.
ALLOWED: dict[str, tuple[str, ...]] = {
    "firmware": (),
    "web": (
        "firmware.supervisor",
        "monitor.link.messages",
        "monitor.link.client",
        "monitor.link.commands",
        "monitor.link.gig_commands",
        "monitor.placing",
        "monitor.report",
        "monitor.uids",
    ),
    "monitor.errors": (),
    "monitor.aside": (),
    "monitor.busy": (),
    "monitor.clock": (),
    "monitor.counted": (),
    "monitor.log": (),
    "monitor.hearing": ("firmware.ports",),
    "monitor.kept_file": ("monitor.busy", "monitor.clock", "monitor.link.messages"),
    "monitor.recordings": ("monitor.listening",),
    "monitor.input_file": (),
    "monitor.output_file": (),
    "monitor.link.messages": (),
    "monitor.signs": (),
    "monitor.uids": (),
    "monitor.link.checks": ("monitor.link.messages", "monitor.signs", "monitor.uids"),
    "monitor.link.gig_commands": (
        "monitor.link.messages",
        "monitor.link.checks",
        "monitor.signs",
    ),
    "monitor.link.commands": (
        "monitor.link.messages",
        "monitor.link.checks",
        "monitor.link.gig_commands",
    ),
    "monitor.link.client": ("monitor.link.messages", "monitor.link.commands"),
    "monitor.link.endpoint": (),
    "monitor.link.one_client": ("monitor.link.commands", "monitor.link.messages"),
    "monitor.link.outbox": ("monitor.link.one_client",),
    "monitor.link.reception": ("monitor.link.endpoint",),
    "monitor.link.server": ("monitor.link",),
    "monitor.access": ("monitor.clock",),
    "monitor.access.clerk": (
        "monitor.access",
        "monitor.clock",
        "monitor.kept_file",
        "monitor.link",
    ),
    "monitor.adviser": (
        "monitor.advice",
        "monitor.aside",
        "monitor.clock",
        "monitor.kept_file",
        "monitor.link",
        "monitor.listening",
        "monitor.news",
        "monitor.present_advice",
        "monitor.uids",
    ),
    "monitor.gigs": ("monitor.link.messages", "monitor.link.gig_commands"),
    "monitor.gig_clerk": (
        "monitor.clock",
        "monitor.gigs",
        "monitor.journal",
        "monitor.link",
        "monitor.uids",
    ),
    "monitor.level": (
        "firmware",
        "monitor.channel",
        "monitor.counted",
        "monitor.link.messages",
        "monitor.output_file",
        "monitor.placing",
        "monitor.recordings",
        "monitor.settings",
    ),
    "monitor.soundcheck": (
        "firmware.ports",
        "monitor.clock",
        "monitor.kept_file",
        "monitor.level.measuring",
        "monitor.link",
        "monitor.placing",
    ),
    "monitor.soundcheck.words": (),
    "monitor.placing": (
        "firmware.lettering",
        "monitor.counted",
        "monitor.input_file",
        "monitor.output_file",
    ),
    "monitor.channel": ("monitor.listening",),
    "monitor.listening": (),
    "monitor.stage": (
        "monitor.listening",
        "monitor.advice",
        "monitor.placing",
        "firmware.ports",
    ),
    "monitor.advice": ("monitor.counted", "monitor.listening"),
    "monitor.journal": (
        "monitor.busy",
        "monitor.clock",
        "monitor.link.messages",
        "monitor.memory",
        "monitor.signs",
        "monitor.uids",
    ),
    "monitor.memory": (
        "monitor.advice",
        "monitor.clock",
        "monitor.counted",
        "monitor.listening",
    ),
    "monitor.opening": ("firmware", "monitor.panel_thread", "monitor.settings"),
    # Beside the watcher, never inside it: none of them starts its parts but to look at them.
    "monitor.commands": (
        "firmware",
        "monitor.clock",
        "monitor.counted",
        "monitor.hearing",
        "monitor.input_file",
        "monitor.journal",
        "monitor.link.client",
        "monitor.link.messages",
        "monitor.opening",
        "monitor.output_file",
        "monitor.places",
        "monitor.placing",
        "monitor.report",
        "monitor.settings",
        "monitor.settings_reader",
        "monitor.settings_rules",
    ),
    "monitor.commands.bands": ("monitor.advice", "monitor.listening"),
    "monitor.commands.asking": ("monitor.link.client", "monitor.link.messages"),
    "monitor.commands.pair": (
        "monitor.commands.asking",
        "monitor.link.client",
        "monitor.report.words",
    ),
    "monitor.commands.plan": ("monitor.output_file", "monitor.placing"),
    "monitor.commands.scan": ("monitor.listening", "monitor.recordings"),
    # The page makes reports too: nothing that brings numpy along.
    "monitor.report": (
        "monitor.placing",
        "monitor.advice.labels",
        "monitor.advice.sliders",
        "monitor.counted",
        "monitor.listening.bands",
        "monitor.signs",
        "monitor.soundcheck.words",
    ),
}
# The top of the house: what puts the parts together, and what these share.  A new module gets a
# wall above, or a place here on purpose.
ROOMLESS = {
    "monitor",
    "monitor.link",
    *(
        f"monitor.{name}"
        for name in (
            *("button_press", "cli", "command_line", "demo", "desk", "hand", "news"),
            *(
                "panel_thread",
                "parent",
                "part_health",
                "places",
                "present",
                "present_advice",
                "present_ring",
                "present_snapshot",
                "printed",
            ),
            *("ring_rows", "settings", "settings_kept", "settings_pins", "settings_reader"),
            *("settings_rules", "showing", "start", "tonight", "watch", "watcher", "watcher_parts"),
        )
    ),
}
# The only places where a heavy or hardware library may be loaded.
ONLY_IN: dict[str, tuple[str, ...]] = {
    "scipy": ("monitor.stage",),
    "flask": ("web",),
    "waitress": ("web",),
    "alsaaudio": ("firmware",),
    "gpiozero": ("firmware",),
    "luma": ("firmware",),
    "sqlite3": ("monitor.journal",),
}
# What the listening may use at all: it has no clock but the sample clock, and no I/O.  The
# packaged weights are the one file that is read, once.
LISTENING_NEVER = {"time", "datetime", "socket", "threading", "subprocess", "os", "random"}


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports_of(path: Path) -> set[str]:
    """Return dotted names of everything imported in the file, function bodies included."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: relative import"
            assert node.module is not None
            # "from monitor import link" imports monitor.link.messages.
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
    return found


def within(name: str, package: str) -> bool:
    return name == package or name.startswith(package + ".")


def breaches(module: str, imported: set[str]) -> list[str]:
    """Return what ``module`` imports and may not."""
    found = []
    rooms = [room for room in ALLOWED if within(module, room)]
    if rooms:
        room = max(rooms, key=len)
        for name in imported:
            if any(within(name, ours) for ours in OURS) and not any(
                within(name, allowed) for allowed in (room, *ALLOWED[room], "monitor.errors")
            ):
                found.append(f"{module} imports {name}")
    for library, places in ONLY_IN.items():
        for name in imported:
            if within(name, library) and not any(within(module, place) for place in places):
                found.append(f"{module} imports {name}")
    if within(module, "monitor.listening"):
        found += [f"{module} imports {n}" for n in imported if n.split(".")[0] in LISTENING_NEVER]
    if module != "monitor.cli":
        found += [f"{module} imports {n}" for n in imported if within(n, "monitor.cli")]
    return found


SOURCES = sorted(path for ours in OURS for path in (ROOT / ours).rglob("*.py"))


@pytest.mark.parametrize("path", SOURCES, ids=[module_name(path) for path in SOURCES])
def test_imports_point_downwards(path: Path) -> None:
    assert breaches(module_name(path), imports_of(path)) == []


@pytest.mark.parametrize(
    ("module", "imported"),
    [
        ("monitor.listening.rings", "monitor.advice.equaliser"),
        ("monitor.listening.rings", "time"),
        ("monitor.advice.sections", "monitor.stage.filters"),
        ("monitor.advice.simplex", "scipy.optimize"),
        ("web.app", "monitor.settings.load"),
        ("web.app", "firmware.lamp"),
        ("firmware.lamp", "monitor.link.messages"),
        ("monitor.placing.reckon", "monitor.settings"),
        ("monitor.channel.meter", "monitor.stage.room"),
        ("monitor.link.commands", "monitor.placing.stage_file"),
        ("monitor.watch", "scipy.signal"),
        ("monitor.present", "monitor.cli.main"),
        ("monitor.gig_clerk.clerk", "monitor.watcher"),
        ("monitor.commands.checks", "monitor.watcher"),
        ("monitor.commands.scan", "monitor.settings"),
        ("monitor.kept_file", "monitor.journal.store"),
        ("monitor.hearing", "monitor.listening.levels"),
    ],
)
def test_the_check_finds_a_planted_breach(module: str, imported: str) -> None:
    assert breaches(module, {imported}) == [f"{module} imports {imported}"]


def test_every_module_has_a_wall_or_is_left_without_on_purpose() -> None:
    names = {module_name(path) for path in SOURCES}
    without = {name for name in names if not any(within(name, room) for room in ALLOWED)}
    assert without == ROOMLESS
    assert set(ALLOWED) <= names, "walls around what is not there"


def test_package_files_stay_empty() -> None:
    full = [str(p) for p in SOURCES if p.name == "__init__.py" and p.read_text().strip()]
    assert full == []


def loaded_by(statement: str) -> set[str]:
    """Return the top-level names of the modules that a fresh interpreter loads for it."""
    run = subprocess.run(
        [sys.executable, "-c", f"{statement}\nimport sys\nprint(*sys.modules)"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    return {name.split(".")[0] for name in run.stdout.split()}


def test_the_watcher_never_loads_the_practice_stage_s_library() -> None:
    # scipy costs tens of megabytes and most of a second at start.
    loaded = loaded_by("import monitor.watch, monitor.watcher, monitor.cli")
    assert "numpy" in loaded
    assert not loaded & {"scipy", "flask", "waitress"}


def test_link_and_page_need_no_arithmetic() -> None:
    assert not loaded_by("import monitor.link.client") & {"numpy", "scipy", "flask"}
    assert not loaded_by("import web.app, web.serve") & {"numpy", "scipy", "luma", "gpiozero"}
