"""Is the light still where the rig has it? A few dots on the bare platen tell."""

from __future__ import annotations

import numpy as np

from calibration.detect.known_light import EDGE, dots, on_face
from calibration.geometry import Isometry
from calibration.model.platen_surface import land
from calibration.model.uncertainty import over_platen
from calibration.rig.eye import dot_radius, eye_of
from calibration.rig.file import Rig
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.flashes import dots_of
from chalkbeam.eye.values import RigSeen

LIMIT = 0.6
"""Movement at the worst point of the platen that is told, mm: well over what dots repeat to
(0.03 mm), well under the millimetre that must be told."""

_ENOUGH = 8


def check_dots(rig: Rig, empty: Burst) -> RigSeen:
    """Compare the dots on the bare platen with where rig and eye expect them.

    Camera, projector and platen cannot be told apart by it: something of them moved.

    Parameters
    ----------
    rig : Rig
        With its eye.
    empty : Burst
        Of the bare platen.
    """
    camera = eye_of(rig).camera
    if not empty.has("dots"):
        return RigSeen(None, "cannot see", "The burst of the empty platen has no dots.")
    places = dots_of(rig.projector)
    landed = rig.projector.platen_from_projector(places)
    landed = landed[on_face(landed, rig.face, 2 * EDGE)]
    expected = camera.project(rig.projector.bow.at(landed))
    light = empty.light("dots").mean(axis=2)
    pixels, found = dots(light, expected, dot_radius(expected))
    if found.sum() < _ENOUGH:
        return RigSeen(
            None,
            "cannot see",
            f"Only {found.sum()} dots are seen on the empty platen: clear it and uncover the "
            "camera.",
        )
    seen = land(camera, pixels[found], 0.0, rig.projector.bow)
    shift = seen - landed[found]
    off = np.linalg.norm(shift - np.median(shift, axis=0), axis=1)
    near = off <= max(4 * float(np.median(off)), 0.5)
    moved = Isometry.nearest(landed[found][near], seen[near])
    grid = over_platen(rig.face, 50.0)
    most = float(np.linalg.norm(moved.apply(grid) - grid, axis=1).max())
    if most <= LIMIT:
        return RigSeen(most, "unchanged", f"The light is within {most:.1f} mm of where it was.")
    return RigSeen(
        most,
        "moved",
        f"Camera, projector or platen moved by {most:.1f} mm: check the rig, then fit its eye "
        "anew.",
    )
