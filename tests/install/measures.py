"""For in_a_root: has the installed watcher measure its microphone, and looks at its child.

Prints the child's niceness, the watcher's threads and what was measured; ends with 1 if nothing.
"""

from __future__ import annotations

import subprocess
import time
from pathlib import Path

from monitor.link.client import LinkClient

WAIT_S = 40.0


def main() -> int:
    """Measure once; return 0 if figures came."""
    with LinkClient(Path("/run/howl-lantern/link.sock")) as client:
        begun_mono_s = time.monotonic()
        while not client.connected and time.monotonic() < begun_mono_s + WAIT_S:
            time.sleep(0.1)
        for command in ({"do": "begin"}, {"do": "measure", "source": "box"}):
            client.request({"class": "soundcheck", **command})
        fields: dict[str, object] = {}
        child = watcher = ""
        while time.monotonic() < begun_mono_s + WAIT_S and "rms_dbfs" not in fields:
            time.sleep(0.5)
            listed = subprocess.run(
                ["ps", "-eo", "ni=,nlwp=,args="], capture_output=True, text=True
            )
            lines = [line.split() for line in listed.stdout.splitlines()]
            for nice, threads, *words in lines:
                if "monitor.cli level" in " ".join(words):
                    child = nice
                if " ".join(words).endswith("howl-lantern watch"):
                    watcher = f"{threads} threads at {nice}"
            received = client.wait_for_snapshot(time.monotonic(), timeout_s=2.0)
            if received is not None:
                fields = received.snapshot.get("soundcheck", {}).get("measuring", {})
        client.request({"class": "soundcheck", "do": "measure_stop"})
        print(f"niceness {child or 'none'}; watcher: {watcher}; figures: {sorted(fields)[:4]}")
        return 0 if child and "rms_dbfs" in fields else 1


raise SystemExit(main())
