import hashlib
import json
import math
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from calibration.targets.cards import NAMES, SQUARES, Card, draw, layout
from calibration.targets.charuco import Charuco, Family
from tests.support.render_photos import Bench

DATA = Path(__file__).parents[2] / "data"

# Usual platens, in: common practice, no source.
PLATENS = [
    PlatenFace(25.4 * width, 25.4 * depth)
    for width, depth in (
        (16, 20),
        (15, 15),
        (16, 16),
        (11, 15),
        (4, 16),
        (5, 18),
        (9, 12),
        (10, 12),
        (5, 5),
        (6, 6),
        (3.5, 6.5),
        (20, 25),
    )
]


@pytest.mark.parametrize("face", PLATENS, ids=lambda f: f"{f.width:.0f}x{f.depth:.0f}")
def test_four_cards_lie_flush_in_the_corners_named(face):
    cards = layout(face)
    assert tuple(card.name for card in cards) == NAMES
    for card in cards:
        outline = card.outline()
        x = -face.width / 2 if "left" in card.name else face.width / 2
        y = -face.depth / 2 if "front" in card.name else face.depth / 2
        assert np.isclose(outline[:, 0], x).sum() == 2  # one edge on the platen's edge
        assert np.isclose(outline[:, 1], y).sum() == 2
        assert (np.abs(outline) <= [face.width / 2 + 1e-9, face.depth / 2 + 1e-9]).all()
        # Top left, top right, bottom right, bottom left as the operator sees it.
        assert outline[0, 0] < outline[1, 0]
        assert outline[0, 1] > outline[3, 1]
    # Light falls between them: at least a tenth of the platen each way.
    size = cards[0].size
    assert 2 * size <= 0.93 * min(face.width, face.depth)


@pytest.mark.parametrize("face", PLATENS, ids=lambda f: f"{f.width:.0f}x{f.depth:.0f}")
@pytest.mark.parametrize("tilt", [20, 45])
def test_the_poorest_camera_has_four_pixels_a_module(face, tilt):
    """A 1080p webcam of 70° that just sees the whole platen, its longer side lengthways.

    Geometric mean of both directions on the farthest card. The 4 in wide platen leaves
    room for cards of 45 mm only and stays a little below.
    """
    azimuth = math.radians(-90 if face.depth <= face.width else 0) + 0.01
    bench = Bench(
        face=face,
        size=(1920, 1080),
        field_of_view=math.radians(70),
        tilt=math.radians(tilt),
        azimuth=azimuth,
        fill=0.95,
        k1=0.0,
    )
    modules = []
    for card in layout(face):
        outline = bench.camera_pixels(card.outline()).astype(np.float32)
        modules.append(math.sqrt(cv2.contourArea(outline)) / (card.size / card.module))
    assert min(modules) > (3.8 if min(face.width, face.depth) < 105 else 4.0)


def test_every_card_has_ids_of_its_own_and_an_arrangement_of_its_size():
    cards = layout(PLATENS[0])
    ids = [marker for card in cards for marker in card.charuco.markers]
    assert sorted(ids) == list(range(28))
    arrangements = {
        Card("front-left", 4, square, 0, (0.0, 0.0), 0.0, 4.5 * square).charuco.ids
        for square in SQUARES
    }
    assert len(arrangements) == len(SQUARES)


def test_a_board_is_drawn_as_opencv_draws_it():
    # Reference: cv2.aruco.CharucoBoard, which knows nothing of `Charuco`.
    charuco = Charuco(5, 4, Family.TAG_36H11, (7, 3, 100, 586, 0, 21, 22, 23, 24, 25))
    reference = cv2.aruco.CharucoBoard(
        (5, 4), 10.0, 8.0, Family.TAG_36H11.dictionary, np.array(charuco.ids, np.int32)
    )
    drawn = reference.generateImage((5 * 10, 4 * 10), marginSize=0)
    assert (drawn == charuco.raster).all()
    assert np.allclose(reference.getChessboardCorners()[:, :2], charuco.corners)
    for index, marker in enumerate(charuco.ids):
        ring = np.asarray(reference.getObjPoints()[index])[:, :2]
        assert np.allclose(ring, charuco.markers[marker])


def test_a_picture_s_edges_are_the_card_s_cut_edges():
    """Areas of ink, summed over the grey picture, are those of the geometry, at any scale."""
    card = layout(PLATENS[1])[2]
    coarse, fine = draw(card, 1.37), draw(card, 8.0)
    assert coarse.shape == (round(card.size * 1.37),) * 2
    for picture in (coarse, fine):
        n = len(picture)
        # The top left black square begins 2 modules in and is 8 modules wide, of 36.
        profile = 1 - picture[round(n * 4 / 36)].astype(float) / 255
        ink = profile[: round(n * 10 / 36)].sum() / n * 36
        start = 2.0 if "left" not in card.flush_sides() else 2.0 + 0.5
        assert ink == pytest.approx(8.0 + start - 2.0, abs=0.1)


def test_corners_are_where_the_picture_has_them():
    card = layout(PLATENS[0])[1]
    picture = draw(card, 5.0)
    top_left, _, bottom_right, _ = card.outline()
    # Platen mm to picture px: the outline spans the outer pixel edges.
    pixels = (card.corners() - top_left) / (bottom_right - top_left) * len(picture) - 0.5
    start = (pixels + np.array([0.9, -0.7])).astype(np.float32).reshape(-1, 1, 2)
    found = cv2.cornerSubPix(picture, start, (8, 8), (-1, -1), (3, 50, 1e-3)).reshape(-1, 2)
    # cornerSubPix itself is good to a few hundredths on a picture of pure steps.
    assert np.abs(found - pixels).max() < 0.06
    assert len(pixels) == 9


def test_an_independent_reader_reads_every_card():
    # Source: tests/data/apriltag_reading.json, see its "source".
    reading = json.loads((DATA / "apriltag_reading.json").read_text())
    for card in layout(PlatenFace(406.0, 508.0)):
        read = {row["id"]: np.array(row["corners"]) for row in reading["cards"][card.name]}
        assert set(read) == set(card.charuco.markers)
        scale = len(draw(card, 6.0)) / (card.size / card.module)
        for marker, ring in card.charuco.markers.items():
            drawn = (ring + 2) * scale  # from the outer pixel edge, as that reader counts
            apart = np.linalg.norm(read[marker][:, None] - drawn, axis=2).min(axis=0)
            assert apart.max() < 0.35


def test_too_small_a_platen_is_refused_with_what_to_do():
    with pytest.raises(Refusal, match=r"too small for four cards.*flat board"):
        layout(PlatenFace(60, 200))
    with pytest.raises(Refusal, match="not a number"):
        layout(PlatenFace(math.nan, 200))


def test_cards_printed_once_stay_good():
    # Frozen: sheets printed by the first version must be read, and lie right, for ever.
    whole = hashlib.sha256()
    for face in (PlatenFace(406.4, 508.0), PlatenFace(127, 127), PlatenFace(254, 254)):
        for card in layout(face):
            whole.update(repr((card.name, card.charuco.ids, card.square, card.size)).encode())
            whole.update(np.round(card.corners(), 6).tobytes())
    assert whole.hexdigest()[:16] == "05806b4c2a1b8ce3"
