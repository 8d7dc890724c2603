"""``howl-lantern level`` as a person and as the watcher call it, in a process of its own."""

from __future__ import annotations

import io
import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from monitor import cli
from monitor.channel.feed import Frame, packed
from monitor.errors import LanternError
from monitor.level import command as level_command
from monitor.level import source as level_source
from monitor.level.source import Source
from monitor.settings import Line
from tests.channel.voices import NOTE_CREST, RATE_HZ, db, noise, note, sung

ROOT = Path(__file__).parents[2]
LINE = Line("", 1, (48000,), "digital", -18.0, ("80", "100"), 12)


def environment(tmp_path):
    here = {name: value for name, value in os.environ.items() if name != "HOWL_LANTERN_SETTINGS"}
    return {**here, "PYTHONPATH": str(ROOT), "XDG_CONFIG_HOME": str(tmp_path)}


def level(tmp_path, *words, sent=b""):
    return subprocess.run(
        [sys.executable, "-m", "monitor.cli", "level", *map(str, words)],
        cwd=ROOT,
        env=environment(tmp_path),
        input=sent,
        capture_output=True,
        timeout=60,
        check=False,
    )


@pytest.fixture(scope="module")
def song(tmp_path_factory):
    path = tmp_path_factory.mktemp("song") / "song.wav"
    samples = 0.5 * sung("tenor", 30.0)[0] + noise(30.0, 1e-3)
    soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")
    return path


def fed(samples, *, size=480):
    return b"".join(
        packed(samples[first : first + size], RATE_HZ, gap=first == 0)
        for first in range(0, len(samples), size)
    )


def test_a_recording_gives_a_summary(tmp_path, song):
    done = level(tmp_path, song)
    assert done.returncode == 0, done.stderr
    out = done.stdout.decode()
    assert out.startswith("the recording, song.wav: 30.0 s heard")
    assert re.search(r"loudest sung line: +peak -\d+\.\d, RMS -\d+\.\d dBFS \(\d+ s\)", out)
    assert re.search(r"^turn the gain down \d+ dB \(the loudest line reads -\d+ dBFS", out, re.M)
    assert re.search(r"^low cut at \d+ Hz: your lowest note is", out, re.M)
    assert len(out.splitlines()) <= 8


def test_a_recording_as_json_is_one_line(tmp_path, song):
    done = level(tmp_path, "--json", song)
    (line,) = done.stdout.decode().splitlines()
    fields = json.loads(line)
    assert fields["source"] == {"kind": "file", "name": "song.wav"}
    assert fields["state"] == "too_loud"
    assert fields["low_cut"]["ready"] is True


def test_a_feed_gives_a_line_every_fifth_of_a_second_and_one_at_its_end(tmp_path):
    tone = note(220.0, 4.0, 0.5)
    done = level(tmp_path, "--json", "--feed", sent=fed(tone))
    assert done.returncode == 0, done.stderr
    lines = [json.loads(line) for line in done.stdout.decode().splitlines()]
    assert len(lines) == pytest.approx(20 + 1, abs=1)
    assert lines[0]["seconds"] == pytest.approx(0.2)
    assert lines[-1]["seconds"] == pytest.approx(4.0)
    assert lines[-1]["source"]["kind"] == "desk"
    assert lines[-1]["advice"]["change_db"] == -9  # -6 dBFS to -15
    assert lines[-1]["gap_count"] == 1


def test_the_box_s_own_microphone_fed_says_so(tmp_path):
    done = level(tmp_path, "--json", "--feed", "--box", sent=fed(noise(2.0, 0.01)))
    fields = json.loads(done.stdout.decode().splitlines()[-1])
    assert fields["source"] == {"kind": "box", "name": "auto"}
    assert "scale" not in fields


def test_the_settings_meter_and_low_cuts_are_used(tmp_path):
    settings = tmp_path / "s.toml"
    settings.write_text(
        '[line]\nmeter = "analogue"\nzero_dbfs = -10\nlow_cuts = ["100"]\nlow_cut_slope_db = 18\n'
    )
    sent = fed(note(220.0, 25.0, 0.1), size=4800)
    done = level(tmp_path, "--json", "--feed", "--settings", settings, sent=sent)
    fields = json.loads(done.stdout.decode().splitlines()[-1])
    assert fields["scale"]["kind"] == "analogue"
    assert fields["scale"]["reading_db"] == pytest.approx(
        -10.0 - db(NOTE_CREST / np.sqrt(2.0)), abs=0.1
    )
    (choice,) = fields["low_cut"]["choices"]
    # 10 log10(1 + (100 / 220)^6) dB.
    assert (choice["hz"], choice["costs_db"]) == (100.0, 0.0)


