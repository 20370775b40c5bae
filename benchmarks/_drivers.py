"""A benchmark of the window, run once under each driver of SDL that is here."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys


def under_each_driver(module: str, size: tuple[int, int], presses: int) -> None:
    """Run ``python -m MODULE --inside`` under the dummy driver, then under X if Xvfb is there."""
    width, height = size
    command = [
        *(sys.executable, "-m", module, "--inside"),
        *("--sizes", f"{width}x{height}", "--presses", str(presses)),
    ]
    quiet = os.environ | {"PYGAME_HIDE_SUPPORT_PROMPT": "1"}
    subprocess.run(command, env=quiet | {"SDL_VIDEODRIVER": "dummy"}, check=True)
    if shutil.which("xvfb-run"):
        screen = f"-screen 0 {width}x{height}x24"
        server = ["xvfb-run", "-a", "-s", screen, *command]
        subprocess.run(server, env=quiet | {"SDL_VIDEODRIVER": "x11"}, check=True)
