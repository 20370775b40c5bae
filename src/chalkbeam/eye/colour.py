"""The cloth's colour from flashes of red, green and blue, against the bare platen's.

A camera's channels see a mixture of the projector's colours: with S the camera's mixing, P the
projector's light and r the reflectances, the three flashes give the matrix ``S diag(r) P``. Times
the inverse of the same for the reference that is ``S diag(r / r0) S^-1``: the mixing is gone from
its eigenvalues (a similarity transform keeps them; Strang, Introduction to Linear Algebra, 6.2).
The world is taken to have three colours: true for narrow bands of light, nearly so for others.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import NDArray

from calibration.model.pinhole import Array
from calibration.rig.eye import eye_of
from calibration.rig.file import Rig
from chalkbeam.eye.burst import Burst, Part, brightest
from chalkbeam.eye.flashes import COLOURS
from chalkbeam.eye.values import ColourSeen
from overlay.colour.colorimetry import lab_from_linear, srgb_from_linear

USUAL_PLATEN = (0.5, 0.5, 0.5)
"""Reflectance taken for a bare platen that nobody stated: mid grey, common practice, no source."""

PAPER = 0.87
"""Reflectance of plain white office paper; from memory: 0.84 to 0.90."""

_BRIGHTER = 1.1  # paper than the bare platen, or it is not there
_SHEET = 0.15  # of the platen's sides, from its middle, that a sheet of paper surely covers
_PART = 0.35  # of the platen's sides, from its middle, that is looked at
_FEWEST = 200  # pixels
_PLENTY = 20_000  # more would tell no more
_SATURATED = 0.9


def measure_colour(
    rig: Rig, burst: Burst, empty: Burst, area: NDArray[np.bool_] | None = None
) -> ColourSeen | None:
    """Measure the colour of what lies on the platen; None where the pictures do not tell.

    Parameters
    ----------
    rig : Rig
        With its eye.
    burst, empty : Burst
        The loaded platen, and the bare one.
    area : ndarray of bool, shape (height, width), optional
        Camera pixels that show cloth; without it the platen's middle.
    """
    if rig.eye is None or not (burst.has(*COLOURS) and empty.has(*COLOURS)):
        return None
    shown = _middle(rig, burst.size) if area is None else area
    found = _relative(burst, empty, shown)
    if found is None:
        return None
    known = rig.eye.reflectance
    linear = np.clip(found * (known or USUAL_PLATEN), 0.0, 1.0)
    lab = lab_from_linear(linear[None])[0]
    code = srgb_from_linear(linear[None])[0]
    against = (
        "the bare platen, whose colour is known"
        if known
        else "the bare platen, taken for mid grey: show white paper when the eye is fitted"
    )
    return ColourSeen(
        "#" + "".join(f"{int(value):02x}" for value in code),
        (float(lab[0]), float(lab[1]), float(lab[2])),
        against,
    )


def measure_platen(rig: Rig, bare: Burst, paper: Burst) -> tuple[float, float, float] | None:
    """Return the bare platen's reflectance against a sheet of white paper on its middle.

    Parameters
    ----------
    rig : Rig
        With its eye.
    bare, paper : Burst
        The bare platen, and the sheet on it.

    Returns
    -------
    (red, green, blue) or None
        Linear, 1 for a perfect white; None where the pictures do not tell.
    """
    if not (bare.has(*COLOURS) and paper.has(*COLOURS)) or bare.size != paper.size:
        return None
    found = _relative(paper, bare, _middle(rig, bare.size, _SHEET))
    if found is None or not (found > _BRIGHTER).all():
        return None
    red, green, blue = (float(value) for value in np.clip(PAPER / found, 0.0, 1.0))
    return red, green, blue


def _relative(burst: Burst, empty: Burst, shown: NDArray[np.bool_]) -> Array | None:
    """Return reflectances of red, green and blue over the empty platen's; None if unclear."""
    part = _part(shown)
    shown = shown[part]
    clear = shown.copy()
    for name in COLOURS:
        for each in (burst, empty):
            clear &= brightest(each.linear(name, part)) < _SATURATED
    bleached = clear.sum() < max(_FEWEST, 0.2 * shown.sum())
    if bleached:
        clear = shown & (brightest(empty.linear("white", part)) < _SATURATED)
        if not (burst.has("dim") and empty.has("dim")):
            return None
        clear &= brightest(burst.linear("dim", part)) < _SATURATED
    if clear.sum() < _FEWEST:
        return None
    cloth, bare = (
        np.column_stack([_median(each, name, part, clear) for name in COLOURS])
        for each in (burst, empty)
    )
    if bleached:
        cloth = _by_dim(cloth, burst, empty, part, clear)
    if np.linalg.cond(bare) > 1e3:
        return None
    return ratios(cloth * burst.exposure_over(empty), bare)


