"""What docs/wiring.md and docs/install.md say, held against formulas and the files themselves."""

from __future__ import annotations

import re
import subprocess
import tomllib
from xml.etree import ElementTree

import pytest

from monitor.settings_pins import panel_pins, usual_bus
from monitor.settings_rules import SPI_PANELS
from tests.install.bench_box import ROOT

WIRING = (ROOT / "docs/wiring.md").read_text()
INSTALL = (ROOT / "docs/install.md").read_text()
PICTURE = ROOT / "docs/pictures/wiring.svg"
DEFAULTS = tomllib.loads((ROOT / "monitor/defaults.toml").read_text())
# The header's ground pins and two of its GPIOs (the board's documentation, from memory).
GROUND_PINS = {6, 9, 14, 20, 25, 30, 34, 39}
PIN_OF_GPIO = {2: 3, 3: 5, 17: 11, 26: 37}
PIN_OF_SPI_GPIO = {8: 24, 10: 19, 11: 23, 18: 12, 24: 18, 25: 22}


def number(pattern: str, text: str = WIRING) -> float:
    found = re.search(pattern, text)
    assert found is not None, pattern
    return float(found[1].replace(" ", ""))


def test_the_resistor() -> None:
    # Ohm's law; the E12 row of IEC 60063 between 220 and 330 holds 270.
    ohms = (3.3 - 2.0) / 5e-3
    assert number(r"5 mA = (\d+) Ω") == pytest.approx(ohms)
    row = [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82]
    chosen = min(10.0 * e for e in row if 10.0 * e >= ohms)
    assert number(r"E12 row \(IEC 60063\): (\d+) Ω") == chosen
    assert number(r"/ 270 Ω = ([\d.]+) mA") == pytest.approx(1e3 * 1.3 / chosen, abs=0.05)
    assert number(r"= ([\d.]+) mW") == pytest.approx(1e3 * 1.3**2 / chosen, abs=0.05)
    assert number(r"At 1\.8 V it is ([\d.]+) mA") == pytest.approx(1e3 * 1.5 / chosen, abs=0.05)
    assert number(r"over 270 Ω is ([\d.]+) mA") == pytest.approx(1e3 * 0.3 / chosen, abs=0.05)


@pytest.mark.parametrize("column", [0, 1])
def test_the_hours(column: int) -> None:
    table = [line.split("|")[2:4] for line in WIRING.splitlines() if re.match(r"\| .* W \|", line)]
    parts = [float(re.findall(r"[\d.]+(?= W)", row[column])[0]) for row in table[:4]]
    total = re.findall(r"\*\*([\d.]+) W, ([\d.]+) A\*\*", WIRING)[column]
    assert sum(parts) == pytest.approx(float(total[0]), abs=0.05)
    assert sum(parts) / 5.0 == pytest.approx(float(total[1]), abs=0.01)
    hours = 10.0 * 3.7 * 0.85 / sum(parts)
    new = re.search(r"85 % of it at the socket \| (\d+) h \| (\d+) h", WIRING)
    old = re.search(r"cold night \| (\d+) h \| (\d+) h", WIRING)
    assert new is not None
    assert old is not None
    assert float(new[column + 1]) == pytest.approx(hours, abs=0.5)
    assert float(old[column + 1]) == pytest.approx(hours / 2.0, abs=0.5)


def test_the_pins_are_those_of_the_settings() -> None:
    lamp = DEFAULTS["lamp"]["gpio_pin"]
    assert f"pin {PIN_OF_GPIO[lamp]} (GPIO {lamp})" in WIRING
    assert DEFAULTS["panel"]["bus"] == 1
    for gpio, pin in PIN_OF_GPIO.items():
        assert f"pin {pin} (GPIO {gpio})" in WIRING
    for part in ("panel GND", "LED's short leg", "button, other side"):
        assert int(number(rf"\| {part} \| pin (\d+) ")) in GROUND_PINS


def test_the_picture_marks_the_same_pins() -> None:
    picture = ElementTree.parse(PICTURE).getroot()
    marked = {
        int(text.text or "")
        for text in picture.iter("{http://www.w3.org/2000/svg}text")
        if text.get("font-weight") == "bold" and (text.text or "").isdigit()
    }
    drawn = WIRING.partition("A panel on SPI")[0]
    assert marked == {int(pin) for pin in re.findall(r"\| pin (\d+) ", drawn)}
    assert len(marked) == 8


def test_a_panel_on_spi_is_wired_to_the_pins_that_are_kept_for_it() -> None:
    wired = WIRING.partition("A panel on SPI")[2].partition("\n(The numbers")[0]
    pins = {int(gpio): int(pin) for pin, gpio in re.findall(r"pin (\d+) \(GPIO (\d+)\)", wired)}
    assert pins == PIN_OF_SPI_GPIO
    assert {*pins} <= {*panel_pins("st7735", usual_bus("st7735"))}
    assert int(number(r"\| panel GND \| pin (\d+) ", wired)) in GROUND_PINS
    for driver in SPI_PANELS:
        assert f"`{driver}`" in WIRING
    free = {DEFAULTS[part]["gpio_pin"] for part in ("lamp", "button")}
    assert not free & {*panel_pins("st7735", 0)}, "lamp and button stay where they are"


def test_cautions_are_there() -> None:
    for word in (
        "local codes",
        "licensed",
        "second tether",
        "not calibrated",
        "hearing protection",
    ):
        assert word in WIRING, word


@pytest.mark.parametrize("script", ["install", "remove"])
def test_documents_use_only_words_that_there_are(script: str) -> None:
    known = subprocess.run(
        ["sh", str(ROOT / "systemd" / script), "--help"], capture_output=True, text=True, check=True
    ).stdout
    used = set()
    for line in re.findall(rf"(?:systemd|system)/{script}((?: --[a-z-]+)+)", INSTALL):
        used |= set(line.split())
    assert used
    assert {word for word in used if word not in known} == set()


def test_every_place_in_the_table_is_the_scripts_own() -> None:
    text = (ROOT / "systemd/common.sh").read_text() + (ROOT / "systemd/switch.sh").read_text()
    places = re.findall(r"`(/(?:etc|opt|usr|var)/[^`]*)`", INSTALL.split("### Without")[0])
    assert len(places) >= 7
    for place in places:
        stem = place.removesuffix("/0.1.0-1").removesuffix("/settings.toml")
        stem = stem.removesuffix("/settings.example.toml").removesuffix("/releases")
        assert stem.removesuffix("/venv") in text, place
