"""``howl-lantern scan``: formats, errors, and the lines it prints."""

import io
import json
import re
import struct
import sys

import numpy as np
import pytest
import soundfile

from monitor.commands.scan import _table, rings_of, run
from monitor.listening.bands import third_octave_of
from monitor.listening.rings import Ring
from monitor.recordings import BLOCK_FRAMES, Recording, RecordingError
from tests.listening.test_listener import growing_line, listen

RATE_HZ = 48000


@pytest.fixture(scope="module")
def howl():
    return growing_line(
        rate_hz=RATE_HZ,
        frequency_hz=1600.0,
        growth_db_per_s=40.0,
        from_s=0.5,
        until_s=2.5,
        total_s=3.2,
    )


def lines_of(capsys):
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


@pytest.mark.parametrize(
    ("suffix", "subtype"),
    [
        ("wav", "PCM_16"),
        ("wav", "PCM_24"),
        ("wav", "PCM_32"),
        ("wav", "FLOAT"),
        ("wav", "DOUBLE"),
        ("wav", "PCM_U8"),
        ("flac", "PCM_16"),
        ("flac", "PCM_24"),
        ("ogg", "VORBIS"),
    ],
)
def test_formats_give_the_same_howl(tmp_path, capsys, howl, suffix, subtype):
    path = tmp_path / f"evening.{suffix}"
    soundfile.write(path, np.stack([howl, 0.5 * howl], axis=1), RATE_HZ, subtype=subtype)
    assert run([str(path)], json_lines=True, way="set") == 0
    lines = lines_of(capsys)
    if subtype == "PCM_U8":
        # With eight bits a soft line is a square wave: its harmonics stand out before it does, and
        # nothing louder is there yet to call them its own.
        lines = [line for line in lines if line["band"] == "1.6k"]
    assert [line["kind"] for line in lines] == ["ringing", "howl"]
    for line in lines:
        assert set(line) == {
            *("file", "kind", "flagged_s", "start_s", "end_s", "frequency_hz"),
            *("band_hz", "band", "level_dbfs", "growth_db_per_s"),
        }
        assert line["file"] == str(path)
        assert line["band"] == "1.6k"
        assert line["band_hz"] == pytest.approx(1584.893, abs=0.001)
        assert line["frequency_hz"] == pytest.approx(1600.0, rel=0.001)
        assert 0.4 <= line["start_s"] < line["flagged_s"] < line["end_s"]
        assert line["end_s"] == pytest.approx(2.5, abs=0.3)


def test_scan_gives_what_the_live_stream_gives(tmp_path, capsys, howl):
    path = tmp_path / "evening.wav"
    soundfile.write(path, howl, RATE_HZ, subtype="FLOAT")
    run([str(path)], json_lines=True, way="soundcheck")
    live = [e for e in listen(howl, rate_hz=RATE_HZ, way="soundcheck") if e.kind != "closed"]
    assert [(line["kind"], line["flagged_s"]) for line in lines_of(capsys)] == [
        (e.kind, round(e.at_s, 6)) for e in live
    ]


def test_a_table_is_the_default_and_says_when_nothing_rings(tmp_path, capsys, howl):
    loud, still = tmp_path / "loud.wav", tmp_path / "still.wav"
    soundfile.write(loud, howl, RATE_HZ)
    soundfile.write(still, np.zeros(RATE_HZ), RATE_HZ)
    assert run([str(loud), str(still)], json_lines=False, way="set") == 0
    out = capsys.readouterr().out
    assert "howl" in out
    assert "1.6k" in out
    assert f"{still}: nothing rings" in out


def wav(n_frames, rate_hz=RATE_HZ, stated_bytes=None, value=0.1):
    data = np.full(n_frames, value, dtype="<f4").tobytes()
    stated = len(data) if stated_bytes is None else stated_bytes
    return (
        b"RIFF"
        + struct.pack("<I", 36 + stated)
        + b"WAVEfmt "
        + struct.pack("<IHHIIHH", 16, 3, 1, rate_hz, 4 * rate_hz, 4, 32)
        + b"data"
        + struct.pack("<I", stated)
        + data
    )