def _part(shown: NDArray[np.bool_]) -> Part:
    """Return the part of the picture that is asked for, in steps that leave pixels enough."""
    rows, columns = np.flatnonzero(shown.any(axis=1)), np.flatnonzero(shown.any(axis=0))
    if len(rows) == 0:
        return slice(0, 0), slice(0, 0)
    step = max(1, int(math.sqrt(shown.sum() / _PLENTY)))
    return slice(rows[0], rows[-1] + 1, step), slice(columns[0], columns[-1] + 1, step)


def _median(burst: Burst, name: str, part: Part, clear: NDArray[np.bool_]) -> Array:
    """Return the camera's red, green and blue of one picture's light."""
    return np.asarray(np.median(burst.light(name, part)[clear], axis=0)[::-1], np.float64)


def _by_dim(
    cloth: Array, burst: Burst, empty: Burst, part: Part, clear: NDArray[np.bool_]
) -> Array:
    """Return a response whose own colours are bleached, from the dimmer white.

    White is the sum of the three colours; how much dimmer the dimmer one is tells the bare platen.
    """
    white, dim = (_median(empty, name, part, clear) for name in ("white", "dim"))
    whole = _median(burst, "dim", part, clear) * white / np.maximum(dim, 1e-4)
    fixed = cloth.copy()
    for k in range(3):
        fixed[k, k] = whole[k] - (cloth[k].sum() - cloth[k, k])
    return fixed


def ratios(cloth: Array, reference: Array) -> Array:
    """Return reflectances of red, green and blue over the reference's, shape (3,).

    Parameters
    ----------
    cloth, reference : ndarray, shape (3, 3)
        Camera's red, green, blue (rows) under red, green, blue light (columns), linear.
    """
    product = cloth @ np.linalg.inv(reference)
    values, vectors = np.linalg.eig(product)
    if np.iscomplexobj(values) and np.abs(values.imag).max() > 1e-9:
        return np.asarray(np.diag(product))  # nearly equal ones, mixed by noise
    share = np.abs(vectors.real) / np.abs(vectors.real).sum(axis=0)
    order = max(
        itertools.permutations(range(3)), key=lambda way: sum(share[k, way[k]] for k in range(3))
    )
    return np.asarray(values.real[list(order)])


def _middle(rig: Rig, size: tuple[int, int], part: float = _PART) -> NDArray[np.bool_]:
    """Return which camera pixels see the platen's middle, shape (height, width)."""
    width, height = size
    step = 4  # the edge of the area matters little
    x, y = np.meshgrid(np.arange(0, width, step), np.arange(0, height, step))
    at = eye_of(rig).camera.unproject(np.column_stack([x.ravel(), y.ravel()]))
    half = part * np.array([rig.face.width, rig.face.depth])
    with np.errstate(invalid="ignore"):
        inside = (np.abs(at) < half).all(axis=1).reshape(x.shape)
    return np.asarray(np.kron(inside, np.ones((step, step), bool))[:height, :width], np.bool_)
