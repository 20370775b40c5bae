"""Further platens of a press, against benches of which the rig was never told.

The benches are `tests.support.synthetic_rig`'s, written apart from the solver: their pixels come
through `cv2.projectPoints`, from look-at poses and lens positions.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.model.eye import Eye
from calibration.model.pinhole import Pinhole
from calibration.model.uncertainty import bound, landing_covariance, over_platen
from calibration.refusal import Refusal
from calibration.rig import drift, file, platens
from calibration.rig.file import Rig, load, save
from calibration.solve.acceptance import examine
from calibration.solve.fit import Solution, solve
from calibration.solve.values import Cross, Stated
from tests.support import synthetic_rig
from tests.support.synthetic_rig import Bench, on_another_platen

SLEEVE = PlatenFace(127.0, 457.2, 15.0)
POCKET = PlatenFace(152.4, 152.4, 15.0)
DATA = Path(__file__).parents[2] / "data"


@pytest.fixture(scope="module")
def bench() -> Bench:
    return synthetic_rig.bench(np.random.default_rng(41), card_error=0.2)


@pytest.fixture(scope="module")
def rig(bench: Bench) -> Rig:
    rng = np.random.default_rng(42)
    lens = synthetic_rig.phone(rng)
    seen = [
        bench.photo(synthetic_rig.posed(lens, rng), rng, 0.05, raised)
        for raised in (0.0, 0.0, 10.0)
    ]
    solution = solve(seen, bench.cards, bench.pattern, bench.face, Stated(bar=100.0))
    return replace(Rig.of(solution, "Boathouse press", bench.face), platen="16x20in")


@pytest.fixture(scope="module")
def sleeve(bench: Bench) -> Bench:
    rng = np.random.default_rng(43)
    return on_another_platen(bench, rng, SLEEVE, (12.0, -35.0, 24.0), 0.03, 0.002, 0.2)


@pytest.fixture(scope="module")
def found(rig: Rig, sleeve: Bench) -> Solution:
    return by_photo(rig, sleeve)


@pytest.fixture(scope="module")
def press(rig: Rig, found: Solution) -> Rig:
    return platens.with_platen(rig, "sleeve-5x18in", SLEEVE, found)


def by_photo(rig: Rig, other: Bench, seed: int = 44) -> Solution:
    rng = np.random.default_rng(seed)
    camera = synthetic_rig.posed(synthetic_rig.phone(rng), rng)
    seen = other.photo(camera, rng, 0.05, name="sleeve.jpg", key="another phone")
    return platens.find_by_photos(rig, other.face, [seen], Stated(bar=100.0))


def crosses(other: Bench, seed: int = 45, off: float = 0.15) -> tuple[Cross, ...]:
    rng = np.random.default_rng(seed)
    marks = np.array([(-1, -1), (1, -1), (0, 1)]) * (
        other.face.width / 2 - 15,
        other.face.depth / 2 - 15,
    )
    lit = np.column_stack([marks + rng.normal(0, off, marks.shape), np.zeros(3)])
    pixels = other.projector.project(lit)
    return tuple(
        Cross((float(x), float(y)), (float(u), float(v)))
        for (x, y), (u, v) in zip(marks, pixels, strict=True)
    )


def missed(other: Bench, light: Rig | Solution, height: float) -> tuple[np.ndarray, np.ndarray]:
    """How far light lands off over the other platen, and the bounds told, mm."""
    points = over_platen(other.face, 20.0)
    projector = light.projector if isinstance(light, Rig) else light.map
    pixels = projector.projector_from_platen(points, height)
    off = np.linalg.norm(other.landing(pixels, height) - points, axis=1)
    spread = landing_covariance(projector, light.fit.matrix, points, height)
    return off, bound(spread, light.fit.freedom)


@pytest.mark.parametrize(("face", "seed"), [(SLEEVE, 1), (POCKET, 2)])
def test_one_photo_tells_where_a_platen_lies(
    rig: Rig, bench: Bench, seed: int, face: PlatenFace
) -> None:
    rng = np.random.default_rng(seed)
    middle = tuple(rng.uniform((-40, -60, -20), (40, 60, 40)))
    other = on_another_platen(bench, rng, face, middle, rng.normal(0, 0.03), 0.002, 0.2)
    found = by_photo(rig, other, seed)
    for height in (0.0, 10.0):
        off, limits = missed(other, found, height)
        assert (off < limits).all()
        assert off.max() < 0.6
    examine(found, face)  # to 1 mm
    x, y, z = middle
    lies = platens.place_of(rig, Rig.of(found, "", face))
    assert (lies.x, lies.y) == pytest.approx((x, y), abs=2.5)  # depth and place are told as one
    assert lies.height == pytest.approx(z, abs=3.0)


@pytest.mark.parametrize(("seed", "ruler"), [(1, 0.8), (2, -0.8)])
def test_three_crosses_and_a_ruler_tell_it_too(
    rig: Rig, sleeve: Bench, seed: int, ruler: float
) -> None:
    found = platens.find_by_crosses(rig, SLEEVE, crosses(sleeve, seed), 24.0 + ruler, Stated())
    for height in (0.0, 4.0, 10.0):
        off, limits = missed(sleeve, found, height)
        assert (off < limits).all()
    examine(found, SLEEVE)
    assert missed(sleeve, found, 0.0)[0].max() < 0.8


def test_a_wide_platen_wants_a_cross_near_each_corner(rig: Rig, bench: Bench) -> None:
    face = PlatenFace(381.0, 381.0, 15.0)
    rng = np.random.default_rng(5)
    other = on_another_platen(bench, rng, face, (10.0, -20.0, 8.0), 0.02, 0.002, 0.2)
    places = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * 175.0
    lit = np.column_stack([places + rng.normal(0, 0.15, (4, 2)), np.zeros(4)])
    pixels = other.projector.project(lit)
    set_ = [Cross(tuple(at), tuple(px)) for at, px in zip(places, pixels, strict=True)]
    assert platens.crosses_wanted(face) == 4
    assert platens.crosses_wanted(SLEEVE) == 3
    with pytest.raises(Refusal, match="near each of the platen's four corners"):
        examine(platens.find_by_crosses(rig, face, set_[:3], 8.0, Stated()), face)
    found = platens.find_by_crosses(rig, face, set_, 8.3, Stated())
    examine(found, face)
    off, limits = missed(other, found, 4.0)
    assert (off < limits).all()


def test_without_the_height_the_bound_would_be_a_lie(rig: Rig, sleeve: Bench) -> None:
    """What a ruler that is off by 30 mm does is more than any bound allows: it is refused."""
    off = crosses(sleeve)
    wrong = platens.find_by_crosses(rig, SLEEVE, off, 54.0, Stated())
    with pytest.raises(Refusal, match=r"cross at .* off from what the others say"):
        examine(wrong, SLEEVE)


def test_crosses_close_together_or_too_few_are_refused(rig: Rig, sleeve: Bench) -> None:
    near = [replace(each, point=(each.point[0] / 9, each.point[1] / 9)) for each in crosses(sleeve)]
    for given in (crosses(sleeve)[:2], near):
        with pytest.raises(Refusal, match="Three crosses far apart"):
            platens.find_by_crosses(rig, SLEEVE, given, 24.0, Stated())


def test_a_bump_repaired_on_the_first_platen_is_repaired_on_all(
    press: Rig, bench: Bench, sleeve: Bench
) -> None:
    """One calibration: nothing is done on the other platen, and its bound still holds."""
    rng = np.random.default_rng(46)
    shift, turn = rng.normal(0, 4.0, 3), rng.normal(0, 0.008, 3)

    def bumped(was: Bench, into: np.ndarray) -> Bench:
        small = synthetic_rig.cv2.Rodrigues(turn)[0]
        moved = replace(
            was.projector,
            rotation=small @ was.projector.rotation,
            position=was.projector.position + into @ shift,
        )
        return replace(was, projector=moved)

    into = (bench.projector.rotation.T @ sleeve.projector.rotation).T
    first, other = bumped(bench, np.eye(3)), bumped(sleeve, into)
    camera = synthetic_rig.posed(synthetic_rig.phone(rng), rng)
    seen = first.photo(camera, rng, 0.05, name="now.jpg", key="another phone")
    now = drift.solve_bumped(press, [seen])
    repaired = platens.renewed(press, replace(Rig.of(now, press.name, press.face)))
    before, after = (platens.on_platen(each, "sleeve-5x18in") for each in (press, repaired))
    assert missed(other, before, 0.0)[0].max() > 4.0
    off, limits = missed(other, after, 0.0)
    assert (off < limits).all()
    assert off.max() < 1.0
    assert limits.max() > missed(sleeve, before, 0.0)[1].max()  # less is known than before
    assert repaired.platen == "16x20in"
    lies = [platens.place_of(each, each.platens[0]) for each in (press, repaired)]
    assert lies[0].height == pytest.approx(lies[1].height, abs=1e-6)
    assert lies[0].turn == pytest.approx(lies[1].turn, abs=1e-9)


def test_a_press_has_a_rig_for_each_platen_by_name(press: Rig) -> None:
    assert platens.platen_names(press) == ("16x20in", "sleeve-5x18in")
    first, other = platens.on_post(press)
    assert (first.name, other.name) == ("Boathouse press", "Boathouse press, sleeve-5x18in")
    assert other.face == SLEEVE
    assert first.platens == other.platens == ()
    assert platens.on_platen(press, " Sleeve-5x18IN") == other
    assert platens.on_platen(press, "16x20in") == platens.on_platen(press, None) == first
    with pytest.raises(Refusal, match=r"has no platen “cap”; it has 16x20in, sleeve-5x18in\."):
        platens.on_platen(press, "cap")
    assert platens.without_platen(press, "sleeve-5x18in") == first
    with pytest.raises(Refusal, match="no further platen"):
        platens.without_platen(press, "16x20in")


def test_the_camera_sees_a_further_platen_too(press: Rig) -> None:
    """Against its picture of the same points told in the first platen's frame, by hand."""
    camera = Pinhole(1400, 960, 540, -0.1, 0.02, 0, 0, 1, 0, *pose_of((300, -500, 900)))
    rng = np.random.default_rng(6)
    root = rng.normal(0, 1e-4, (15, 15))
    matrix = tuple(map(tuple, (root @ root.T).tolist()))
    follow = tuple(map(tuple, rng.normal(0, 1e-3, (15, 20)).tolist()))
    eye = Eye(camera, (1920, 1080), matrix, follow, 0.1, 90, 100)
    seeing = replace(press, eye=eye)
    first, second = platens.on_post(seeing)
    assert first.eye == eye
    points = np.array([(0, 0, 0), (40, 150, 0), (-50, -180, 5), (30, -90, 12)], dtype=float)
    there = first.projector.pinhole, second.projector.pinhole
    turned = there[0].rotation.T @ there[1].rotation
    shift = there[0].lens - turned @ there[1].lens
    told = points @ turned.T + shift
    assert second.eye.camera.project(points) == pytest.approx(camera.project(told), abs=1e-6)
    # Its errors: the same scatter in the picture, whichever face it is told over.
    scatter = [
        np.trace(slope @ which.matrix @ slope.transpose(0, 2, 1), axis1=1, axis2=2)
        for which, slope in (
            (eye, camera.jacobian(told)[1]),
            (second.eye, second.eye.camera.jacobian(points)[1]),
        )
    ]
    assert scatter[1] == pytest.approx(scatter[0], rel=1e-4)


