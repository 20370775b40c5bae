"""Scenes of the second press by number: what lies there, what is true of it, what is seen."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks._second_press import drape, shirt
from benchmarks._second_press.laid import Laid, lay
from benchmarks._second_press.lens import Lens
from benchmarks._second_press.press import Press, press
from benchmarks._second_press.shots import U8, shoot
from benchmarks._second_press.things import raise_board, reach_in
from benchmarks._second_press.trace import Sheet, View, see

KINDS = (
    "plain",
    "heather",
    "stripes",
    "print",
    "wrinkles",
    "pad",
    "fold",
    "paper",
    "matte film",
    "dark on clear film",
    "white on clear film",
    "hand",
    "two",
    "empty",
    "raised",
)
SHEETS = ("paper", "matte film", "dark on clear film", "white on clear film")
_NET = 14.0  # mm between the threads that are let down
_FINE = 14  # fine points between two of them
BOARD = 10.0
"""Height of the raised board, mm."""


@dataclass(frozen=True, eq=False)
class Scene:
    """One scene: its press, what is true of it, and what the camera sees.

    Attributes
    ----------
    seed : int
    kind : str
        One of `KINDS`.
    press : Press
        Ten seeds in a row share one.
    camera : Lens
    truth : dict
        As the truth file has it; platen frame, mm and degrees.
    laid : Laid or None
        The sheet that lies on the cloth.
    """

    seed: int
    kind: str
    press: Press
    camera: Lens
    truth: dict[str, Any]
    sheets: tuple[Sheet, ...] = ()
    laid: Laid | None = None
    swing: float = 0.08
    _height: Any = field(default=None, repr=False)

    @functools.cached_property
    def view(self) -> View:
        """What the camera sees."""
        view = see(self.press, self.camera, self.sheets)
        if self.kind == "raised":
            view = raise_board(self.press, self.camera, view, BOARD)
        if self.laid is not None:
            view = self.laid.on(view)
        if self.kind == "hand":
            view = reach_in(self.press, self.camera, view, np.random.default_rng(self.seed + 5))
        return view

    def emptied(self) -> Scene:
        """Return the same press with nothing on it."""
        truth = {k: self.truth[k] for k in ("seed", "press", "camera", "projector", "platen")}
        return Scene(self.seed, "empty", self.press, self.camera, truth | {"kind": "empty"})


def scene(
    seed: int,
    kind: str = "plain",
    *,
    scale: float = 1.0,
    at: Press | None = None,
    colour: str | tuple[float, float, float] | None = None,
    face: str | None = None,
    size: str | None = None,
    laid_off: tuple[float, float, float] | None = None,
    lies: tuple[float, float, float] | None = None,
    plan: shirt.Draft | None = None,
) -> Scene:
    """Return a scene.

    Parameters
    ----------
    seed : int
    kind : str
    scale : float
        Of the camera's picture.
    at : Press, optional
        Where it takes place, if not on the seed's own press.
    colour, face, size : str, optional
        What is laid down, if it is not left to chance.
    laid_off : (right, away, turn), optional
        Where the sheet's ink lies off its target, mm, mm and degrees counter-clockwise.
    lies : (x, y, centre line), optional
        Where the neck seam is to lie, mm, and the centre line's direction from platen -y, radians.
    plan : Draft, optional
        Another garment than a tee of the size.
    """
    if kind not in KINDS:
        raise ValueError(f"there is no scene {kind!r}: {', '.join(KINDS)}")
    where = press(seed // 10) if at is None else at
    camera = where.camera if scale == 1 else where.camera.scaled(scale)
    truth: dict[str, Any] = {
        "seed": seed,
        "kind": kind,
        "press": {"number": where.number, "bench": where.bench, "below": where.plate.bench},
        "camera": camera.plain() | {"round_deg": where.round_from_projector},
        "projector": where.projector.plain(),
        "platen": [where.plate.width, where.plate.depth, where.plate.corner],
    }
    if kind in ("empty", "raised"):
        return Scene(seed, kind, where, camera, truth)
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    face = face or str(rng.choice(["front", "back"], p=[0.6, 0.4]))
    size = size or str(rng.choice(["S", "M", "L", "XL", "2XL"]))
    colour = colour or str(rng.choice(list(shirt.PLAIN)))
    cloth = kind if kind in ("heather", "stripes", "print") else "plain"
    turn = np.radians(rng.uniform(-8, 8))
    neck = np.array([0, where.plate.depth / 2 + 12.7]) + rng.uniform(-30, 30, 2)
    stretch = np.clip(rng.normal(1, 0.01, 2), 0.98, 1.02)
    shear = float(np.tan(np.radians(np.clip(rng.normal(0, 0.5), -1.2, 1.2))))
    if lies is not None:
        neck, turn = np.array(lies[:2]), lies[2] - float(np.arctan2(shear, stretch[1]))
    layers = int(rng.choice([1, 2], p=[0.7, 0.3]))
    thick = float(rng.uniform(0.6, 1.2)) * layers
    c, s = np.cos(turn), np.sin(turn)
    onto = (
        np.array([[c, -s], [s, c]])
        @ np.diag([1, -1])
        @ np.array([[stretch[0], shear], [0, stretch[1]]])
    )
    cut = shirt.cut_of(size, rng)
    plan = plan or shirt.draft(cut, face)
    sheet = _lay_down(where, plan, cloth, colour, onto, neck, thick, kind, rng)
    sheets = (sheet,)
    if kind == "two":
        other = str(rng.choice([name for name in shirt.PLAIN if name != colour]))
        moved = neck + rng.uniform((40, -160), (140, -60))
        sheets += (_lay_down(where, plan, "plain", other, onto, moved, thick + 1.5, kind, rng),)
    along = onto @ [0.0, 1.0]
    along /= np.linalg.norm(along)
    on_net = (np.array([0, 0], np.float32) - np.array(sheet.origin, np.float32)).reshape(1, 1, 2)
    hangs = cv2.remap(sheet.points, on_net[..., 0], on_net[..., 1], cv2.INTER_LINEAR).ravel()
    pit = cut.chest * float(np.linalg.norm(onto @ [1.0, 0.0]))
    truth |= {
        "garment": {
            "neck_mm": [float(v) for v in neck],
            "neck_hangs_mm": [float(v) for v in hangs],
            "centre_line_deg": float(np.degrees(np.arctan2(along[0], -along[1]))),
            "lower_mm": [float(v) for v in neck + 300 * along],
            "face": face,
            "onto_platen": onto.tolist(),
            "layers": layers,
            "thick_mm": thick,
        },
        "size": {"name": size, "half_chest_mm": pit},
        "colour": _colour(sheet.skin.colour) | {"name": str(colour), "cloth": cloth},
    }
    laid = None
    if kind in SHEETS:
        laid = lay(kind, rng, neck, along, laid_off)
        truth["transfer"] = laid.truth
    truth["height"] = _heights(where, sheet)
    return Scene(seed, kind, where, camera, truth, sheets, laid)


def _lay_down(
    where: Press,
    plan: shirt.Draft,
    cloth: str,
    colour: str | tuple[float, float, float],
    onto: NDArray[Any],
    neck: NDArray[Any],
    thick: float,
    kind: str,
    rng: np.random.Generator,
) -> Sheet:
    skin = shirt.skin(plan, cloth, colour, rng)
    low, high = plan.outline.min(axis=0) - 16, plan.outline.max(axis=0) + 16
    counts = np.ceil((high - low) / _NET).astype(int) + 1
    x, y = (low[i] + _NET * np.arange(counts[i]) for i in (0, 1))
    flat = np.stack(np.meshgrid(x, y), axis=-1)
    points = np.zeros((*flat.shape[:2], 3))
    points[..., :2] = flat @ onto.T + neck
    points[..., 2] = thick
    pixel = np.round((flat - skin.origin) * shirt.PER_MM).astype(int)
    near = cv2.dilate(skin.cover, np.ones((2 * 28 + 1, 2 * 28 + 1)))
    pixel = np.clip(pixel, 0, np.array(near.shape[::-1]) - 1)
    there = near[pixel[..., 1], pixel[..., 0]] > 0.5
    deep = where.plate.inside(points[..., 0], points[..., 1])
    held = deep > 6
    push = cv2.GaussianBlur(rng.normal(0, 1, points.shape), (0, 0), 1.6) * 9
    low_push = np.where(deep[..., None] > -30, 0.2, 1.0)
    stiff, weight = (
        float(rng.uniform(0.7, 0.95)),
        float(np.exp(rng.uniform(*np.log((0.01, 0.06))))),
    )
    net = drape.relax(
        points, there, held, where.plate, thick, stiff, weight=weight, push=push * low_push
    )
    fine = drape.finer(net, _FINE)
    step = _NET / _FINE
    shape = fine.shape[:2]
    level = {"wrinkles": rng.uniform(1.5, 4), "fold": 0.4}.get(kind, rng.uniform(0.1, 1.2))
    rise = drape.wrinkles(rng, shape, step, float(level))
    fine[..., 2] += rise + _raised(kind, fine, rng)
    where.plate.keep_off(fine, thick)
    fine = cv2.GaussianBlur(fine, (0, 0), 1.6)
    sheet = Sheet(fine, (float(low[0]), float(low[1])), skin)
    grid = np.stack(np.meshgrid(np.arange(shape[1]), np.arange(shape[0])), axis=-1)
    on = sheet.on_skin(grid.astype(np.float32))
    relief = cv2.remap(skin.relief, on[..., 0], on[..., 1], cv2.INTER_LINEAR)
    n = np.cross(np.gradient(fine, axis=1), np.gradient(fine, axis=0))
    n *= np.where(n[..., 2:] < 0, -1, 1) / np.maximum(np.linalg.norm(n, axis=-1)[..., None], 1e-6)
    return replace(sheet, points=(fine + relief[..., None] * n).astype(np.float32))


def _raised(kind: str, fine: NDArray[Any], rng: np.random.Generator) -> NDArray[np.float32]:
    """Return what a pad or fold under the cloth lifts it by, mm."""
    x, y = fine[..., 0], fine[..., 1]
    if kind == "pad":
        at, half = rng.uniform(-60, 60, 2), rng.uniform(40, 90, 2)
        d = np.maximum(np.abs(x - at[0]) - half[0], np.abs(y - at[1]) - half[1])
        return (rng.uniform(4, 12) / (1 + np.exp(np.clip(d / 2.5, -30, 30)))).astype(np.float32)
    if kind == "fold":
        at, turn = rng.uniform(-80, 80, 2), rng.uniform(0, np.pi)
        across = (x - at[0]) * np.sin(turn) - (y - at[1]) * np.cos(turn)
        along = (x - at[0]) * np.cos(turn) + (y - at[1]) * np.sin(turn)
        ridge = 1 / (1 + np.exp(np.clip((np.abs(across) - rng.uniform(5, 15)) / 1.2, -30, 30)))
        ends = 1 / (1 + np.exp(np.clip((np.abs(along) - rng.uniform(60, 150)) / 10, -30, 30)))
        return (rng.uniform(1.5, 4) * ridge * ends).astype(np.float32)
    return np.zeros(x.shape, np.float32)


def _colour(linear: tuple[float, ...]) -> dict[str, Any]:
    """Return Lab (D65) and sRGB of linear red, green, blue (IEC 61966-2-1; CIE 15)."""
    rgb = np.array(linear)
    to_xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )
    ratio = to_xyz @ rgb / to_xyz.sum(axis=1)
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    lab = [116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])]
    code = srgb_code(rgb)
    return {"hex": code, "lab": [float(v) for v in lab], "linear": [float(v) for v in rgb]}


def srgb_code(linear: NDArray[Any]) -> str:
    """Return linear red, green, blue as a code of sRGB, such as "#1b2a44"."""
    v = np.clip(np.asarray(linear, float), 0, 1)
    curve = np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    return "#" + "".join(f"{round(255 * each):02x}" for each in curve.tolist())


def _heights(where: Press, sheet: Sheet, step: float = 10.0) -> dict[str, Any]:
    """Return the cloth's height over the platen on a grid; None where no cloth lies."""
    half = np.array([where.plate.width, where.plate.depth]) / 2 - 15
    counts = (2 * half // step).astype(int) + 1
    total, number = np.zeros(counts[::-1]), np.zeros(counts[::-1])
    grid = np.stack(
        np.meshgrid(np.arange(sheet.points.shape[1]), np.arange(sheet.points.shape[0])), axis=-1
    ).astype(np.float32)
    on = sheet.on_skin(grid)
    cover = cv2.remap(sheet.skin.cover, on[..., 0], on[..., 1], cv2.INTER_LINEAR)
    points = sheet.points[cover > 0.5]
    at = (points[:, :2] + half) / step
    near = np.round(at).astype(int)
    good = (np.abs(at - near) * step < 1.5).all(-1) & (near >= 0).all(-1)
    good &= (near < counts).all(-1) & (points[:, 2] > -2)
    np.add.at(total, (near[good, 1], near[good, 0]), points[good, 2])
    np.add.at(number, (near[good, 1], near[good, 0]), 1)
    with np.errstate(invalid="ignore"):
        mean = total / number
    rows = [[None if not np.isfinite(v) else round(float(v), 3) for v in row] for row in mean]
    return {"origin_mm": [float(-v) for v in half], "step_mm": step, "mm": rows}


def burst(of: Scene, frames: Mapping[str, U8]) -> dict[str, U8]:
    """Return the camera's photos of a burst, BGR, by the frames' names.

    Parameters
    ----------
    of : Scene
    frames : mapping of str to ndarray, uint8, BGR or grey
        What the projector shows one after the other.
    """
    rng = np.random.default_rng([of.seed, KINDS.index(of.kind), 1])
    shown = {
        name: f if f.ndim == 3 else np.repeat(f[..., None], 3, 2) for name, f in frames.items()
    }
    return shoot(of.press, of.view, shown, rng, of.swing)
