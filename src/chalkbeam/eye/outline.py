"""What of a garment's drawing the eye looks for: short pieces of its lines, by who judges them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from chalkbeam.garments import Face

F64 = NDArray[np.float64]
Judge = Literal["collar", "shoulders", "sides"]
JUDGES: tuple[Judge, ...] = get_args(Judge)

PIECE = 20.0
"""Length of a piece, mm: short enough to be straight, long enough to rise above the knit."""

COLLAR_PIECE = 14.0
"""The same about the collar, which bends more."""

SAMPLES = 10
"""Of a piece, along it."""

MODES = {
    "neck wider": 3.0,
    "neck deeper": 2.1,
    "neck squarer": 3.0,
    "neck fuller": 2.0,
    "neck wavier": 1.2,
    "rib wider": 2.5,
    "rib stands up": 8.0,
    "shoulders steeper": 3.0,
    "armholes wider": 5.0,
    "armholes slanted": 4.0,
    "armholes bowed": 5.0,
    "armholes lower": 4.0,
    "pits lower": 5.0,
    "sides wider": 3.0,
    "hem wider": 4.0,
    "hem lower": 5.0,
    "left side out": 3.0,
    "right side out": 3.0,
    "left side slanted": 2.0,
    "right side slanted": 2.0,
}
"""How a piece's lines differ from the drawing's, besides its size: standard deviations, mm, from
memory. All but those of the single sides are the same on the left and on the right."""

_OF: dict[str, Judge] = {
    "collar": "collar",
    "inside": "collar",
    "hood": "collar",
    "shoulder seam": "shoulders",
    "armhole seam": "shoulders",
    "raglan seam": "shoulders",
    "hem": "sides",
    "hem seam": "sides",
}
_RIM = 8.0  # how far beyond a line no cloth is drawn where it is the garment's rim, mm


@dataclass(frozen=True, eq=False)
class Pieces:
    """Short straight pieces of a face's lines, garment frame.

    Attributes
    ----------
    points : ndarray, shape (P, S, 2), mm
        Samples of each piece.
    normals : ndarray, shape (P, 2)
        Unit, square to each piece; out of the garment at its rim.
    judge : ndarray of int, shape (P,)
        Index into `JUDGES`.
    rim : ndarray of bool, shape (P,)
        Whether the garment ends there.
    modes : ndarray, shape (P, 2, K)
        How each piece moves by a millimetre of each of `MODES`.
    """

    points: NDArray[np.float64]
    normals: Points
    judge: NDArray[np.intp]
    rim: NDArray[np.bool_]
    modes: NDArray[np.float64]

    @property
    def middles(self) -> Points:
        """Middle of each piece, shape (P, 2), mm."""
        return np.asarray(self.points.mean(axis=1))

    def of(self, chosen: NDArray[np.bool_]) -> Pieces:
        """Return some of the pieces."""
        return Pieces(
            self.points[chosen],
            self.normals[chosen],
            self.judge[chosen],
            self.rim[chosen],
            self.modes[chosen],
        )


def pieces_of(face: Face) -> Pieces:
    """Cut the lines of a face that can be seen on cloth into pieces.

    Sleeves are left out: they flop.
    """
    drawn = _Drawn(face)
    cut: list[tuple[NDArray[np.float64], Points, str, bool]] = []
    lines = [
        (line.name, np.vstack([line.points, line.points[:1]]) if line.closed else line.points)
        for line in face.lines
        if line.name in _OF
    ]
    lines += [("side", side) for side in _sides(face)]
    lines.append(("hem edge", _hem(face)))
    for name, ring in lines:
        for samples, normal in _cut(ring, COLLAR_PIECE if _OF.get(name) == "collar" else PIECE):
            turned, ends = drawn.rim(samples.mean(axis=0), normal)
            cut.append((samples, turned, name, ends))
    cut = [cut[index] for index in _once(cut)]
    points, normals, names, rims = (list(each) for each in zip(*cut, strict=True))
    middles = np.array([p.mean(axis=0) for p in points])
    rim = np.array(rims, bool)
    judge = np.array([JUDGES.index(_OF.get(name, "sides")) for name in names], np.intp)
    modes = _modes(face, middles, np.array(normals), names, rim)
    return Pieces(np.array(points), np.array(normals), judge, rim, modes)


class _Drawn:
    """Where a face's drawing has cloth."""

    def __init__(self, face: Face) -> None:
        shapes = [face.outline, *(line.points for line in face.lines if line.closed)]
        every = np.vstack(shapes)
        self.low = every.min(axis=0) - 20
        wide, high = (np.ceil(every.max(axis=0) + 20 - self.low)).astype(int)
        self.mask = np.zeros((high, wide), np.uint8)
        for shape in shapes:
            cv2.fillPoly(self.mask, [np.rint((shape - self.low) * 16).astype(np.int32)], 1, 8, 4)

    def rim(self, middle: Points, normal: Points) -> tuple[Points, bool]:
        """Return a line's normal, turned out of the garment at its rim, and whether that it is."""
        there = [bool(self.mask[tuple(np.rint(middle + s * _RIM * normal - self.low).astype(int)
                                      [::-1])]) for s in (1, -1)]  # fmt: skip
        return (normal if there[1] or not there[0] else -normal), there[0] != there[1]