def pose_of(lens: tuple[float, float, float]) -> tuple[float, ...]:
    """A camera at a place that looks at the platen's middle: rotation vector and shift."""
    place = np.array(lens, dtype=float)
    ahead = -place / np.linalg.norm(place)
    right = np.cross(ahead, (0.0, 0.0, 1.0))
    right /= np.linalg.norm(right)
    rotation = np.array([right, np.cross(ahead, right), ahead])
    return (*cv2.Rodrigues(rotation)[0].ravel(), *(-rotation @ place))


def test_found_again_it_takes_its_own_place(press: Rig, found: Solution, sleeve: Bench) -> None:
    by_hand = platens.find_by_crosses(press, SLEEVE, crosses(sleeve), 24.0, Stated())
    again = platens.with_platen(press, "SLEEVE-5x18in", SLEEVE, by_hand)
    assert len(again.platens) == 1
    assert again.platens != press.platens
    with pytest.raises(Refusal, match="calibrated on is called 16x20in"):
        platens.with_platen(press, "16x20IN", SLEEVE, found)


def test_the_file_keeps_platens_and_the_number_of_the_first(
    press: Rig, rig: Rig, tmp_path: Path
) -> None:
    save(press, tmp_path / "rig.json")
    assert load(tmp_path / "rig.json") == press
    assert press.calibration_id == rig.calibration_id != press.platens[0].calibration_id
    text = (tmp_path / "rig.json").read_text()
    (tmp_path / "rig.json").write_text(text.replace('"sleeve-5x18in"', '"another-5x18in"', 1))
    with pytest.raises(Refusal, match="check number"):
        load(tmp_path / "rig.json")


