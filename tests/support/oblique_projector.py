"""An oblique projector above the platen, for tests."""

import cv2
import numpy as np

from calibration.model.pinhole import Pinhole
from calibration.model.projector import ProjectorMap


def oblique_map(
    size=(960, 540), tilt=0.55, turn=0.2, roll=0.05, distance=900.0, k1=-0.04, throw=1.2
):
    """Return the map of a projector `tilt` radians off the platen's normal, pointing at its middle.

    Its lens is turned by `turn` around the platen's normal and by `roll` around its own
    axis; `throw` is distance over picture width.
    """
    away = np.array([np.sin(tilt) * np.sin(turn), np.sin(tilt) * np.cos(turn), np.cos(tilt)])
    axis = -away
    # The picture's right is the operator's right, wherever the projector hangs.
    right = np.cross(axis, [0.0, 1.0, 0.0])
    right /= np.sqrt(right @ right)
    rotation = np.stack([right, np.cross(axis, right), axis])
    c, s = np.cos(roll), np.sin(roll)
    rotation = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ rotation
    rx, ry, rz = cv2.Rodrigues(rotation)[0].ravel()
    tx, ty, tz = -rotation @ (away * distance)
    width, height = size
    pinhole = Pinhole(
        width * throw, (width - 1) / 2, (height - 1) / 2, k1,
        rx=rx, ry=ry, rz=rz, tx=tx, ty=ty, tz=tz,
    )  # fmt: skip
    return ProjectorMap(size, pinhole)