def _modes(
    face: Face, at: Points, normals: Points, names: list[str], rim: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Return how pieces at `at` move by a millimetre of each mode, shape (P, 2, K)."""
    x, y = at.T
    side = np.sign(x)
    is_ = {name: np.array([n == name for n in names]) for name in (*_OF, "side", "hem edge")}
    collar, hem = is_["collar"] | is_["inside"], is_["hem"] | is_["hem seam"] | is_["hem edge"]
    arm = is_["armhole seam"] | is_["raglan seam"]
    neck = max((abs(v.value) for k, v in face.across.items() if k.endswith("neck_point")),
               default=90.0)  # fmt: skip
    tip = max((abs(v.value) for k, v in face.across.items() if k.endswith("shoulder_tip")),
              default=2 * neck)  # fmt: skip
    top = face.along["shoulder_top"].value if "shoulder_top" in face.along else -100.0
    pit = face.along["pit_line"].value if "pit_line" in face.along else top + 260.0
    low = float(face.outline[:, 1].max())
    up = np.clip(y / min(top, -1.0), 0, 1)  # 0 at the neck seam's lowest point, 1 at its ends
    down_arm = np.clip((y - (top + pit) / 2) / ((pit - top) / 2), -1, 1)
    down_side = np.clip((y - pit) / max(low - pit, 1.0), 0, 1)
    rib = collar & _off_seam(face, at)
    round_ = 2 * np.arcsin(np.clip(np.abs(x) / neck, 0, 1))
    outwards = normals * np.where(normals[:, 1:] < 0, -1, 1)

    def bulge(number: int) -> tuple[F64, F64]:
        # Flat at the middle, so that the seam there stays where the lay has it, and 0 at the ends.
        much = np.sin(round_) * np.sin(number * round_) * (collar & ~rim)
        return much * outwards[:, 0], much * outwards[:, 1]

    found = {
        "neck wider": (side * np.minimum(np.abs(x) / neck, 1) * collar, 0 * x),
        "neck deeper": (0 * x, np.where(collar, up, 1.0)),
        "neck squarer": bulge(1),
        "neck fuller": bulge(2),
        "neck wavier": bulge(3),
        "rib wider": tuple(-outwards.T * (rib & ~rim)),
        "rib stands up": (0 * x, -1.0 * (rib & rim)),
        "shoulders steeper": (
            0 * x,
            np.clip((np.abs(x) - neck) / max(tip - neck, 1.0), 0, 1) * is_["shoulder seam"],
        ),
        "armholes wider": (side * arm, 0 * x),
        "armholes slanted": (side * arm * down_arm, 0 * x),
        "armholes bowed": (side * arm * (1 - 2 * down_arm**2), 0 * x),
        "armholes lower": (0 * x, 1.0 * arm),
        "pits lower": (0 * x, arm * np.clip(down_arm, 0, 1)),
        "sides wider": (side * is_["side"], 0 * x),
        "hem wider": (side * is_["side"] * down_side, 0 * x),
        "hem lower": (0 * x, 1.0 * hem),
        "left side out": (1.0 * (is_["side"] & (x < 0)), 0 * x),
        "right side out": (1.0 * (is_["side"] & (x > 0)), 0 * x),
        "left side slanted": ((2 * down_side - 1) * (is_["side"] & (x < 0)), 0 * x),
        "right side slanted": ((2 * down_side - 1) * (is_["side"] & (x > 0)), 0 * x),
    }
    return np.stack([np.stack(found[name], axis=1) for name in MODES], axis=-1)


def _off_seam(face: Face, at: Points) -> NDArray[np.bool_]:
    """Tell which of a collar's places lie off the neck seam: on its rib's other edge."""
    # The panel's own edge between the shoulders is the neck seam.
    ring = np.vstack([face.outline, face.outline[:1]])
    near = np.array([cv2.pointPolygonTest(ring.astype(np.float32), tuple(map(float, p)), True)
                     for p in at])  # fmt: skip
    return np.asarray(np.abs(near) > 3.0)


def _sides(face: Face) -> tuple[Points, Points]:
    """Return the panel's edges below the armholes, at x > 0 and at x < 0."""
    ring, pit = face.outline, face.along["pit_line"].value if "pit_line" in face.along else 0.0
    hem = float(ring[:, 1].max())
    low = (ring[:, 1] > pit - 1e-6) & (ring[:, 1] < hem + 1e-6)
    found = []
    for sign in (1.0, -1.0):
        side = ring[low & (sign * ring[:, 0] > 0)]
        found.append(side[np.argsort(side[:, 1])])
    return found[0], found[1]


def _hem(face: Face) -> Points:
    """Return the panel's lowest edge, from left to right."""
    low = float(face.outline[:, 1].max())
    ends = face.outline[face.outline[:, 1] > low - 1e-6, 0]
    return np.array([[ends.min(), low], [ends.max(), low]])


def _cut(line: Points, size: float) -> list[tuple[NDArray[np.float64], Points]]:
    """Cut a polyline into pieces of one size; each with its samples and its normal."""
    step = np.hypot(*np.diff(line, axis=0).T)
    run = np.concatenate([[0.0], np.cumsum(step)])
    count = int(run[-1] // size)
    cut = []
    for number in range(count):
        first = number * size + (run[-1] - count * size) / 2
        at = first + (np.arange(SAMPLES) + 0.5) * size / SAMPLES
        points = np.column_stack([np.interp(at, run, line[:, k]) for k in (0, 1)])
        along = points[-1] - points[0]
        length = float(np.hypot(*along))
        if length < 0.85 * size * (1 - 1 / SAMPLES):  # it turns a corner
            continue
        cut.append((points, np.array([-along[1], along[0]]) / length))
    return cut


def _once(cut: list[tuple[NDArray[np.float64], Points, str, bool]]) -> list[int]:
    """Return which pieces to keep: none runs where one before it runs."""
    middles = np.array([points.mean(axis=0) for points, *_ in cut])
    normals = np.array([normal for _, normal, *_ in cut])
    keep: list[int] = []
    for index in range(len(cut)):
        near = np.hypot(*(middles[keep] - middles[index]).T) < PIECE / 2
        if not np.any(near & (np.abs(normals[keep] @ normals[index]) > 0.8)):
            keep.append(index)
    return keep
