"""Rigs for tests and benchmarks of what needs one: with the observations that a real one holds."""

import functools
from dataclasses import replace
from pathlib import Path

from calibration.geometry import PlatenFace
from calibration.rig.file import load, save
from tests.support.oblique_projector import oblique_map

FACE = PlatenFace(406.4, 508.0, 15.0)


@functools.cache
def demo_rig(size=(1920, 1080)):
    """Return the demo's rig; for a picture of another size than its own, the map is scaled.

    tests/data/demo-rig.json was written by the program itself, from the sample photos:

        cd sample_images && chalkbeam calibrate flat-1.jpg flat-2.jpg flat-3.jpg
            --raised 10mm raised-10mm.jpg --platen 16x20in --size 1920x1080
            --name "Tern Harbour press" --out ../tests/data/demo-rig.json
    """
    rig = load(Path(__file__).parents[1] / "data" / "demo-rig.json")
    by, lens = size[0] / rig.projector.size[0], rig.projector.pinhole
    scaled = replace(
        lens, focal=by * lens.focal, cx=by * (lens.cx + 0.5) - 0.5, cy=by * (lens.cy + 0.5) - 0.5
    )
    return replace(rig, projector=replace(rig.projector, size=size, pinhole=scaled))


def make_rig(size=(640, 360), name="bench press", face=FACE):
    """Return a rig whose projector covers the platen obliquely, with the demo's observations."""
    projector = oblique_map(size, tilt=0.6, turn=0.15, roll=0.0, distance=1200, throw=1.15)
    return replace(demo_rig(), name=name, face=face, projector=projector)


def save_rig(path, **options):
    """Write such a rig to a file and return it."""
    rig = make_rig(**options)
    save(rig, path)
    return rig
