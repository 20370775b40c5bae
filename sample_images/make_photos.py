"""Render the sample photos anew: ``python sample_images/make_photos.py [FOLDER]``.

Takes about half a minute. The same source gives the same pictures up to rounding of
the libraries in use.
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np

from calibration.geometry import PlatenFace
from chalkbeam.simulator.rig import VirtualRig, write_photo
from chalkbeam.simulator.rig.platens import with_other_platen
from chalkbeam.simulator.rig.stage import SAMPLE_PHOTOS, sample_rig
from chalkbeam.simulator.rig.texture import LitFrame

QUALITY = 88
SLEEVE = PlatenFace(127.0, 457.2, 15.0)
"""The platen of `sleeve.jpg`, on the same post: 5 x 18 in."""


def upright(rig: VirtualRig, shot: int, picture: np.ndarray) -> tuple[np.ndarray, int]:
    """Turn a picture as a phone's tilt sensor would; return it with its EXIF orientation."""
    (x0, y0), (x1, y1) = rig.camera_from_platen(shot, [[0.0, 0.0], [0.0, 100.0]])
    if abs(y1 - y0) >= abs(x1 - x0):
        if y1 < y0:
            return picture, 1
        return cv2.rotate(picture, cv2.ROTATE_180), 3
    if x1 > x0:
        return cv2.rotate(picture, cv2.ROTATE_90_COUNTERCLOCKWISE), 8
    return cv2.rotate(picture, cv2.ROTATE_90_CLOCKWISE), 6


def main() -> None:
    """Write every photo."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent
    folder.mkdir(parents=True, exist_ok=True)
    rig = sample_rig()
    lit = rig.lit_pattern()
    for index, name in enumerate(SAMPLE_PHOTOS):
        write(rig, index, lit, folder / name)
    sleeve = with_other_platen(rig, SLEEVE, (8.0, -20.0, 22.0), 0.01, seed=5)
    write(sleeve, 0, lit, folder / "sleeve.jpg")


def write(rig: VirtualRig, index: int, lit: LitFrame, path: Path) -> None:
    """Write one photo."""
    picture, orientation = upright(rig, index, rig.photo(index, lit))
    write_photo(
        picture,
        path,
        make="Tern Harbour",
        model="Pocket camera",
        view=rig.photos[index].view,
        orientation=orientation,
        quality=QUALITY,
    )
    print(f"{path.name}: {path.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
