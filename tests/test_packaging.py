"""The repository around the code: targets, units, version, and what must not be in the tree."""

from __future__ import annotations

import re
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
UNITS = ("howl-lantern.service", "howl-lantern-page.service")
INSTALLED = "/opt/howl-lantern/venv/bin/howl-lantern"


def kept_files() -> list[Path]:
    """Return the files under version control; all the files where there is no git."""
    if shutil.which("git") and (ROOT / ".git").exists():
        run = subprocess.run(
            ["git", "-c", f"safe.directory={ROOT}", "ls-files", "-z"],
            cwd=ROOT,
            capture_output=True,
            check=True,
        )
        names = [name.decode() for name in run.stdout.split(b"\0") if name]
        return [ROOT / name for name in names if (ROOT / name).is_file()]
    return [
        path
        for path in ROOT.rglob("*")
        if path.is_file() and not {".venv", "__pycache__"} & set(path.parts)
    ]


def kept_texts() -> dict[str, str]:
    """Return the text of every kept file that is text, by its path in the tree."""
    texts = {}
    for path in kept_files():
        try:
            texts[str(path.relative_to(ROOT))] = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
    return texts


# --- make -------------------------------------------------------------------------------------


def makefile_targets() -> set[str]:
    text = (ROOT / "Makefile").read_text()
    phony = re.search(r"^\.PHONY: (.*)$", text, re.MULTILINE)
    assert phony is not None
    return set(phony[1].split())


