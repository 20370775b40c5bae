"""A press filmed by its fixed camera, and things to put on it, for tests of the eye at work."""

import functools
import math
from dataclasses import replace

import numpy as np

from calibration.geometry import Isometry, PlatenFace, rectangle
from calibration.model.eye import Eye
from chalkbeam.garments import garment
from chalkbeam.simulator.press.film import Film, FilmedBy
from chalkbeam.simulator.press.stage import Arm, LaidGarment, LaidSheet, Stage
from tests.support.eye_scene import camera
from tests.support.oblique_projector import oblique_map
from tests.support.rigs import demo_rig

SIZE = (1280, 720)
FPS = 12.0
NAVY, WHITE, GREY = (0.02, 0.025, 0.06), (0.75, 0.75, 0.74), (0.11, 0.11, 0.11)


@functools.cache
def rig_with_eye():
    """Return a rig whose fixed camera stands beside the projector."""
    zero = tuple((0.0,) * 15 for _ in range(15)), tuple((0.0,) * 20 for _ in range(15))
    seen = camera(SIZE, view=0.72, distance=1050.0, k1=-0.02)
    eye = Eye(seen, SIZE, *zero, 0.1, 100, 100, (), (0.1, 0.1, 0.1))
    projector = oblique_map(
        (960, 540), tilt=0.35, turn=0.0, roll=0.0, distance=1200, throw=1.15, k1=0.0
    )
    return replace(demo_rig(), face=PlatenFace(406.4, 508.0, 15.0), projector=projector, eye=eye)


def film(**by):
    """Return a film of that press."""
    rig = rig_with_eye()
    return Film(rig.eye.camera, rig.eye.size, rig.projector, rig.face, FilmedBy(**by))


def shirt(colour=NAVY, x=0.0, y=12.7, degrees=0.0, size="L"):
    """Return a crew tee that lies with its neck seam `y` mm over the platen's far edge."""
    pose = Isometry(x, 254.0 + y, math.radians(degrees), mirrored=True)
    return LaidGarment(garment("crew_tee", size), "front", colour, pose)


def sheet(x=90.0, y=150.0, size=(110.0, 80.0), cover=1.0):
    """Return a paper sheet with an oval of red ink."""
    rows, columns = np.mgrid[-1:1:40j, -1:1:60j]
    middle = np.array([x, y])

    def corners(scale):
        return rectangle(size[0] * scale, size[1] * scale)[::-1] * (-1, 1) + middle

    return LaidSheet(corners(1.0), rows**2 + columns**2 < 1, corners(0.8), (0.6, 0.05, 0.05),
                     cover=cover)  # fmt: skip


def arm(x=40.0, y=60.0):
    """Return an arm that reaches in from the operator's side."""
    return Arm((x + 120.0, -620.0), (x, y))


def watched(watch, filmed, stage, start, seconds, frame=None):
    """Let a watch look at a stage for a while; return its glances and when that ends."""
    filmed.stage(stage, start)
    filmed.show(frame, start)
    watch.lit_by(frame, start)
    glances = []
    at = start
    while at < start + seconds:
        at += 1 / FPS
        glances.append(watch.look(filmed.picture(at), at))
    return glances, at


EMPTY = Stage()
