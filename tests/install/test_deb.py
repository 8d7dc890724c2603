"""The Debian package: made of a small archive, read back by dpkg's own tools."""

from __future__ import annotations

import os
import shutil
import subprocess
import tarfile
from pathlib import Path

import pytest

from tests.install.bench_box import ROOT

pytestmark = pytest.mark.skipif(
    shutil.which("dpkg-deb") is None, reason="dpkg-deb is missing (package dpkg)"
)
BUILT = "numpy-2.2.0-cp313-cp313-manylinux_2_17_aarch64.whl"
ALSA = "pyalsaaudio-0.11.0-cp313-cp313-linux_aarch64.whl"


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    """A checkout with the scripts alone; what they write lands in it."""
    shutil.copytree(ROOT / "systemd", tmp_path / "tree/systemd")
    return tmp_path / "tree"


def archive(tree: Path, *wheels: str, executable: bool = True) -> Path:
    release = tree.parent / "howl-lantern-1.2.3"
    (release / "wheels").mkdir(parents=True)
    for wheel in wheels:
        (release / "wheels" / wheel).write_bytes(b"")
    (release / "pyproject.toml").write_text('[project]\nversion = "1.2.3"\n')
    (release / "tests").mkdir()
    (release / "tests/big.txt").write_text("not for the box")
    (release / "systemd").mkdir()
    script = release / "systemd/install"
    script.write_text("#!/bin/sh\n")
    script.chmod(0o755 if executable else 0o644)
    packed = tree.parent / "howl-lantern-1.2.3-python3.13-aarch64.tar.gz"
    with tarfile.open(packed, "w:gz") as tar:
        tar.add(release, release.name)
    return packed


def make(
    tree: Path, *words: str, debians: str = "0.11.0-1", cwd: Path | None = None
) -> subprocess.CompletedProcess[str]:
    """Make it where apt would install that version of python3-alsaaudio."""
    stand_ins = tree.parent / "bin"
    stand_ins.mkdir(exist_ok=True)
    (stand_ins / "apt-cache").write_text(f"#!/bin/sh\necho '  Candidate: {debians}'\n")
    (stand_ins / "apt-cache").chmod(0o755)
    return subprocess.run(
        [str(tree / "systemd/deb"), *words],
        capture_output=True,
        text=True,
        check=False,
        cwd=cwd,
        env=os.environ | {"PATH": f"{stand_ins}:{os.environ['PATH']}"},
    )


def read(package: Path, *words: str) -> str:
    return subprocess.run(
        ["dpkg-deb", *words[:1], str(package), *words[1:]],
        capture_output=True,
        text=True,
        check=True,
    ).stdout


def made(tree: Path, run: subprocess.CompletedProcess[str]) -> Path:
    assert run.returncode == 0, run.stdout + run.stderr
    (package,) = (tree / "dist").glob("*.deb")
    return package


def test_the_package_says_what_it_is_and_needs(tree: Path) -> None:
    package = made(tree, make(tree, str(archive(tree, BUILT, ALSA))))
    assert read(package, "--field", "Package").strip() == "howl-lantern"
    assert read(package, "--field", "Version").strip() == "1.2.3"
    # What is built for one Python does not load in the next.
    depends = read(package, "--field", "Depends")
    assert "python3 (>= 3.13), python3 (<< 3.14)" in depends
    assert "libasound2" in depends
    assert package.with_name(package.name + ".sha256").is_file()


def test_without_the_microphone_s_library_it_wants_debian_s(tree: Path) -> None:
    package = made(tree, make(tree, str(archive(tree, BUILT))))
    assert "python3-alsaaudio (>= 0.11)" in read(package, "--field", "Depends")


@pytest.mark.parametrize("debians", ["0.8.4-1.1+b7", "0.10.0-0.1+b5", "(none)"])
def test_no_package_that_nothing_could_install(tree: Path, debians: str) -> None:
    run = make(tree, str(archive(tree, BUILT)), debians=debians)
    assert run.returncode == 1
    assert "brings no pyalsaaudio" in run.stderr
    assert "sudo apt-get install gcc libc6-dev python3-dev libasound2-dev" in run.stderr
    assert run.stderr.count("\n") == 1
    assert not (tree / "dist").exists()


def test_what_is_in_it(tree: Path) -> None:
    package = made(tree, make(tree, str(archive(tree, BUILT, ALSA))))
    lines = read(package, "--contents").splitlines()
    assert all("root/root" in line for line in lines)
    names = [line.split()[-1] for line in lines]
    assert "./usr/share/howl-lantern/systemd/install" in names
    assert f"./usr/share/howl-lantern/wheels/{BUILT}" in names
    assert not any("tests" in name for name in names)
    out = tree.parent / "control"
    subprocess.run(["dpkg-deb", "--control", str(package), str(out)], check=True)
    for script in ("postinst", "prerm", "postrm"):
        assert (out / script).stat().st_mode & 0o111 == 0o111


def test_an_archive_is_named_from_where_the_person_stands(tree: Path) -> None:
    packed = archive(tree, BUILT, ALSA)
    made(tree, make(tree, packed.name, cwd=packed.parent))


def test_purging_takes_every_setting_and_nothing_of_anybody_else(tmp_path: Path) -> None:
    ours = (
        "etc/howl-lantern/settings.toml",
        "etc/systemd/system/howl-lantern.service.d/override.conf",
        "etc/systemd/system/howl-lantern-page.service.d/override.conf",
        "var/lib/howl-lantern/journal.sqlite3",
    )
    others = ("etc/systemd/system/cron.service.d/override.conf", "var/lib/howl-lanterns/x")
    for name in (*ours, *others):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("")
    for why, stay in (("remove", (*ours, *others)), ("purge", others)):
        # dpkg names the system's root so (dpkg(1), "INTERNAL ENVIRONMENT").
        environ = os.environ | {"DPKG_ROOT": str(tmp_path)}
        subprocess.run([str(ROOT / "systemd/debian/postrm"), why], check=True, env=environ)
        files = {str(p.relative_to(tmp_path)) for p in tmp_path.rglob("*") if p.is_file()}
        assert files == set(stay)


def test_the_same_archive_gives_the_same_package(tree: Path) -> None:
    packed = str(archive(tree, BUILT, ALSA))
    first = made(tree, make(tree, packed)).read_bytes()
    assert made(tree, make(tree, packed)).read_bytes() == first


@pytest.mark.parametrize(
    ("wheels", "executable", "said"),
    [((), True, "brings no built packages"), ((BUILT,), False, "is no release with packages")],
)
def test_an_archive_that_will_not_do(
    tree: Path, wheels: tuple[str, ...], executable: bool, said: str
) -> None:
    run = make(tree, str(archive(tree, *wheels, executable=executable)))
    assert run.returncode == 1
    assert said in run.stderr
    assert run.stderr.count("\n") == 1
    assert not (tree / "dist").exists()


def test_wrong_words(tree: Path) -> None:
    assert make(tree, "a", "b").returncode == 2
    run = make(tree, "/no/such.tar.gz")
    assert run.returncode == 1
    assert "/no/such.tar.gz: no such file" in run.stderr