BAD = {
    "missing": (None, "no such file"),
    "empty": (b"", "empty"),
    "text": (b"once upon a time there was a band\n" * 40, "not a recording"),
    "header_only": (wav(0), "holds no samples"),
    "one_sample": (wav(1), "too short"),
    "cut_short": (wav(RATE_HZ, stated_bytes=40 * RATE_HZ), "cut short"),
    "nan": (wav(RATE_HZ, value=np.nan), "not numbers"),
    "infinite": (wav(RATE_HZ, value=np.inf), "not numbers"),
    "huge": (wav(RATE_HZ, value=3e38), "far beyond full scale"),
    "slow_rate": (wav(RATE_HZ, rate_hz=4000), "4000 Hz; 8000 to 192000 Hz expected"),
    "fast_rate": (wav(RATE_HZ, rate_hz=384000), "384000 Hz; 8000 to 192000 Hz expected"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_files_get_one_line_and_no_output(tmp_path, capsys, case):
    content, words = BAD[case]
    path = tmp_path / "take.wav"
    if content is not None:
        path.write_bytes(content)
    assert run([str(path)], json_lines=True, way="set") == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert str(path) in captured.err
    assert words in captured.err


def test_a_long_file_is_read_in_blocks_with_progress_and_keeps_its_howl(tmp_path, howl):
    path = tmp_path / "night.wav"
    quiet = np.zeros(120 * RATE_HZ, dtype=np.float32)
    soundfile.write(path, np.concatenate([quiet, howl, quiet]), RATE_HZ)
    recording = Recording(path)
    assert max(len(block) for block in recording.blocks()) <= BLOCK_FRAMES
    progress = io.StringIO()
    rings = rings_of(recording, way="set", progress=progress)
    assert [ring.degree for ring in rings] == ["ringing", "howl"]
    assert rings[0].flagged_s > 120.5
    shown = [int(part) for part in re.findall(r"(\d+) %", progress.getvalue())]
    assert shown == sorted(shown)
    assert shown[-1] == 100


def test_the_line_of_progress_is_wiped_also_when_the_scan_ends_early(tmp_path, howl, monkeypatch):
    path = tmp_path / "night.wav"
    soundfile.write(path, np.zeros(60 * RATE_HZ, dtype=np.float32), RATE_HZ)
    blocks = Recording.blocks

    def interrupted(recording):
        yield next(blocks(recording))
        raise KeyboardInterrupt

    monkeypatch.setattr(Recording, "blocks", interrupted)
    progress = io.StringIO()
    with pytest.raises(KeyboardInterrupt, match="^$"):
        rings_of(Recording(path), way="set", progress=progress)
    assert "night.wav" in progress.getvalue()
    assert progress.getvalue().endswith("\r\033[K")


def test_a_file_named_as_one_without_a_header_is_refused_in_one_line(tmp_path, capsys):
    path = tmp_path / "take.raw"
    path.write_bytes(bytes(96000))
    assert run([str(path)], json_lines=False, way="set") == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert "not a recording" in captured.err


def test_the_table_counts_no_sixty_seconds(capsys):
    band = third_octave_of(1000.0)
    ring = Ring(1, "howl", 1000.0, band, -20.0, 30.0, 59.0, 59.996, 61.0)
    _table("song.wav", [ring], sys.stdout)
    assert " 1:00.00  howl" in capsys.readouterr().out


def test_a_folder_is_refused(tmp_path):
    with pytest.raises(RecordingError, match="not a file"):
        Recording(tmp_path)


@pytest.mark.parametrize("suffix", ["flac", "ogg", "wav", "rf64"])
def test_files_cut_in_the_middle_are_named(tmp_path, capsys, howl, suffix):
    path = tmp_path / f"take.{suffix}"
    soundfile.write(path, howl, RATE_HZ)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    assert run([str(path)], json_lines=True, way="set") == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1


def test_a_bad_file_does_not_stop_the_next(tmp_path, capsys, howl):
    good = tmp_path / "good.wav"
    soundfile.write(good, howl, RATE_HZ)
    assert run([str(tmp_path / "none.wav"), str(good)], json_lines=True, way="set") == 2
    assert {line["file"] for line in lines_of(capsys)} == {str(good)}


def test_a_recorder_that_was_never_stopped_leaves_a_length_of_zero(tmp_path):
    path = tmp_path / "live.wav"
    soundfile.write(path, np.zeros(RATE_HZ), RATE_HZ)
    content = bytearray(path.read_bytes())
    content[4:8] = struct.pack("<I", 0xFFFFFFFF)
    path.write_bytes(content)
    assert Recording(path).n_frames == RATE_HZ
