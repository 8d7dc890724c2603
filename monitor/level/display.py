"""How ``howl-lantern level`` shows what it hears: lines for programs, one live line for people."""

from __future__ import annotations

import json
import shutil
from typing import Any, TextIO

from monitor.counted import counted


class JsonLines:
    """One JSON object a line, each written at once."""

    def __init__(self, out: TextIO) -> None:
        self._out = out

    def fields(self, fields: dict[str, Any]) -> None:
        """Write a line."""
        self._out.write(json.dumps(fields, allow_nan=False) + "\n")
        self._out.flush()

    def clear(self) -> None:
        """Nothing stands to be cleared."""

    def end(self, fields: dict[str, Any]) -> None:
        """Write the last line."""
        self.fields(fields)


class LiveLine:
    """One line that is drawn again and again; where there is no terminal, one for each new word."""

    def __init__(self, out: TextIO) -> None:
        self._out = out
        self._is_terminal = out.isatty()
        self._said = ""

    def fields(self, fields: dict[str, Any]) -> None:
        """Show the newest."""
        said = f"{fields['state']}: {fields['advice']['sentence']}"
        if self._is_terminal:
            width = max(20, shutil.get_terminal_size().columns - 1)
            line = f"{fields['peak_dbfs']:6.1f} peak {fields['rms_dbfs']:6.1f} RMS  "
            line += f"{fields['voice']:<8} {fields['advice']['sentence']}"
            self._out.write(f"\r\033[K{line[:width]}")
        elif said != self._said:
            self._out.write(f"{fields['seconds']:7.1f} s  {said}\n")
        self._said = said
        self._out.flush()

    def clear(self) -> None:
        """Take the line away, so that what follows stands alone."""
        if self._is_terminal and self._said:
            self._out.write("\r\033[K")
            self._out.flush()

    def end(self, fields: dict[str, Any]) -> None:
        """Print the summary."""
        print("\n".join(summary(fields)), file=self._out, flush=True)


_NAMES = {
    "desk": "the desk's line",
    "box": "the box's own microphone",
    "file": "the recording",
}


def summary(fields: dict[str, Any]) -> list[str]:
    """All that was found, in a few lines for people."""
    source, advice, low_cut = fields["source"], fields["advice"], fields["low_cut"]
    named = "" if source["name"] == "auto" else f", {source['name']}"  # no card is called so
    lines = [f"{_NAMES[source['kind']]}{named}: {fields['seconds']:.1f} s heard"]
    for key, name in (("sung", "loudest sung line"), ("spoken", "speech")):
        if key in fields:
            part = fields[key]
            lines.append(
                f"  {name + ':':<19} peak {part['peak_dbfs']:.1f}, RMS {part['rms_dbfs']:.1f} dBFS "
                f"({part['seconds']:.0f} s)"
            )
    if "noise_dbfs" in fields:
        lines.append(f"  {'pauses:':<19} {fields['noise_dbfs']:.1f} dBFS")
    if fields["clipped_count"]:
        times = counted(fields["clipped_count"], "time")
        lines.append(f"  {'clipped:':<19} {times} at full scale")
    if fields.get("gap_count"):
        lines.append(f"  {'gaps:':<19} {fields['gap_count']}, sound was lost there")
    if "lowest_note" in low_cut:
        lines.append(
            f"  {'voice:':<19} {low_cut['lowest_note']} ({low_cut['lowest_hz']:.0f} Hz) to "
            f"{low_cut['highest_note']} ({low_cut['highest_hz']:.0f} Hz)"
        )
    if "hum_hz" in low_cut:
        lines.append(f"  {'hum:':<19} of the mains, {low_cut['hum_hz']} Hz: look at the cables")
    detail = f" ({advice['detail']})" if "detail" in advice else ""
    lines.append(f"{advice['sentence']}{detail}")
    if source["kind"] != "box":
        lines.append(low_cut["sentence"])
    return lines
