"""Detection on the virtual rig, whose truth is known; and on real photos where there are any."""

import os
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.detect import plane_view
from calibration.detect.corners import align
from calibration.detect.observe import observe
from calibration.geometry import PlatenFace
from calibration.photo import channels
from calibration.photo.read import Photo, read_photo
from calibration.refusal import Refusal
from calibration.targets.cards import layout
from calibration.targets.charuco import Charuco, Family
from calibration.targets.pattern import Pattern
from chalkbeam.simulator.rig.rigs import random_rig

PHOTOS = Path(os.environ.get("CHALKBEAM_REAL_PHOTOS", "real-photos"))
real = pytest.mark.skipif(
    not PHOTOS.exists(), reason="CHALKBEAM_REAL_PHOTOS names no folder of real photos"
)


@pytest.mark.parametrize(
    ("camera", "seed", "scale"),
    [
        ("webcam", 501, 1.0),
        pytest.param("webcam", 502, 1.0, marks=pytest.mark.proof),
        pytest.param("phone", 503, 0.5, marks=pytest.mark.proof),
    ],
)
def test_corners_on_virtual_rigs(camera, seed, scale):
    rig = random_rig(seed, camera, photos=1, scale=scale)
    coded = cv2.imencode(".jpg", rig.photo(0), [cv2.IMWRITE_JPEG_QUALITY, 90])[1]
    photo = Photo("rig.jpg", cv2.imdecode(coded, cv2.IMREAD_COLOR), "rig")
    cards, pattern = layout(rig.face), Pattern(rig.projector.view.size)
    seen = observe(photo, cards, pattern)
    assert len(seen.cards) >= 34
    assert len(seen.pattern) > 50
    places = {card.name: card.corners() for card in cards}
    truth = rig.camera_from_platen(0, [places[c.board][c.index] for c in seen.cards])
    off = np.array([c.pixel for c in seen.cards]) - truth
    assert np.sqrt(np.mean(off**2)) < 0.08
    lit = rig.platen_from_projector(pattern.pixels([c.index for c in seen.pattern]))
    off = np.array([c.pixel for c in seen.pattern]) - rig.camera_from_platen(0, lit)
    assert np.sqrt(np.mean(off**2)) < 0.05
    assert np.abs(off).max() < 0.3


@real
def test_alignment_on_real_photos_beats_the_crossing_alone():
    """13 photos of a 25 mm chessboard, Debian package opencv-doc 4.6.0 (see NOTE.md there).

    Published calibration: fx = fy = 535.92 px, mean error 0.39 px (left_intrinsics.yml).
    """
    charuco = Charuco(10, 7, Family.TAG_36H11, (None,) * 35)
    rings = np.column_stack([charuco.corners / charuco.square * 25, np.zeros(54)]).astype(
        np.float32
    )
    crossings, aligned = [], []
    for path in sorted((PHOTOS / "opencv_stereo_chessboard").glob("left*.jpg")):
        view = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        found, rough = cv2.findChessboardCorners(view, (9, 6))
        assert found
        crossing = cv2.cornerSubPix(view, rough, (5, 5), (-1, -1), (3, 40, 1e-3)).reshape(-1, 2)
        # The finder does not say which end is the dark corner: the better agreement does.
        tries = []
        for order in (crossing, crossing[::-1]):
            shape = plane_view.fit(charuco.corners, order, (640, 480))
            pixels, agreement = align(view, shape, charuco, np.arange(54), order.astype(float))
            tries.append((float(np.nanmedian(agreement)), pixels, order))
        _, pixels, order = max(tries, key=lambda each: each[0])
        crossings.append(order)
        aligned.append(pixels)
    results = [
        cv2.calibrateCamera(
            [rings] * len(points),
            [p.astype(np.float32).reshape(-1, 1, 2) for p in points],
            (640, 480),
            None,
            None,
        )
        for points in (crossings, aligned)
    ]
    assert results[1][0] < 0.9 * results[0][0]
    assert results[1][1][0, 0] == pytest.approx(535.92, rel=0.01)


@real
@pytest.mark.parametrize(
    "name",
    [
        "aruco_gridboard_webcam/0.jpg",
        "opencv_doc_markers/choriginal.jpg",
        "opencv_doc_markers/gboriginal.png",
        "opencv_doc_markers/singlemarkersoriginal.jpg",
    ],
)
def test_real_photos_of_other_markers_hold_no_cards(name):
    photo = read_photo(PHOTOS / name)
    with pytest.raises(Refusal, match=r"No cards are seen|blurred"):
        observe(photo, layout(PlatenFace(406, 508)), Pattern((1920, 1080)))


@real
def test_real_photos_of_other_markers_are_not_taken_for_ours():
    from calibration.detect.markers import find_markers

    ours = 0
    for path in sorted((PHOTOS / "aruco_gridboard_webcam").glob("*.jpg")):
        view = channels.grey(read_photo(path).image)
        ours += len(find_markers(view, Family.TAG_36H11))
    assert ours == 0