@pytest.mark.parametrize("ending", [signal.SIGTERM, signal.SIGINT])
def test_lines_come_while_the_feed_still_runs_and_a_signal_ends_it(tmp_path, ending):
    child = subprocess.Popen(
        [sys.executable, "-m", "monitor.cli", "level", "--json", "--feed"],
        cwd=ROOT,
        env=environment(tmp_path),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    try:
        child.stdin.write(fed(note(220.0, 0.4, 0.5)))
        child.stdin.flush()
        first, second = (json.loads(child.stdout.readline()) for _ in range(2))
        assert (first["seconds"], second["seconds"]) == (0.2, 0.4)
        child.send_signal(ending)
        rest, said = child.communicate(timeout=30)
        # Ended politely: the newest figures once more, and no word of complaint.
        assert [json.loads(line)["seconds"] for line in rest.splitlines()] == [0.4]
        assert (child.returncode, said) == (0, b"")
    finally:
        child.kill()
        child.wait()


@pytest.mark.parametrize(
    ("words", "sent", "code", "said"),
    [
        ([], b"", 2, "no line from the desk is set"),
        (["--device", "auto"], b"", 2, "must be named"),
        (["--box", "--device", "CODEC"], b"", 2, "--device and --box: one source at a time"),
        (["--feed", "song.wav"], b"", 2, "a recording and --feed: one source at a time"),
        (["none.wav"], b"", 2, "none.wav: no such file"),
        (["{folder}"], b"", 2, "not a file"),
        (["{text}"], b"", 2, "not a recording that can be read"),
        (["{text}", "--picture", "a.gif"], b"", 2, "a picture's name ends in .svg or .png"),
        (["{text}", "--picture", "/nowhere/a.svg"], b"", 2, "the folder for the picture"),
        (["--feed"], b"", 1, "nothing was heard: no sample came"),
        (["--feed"], b"RIFF....WAVE", 1, "the feed is not one"),
        (["--feed"], packed(np.array([np.nan]), 48000, gap=False), 1, "are not numbers between"),
        (["--feed", "--set", "line.meter=needle"], b"", 2, 'one of "digital", "analogue"'),
    ],
)
def test_every_mistake_is_one_line_and_a_code(tmp_path, monkeypatch, words, sent, code, said):
    text = tmp_path / "text.wav"
    text.write_text("no sound")
    places = {"folder": tmp_path, "text": text}
    done = level(tmp_path, *(word.format(**places) for word in words), sent=sent)
    err = done.stderr.decode()
    assert done.returncode == code, err
    (line,) = err.splitlines()
    assert line.startswith("howl-lantern: ")
    assert said in line
    assert done.stdout == b""


@pytest.mark.parametrize(
    ("words", "said"),
    [(["--device", "hw:CARD=Nowhere"], "is not plugged in"), (["--box"], "plug")],
)
def test_a_card_that_does_not_come_is_one_line_and_a_code(monkeypatch, capsys, words, said):
    monkeypatch.delenv("HOWL_LANTERN_SETTINGS", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", "/nonexistent")
    monkeypatch.setattr(level_source, "WAIT_S", 0.2)
    assert cli.main(["level", *words]) == 1
    out, err = capsys.readouterr()
    (line,) = err.splitlines()
    assert line.startswith("howl-lantern: ")
    assert said in line
    assert out == ""


def test_pictures_are_written_whole(tmp_path, song):
    for name in ("voice.svg", "voice.png"):
        done = level(tmp_path, song, "--picture", tmp_path / name)
        assert done.returncode == 0, done.stderr
    assert (tmp_path / "voice.svg").read_text().startswith("<svg")
    assert (tmp_path / "voice.png").read_bytes().startswith(b"\x89PNG")
    assert not list(tmp_path.glob(".*part"))


# --- in this process ---------------------------------------------------------------------------


class Terminal(io.StringIO):
    """Something that says it is a terminal."""

    def isatty(self):
        return True


def frames_of(samples, rate_hz=RATE_HZ, size=4800):
    for first in range(0, len(samples), size):
        yield Frame(samples[first : first + size], rate_hz, gap=False)


def run(monkeypatch, out, frames, kind="desk", name="CODEC"):
    monkeypatch.setattr(sys, "stdout", out)
    source = Source(kind, name, frames)
    return level_command.run(source, LINE, as_json=False, picture=None)


def test_on_a_terminal_one_line_is_drawn_again_and_again(monkeypatch):
    out = Terminal()
    monkeypatch.setenv("COLUMNS", "40")
    assert run(monkeypatch, out, frames_of(note(220.0, 5.0, 0.5))) == 0
    live, _, summary = out.getvalue().rpartition("\r\033[K")
    drawn = live.split("\r\033[K")[1:]
    assert len(drawn) > 20
    assert all(len(line) < 40 and "\n" not in line for line in drawn)
    assert drawn[-1].startswith("  -6.0 peak   -7.9 RMS  singing")
    assert summary.startswith("the desk's line, CODEC: 5.0 s heard\n")
    assert "turn the gain down 9 dB" in summary


def test_a_microphone_that_is_found_by_itself_is_called_by_no_name(monkeypatch):
    out = io.StringIO()
    assert run(monkeypatch, out, frames_of(noise(2.0, 0.01)), "box", "auto") == 0
    assert "the box's own microphone: 2.0 s heard\n" in out.getvalue()


def test_without_a_terminal_a_line_comes_only_with_a_new_word(monkeypatch):
    out = io.StringIO()
    assert run(monkeypatch, out, frames_of(note(220.0, 8.0, 0.5))) == 0
    live = [line for line in out.getvalue().splitlines() if re.match(r" +\d+\.\d s  \w+:", line)]
    assert 1 < len(live) <= 4
    assert "\033" not in out.getvalue()


def test_ctrl_c_ends_it_with_the_summary(monkeypatch):
    def interrupted():
        yield from frames_of(note(220.0, 5.0, 0.5))
        raise KeyboardInterrupt

    out = io.StringIO()
    assert run(monkeypatch, out, interrupted()) == 0
    assert "5.0 s heard" in out.getvalue()


def test_a_device_that_is_lost_ends_it_with_its_reason(monkeypatch):
    def lost():
        yield from frames_of(note(220.0, 1.0, 0.5))
        raise LanternError("CODEC stopped; plug it in again")

    with pytest.raises(LanternError, match="plug it in again"):
        run(monkeypatch, io.StringIO(), lost())


def test_another_rate_begins_anew(monkeypatch):
    def frames():
        yield from frames_of(note(220.0, 5.0, 0.9))
        yield from frames_of(note(220.0, 12.0, 0.1, rate_hz=44100), 44100)

    out = io.StringIO()
    assert run(monkeypatch, out, frames()) == 0
    assert "12.0 s heard" in out.getvalue()
    assert "turn the gain up 5 dB" in out.getvalue()  # -20 dBFS to -15


def test_the_box_gets_no_word_of_a_low_cut(monkeypatch):
    out = io.StringIO()
    assert run(monkeypatch, out, frames_of(noise(3.0, 0.01)), kind="box") == 0
    assert "the box's own microphone, CODEC" in out.getvalue()
    assert "low cut" not in out.getvalue()


def test_a_signal_within_a_hop_waits_for_its_end(monkeypatch):
    """The meter is never left half way: what came before the signal is all there."""
    whole = level_command.ChannelMeter.push

    def push(self, samples, *, gap=False):
        os.kill(os.getpid(), signal.SIGTERM)
        whole(self, samples, gap=gap)

    monkeypatch.setattr(level_command.ChannelMeter, "push", push)
    before = signal.getsignal(signal.SIGTERM)
    out = io.StringIO()
    assert run(monkeypatch, out, frames_of(note(220.0, 5.0, 0.5))) == 0
    assert "0.1 s heard" in out.getvalue()  # one frame of 0.1 s
    assert signal.getsignal(signal.SIGTERM) is before


def test_the_command_loads_no_library_that_a_small_box_lacks(tmp_path):
    script = "import sys, monitor.level.command, monitor.level.picture; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    loaded = {name.split(".")[0] for name in done.stdout.split()}
    assert "numpy" in loaded
    assert not loaded & {"scipy", "matplotlib", "librosa", "flask"}