def test_make_alone_lists_every_target() -> None:
    run = subprocess.run(
        ["make", "--no-print-directory"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    listed = set(re.findall(r"^  make (\w+)  +\S", run.stdout, re.MULTILINE))
    assert listed == makefile_targets()
    assert {"run", "test", "bench", "train", "lint", "format", "clean", "help"} <= listed


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_documents_name_only_targets_that_exist(document: str) -> None:
    named = set(re.findall(r"`make (\w+)", (ROOT / document).read_text()))
    assert named, f"{document} names no target at all"
    assert named <= makefile_targets()


@pytest.mark.parametrize("script", ["prepare", "run", "check"])
def test_scripts_are_plain_shell(script: str) -> None:
    path = ROOT / ".ci" / script
    assert path.stat().st_mode & 0o111, f"{path} is not executable"
    assert path.read_text().startswith("#!/bin/sh\n")
    subprocess.run(["sh", "-n", str(path)], check=True)


def test_prepare_says_what_it_wants() -> None:
    run = subprocess.run(
        ["sh", str(ROOT / ".ci/prepare"), "dinner"], capture_output=True, text=True, check=False
    )
    assert run.returncode == 1
    assert "run | test" in run.stderr


def test_prepare_refuses_an_old_python(tmp_path: Path) -> None:
    # A tree of its own, so that there is no environment yet, and a Python that answers as 3.10.
    (tmp_path / ".ci").mkdir()
    for name in ("prepare", "constraints.txt"):
        shutil.copy(ROOT / ".ci" / name, tmp_path / ".ci" / name)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    bin_folder = tmp_path / "bin"
    bin_folder.mkdir()
    for tool in ("cat", "cksum", "dirname", "sh", "id"):
        found = shutil.which(tool)
        assert found is not None
        (bin_folder / tool).symlink_to(found)
    old = bin_folder / "python3"
    old.write_text('#!/bin/sh\n[ "$1" = --version ] && echo "Python 3.10.9" && exit 0\nexit 1\n')
    old.chmod(0o755)
    run = subprocess.run(
        [str(bin_folder / "sh"), str(tmp_path / ".ci/prepare"), "run"],
        capture_output=True,
        text=True,
        check=False,
        env={"PATH": str(bin_folder)},
    )
    assert run.returncode == 1
    assert "needs Python 3.11 or newer and found Python 3.10.9" in run.stderr
    assert not (tmp_path / ".venv").exists()


# --- units ------------------------------------------------------------------------------------


def unit_settings(name: str) -> dict[str, list[str]]:
    settings: dict[str, list[str]] = {}
    for line in (ROOT / "systemd" / name).read_text().splitlines():
        if "=" in line and not line.startswith("#"):
            key, _, value = line.partition("=")
            settings.setdefault(key, []).append(value)
    return settings


def run_systemd_analyze(tmp_path: Path, name: str, *words: str) -> str:
    tool = shutil.which("systemd-analyze")
    if tool is None:
        pytest.skip("systemd-analyze is missing (package systemd)")
    text = (ROOT / "systemd" / name).read_text()
    assert INSTALLED in text
    # The program is not installed here; everything else is checked as it is.
    unit = tmp_path / name
    unit.write_text(text.replace(INSTALLED, "/bin/true"))
    run = subprocess.run(
        [tool, *words, str(unit)], capture_output=True, text=True, check=False, timeout=60
    )
    assert run.returncode == 0, run.stdout + run.stderr
    # Units that the wanted ones bring in may be absent on a small machine; ours is not at fault.
    return "\n".join(line for line in run.stderr.splitlines() if name in line)


@pytest.mark.parametrize("name", UNITS)
def test_units_are_valid(name: str, tmp_path: Path) -> None:
    assert run_systemd_analyze(tmp_path, name, "verify", "--man=no") == ""


@pytest.mark.parametrize("name", UNITS)
def test_units_stay_closed(name: str, tmp_path: Path) -> None:
    # The service manager's own measure of exposure, 0 (closed) to 10; 15 on this scale is 1.5.
    run_systemd_analyze(tmp_path, name, "security", "--offline=yes", "--threshold=15")


def test_the_watcher_may_ask_whether_the_clock_is_set() -> None:
    """glibc's adjtimex(3) is the call clock_adjtime, older ones' adjtimex(2)."""
    watcher = unit_settings(UNITS[0])
    assert "ProtectClock" not in watcher  # refuses both calls, whatever the filter says
    refused = watcher["SystemCallFilter"].index("~@privileged @resources")
    assert "adjtimex clock_adjtime" in watcher["SystemCallFilter"][refused + 1 :]
    assert watcher["CapabilityBoundingSet"] == [""]  # so it cannot set it


def test_watcher_has_no_network_and_page_no_devices() -> None:
    watcher, page = (unit_settings(name) for name in UNITS)
    assert watcher["PrivateNetwork"] == ["yes"]
    assert watcher["RestrictAddressFamilies"] == ["AF_UNIX"]
    # PrivateDevices would take the sound card away; DeviceAllow names what there is instead.
    assert "PrivateDevices" not in watcher
    assert watcher["DevicePolicy"] == ["closed"]
    assert page["PrivateDevices"] == ["yes"]
    assert "DeviceAllow" not in page
    assert "StateDirectory" not in page
    for unit in (watcher, page):
        assert unit["CapabilityBoundingSet"] == [""]
        assert unit["Restart"] == ["always"]
    # Neither may take the other along.
    assert not {"Requires", "BindsTo", "PartOf"} & (watcher.keys() | page.keys())


# --- version, licence, changelog ----------------------------------------------------------------


def test_changelog_knows_the_version() -> None:
    """Either a heading for the version, or it has not been released and the top says so."""
    version = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]
    headings = re.findall(r"^## (.*)$", (ROOT / "CHANGELOG.md").read_text(), re.MULTILINE)
    assert headings
    assert headings[0] == "Unreleased" or headings[0].startswith(f"{version} (")
    released = [h for h in headings if h != "Unreleased"]
    for heading in released:
        assert re.fullmatch(r"\d+\.\d+\.\d+ \(\d{4}-\d\d-\d\d\)", heading), heading
    if released:
        numbers = [tuple(int(n) for n in h.split()[0].split(".")) for h in released]
        assert numbers == sorted(numbers, reverse=True)
        assert tuple(int(n) for n in version.split(".")) >= numbers[0]


def test_everything_the_packages_need_is_packaged() -> None:
    """Files beside the code (weights, templates, styles) must be in an installed copy as well."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    packaged = {
        path
        for package, patterns in project["tool"]["setuptools"]["package-data"].items()
        for pattern in patterns
        for path in (ROOT / package.replace(".", "/")).glob(pattern)
    }
    needed = {
        path
        for path in kept_files()
        if path.relative_to(ROOT).parts[0] in ("firmware", "monitor", "web")
        and path.suffix != ".py"
    }
    assert needed
    assert needed - packaged == set()


def test_licence_is_there() -> None:
    text = (ROOT / "LICENCE").read_text()
    assert text.startswith("MIT License")
    assert "Howl Lantern contributors" in text


# --- what must not be in the tree ----------------------------------------------------------------

# Hosts that may stand in the tree: this machine, networks of one's own, names set aside for
# examples, and the name of a picture format's vocabulary.  The box calls nobody and the page
# works without the internet.
HOST = re.compile(r"https?://((?:[\w-]+\.)+\w+)")
OWN_HOST = re.compile(
    r"127\.|0\.0\.0\.0$|10\.|192\.168\.|172\.(1[6-9]|2\d|3[01])\.|169\.254\.|192\.0\.2\.|"
    r"www\.w3\.org$|.*\.(local|lan|test|example|invalid)$|example\.(com|org|net)$"
)
HOME_FOLDER = re.compile(r"(?<![\w.$}~*])/(?:work|home|root|Users)/\w")
TRACKER = re.compile(r"\b(?:issue|ticket|pull request)s? #?\d", re.IGNORECASE)


def strangers(name: str, text: str) -> list[str]:
    """Return what in ``text`` belongs to one machine or one tracker and not to the product."""
    found = [
        f"{name}: address of another host: {match[0]}"
        for match in HOST.finditer(text)
        if not OWN_HOST.match(match[1])
    ]
    for pattern in (HOME_FOLDER, TRACKER):
        found += [f"{name}: {match[0]}" for match in pattern.finditer(text)]
    return found


def test_tree_holds_nothing_of_one_machine() -> None:
    found = [s for name, text in kept_texts().items() for s in strangers(name, text)]
    assert found == []


@pytest.mark.parametrize(
    "planted",
    [
        "see http" + "://cdn.somewhere.net/chart.js",
        "open /ho" + "me/alice/howl",
        "as of iss" + "ue 12",
    ],
)
def test_the_check_finds_a_planted_stranger(planted: str) -> None:
    assert len(strangers("x", planted)) == 1


def test_documents_that_are_named_exist() -> None:
    missing = []
    for name, text in kept_texts().items():
        for document in re.findall(r"[\w/-]+\.md\b", text):
            places = (ROOT / document, (ROOT / name).parent / document)
            if not any(place.exists() for place in places):
                missing.append(f"{name} names {document}")
    assert missing == []


def test_no_large_files() -> None:
    """A checkout must be quick over a venue's Wi-Fi; sounds are made by scripts."""
    large = [
        f"{path.relative_to(ROOT)}: {path.stat().st_size} bytes"
        for path in kept_files()
        if path.stat().st_size > 1_500_000
    ]
    assert large == []
