"""Render the sample photos anew: ``python sample_images/make_photos.py [FOLDER]``.

Takes about half a minute. The same source gives the same pictures up to rounding of
the libraries in use.
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np

from chalkbeam.simulator.rig import VirtualRig, write_photo
from chalkbeam.simulator.rig.stage import SAMPLE_PHOTOS, sample_rig

QUALITY = 88


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
        picture, orientation = upright(rig, index, rig.photo(index, lit))
        write_photo(
            picture,
            folder / name,
            make="Tern Harbour",
            model="Pocket camera",
            view=rig.shots[index].view,
            orientation=orientation,
            quality=QUALITY,
        )
        print(f"{name}: {(folder / name).stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
