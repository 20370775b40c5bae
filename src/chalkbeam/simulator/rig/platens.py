"""Another platen on the post of a press in software: the projector stays where it is."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from calibration.geometry import PlatenFace
from chalkbeam.simulator.rig.optics import rotation_vector
from chalkbeam.simulator.rig.rigs import VirtualRig, random_rig


def with_other_platen(
    rig: VirtualRig, face: PlatenFace, middle: tuple[float, float, float], turn: float, seed: int
) -> VirtualRig:
    """Return the press with another platen, all of it in that platen's frame, and one photo of it.

    Parameters
    ----------
    rig : VirtualRig
    face : PlatenFace
    middle : (x, y, z)
        Where the middle of its face is, in the frame of the press's own platen, mm.
    turn : float
        Counter-clockwise, radians.
    seed : int
        Decides the photo and how the cards lie.
    """
    c, s = math.cos(turn), math.sin(turn)
    turned = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    view = rig.projector.view
    x, y, z = (float(v) for v in turned.T @ (np.array(view.position) - middle))
    moved = replace(view, turn=rotation_vector(view.rotation @ turned), position=(x, y, z))
    other = random_rig(seed, photos=1, face=face, laying=0.2)
    return replace(other, projector=replace(rig.projector, view=moved), room=rig.room)
