"""Where the garment lies, on pictures drawn flat with OpenCV alone: the lay drawn is the truth."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.geometry import Isometry, PlatenFace, Points
from calibration.model.pinhole import Pinhole
from calibration.model.projector import ProjectorMap
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.cutout import cloth_points
from chalkbeam.eye.garment import GarmentFound, find_garment
from chalkbeam.eye.judges import Word, doubts
from chalkbeam.eye.lines import evidence
from chalkbeam.eye.moving import how_to_move
from chalkbeam.eye.net import net_of
from chalkbeam.eye.outline import JUDGES, pieces_of
from chalkbeam.eye.pose import Fit, Lay
from chalkbeam.eye.unroll import in_space, unroll
from chalkbeam.garments import Garment, garment

PLATEN = PlatenFace(406.4, 508.0, 12.0)
DENSITY = 2.0
SIZE = (1000, 1300)


def straight_down(size: tuple[int, int], density: float) -> Pinhole:
    """A lens above the platen's middle; the picture's x is the platen's x, its y runs to you."""
    height = 1500.0
    lens = Pinhole(density * height, (size[0] - 1) / 2, (size[1] - 1) / 2)
    return lens.moved(np.diag([1.0, -1.0, -1.0]), np.array([0.0, 0.0, height]))


CAMERA = straight_down(SIZE, 1.4)
PROJECTOR = ProjectorMap((1200, 1500), straight_down((1200, 1500), 1.5))


def picture(
    piece: Garment,
    face: str,
    lay: Isometry,
    cloth: float,
    bench: float,
    patch: bool = False,
) -> NDArray[np.uint8]:
    """Draw a garment from its drawing: cloth, seams as dark grooves, rib, noise of a camera."""
    drawn = piece.face(face)
    image = np.full(SIZE[::-1], bench, np.float32)

    def fill(points: Points, value: float) -> None:
        flat = lay.apply(points)
        pixels = CAMERA.project(np.column_stack([flat, np.zeros(len(flat))]))
        cv2.fillPoly(image, [np.rint(pixels * 16).astype(np.int32)], value, cv2.LINE_AA, 4)

    def groove(points: Points, closed: bool) -> None:
        flat = lay.apply(points)
        pixels = CAMERA.project(np.column_stack([flat, np.zeros(len(flat))]))
        fixed = np.rint(pixels * 16).astype(np.int32)
        cv2.polylines(image, [fixed], closed, cloth * 0.72, 2, cv2.LINE_AA, 4)

    for line in drawn.lines:
        if line.fill == "cloth":
            fill(line.points, cloth)
    fill(drawn.outline, cloth)
    for line in drawn.lines:
        if line.fill == "inside":
            fill(line.points, cloth * 0.5)
        elif line.fill == "rib":
            fill(line.points, cloth * 0.94)
        groove(line.points, line.closed)
    if patch:
        fill(np.array([[-140.0, -110.0], [140.0, -110.0], [140.0, 40.0], [-140.0, 40.0]]), cloth)
    image = cv2.GaussianBlur(image, (0, 0), 0.8)
    noise = np.random.default_rng(4).normal(0, 0.004, image.shape)
    coded = np.clip(image + noise, 0, 1) ** (1 / 2.2) * 255
    return np.repeat(np.rint(coded).astype(np.uint8)[..., None], 3, axis=2)


def found(
    piece: Garment,
    lay: Isometry,
    face: str = "front",
    *,
    cloth: float = 0.5,
    bench: float = 0.1,
    patch: bool = False,
    drawn: Garment | None = None,
    others: tuple[tuple[Garment, str], ...] = (),
) -> GarmentFound:
    lit = picture(drawn or piece, face, lay, cloth, bench, patch)
    burst = Burst("here", {"dark": np.zeros_like(lit), "white": lit})
    points = measured(drawn or piece, face, lay)
    return find_garment(burst, points, CAMERA, PROJECTOR, PLATEN, piece, face, others=others)


def measured(piece: Garment, face: str, lay: Isometry) -> Points:
    """Return points on the drawn cloth, 4 mm apart, as lines of light would give them."""
    drawn = piece.face(face)
    x, y = np.meshgrid(np.arange(-400.0, 401, 4), np.arange(-150.0, 801, 4))
    spots = np.column_stack([x.ravel(), y.ravel()])
    shapes = [drawn.outline, *(line.points for line in drawn.lines if line.closed)]
    inside = np.zeros(x.shape, np.uint8)
    for shape in shapes:
        cv2.fillPoly(inside, [np.rint((shape - (-400, -150)) / 4).astype(np.int32)], 1)
    flat = lay.apply(spots[inside.ravel() > 0])
    return np.column_stack([flat, np.zeros(len(flat))])


@pytest.fixture(scope="module")
def tee() -> Garment:
    return garment("crew_tee", "S")


