"""Every face that there is, as examples: to look at as pictures, and to hold a panel against."""

from __future__ import annotations

from pathlib import Path

from PIL import Image, ImageDraw

from firmware.faces import draw_face
from firmware.lettering import typeface
from firmware.ports import Face

EXAMPLE_FACES: dict[str, Face] = {
    "starting": Face("starting", "lantern", "http://192.168.4.1:8080", "set"),
    "starting-no-page": Face("starting", "lantern", "starting", "soundcheck"),
    "starting-long-name": Face("starting", "Stage left box 2", "http://10.42.0.1", "set"),
    "quiet": Face("quiet", "quiet", "last 2.5k 2480 Hz", "http://192.168.4.1:8080"),
    "quiet-nothing-yet": Face("quiet", "quiet", "soundcheck", ""),
    "ringing": Face("ringing", "2.5k", "pull 2.5k", "2480 Hz"),
    "ringing-low": Face("ringing", "31.5", "pull 31.5", "31.2 Hz"),
    "ringing-other-slider": Face("ringing", "1k", "pull 1k", "823 Hz rings"),
    "howl": Face("howl", "2.5k", "pull 2.5k", "2480 Hz"),
    "howl-longest": Face("howl", "12.5k", "pull 12.5k", "12496 Hz  again! 3"),
    "howl-shortest": Face("howl", "1k", "pull 1k", "1004 Hz"),
    "several-two": Face("several", "2.5k", "pull 2.5k", "2 at once", ("630",)),
    "several-three": Face("several", "12.5k", "pull 12.5k", "3 at once", ("31.5", "1.25k")),
    "several-five": Face("several", "800", "pull 800", "5 at once", ("2k", "4k", "250", "6.3k")),
    "several-one-band": Face("several", "1.6k", "pull 1.6k", "2 at once", ()),
    "raise": Face("raise", "raise", "slowly"),
    "raise-put-back": Face("raise", "put back", "2.5k to -2"),
    "raise-put-three-back": Face("raise", "put back", "12.5k to -10.5", "1k to -2, +1"),
    "quiet-listen": Face("quiet", "listen", "hold the fader"),
    "pull": Face("pull", "2.5k", "pull by 4"),
    "pull-longest": Face("pull", "12.5k", "pull by 10.5"),
    "pull-two": Face("pull", "800", "pull by 4", "and 1k by 2"),
    "gone": Face("gone", "raise on", "gone"),
    "back-off": Face("back off", "-3 dB", "come down"),
    "back-off-further": Face("back off", "further", "come down"),
    "ringing-depth": Face("ringing", "2.5k", "pull 2.5k by 4", "2480 Hz"),
    "ringing-share": Face("ringing", "100", "pull 100 by 7", "and 160 by 1"),
    "howl-depth": Face("howl", "12.5k", "pull 12.5k by 10.5", "12496 Hz  again! 3"),
    "howl-share": Face("howl", "12.5k", "pull 12.5k by 10.5", "and 10k by 10.5"),
    "howl-other-slider": Face("howl", "100", "pull 100 by 7", "125 Hz rings"),
    "several-share": Face("several", "100", "pull 100 by 7", "and 160 by 1", ("500",)),
    "several-depth": Face("several", "2.5k", "turn down 3", "3 at once", ("630", "5k")),
    "code": Face("code", "042 817", "type it on your phone"),
    "deaf-no-microphone": Face("deaf", "no mic", "plug in a USB mic"),
    "deaf-silence": Face("deaf", "silent", "muted? other channel?", "http://192.168.4.1:8080"),
    "deaf-clipping": Face("deaf", "too loud", "turn my mic down"),
}


def write_faces(directory: Path) -> list[Path]:
    """Write every example face as PNG at four times its size, and all on one ``faces.png``.

    Raises
    ------
    OSError
        If the directory cannot be made or written.
    """
    directory.mkdir(parents=True, exist_ok=True)
    written = []
    pictures = {name: draw_face(face) for name, face in EXAMPLE_FACES.items()}
    for name, picture in pictures.items():
        path = directory / f"{name}.png"
        _enlarged(picture, 4).save(path)
        written.append(path)
    sheet = directory / "faces.png"
    _contact_sheet(pictures).save(sheet)
    return [sheet, *written]


def _enlarged(picture: Image.Image, times: int) -> Image.Image:
    return picture.resize((picture.width * times, picture.height * times), Image.Resampling.NEAREST)


def _contact_sheet(pictures: dict[str, Image.Image]) -> Image.Image:
    """All pictures on one page, four in a row, each under its name."""
    columns, gap, name_px = 4, 12, 18
    enlarged = {name: _enlarged(picture, 2).convert("L") for name, picture in pictures.items()}
    cell_x = max(picture.width for picture in enlarged.values()) + gap
    cell_y = max(picture.height for picture in enlarged.values()) + gap + name_px
    rows = -(-len(enlarged) // columns)
    sheet = Image.new("L", (columns * cell_x + gap, rows * cell_y + gap), 60)
    draw = ImageDraw.Draw(sheet)
    for number, (name, picture) in enumerate(enlarged.items()):
        x, y = gap + number % columns * cell_x, gap + number // columns * cell_y
        draw.text((x, y), name, font=typeface(12), fill=230)
        sheet.paste(picture, (x, y + name_px))
    return sheet
