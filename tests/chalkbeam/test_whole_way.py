"""From photo files to a line on cloth, measured against the truth of the virtual rig."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration.cards import layout
from calibration.detect import observe
from calibration.pattern import Pattern
from calibration.photo import read_photo
from calibration.record import Rig, load, save
from calibration.solve import solve
from chalkbeam.demo import ORDER, Lit, lay_cloth, light_up, on_cloth, over_platen
from chalkbeam.virtual_rig import Room, Scene, Sensor, VirtualRig, random_rig, write_photo
from chalkbeam.virtual_rig.rigs import render_photo
from chalkbeam.virtual_rig.stage import bystander
from overlay.frame import render
from overlay.marks import Crosshair, Role
from overlay.palette import DEFAULT_PALETTE

SEED = 42


@pytest.fixture(scope="module")
def truth() -> VirtualRig:
    """A rig seen by a small camera: half the pixels a side of a 12 MP phone."""
    return random_rig(SEED, "phone", photos=2, raised=1, scale=0.5)


@pytest.fixture(scope="module")
def rig(truth: VirtualRig, tmp_path_factory: pytest.TempPathFactory) -> Rig:
    """The rig that the program makes of its photo files, written and read again."""
    folder = tmp_path_factory.mktemp("photos")
    lit = truth.lit_pattern()
    cards, pattern = layout(truth.face), Pattern(truth.projector.view.size)
    seen = []
    for index, shot in enumerate(truth.shots):
        path = folder / f"{index}.jpg"
        write_photo(truth.photo(index, lit), path, make="Tern", model="Half", view=shot.view)
        seen.append(observe(read_photo(path), cards, pattern, shot.board))
    found = solve(seen, cards, pattern, truth.face)
    made = Rig("test", truth.face, found.map, found.fit, photos=found.photos, plans=found.plans)
    save(made, folder / "rig.json")
    return load(folder / "rig.json")


def pixel_on_platen(truth: VirtualRig, height: float) -> float:
    """Return the side of a projector pixel on the platen's middle, mm."""
    at = truth.projector_from_platen([[0.0, 0.0]], height)
    beside = truth.platen_from_projector(np.add(at, [[1.0, 0.0]]), height)
    return float(np.hypot(*beside[0]))


@pytest.mark.parametrize("height", [0.0, 1.0, 4.0, 10.0, 20.0])
def test_light_lands_within_half_a_projector_pixel(
    truth: VirtualRig, rig: Rig, height: float
) -> None:
    # Source of the truth: the virtual rig, checked against OpenCV in test_virtual_rig.py.
    miss = over_platen(truth, rig.projector, height)
    assert miss.rms < pixel_on_platen(truth, height) / 2
    assert miss.worst < 0.5  # mm


@pytest.fixture(scope="module")
def hood() -> Lit:
    """A thick garment: 2.2 mm of fleece."""
    return light_up(ORDER[2])


def test_lines_lie_on_thick_cloth(truth: VirtualRig, rig: Rig, hood: Lit) -> None:
    cloth = lay_cloth(hood, density=1.2)
    plate = hood.loading.platen
    placed = on_cloth(truth, rig.projector, cloth, hood.lay, plate)
    flat = on_cloth(truth, rig.projector, cloth, hood.lay, plate, flat=True)
    assert placed.rms < 0.35  # mm, of which the cloth's own wrinkles make 0.15
    assert placed.worst < 1.0
    # A map of the bare platen is off by height times the tangent of the beam's angle.
    assert flat.rms > 2 * placed.rms


def test_a_bystander_sees_the_cross_where_it_belongs(
    truth: VirtualRig, rig: Rig, hood: Lit
) -> None:
    """Find a lit cross in a picture by the centroid of its light; compare with its target."""
    cloth = lay_cloth(hood, density=1.0)
    view = bystander((800, 600))
    scene = Scene(truth.face, cover=False, cloth=cloth, room=Room(level=0.02))
    sensor = Sensor(blur=0.6, vignette=0.0, white=0.3)

    def look(marks: list[Crosshair]) -> np.ndarray:
        frame = render(marks, rig.projector, DEFAULT_PALETTE)
        return render_photo(scene, view, sensor, truth.projector, frame, seed=None)

    targets = [(0.0, 0.0), (-120.0, 60.0), (110.0, -150.0)]
    height = hood.loading.height
    lit = look([Crosshair(each, Role.LAY, 12.0, width=2.0, height=height) for each in targets])
    added = cv2.absdiff(lit, look([])).astype(np.float64).sum(axis=2)
    added[added < 0.2 * added.max()] = 0
    rows, columns = np.indices(added.shape)
    for target in targets:
        true_height = float(cloth.height_at([target])[0])
        u, v = view.pixels([[*target, true_height]])[0]
        near = added * (np.hypot(columns - u, rows - v) < 16)
        centroid = np.array([[(columns * near).sum(), (rows * near).sum()]]) / near.sum()
        seen = view.hit(centroid, true_height)[0]
        assert np.hypot(*(seen - target)) < 0.6  # mm; a pixel of this picture is 1.3 mm