@pytest.mark.parametrize(
    ("face", "cloth", "bench", "lay"),
    [
        ("front", 0.6, 0.1, Isometry(14.0, 238.0, math.radians(4.0), mirrored=True)),
        ("front", 0.05, 0.3, Isometry(-20.0, 251.0, math.radians(-6.0), mirrored=True)),
        ("back", 0.4, 0.1, Isometry(5.0, 247.0, math.radians(2.5), mirrored=True)),
    ],
)
def test_the_lay_that_was_drawn_is_found(
    tee: Garment, face: str, cloth: float, bench: float, lay: Isometry
) -> None:
    result = found(tee, lay, face, cloth=cloth, bench=bench)
    seen = result.garment
    assert seen.sure, seen.why
    assert seen.neck == pytest.approx((lay.x, lay.y), abs=1.0)
    assert seen.centre_line == pytest.approx(lay.angle, abs=math.radians(0.3))
    assert seen.lower == pytest.approx(tuple(lay.apply([[0.0, 300.0]])[0]), abs=1.5)
    assert result.platen_from_garment is not None
    assert result.platen_from_garment.mirrored
    assert result.size.half_chest == pytest.approx(tee.measures["half_chest"].value, rel=0.015)


def test_a_hidden_collar_is_never_sure(tee: Garment) -> None:
    lay = Isometry(0.0, 245.0, 0.0, mirrored=True)
    seen = found(tee, lay, patch=True).garment
    assert not seen.sure
    assert "the shoulders and armholes" in seen.why


def test_nothing_is_known_where_a_sheet_covers_the_cloth() -> None:
    x, y = np.meshgrid(np.arange(-200.0, 201, 6), np.arange(-250.0, 251, 6))
    cloth = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    flat = unroll(net_of(cloth, CAMERA, PLATEN), PLATEN, CAMERA, SIZE, PROJECTOR)
    light = np.full(SIZE[::-1], 0.4, np.float32)
    corners = np.array([(-80.0, -60.0), (80.0, -60.0), (80.0, 60.0), (-80.0, 60.0)])
    sheet = Isometry(10.0, 40.0, math.radians(-20.0)).apply(corners)

    def known(at: Points, covered: Points | None) -> NDArray[np.bool_]:
        column, row = np.rint(flat.cells(at)).astype(int).T
        return np.asarray(evidence(flat, light, PLATEN, covered).known[row, column] > 0)

    within = sheet.mean(axis=0) + 0.95 * (sheet - sheet.mean(axis=0))
    beside = sheet.mean(axis=0) + 1.1 * (sheet - sheet.mean(axis=0))
    assert known(within, None).all()
    assert not known(within, sheet).any()
    assert known(beside, sheet).all()


def test_a_bare_bench_is_not_sure(tee: Garment) -> None:
    lit = np.full((SIZE[1], SIZE[0], 3), 90, np.uint8)
    burst = Burst("here", {"dark": np.zeros_like(lit), "white": lit})
    seen = find_garment(burst, np.zeros((0, 3)), CAMERA, PROJECTOR, PLATEN, tee, "front").garment
    assert not seen.sure


def test_another_size_is_never_taken_for_the_one_asked_for(tee: Garment) -> None:
    lay = Isometry(0.0, 245.0, math.radians(1.0), mirrored=True)
    large = garment("crew_tee", "L")
    result = found(tee, lay, drawn=large, others=((large, "front"),))
    assert not result.garment.sure
    assert "looks like L, the order says S" in result.garment.why
    assert not result.size.sure


def test_hanging_cloth_is_unrolled_by_its_arc() -> None:
    # A plane at 45 degrees: 30 mm along it lie 30 / sqrt(2) mm out (Pythagoras).
    x, y = np.meshgrid(np.arange(-190.0, 191, 4), np.arange(-240.0, 341, 4))
    z = -np.maximum(y - 254.0, 0.0)
    net = net_of(np.column_stack([x.ravel(), y.ravel(), z.ravel()]), CAMERA, PLATEN)
    at = in_space(net, (10.0, 254.0 + 30.0))
    assert at == pytest.approx((10.0, 254.0 + 30.0 / math.sqrt(2)), abs=0.8)
    assert in_space(net, (10.0, 200.0)) == pytest.approx((10.0, 200.0))


def test_cloth_over_a_round_corner_keeps_its_lengths() -> None:
    # Cloth that hangs from a cylinder along the diagonal: the flat strip rolls off it unstretched.
    away = np.linspace(0.0, 80.0, 21)
    along = np.linspace(-300.0, 300.0, 121)
    s, t = np.meshgrid(away, along)
    angle = np.minimum(s / 60.0, 0.9)
    out = 60.0 * np.sin(angle) + (s - 60.0 * angle) * np.cos(angle)
    down = 60.0 * (1 - np.cos(angle)) + (s - 60.0 * angle) * np.sin(angle)
    slant = math.sqrt(0.5)
    # The fold's line cuts the platen's far right corner.
    corner = np.array([203.2, 254.0]) - 30.0
    x = corner[0] + slant * out + slant * t
    y = corner[1] + slant * out - slant * t
    points = np.column_stack([x.ravel(), y.ravel(), -down.ravel()])
    lies = np.stack(np.meshgrid(np.arange(-200.0, 200, 6), np.arange(-250.0, 250, 6)), -1)
    lies = lies.reshape(-1, 2)
    lies = lies[(lies - corner).sum(axis=1) < 0]
    net = net_of(np.vstack([points, np.column_stack([lies, np.zeros(len(lies))])]), CAMERA, PLATEN)
    one, other, third = net.triangles.T
    for a, b in ((one, other), (other, third)):
        true = np.linalg.norm(net.space[a] - net.space[b], axis=1)
        flat = np.linalg.norm(net.flat[a] - net.flat[b], axis=1)
        assert np.percentile(np.abs(flat - true), 90) < 0.5


