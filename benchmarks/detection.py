"""What is found in photos of virtual rigs, how far it is from the truth, and how long it takes.

``python -m benchmarks.detection [--rigs 30] [--camera phone|webcam|both] [--first 2000]
[--raised]``

Each rig is drawn from its own seed (from 2000 on, not used while tuning), its photo is
rendered, JPEG-coded and searched. Errors are per axis, px of the photo, against the rig's
own camera: of the pattern's corners as they were reported, and of the crossing alone
(OpenCV's cornerSubPix from the same start). Card corners are compared after each card's
own affine map is taken away, since cards are laid with an error of 0.3 mm (with
``--raised``, on a 10 mm board, exactly: the board's own height would be off with them). Time
is of one core (CPU seconds from pixels to observation).
"""

from __future__ import annotations

import argparse
import sys
import time

import cv2
import numpy as np

from calibration.detect.corners import refine
from calibration.detect.markers import find_markers
from calibration.detect.observe import observe
from calibration.photo import channels
from calibration.photo.read import Photo
from calibration.refusal import Refusal
from calibration.targets.cards import layout
from calibration.targets.charuco import Family
from calibration.targets.pattern import Pattern
from chalkbeam.simulator.rig.rigs import VirtualRig, random_rig

SEARCH_SIDE = 1920
VIEWS = {
    "cards: red": (channels.red, Family.TAG_16H5),
    "cards: grey": (channels.grey, Family.TAG_16H5),
    "pattern: grey, evened": (
        lambda image: channels.equalised(channels.grey(image)),
        Family.TAG_36H11,
    ),
    "pattern: grey": (channels.grey, Family.TAG_36H11),
    "pattern: blue and green": (channels.light, Family.TAG_36H11),
}


def rms(errors: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(errors))))


def measured(rig: VirtualRig, camera: str, quality: int) -> dict[str, float] | str:
    """Return the figures of one photo, or the sentence it was refused with."""
    coded = cv2.imencode(".jpg", rig.photo(0), [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    photo = Photo(f"{camera} {rig.seed}", np.asarray(cv2.imdecode(coded, 1)), camera)
    cards, pattern = layout(rig.face), Pattern(rig.projector.view.size)
    height = rig.photos[0].spacer
    start = time.process_time()
    try:
        seen = observe(photo, cards, pattern, height)
    except Refusal as refusal:
        return str(refusal)
    seconds = time.process_time() - start

    def truth(pixels: np.ndarray) -> np.ndarray:
        return rig.camera_from_platen(0, rig.platen_from_projector(pixels, height), height)

    indices = np.array([corner.index for corner in seen.pattern])
    off = np.array([corner.pixel for corner in seen.pattern]) - truth(pattern.pixels(indices))
    lattice = pattern.lattices[0]
    rough = np.random.default_rng(rig.seed).normal(0, 0.5, 2)
    crossing, good = refine(
        channels.grey(photo.image),
        lambda p: truth(lattice.place(p)) + rough,
        lattice.charuco,
        indices,
    )
    bare = []
    for card in cards:
        ours = [corner for corner in seen.cards if corner.board == card.name]
        places = card.corners()[[corner.index for corner in ours]]
        there = rig.camera_from_platen(0, places, height)
        design = np.column_stack([there, np.ones(len(there))])
        pixels = np.array([corner.pixel for corner in ours])
        rest = pixels - design @ np.linalg.lstsq(design, pixels, rcond=None)[0]
        if len(ours) > 3:
            bare.append(np.sum(rest**2) / (2 * len(ours) - 6))
    return {
        "card corners": len(seen.cards),
        "pattern corners": len(seen.pattern),
        "pattern rms px": rms(off),
        "pattern worst px": float(np.abs(off).max()),
        "crossing alone rms px": rms(
            (crossing - truth(lattice.place(lattice.charuco.corners[indices])))[good]
        ),
        "cards rms px": float(np.sqrt(np.mean(bare))),
        "CPU s": seconds,
    } | read_by_view(photo)


def read_by_view(photo: Photo) -> dict[str, float]:
    """Return how many markers each view alone lets be read."""
    scale = min(1.0, SEARCH_SIDE / max(photo.size))
    return {
        name: len({m.id for m in find_markers(view(photo.image), family, scale)})
        for name, (view, family) in VIEWS.items()
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rigs", type=int, default=30)
    parser.add_argument("--first", type=int, default=2000)
    parser.add_argument("--camera", choices=["phone", "webcam", "both"], default="both")
    parser.add_argument("--raised", action="store_true", help="cards on a 10 mm board")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    for camera in ("phone", "webcam") if given.camera == "both" else (given.camera,):
        rows, refused = [], []
        for seed in range(given.first, given.first + given.rigs):
            photos = {"photos": 0, "raised": 1} if given.raised else {"photos": 1}
            rig = random_rig(seed, camera, laying=0.0 if given.raised else 0.3, **photos)
            result = measured(rig, camera, 92 if camera == "phone" else 85)
            if isinstance(result, str):
                refused.append(result)
            else:
                rows.append(result)
        print(f"\n{camera}: {len(rows)} of {given.rigs} photos used")
        for sentence in refused:
            print(f"  refused: {sentence}")
        for name in rows[0] if rows else ():
            values = [row[name] for row in rows]
            print(
                f"  {name:24} mean {np.mean(values):8.3f}  {min(values):8.3f} ... {max(values):.3f}"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