def test_a_platen_within_a_platen_is_none(press: Rig, tmp_path: Path) -> None:
    nested = replace(press, platens=(replace(press.platens[0], platens=press.platens),))
    save(nested, tmp_path / "rig.json")
    with pytest.raises(Refusal, match="a further platen is none"):
        load(tmp_path / "rig.json")


def test_a_file_of_version_4_has_one_platen_by_no_name(rig: Rig, tmp_path: Path) -> None:
    path = tmp_path / "rig.json"
    save(replace(rig, platen=""), path)
    content = json.loads(path.read_text())
    for key in ("platen", "platens"):
        del content["rig"][key]
    number = file._check_number(content["rig"])
    path.write_text(json.dumps(content | {"version": 4, "calibration_id": number}))
    read = load(path)
    assert read == replace(rig, platen="")
    assert read.calibration_id == number  # reports kept by it are still its own
    assert platens.platen_names(read) == ("406x508mm",)


def test_calibrated_anew_a_press_keeps_its_platens_unless_the_first_is_another(
    press: Rig, rig: Rig, tmp_path: Path
) -> None:
    save(press, tmp_path / "rig.json")
    anew = replace(rig, platen="")
    assert len(platens.kept_from(tmp_path / "rig.json", anew).platens) == 1
    other = replace(anew, face=PlatenFace(380.0, 380.0, 12.0))
    for place in ("rig.json", "none.json"):
        new = other if place == "rig.json" else anew
        assert platens.kept_from(tmp_path / place, new) == new