def _knowing(spread: float) -> Fit:
    """A lay that knows its place so well, mm, and its turn for good."""
    covariance = np.diag([spread**2, spread**2, 1e-9, 1e-9, 1e-9, 1e-9])
    return Fit(Lay(), np.zeros(26), covariance, 1.0, 50, 0.0, 0.0, np.ones(50, bool))


def _word(spread: float, apart: float, turn: float = 0.0, joint: float = 0.5) -> Word:
    whole = (joint, joint, joint, 1e-5)
    return Word("collar", _knowing(spread), (0.0, apart, 0.0), math.radians(turn), whole)


def test_judges_who_know_agree_strictly() -> None:
    assert _word(1.0, 2.9).agrees
    assert not _word(1.0, 3.1).agrees
    assert not _word(1.5, 3.1).agrees
    assert not _word(1.0, 0.0, turn=0.8).agrees


def test_judges_who_know_little_may_differ_by_as_little_as_they_err() -> None:
    assert _word(2.8, 5.0).agrees
    assert not _word(2.8, 7.2).agrees
    assert not _word(2.8, 3.5, joint=2.7).agrees  # the whole knows no more: why do they differ?


@pytest.mark.parametrize("spread", [0.5, 1.6, 3.0, 4.5, 6.0])
def test_a_gross_mistake_is_never_agreed_with(spread: float) -> None:
    """A rib's edge is 15 mm and more from its seam; judges err by two deviations at most."""
    assert not _word(spread, 15.0 - 2 * spread + 0.01).agrees or 15 - 2 * spread < 3


def test_what_is_little_known_is_not_sure() -> None:
    known, vague = _word(1.0, 0.0), _word(9.0, 0.0)
    assert doubts((known,), joint=_knowing(1.0)) == []
    assert doubts((known,), joint=_knowing(1.6))[0].startswith("too little tells")
    assert doubts((vague,), joint=_knowing(1.0))[0].startswith("nothing but the collar tells")
    assert doubts((Word("sides", None),), joint=_knowing(1.0))[0].endswith("hem shows")


def test_points_on_the_bench_are_no_cloth() -> None:
    x, y = np.meshgrid(np.arange(-320.0, 321, 5), np.arange(-380.0, 381, 5))
    on = (np.abs(x) < 203) & (np.abs(y) < 254)
    bare = np.column_stack([x.ravel(), y.ravel(), np.where(on, 0.0, -76.0).ravel()])
    hangs = ~on & (y > 254) & (y < 300)
    loaded = bare.copy()
    loaded[:, 2] = np.where(hangs, 254 - y, np.where(on, 1.0, -76.0)).ravel()
    kept = cloth_points(loaded, bare, PLATEN)
    # At the rim of what was remembered nothing is known, so points there are kept.
    kept = kept[(np.abs(kept[:, 0]) < 300) & (np.abs(kept[:, 1]) < 360)]
    beside = kept[(np.abs(kept[:, 0]) > 215) | (np.abs(kept[:, 1]) > 265)]
    assert len(beside) > 100
    assert np.all(beside[:, 2] > -60)


def test_a_lay_moves_points_as_its_slopes_say() -> None:
    lay = Lay(3.0, 250.0, 0.05, 0.01, -0.01, 0.004)
    points = np.array([[80.0, 300.0], [-40.0, -20.0]])
    step = np.array([0.3, -0.2, 1e-4, 2e-4, -1e-4, 1e-4])
    moved = Lay(*(lay.vector + step)).apply(points) - lay.apply(points)
    assert lay.slopes(points) @ step == pytest.approx(moved, abs=1e-3)
    way = (np.array(lay.lower) - (lay.x, lay.y)) / 300
    assert way == pytest.approx((math.sin(lay.centre_line), -math.cos(lay.centre_line)))


@pytest.mark.parametrize("face", ["front", "back"])
def test_every_judge_has_lines_of_its_own(tee: Garment, face: str) -> None:
    pieces = pieces_of(tee.face(face))
    assert {JUDGES[index] for index in pieces.judge} == set(JUDGES)
    rise = np.hypot(*pieces.normals.T)
    assert rise == pytest.approx(np.ones(len(rise)))


def test_moving_is_told_in_words() -> None:
    wanted = Isometry(0.0, 250.0, 0.0, mirrored=True)
    lies = Isometry(4.0, 256.0, math.radians(1.5), mirrored=True)
    assert how_to_move(lies, wanted) == "turn 1.5 degrees right, 4 mm left, 6 mm to you"
    assert how_to_move(wanted, wanted) == "leave it"
