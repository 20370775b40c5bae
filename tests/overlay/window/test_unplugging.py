"""A projector unplugged and plugged in again at a real X server with two outputs.

Runs where Xorg, its dummy driver and xrandr are installed and may be started.
"""

import shutil
import subprocess
from pathlib import Path

import pytest

from tests.support.x_server import run_program, x_server_of

CONFIG = """
Section "Device"
  Identifier "card"
  Driver "dummy"
  VideoRam 64000
EndSection
Section "Monitor"
  Identifier "monitor"
  HorizSync 5-1000
  VertRefresh 5-200
EndSection
Section "Screen"
  Identifier "screen"
  Device "card"
  Monitor "monitor"
  DefaultDepth 24
  SubSection "Display"
    Depth 24
    Modes "1024x768" "800x600"
    Virtual 2048 768
  EndSubSection
EndSection
"""
DRIVER = Path("/usr/lib/xorg/modules/drivers/dummy_drv.so")
OPERATOR, PROJECTOR = "DUMMY0", "DUMMY1"

LIGHT = """
import subprocess, sys, time
import numpy as np
from Xlib.display import Display
from overlay.window import run as window
from overlay.window.displays import Screen
from overlay.window.inputs import DisplayBack, DisplayLost, Tick

window._LOOK_EVERY = 0.1
frame = np.full((600, 800, 3), (1, 2, 250), dtype=np.uint8)
steps = [line.split() for line in sys.argv[1:]]

def red(x, y):
    root = Display().screen().root
    picture = root.get_image(x, y, 1, 1, 2, 0xFFFFFFFF)  # ZPixmap
    return picture.data[:3] == bytes((1, 2, 250))

def view(told):
    return frame

def update(told, happened):
    if isinstance(happened, (DisplayLost, DisplayBack)):
        print(type(happened).__name__, getattr(happened, "sentence", ""))
    elif isinstance(happened, Tick):
        step = steps[told]
        if step[0] == "see":
            print("lit" if red(int(step[1]), 5) else "dark", "at", step[1])
        else:
            subprocess.run(["xrandr", *step], check=True)
        return told + 1
    return told

def due(told):
    return begun + 0.6 * (told + 1)

begun = time.monotonic()
window.run(0, Screen((800, 600), 2), update=update, view=view, due=due,
           done=lambda told: told == len(steps))
print("left as asked")
"""


@pytest.fixture
def x_server(tmp_path, monkeypatch):
    if not (shutil.which("Xorg") and shutil.which("xrandr") and DRIVER.exists()):
        pytest.skip("needs Xorg with its dummy driver, and xrandr")
    (tmp_path / "xorg.conf").write_text(CONFIG)
    paths = ("-config", str(tmp_path / "xorg.conf"), "-logfile", str(tmp_path / "log"))
    with x_server_of(monkeypatch, "Xorg", *paths):
        set_up_outputs()
        yield


def set_up_outputs():
    for arguments in (
        ("--addmode", PROJECTOR, "800x600"),
        ("--output", OPERATOR, "--mode", "1024x768", "--pos", "0x0", "--primary"),
        ("--output", PROJECTOR, "--mode", "800x600", "--pos", "1024x0"),
    ):
        subprocess.run(["xrandr", *arguments], check=True)
    # Asked for the list, the driver looks which of its outputs count as connected.
    subprocess.run(["xrandr"], check=True, stdout=subprocess.DEVNULL)


def light(*steps):
    return run_program(LIGHT, *steps)


def test_unplugged_is_told_and_the_light_comes_back_to_the_same_projector(x_server):
    told = light(
        "see 1030",
        f"--output {PROJECTOR} --off",
        "see 5",
        # Plugged in again it becomes the main display, on the other side.
        f"--output {PROJECTOR} --mode 800x600 --pos 0x0 --primary --output {OPERATOR} --pos 800x0",
        "see 5",
        "see 805",
    )
    assert told == [
        "lit at 1030",
        f"DisplayLost Display 2 ({PROJECTOR}), the projector, is gone: check its cable and power; "
        "the light comes back by itself.",
        "dark at 5",
        "DisplayBack ",
        "lit at 5",
        "dark at 805",
        "left as asked",
    ]


def test_displays_moved_about_take_the_light_with_them(x_server):
    told = light(
        f"--output {PROJECTOR} --pos 0x0 --output {OPERATOR} --pos 800x0",
        "see 5",
        "see 805",
    )
    assert told == ["lit at 5", "dark at 805", "left as asked"]


def test_leaving_while_it_is_unplugged_ends_as_it_should(x_server):
    """The X server answers the leaving window with an error, which would end the program."""
    told = light(f"--output {PROJECTOR} --off")
    assert told == ["left as asked"]


def test_another_picture_size_is_told(x_server):
    subprocess.run(["xrandr", "--addmode", PROJECTOR, "640x480"], check=True)
    told = light(f"--output {PROJECTOR} --mode 640x480", f"--output {PROJECTOR} --off", "see 5")
    assert told[0].startswith(
        f"DisplayLost Display 2 ({PROJECTOR}) shows 640x480 and the rig was made for 800x600"
    )
    assert told[1].startswith(f"DisplayLost Display 2 ({PROJECTOR}), the projector, is gone")
