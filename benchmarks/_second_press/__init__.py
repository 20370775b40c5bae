"""A second press, by simulation: its own cloth, lenses, light and camera.

It shares no code with the product's simulator nor with what reads the camera's pictures, so that
neither is measured against its own assumptions. Doors: `scene`, `burst`, `press`; and from the
command line ``python -m benchmarks._second_press``.
"""

from benchmarks._second_press.press import Press, from_above, press, press_of_rig, write_rig
from benchmarks._second_press.scene import KINDS, SHEETS, Scene, burst, scene, srgb_code

__all__ = [
    "KINDS",
    "SHEETS",
    "Press",
    "Scene",
    "burst",
    "from_above",
    "press",
    "press_of_rig",
    "scene",
    "srgb_code",
    "write_rig",
]
