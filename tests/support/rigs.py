"""A rig on file for tests of the windows and commands that need one."""

from calibration.geometry import PlatenFace
from calibration.rig.file import Rig, save
from calibration.solve.values import MapFit, frozen_matrix
from tests.support.oblique_projector import oblique_map

FACE = PlatenFace(406.4, 508.0, 15.0)


def make_rig(size=(640, 360), name="bench press", face=FACE):
    """Return a rig whose projector covers the platen obliquely."""
    projector = oblique_map(size, tilt=0.6, turn=0.15, roll=0.0, distance=1200, throw=1.15)
    nothing = frozen_matrix([[0.0] * 15 for _ in range(15)])
    return Rig(name, face, projector, MapFit("pinhole", "stated", nothing, 0.0, 0))


def save_rig(path, **options):
    """Write such a rig to a file and return it."""
    rig = make_rig(**options)
    save(rig, path)
    return rig
