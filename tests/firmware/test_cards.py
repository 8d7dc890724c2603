"""Which cards can record, read from a list laid out as the kernel does.

Layout from the kernel's Documentation/sound/designs/procfile.rst: card<N>/id, card<N>/usbid for
USB devices only, card<N>/pcm<M>c/info for each recording device.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware.cards import card_id_of, list_capture_devices, twins


def add(root: Path, index: int, card_id: str, pcms: str, *, usb: bool = False) -> None:
    card = root / f"card{index}"
    card.mkdir()
    (card / "id").write_text(f"{card_id}\n")
    if usb:
        (card / "usbid").write_text("1234:5678\n")
    for pcm in pcms.split():
        (card / pcm).mkdir()
        (card / pcm / "info").write_text(f"card: {index}\nname: {card_id} sound\nsubname: x\n")


def test_recording_devices_usb_first_then_by_number(tmp_path: Path) -> None:
    add(tmp_path, 0, "Headphones", "pcm0p")
    add(tmp_path, 1, "Board", "pcm0p pcm0c pcm2c")
    add(tmp_path, 10, "Far", "pcm0c", usb=True)
    add(tmp_path, 2, "Near", "pcm0c", usb=True)
    found = list_capture_devices(tmp_path)
    assert [each.alsa_name for each in found] == [
        "hw:CARD=Near,DEV=0",
        "hw:CARD=Far,DEV=0",
        "hw:CARD=Board,DEV=0",
        "hw:CARD=Board,DEV=2",
    ]
    assert found[0].name == "Near sound"


def test_a_card_pulled_while_it_is_read_is_left_out(tmp_path: Path) -> None:
    add(tmp_path, 0, "Gone", "pcm0c")
    (tmp_path / "card0" / "pcm0c" / "info").unlink()
    add(tmp_path, 1, "Here", "pcm0c")
    assert [each.card_id for each in list_capture_devices(tmp_path)] == ["Here"]


def test_no_sound_system_is_no_card(tmp_path: Path) -> None:
    assert list_capture_devices(tmp_path / "asound") == []


def test_cards_of_one_make_may_swap_their_names(tmp_path: Path) -> None:
    # The kernel's choice of names, sound/core/init.c: "_" and a hexadecimal number behind.
    for index, card_id in enumerate(("Device", "CODEC", "Device_1", "Device_A", "Mic_two")):
        add(tmp_path, index, card_id, "pcm0c pcm1c", usb=True)
    assert twins(list_capture_devices(tmp_path)) == [["Device", "Device_1", "Device_A"]]


@pytest.mark.parametrize(
    ("name", "card"),
    [
        ("hw:CARD=Stage,DEV=0", "Stage"),
        ("plughw:CARD=Stage,DEV=0", "Stage"),
        ("hw:1,0", "1"),
        ("dsnoop:Stage", "Stage"),
        ("default", None),
        ("my_mixture", None),
    ],
)
def test_the_card_a_name_points_at(name: str, card: str | None) -> None:
    assert card_id_of(name) == card
