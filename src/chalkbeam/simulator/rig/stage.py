"""The rig of the demo and what a bystander sees of it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.model.pinhole import Pinhole
from calibration.model.projector import ProjectorMap
from chalkbeam.placement.platens import Platen
from chalkbeam.simulator.rig.arrays import U8
from chalkbeam.simulator.rig.cloth import Cloth
from chalkbeam.simulator.rig.optics import Lens, look_at
from chalkbeam.simulator.rig.rigs import VirtualRig, random_rig, render_photo
from chalkbeam.simulator.rig.scene import PressScene, RoomLight
from chalkbeam.simulator.rig.sensor import Sensor

SAMPLE_SEED = 7
"""Of the rig in sample_images/: its projector stands 33° off the normal, to the left."""

SAMPLE_SPACER = 10.0
"""Height of the spacer in the raised sample photo, mm."""

SAMPLE_PHOTOS = ("flat-1.jpg", "flat-2.jpg", "flat-3.jpg", "raised-10mm.jpg")
"""File names of the sample photos: cards on the bare platen, and on the spacer."""

_DARKEST_WHITE = 0.065
"""The eye adapts to dark cloth only so far: what it then takes for white."""
_EYE = (70.0, -470.0, 930.0)
_DIM = RoomLight(level=0.14, tint=(0.93, 1.0, 1.05), lamp=(-0.5, 0.5, 1.0), gradient=(-0.35, 0.25))


def sample_rig() -> VirtualRig:
    """Return the rig whose photos lie in sample_images/: cards laid by hand, on real paper."""
    return random_rig(
        SAMPLE_SEED, "phone", photos=3, raised=1, laying=0.2, paper=0.1, spacer=SAMPLE_SPACER
    )


def bystander(size: tuple[int, int] = (1600, 1200)) -> Lens:
    """Return the view of somebody who stands where the operator stands."""
    return Lens(
        size=size,
        focal=1.0 * size[0],
        centre=(size[0] / 2 - 0.5, size[1] / 2 - 0.5),
        turn=look_at(_EYE, (0.0, -12.0, 0.0)),
        position=_EYE,
    )


def show(
    rig: VirtualRig,
    platen: Platen,
    cloth: Cloth | None,
    frame: NDArray[np.uint8] | None,
    size: tuple[int, int] = (1600, 1200),
) -> U8:
    """Return a picture of the platen in dim light while the projector shows `frame`.

    Parameters
    ----------
    rig : VirtualRig
    platen : Platen
    cloth : Cloth or None
        A garment on it.
    frame : uint8 array, shape (h, w, 3), BGR, or None
        What the projector shows, in its own pixels.
    size : (int, int)
        Of the picture, px.
    """
    scene = PressScene(face=platen.face, cover=False, pad=platen.pad, cloth=cloth, room=_DIM)
    lamp = replace(rig.projector.lamp, brightness=1.0)
    cloth_white = (
        0.8 if cloth is None else float(np.median(cloth.picture.colour[..., :3]) / 255) ** 2
    )
    sensor = Sensor(
        blur=0.6,
        vignette=0.5,
        full_well=40000.0,
        read_noise=3.0,
        white=max(_DARKEST_WHITE, 0.31 * cloth_white),
    )
    projector = replace(rig.projector, lamp=lamp)
    return render_photo(scene, bystander(size), sensor, projector, frame, seed=1)


def tilt(rig: VirtualRig) -> float:
    """Return how far the projector stands off the platen's normal, radians."""
    position = np.array(rig.projector.view.position)
    return math.acos(float(position[2] / np.linalg.norm(position)))


def perfect_map(rig: VirtualRig) -> ProjectorMap:
    """Return the map that a calibration without any error would find."""
    view = rig.projector.view
    rx, ry, rz = view.turn
    tx, ty, tz = (float(value) for value in -view.rotation @ np.array(view.position))
    lens = Pinhole(
        view.focal, *view.centre, view.k1, view.k2, rx=rx, ry=ry, rz=rz, tx=tx, ty=ty, tz=tz
    )
    return ProjectorMap(view.size, lens)
