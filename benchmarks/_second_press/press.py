"""One press of the second kind: platen, bench, projector and camera, by number."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks._second_press.drape import Plate
from benchmarks._second_press.lens import F64, Lens, looking, of_plain


@dataclass(frozen=True, eq=False)
class Press:
    """What stands in the shop; a camera of 1, a projector of 1, a platen.

    Attributes
    ----------
    rubber, wood : ndarray, shape (3,)
        Albedo of the platen and of the bench, linear red, green, blue.
    lamp : ndarray, shape (3,)
        Where the brightest lamp of the room is, mm; the rest comes from everywhere.
    lit : float
        The room's light over the projector's at the platen's middle.
    """

    number: int
    plate: Plate
    projector: Lens
    camera: Lens
    round_from_projector: float
    rubber: F64
    wood: F64
    bench: str
    lamp: F64
    lit: float
    gamma: float
    black: float
    primaries: F64
    soft: float
    crosstalk: F64
    tone: float
    quality: int
    exposes_itself: bool


def press(number: int, projector: Lens | None = None, face: dict | None = None) -> Press:
    """Return a press by number; a projector and platen of a rig file take the place of its own."""
    rng = np.random.default_rng(77_000 + number)
    if face is None:
        width, depth, corner = [(380, 400, 18), (406, 508, 25), (400, 500, 12)][number % 3]
    else:
        width, depth, corner = face["width"], face["depth"], face["corner_radius"]
    bench = float(rng.uniform(76, 150))
    plate = Plate(float(width), float(depth), float(corner), float(rng.uniform(10, 24)), bench)
    if projector is None:
        projector = _projector(rng, plate)
    heading = np.arctan2(projector.at[1], projector.at[0])
    if np.hypot(*projector.at[:2]) < 60:
        heading = np.pi / 2
    around = float(rng.uniform(40, 95)) * (1 if rng.random() < 0.5 else -1)
    camera = _camera(rng, plate, heading + np.radians(around))
    light = bool(rng.random() < 0.5)
    wood = (
        rng.uniform(0.4, 0.65) * np.array([1, 0.93, 0.82])
        if light
        else rng.uniform(0.04, 0.12) * np.array([1, 1, 1.05])
    )
    rubber = rng.uniform(0.05, 0.35) * np.array([1, rng.uniform(0.8, 1), rng.uniform(0.7, 1)])
    angle = rng.uniform(0, 2 * np.pi)
    off = rng.uniform(0.01, 0.05, (3, 3))
    primaries = (1 - 2 * 0.03) * np.eye(3) + off * (1 - np.eye(3))
    mix = rng.uniform(0.02, 0.14, (3, 3)) * (1 - np.eye(3))
    return Press(
        number=number,
        plate=plate,
        projector=projector,
        camera=camera,
        round_from_projector=around,
        rubber=rubber,
        wood=wood,
        bench="light" if light else "dark",
        lamp=np.array([900 * np.cos(angle), 900 * np.sin(angle), 1900.0]),
        lit=float(rng.uniform(0.12, 0.5)),
        gamma=float(rng.uniform(2.0, 2.4)),
        black=float(rng.uniform(0.001, 0.004)),
        primaries=primaries,
        soft=float(rng.uniform(0.6, 1.1)),
        crosstalk=np.diag(1 - mix.sum(axis=1)) + mix,
        tone=float(rng.uniform(-0.15, 0.15)),
        quality=int(rng.integers(70, 93)),
        exposes_itself=bool(rng.random() < 0.25),
    )


def _projector(rng: np.random.Generator, plate: Plate) -> Lens:
    size = [(1280, 720), (1920, 1080), (1280, 800)][rng.integers(0, 3)]
    up = float(rng.uniform(1000, 1500))
    at = np.array([rng.normal(0, 60), rng.uniform(120, 420), up])
    aim = np.array([0.0, 25.0, 0.0])
    # Its light reaches 80 to 120 mm beyond the platen along the short side.
    far = np.linalg.norm(at - aim)
    reach = plate.depth + 2 * rng.uniform(85, 125)
    focal = size[1] * far / reach
    roll = float(rng.normal(0, 0.03)) + (np.pi if rng.random() < 0.3 else 0.0)
    shift = (0.0, float(rng.uniform(-0.02, 0.06)))
    flat = looking(size, at, aim, focal, roll)
    lens = looking(size, at, aim, focal, roll, shift)
    # A shifted lens throws its picture aside: turn it until the middle meets the aim again.
    middle = np.array([(size[0] - 1) / 2 - lens.cx, (size[1] - 1) / 2 - lens.cy, focal])
    goes = middle @ lens.turn
    want = (aim - at) / far
    goes = goes / np.linalg.norm(goes)
    axis, c = np.cross(goes, want), float(goes @ want)
    skew = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    swing = np.eye(3) + skew + skew @ skew / (1 + c)
    return Lens(flat.size, focal, lens.cx, lens.cy, lens.turn @ swing.T, at)


def _camera(rng: np.random.Generator, plate: Plate, heading: float) -> Lens:
    size = [(1280, 720), (1600, 896), (1920, 1080)][rng.integers(0, 3)]
    up, out = rng.uniform(750, 1150), rng.uniform(300, 620)
    at = np.array([out * np.cos(heading), out * np.sin(heading), up])
    aim = np.array([rng.normal(0, 12), 30 + rng.normal(0, 12), 0.0])
    far = float(np.linalg.norm(at - aim))
    # The picture's width takes in platen, collar and the hanging sides.
    reach = max(plate.depth + 200, plate.width + 260) * rng.uniform(1.0, 1.12)
    focal = min(size[1] * far / reach * 0.98, size[0] * far / (reach * 1.25))
    bend = (rng.uniform(-0.14, 0.06), rng.uniform(-0.03, 0.05), *rng.normal(0, 0.0006, 2))
    # A stand beside the press: the picture's top is away from the operator, roughly.
    return looking(size, at, aim, focal, float(rng.normal(0, 0.04)), bend=bend)


def from_above(of: Press) -> Press:
    """Return the press with its camera where it is told to hang: high over the middle."""
    rng = np.random.default_rng(5_000 + of.number)
    at = np.array([0.0, -120.0, 1600.0]) + rng.uniform(-60, 60, 3)
    aim = np.array([rng.normal(0, 12), 25 + rng.normal(0, 12), 0.0])
    size, plate = of.camera.size, of.plate
    far = float(np.linalg.norm(at - aim))
    reach = max(plate.depth + 200, plate.width + 260) * rng.uniform(1.0, 1.12)
    focal = min(size[1] * far / reach * 0.98, size[0] * far / (reach * 1.25))
    roll = float(rng.normal(0, 0.04))
    return replace(of, camera=looking(size, at, aim, focal, roll, bend=of.camera.bend))


def press_of_rig(path: Path, number: int) -> Press:
    """Return the press of a rig file: its projector is what the file says."""
    rig = json.loads(path.read_text())["rig"]
    map_ = rig["projector"]
    if any(abs(value) > 1e-12 for value in map_["bow"].values()):
        raise ValueError("the second press has a flat platen")
    return press(number, of_plain(tuple(map_["size"]), map_["pinhole"]), rig["face"])


def write_rig(of: Press, path: Path, error: NDArray | None = None) -> None:
    """Write a rig file of the press: exact, or its projector off by `error` in pose (6 numbers)."""
    from calibration.geometry import PlatenFace
    from calibration.model.pinhole import Pinhole
    from calibration.model.projector import ProjectorMap
    from calibration.rig.file import Rig, save
    from calibration.solve.values import MapFit, frozen_matrix

    numbers = of.projector.plain()
    size = tuple(numbers.pop("size"))
    pinhole = Pinhole(**numbers)
    vector = pinhole.vector
    sd = np.array([0.6, 0.6, 0.6, 1e-4, 1e-4, 1e-5, 1e-5, 1e-5, 1e-3])
    sd = np.concatenate([sd, [2e-4, 2e-4, 1e-4, 0.15, 0.15, 0.4], np.full(3, 1e-8), np.zeros(2)])
    if error is None:
        sd = sd / 100
    else:
        vector[9:] += error
    face = PlatenFace(of.plate.width, of.plate.depth, of.plate.corner)
    fit = MapFit("full lens", "stated by the second press", frozen_matrix(np.diag(sd**2)), 0.1, 500)
    save(
        Rig(
            f"second press {of.number}",
            face,
            ProjectorMap(size, Pinhole.from_vector(vector)),
            fit,
            made_at="2026-01-01T08:00:00+00:00",
        ),
        path,
    )
