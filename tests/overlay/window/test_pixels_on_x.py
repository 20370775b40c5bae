"""The pixels that a window shows on a real X server of 24 bits: where Xvfb is installed."""

import shutil

import pytest

from tests.support.x_server import run_program, x_server_of

SHOWN = """
import sys
import numpy as np
from Xlib.display import Display
from overlay.window.displays import Screen
from overlay.window.run import run

width, height = map(int, sys.argv[1:])
colours = [(1, 2, 250), (3, 251, 5), (252, 7, 9), (255, 255, 255)]
frame = np.zeros((height, width, 3), np.uint8)
for quarter, colour in enumerate(colours):
    frame[:, width * quarter // 4 : width * (quarter + 1) // 4] = colour

def shown(told):
    root = Display().screen().root
    at = root.get_geometry()
    picture = root.get_image(0, 0, at.width, at.height, 2, 0xFFFFFFFF)  # ZPixmap
    # 24 bits deep, each pixel in four bytes, blue first (X11 protocol, on a little-endian machine).
    pixels = np.frombuffer(picture.data, np.uint8).reshape(at.height, at.width, 4)[:, :, :3]
    rows, columns = np.nonzero(pixels.any(axis=2))
    window = pixels[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
    print(*window.shape[1::-1])
    for quarter, colour in enumerate(colours):
        inside = [window.shape[1] * (quarter + each) // 4 for each in (0, 1)]
        print((window[:, inside[0] + 2 : inside[1] - 2] == colour).all())

run(0, Screen((width, height)), update=lambda told, happened: 1, view=lambda told: frame,
    done=bool, due=lambda told: 0.0, shown=shown)
"""


@pytest.mark.parametrize(
    ("picture", "window"),
    [
        ((640, 360), (640, 360)),
        ((1280, 720), (922, 518)),
        ((1920, 1080), (922, 518)),
        ((1001, 333), (922, 307)),
        ((333, 1001), (230, 691)),
    ],
)
def test_a_window_shows_colours_as_drawn_at_every_size(monkeypatch, picture, window):
    if not shutil.which("Xvfb"):
        pytest.skip("needs Xvfb")
    with x_server_of(monkeypatch, "Xvfb", "-screen", "0", "1024x768x24"):
        told = run_program(SHOWN, *map(str, picture))
    assert told == [" ".join(map(str, window)), *["True"] * 4]
