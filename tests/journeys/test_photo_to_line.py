"""From photo files to a line on cloth, measured against the truth of the virtual rig."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from calibration.rig.file import Rig, load
from chalkbeam.cli.app import app
from chalkbeam.simulator.demo import ORDER, Lit, lay_cloth, light_up, on_cloth, over_platen
from chalkbeam.simulator.rig import (
    PressScene,
    RoomLight,
    Sensor,
    VirtualRig,
    random_rig,
    write_photo,
)
from chalkbeam.simulator.rig.rigs import render_photo
from chalkbeam.simulator.rig.stage import bystander
from overlay.draw.frame import render
from overlay.marks import Crosshair, Role
from overlay.palette import DEFAULT_PALETTE

SEED = 42


@pytest.fixture(scope="module")
def truth() -> VirtualRig:
    """A rig seen by a small camera: half the pixels a side of a 12 MP phone."""
    return random_rig(SEED, "phone", photos=2, raised=1, scale=0.5)


@pytest.fixture(scope="module")
def rig_file(truth: VirtualRig, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The rig file that `chalkbeam calibrate` makes of the rig's photo files."""
    folder = tmp_path_factory.mktemp("photos")
    lit = truth.lit_pattern()
    names = []
    for index, shot in enumerate(truth.photos):
        names.append(str(folder / f"{index}.jpg"))
        picture = truth.photo(index, lit)
        write_photo(picture, Path(names[-1]), make="Tern", model="Half", view=shot.view)
    target = folder / "rig.json"
    command = ["calibrate", *names[:2], "--raised", "10mm", names[2]]
    command += ["--platen", "16x20in", "--size", "1920x1080", "--out", str(target)]
    result = CliRunner().invoke(app, [*command, "--report", str(folder / "report.png")])
    assert result.exit_code == 0, result.output
    assert (folder / "report.png").stat().st_size > 50_000
    return target


@pytest.fixture(scope="module")
def rig(rig_file: Path) -> Rig:
    """The rig, read from its file."""
    return load(rig_file)


def test_aim_says_the_true_pixel(truth: VirtualRig, rig_file: Path) -> None:
    command = ["aim", "--rig", str(rig_file), "--height", "4mm", "--json", "--", "-100mm", "50mm"]
    result = CliRunner().invoke(app, command)
    assert result.exit_code == 0, result.output
    (row,) = json.loads(result.output)["points"]
    pixel = [row["x_px"], row["y_px"]]
    landed = truth.platen_from_projector([pixel], 4.0)[0]
    assert np.hypot(*(landed - (-100.0, 50.0))) < pixel_on_platen(truth, 4.0) / 2


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
    scene = PressScene(truth.face, cover=False, cloth=cloth, room=RoomLight(level=0.02))
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
