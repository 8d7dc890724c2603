"""What the board says of itself, read from a copy of the kernel's files.

The names are those of the kernel's documentation: hwmon ``raspberrypi-hwmon`` (``name`` is
"rpi_volt", ``in0_lcrit_alarm`` 0 or 1) and the thermal zones' ``temp`` in thousandths of a degree
(``Documentation/driver-api/thermal/sysfs-api.rst``).
"""

from __future__ import annotations

import logging
from pathlib import Path

import pytest

from firmware.board import (
    COOL_AGAIN_C,
    HOT_C,
    SAGGED_FOR_S,
    Board,
    BoardReading,
    BoardTroubles,
    read_board,
)
from firmware.fakes import wait_until


def sys_folder(root: Path, *, alarm: str | None = None, temps: tuple[str, ...] = ()) -> Path:
    other = root / "class/hwmon/hwmon0"
    other.mkdir(parents=True)
    (other / "name").write_text("cpu_thermal\n")
    (other / "in0_lcrit_alarm").write_text("1\n")  # another chip's alarm is none of ours
    if alarm is not None:
        ours = root / "class/hwmon/hwmon1"
        ours.mkdir()
        (ours / "name").write_text("rpi_volt\n")
        (ours / "in0_lcrit_alarm").write_text(alarm)
    for number, temp in enumerate(temps):
        zone = root / f"class/thermal/thermal_zone{number}"
        zone.mkdir(parents=True)
        (zone / "temp").write_text(temp)
    return root


def test_the_kernel_s_files_are_read(tmp_path: Path) -> None:
    sys = sys_folder(tmp_path, alarm="1\n", temps=("48312\n", "51100\n"))
    assert read_board(sys) == BoardReading(is_undervolted=True, temperature_c=51.1)
    (sys / "class/hwmon/hwmon1/in0_lcrit_alarm").write_text("0\n")
    assert read_board(sys).is_undervolted is False


@pytest.mark.parametrize("temp", ["", "warm", "-274000", "99999999", "1.5e3"])
def test_what_is_no_reading_is_not_told(tmp_path: Path, temp: str) -> None:
    sys = sys_folder(tmp_path, alarm="?", temps=(temp,))
    assert read_board(sys) == BoardReading()


def test_a_board_without_such_files_says_nothing(tmp_path: Path) -> None:
    assert read_board(sys_folder(tmp_path)) == BoardReading()
    assert read_board(tmp_path / "none") == BoardReading()


def test_a_sag_is_told_for_a_while_and_counted_once() -> None:
    troubles = BoardTroubles()
    low, well = BoardReading(is_undervolted=True), BoardReading(is_undervolted=False)
    assert troubles.push(well, 0.0) == {}
    assert "too low:" in troubles.push(low, 5.0)["supply"]
    assert "too low:" in troubles.push(low, 10.0)["supply"]
    assert "a moment ago" in troubles.push(well, 15.0)["supply"]
    assert troubles.push(well, 10.0 + SAGGED_FOR_S) == {}
    assert troubles.sag_count == 1
    troubles.push(low, 100.0)
    assert troubles.sag_count == 2


def test_heat_is_told_at_the_limit_and_does_not_flicker() -> None:
    troubles = BoardTroubles()
    between_c = (HOT_C + COOL_AGAIN_C) / 2.0
    assert troubles.push(BoardReading(temperature_c=between_c), 0.0) == {}
    assert "at 80 °C" in troubles.push(BoardReading(temperature_c=HOT_C), 5.0)["heat"]
    assert "heat" in troubles.push(BoardReading(temperature_c=between_c), 10.0)
    assert troubles.push(BoardReading(temperature_c=COOL_AGAIN_C - 0.1), 15.0) == {}


def test_the_thread_tells_and_logs_once(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    readings = [BoardReading(False, 40.0)] + 5 * [BoardReading(True, 41.26)]
    left = iter(readings)
    board = Board(lambda: next(left, readings[-1]), every_s=0.005)
    try:
        assert wait_until(lambda: board.fields().get("is_undervolted") is True, within_s=10.0)
    finally:
        board.close()
    fields = board.fields()
    assert fields["temperature_c"] == 41.3
    assert fields["sag_count"] == 1
    assert "shorter, thicker cable" in str(fields["health"])
    assert len([r for r in caplog.records if r.levelno == logging.WARNING]) == 1


def test_a_board_that_says_nothing_is_unknown_and_not_well() -> None:
    board = Board(BoardReading, every_s=0.005)
    try:
        assert board.fields() == {"health": "unknown"}
    finally:
        board.close()
