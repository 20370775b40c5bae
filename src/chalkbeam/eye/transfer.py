"""The laid transfer: where its ink or its sheet really lies against its target, or "cannot see".

Known ink first: its edges are searched for about the target, as they should lie and in the three
ways in which they should not (turned half round, mirrored, both). A pose is believed only if

- it shows nearly everywhere: cell by cell of the ink, against the same cells laid elsewhere on the
  very same picture, which tells what cloth and noise alone would show;
- no other place explains the picture nearly as well;
- the two halves of the ink, solved apart, agree;
- nowhere is ink missing or too much: a name may differ from another by a letter.

Where no ink shows at all, the sheet's own edges are tried in the same way: of a known size, else
of whatever size has four sides and differs from the cloth. Where neither shows, nothing is guessed.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Isometry, Points
from calibration.model.pinhole import Pinhole
from chalkbeam.artwork import Artwork, Box
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.edges import Pose, Shape, ShapeFit, field, search
from chalkbeam.eye.ink import SMALLEST_STRAY, contrast, is_plain, strays
from chalkbeam.eye.sheet import WIDEST_MARGIN, rectangle_around
from chalkbeam.eye.values import TransferSeen
from chalkbeam.eye.view import F32, PER_MM, Height, View, view_from_above

_SHOWN = 0.75  # share of the ink's edges that must show
_PARTLY = 0.35  # below it nothing is said of what lies there
_RIVAL = 0.8  # another place may explain so much of what the best one does
_BETTER = 1.15  # one way round beats another by so much
_APART = 0.7, math.radians(0.5)  # two halves agree within
_FLAT, _TURN = 0.93, math.radians(3.0)  # so turned a shape that has a direction shows less
_FAINTEST = 0.12  # of the light: ink or sheet differing less from the cloth may be cloth
_CLEAR = 0.3  # a sheet that differs so much is no trick of the cloth, even if a part is not seen
_LEAST_MARGIN = 0.3, math.radians(0.15)  # no pose is known better than this, mm and radians


@dataclass(frozen=True)
class Reach:
    """How far from its target a transfer is looked for along either axis, mm, and turned."""

    distance: float = 10.0
    turn: float = math.radians(6)


NEAR, FAR = Reach(), Reach(45.0, math.radians(12))
"""About a target that is known, and about one that only the standard load tells."""


@dataclass(frozen=True)
class Tolerance:
    """How far off a transfer may lie and be pressed, mm and radians."""

    distance: float = 2.0
    turn: float = math.radians(1.0)


USUAL_TOLERANCE = Tolerance()


@dataclass(frozen=True, eq=False)
class Target:
    """Where the transfer should lie.

    Attributes
    ----------
    name : str
        Of the artwork, for sentences.
    ink : ndarray, shape (h, w), bool
        Where its ink is, cut to its bounds, as one should see it lying there (a mirrored print
        already turned over).
    size : (width, height)
        Of the ink, mm.
    sheet : Box or None
        The sheet's edges in the art frame (origin in the middle of the ink's box, y down), if
        they are known.
    platen_from_art : Isometry
    """

    name: str
    ink: NDArray[np.bool_]
    size: tuple[float, float]
    sheet: Box | None
    platen_from_art: Isometry

    @classmethod
    def of(
        cls, artwork: Artwork, ink: NDArray[np.bool_], platen_from_art: Isometry, sheet: bool = True
    ) -> Target:
        """Return the target of an artwork with its ink's mask, as `InkMeasures.mask` gives it.

        Parameters
        ----------
        sheet : bool
            Whether the artwork's sheet is the one that is laid.
        """
        box = artwork.ink
        return cls(
            artwork.name, ink, (box.width, box.height), artwork.sheet if sheet else None,
            platen_from_art,
        )  # fmt: skip

    def corners(self) -> Points:
        """Return the corners of ink and sheet in the platen frame, mm, shape (N, 2)."""
        width, height = self.size
        boxes = [Box(-width / 2, -height / 2, width / 2, height / 2)]
        if self.sheet is not None:
            boxes.append(self.sheet)
        return self.platen_from_art.apply(np.vstack([box.corners() for box in boxes]))


Way = Literal["right", "turned", "mirrored", "mirrored and turned"]

_WAYS: dict[Way, Callable[[Shape], Shape]] = {
    "right": lambda shape: shape,
    "turned": lambda shape: shape.turned,
    "mirrored": lambda shape: shape.mirrored,
    "mirrored and turned": lambda shape: shape.mirrored.turned,
}


_WRONG: dict[Way, str] = {
    "turned": "turned half round",
    "mirrored": "mirrored (face down?)",
    "mirrored and turned": "mirrored and turned half round (face down?)",
}


@dataclass(frozen=True, eq=False)
class _Found:
    """One way of lying, tried.

    Attributes
    ----------
    value : float
        Correlation at the best pose, 1 if all edges show.
    rival : float
        The best value elsewhere, of the best.
    shown : float
        Share of the shape's edges that show there, 0 to 1.
    directed : bool
        Whether the picture tells how it is turned: nothing does of a round ink.
    """

    value: float
    rival: float
    shown: float
    fit: ShapeFit
    directed: bool = True

    @property
    def evidence(self) -> float:
        """How well this way round explains the picture."""
        return self.value * self.shown

    @property
    def believed(self) -> bool:
        """Whether the pose may be told."""
        apart = self.fit.apart
        agree = apart[0] <= _APART[0] and apart[1] <= _APART[1]
        return self.shown >= _SHOWN and self.rival <= _RIVAL and agree


Look = Callable[[Shape, Pose], _Found]
"""Looks for a shape about a pose."""


def find_transfer(
    burst: Burst,
    camera: Pinhole,
    target: Target,
    height: Height = 0.0,
    tolerance: Tolerance = USUAL_TOLERANCE,
    reach: Reach = NEAR,
    about: Isometry | None = None,
) -> TransferSeen:
    """Return where the laid transfer lies against its target.

    Parameters
    ----------
    burst : Burst
        With the transfer on the garment; `white`, and `dim` where it is there.
    camera : Pinhole
        The rig's eye, platen to picture px.
    target : Target
    height : float or callable
        Of the cloth over the bare platen, mm; or of platen points, shape (N, 2).
    tolerance : Tolerance
    reach : Reach
    about : Isometry, optional
        Where to look for it, platen_from_art, if that is not the target.
    """
    goal = target.platen_from_art if about is None else about
    margin = reach.distance + 6.0
    if target.sheet is None:
        margin = max(margin, WIDEST_MARGIN + 6.0)
    corners = replace(target, platen_from_art=goal).corners()
    around = np.vstack([corners - margin, corners + margin])
    view = view_from_above(burst, camera, around, height)
    seen = field(view.image)
    there = view.from_platen(goal)
    shape = Shape.of_mask(target.ink, *target.size)
    look = partial(_looked, seen, reach=reach)
    ink = _by_ink(view, look, target, shape, there, tolerance)
    if ink.verdict != "cannot see":
        return ink
    sheet = _by_sheet(view, seen, look, target, there)
    if sheet is None or not is_plain(view, shape, sheet.fit.pose):
        return ink  # ink that shows must be the right ink
    return _told(view, target, sheet, tolerance, "sheet")


def _by_ink(
    view: View, look: Look, target: Target, shape: Shape, about: Pose, tolerance: Tolerance
) -> TransferSeen:
    right = look(shape, about)
    shows = right.believed and contrast(view, shape, right.fit.pose) >= _FAINTEST
    other = shows and strays(view, shape, right.fit.pose) >= SMALLEST_STRAY
    if shows and not other and right.shown > 0.9 and _is_odd(shape, right):
        return _told(view, target, right, tolerance, "ink")
    others = {way: look(make(shape), about) for way, make in _WAYS.items() if way != "right"}
    way, best = max(others.items(), key=lambda item: item[1].evidence)
    if best.believed and best.evidence > _BETTER * right.evidence:
        if contrast(view, _WAYS[way](shape), best.fit.pose) >= _FAINTEST:
            found = _told(view, target, best, tolerance, "ink")
            why = f"{target.name} lies {_WRONG[way]}: lay it the right way round."
            return replace(found, verdict="move", why=why)
    elif other:
        return _other(target)
    elif shows:
        return _told(view, target, right, tolerance, "ink")
    return _unseen(target, max((right, best), key=lambda found: found.shown))


def _is_odd(shape: Shape, found: _Found) -> bool:
    """Tell whether a shape found its right way round could hardly be another one."""
    return (
        found.value > 0.5
        and max(_alike(shape, make(shape)) for make in list(_WAYS.values())[1:]) < 0.7
    )


def _alike(shape: Shape, other: Shape) -> float:
    """Return how much of a shape's edges another way round shows too, in the same place."""
    a, b = shape.field, other.field
    return float((a * b).sum() / max(float((a * a).sum()), 1e-9))


def _looked(seen: F32, shape: Shape, about: Pose, reach: Reach) -> _Found:
    peak = search(seen, shape, about, reach.distance, reach.turn)
    fit = shape.refined(seen, peak.pose)
    rival = max(peak.second, 0.0) / max(peak.value, 1e-6)
    shown = _shown(seen, shape, fit.pose)
    return _Found(peak.value, rival, shown, fit, _directed(seen, shape, fit.pose))


def _directed(seen: F32, shape: Shape, pose: Pose) -> bool:
    """Tell whether a shape turned a little more either way explains the picture less well."""

    def explains(turn: float) -> float:
        strength, weight = shape.strengths(seen, (pose[0], pose[1], pose[2] + turn))
        return float((strength * weight).sum())

    here = explains(0.0)
    return all(explains(turn) < _FLAT * here for turn in (-_TURN, _TURN))


def _shown(seen: F32, shape: Shape, pose: Pose) -> float:
    """Return the share of a shape's edges that show at a pose.

    A cell shows if its edges are well above what the same edges find elsewhere on this picture,
    and not much fainter than those of the other cells.
    """
    strength, weight = shape.strengths(seen, pose)
    rng = np.random.default_rng(7)  # the same picture is always judged alike
    away, angle = rng.uniform(4, 14, 24) * PER_MM, rng.uniform(0, 2 * math.pi, 24)
    elsewhere = np.array(
        [
            shape.strengths(seen, (pose[0] + d * math.cos(a), pose[1] + d * math.sin(a), pose[2]))[
                0
            ]
            for d, a in zip(away, angle, strict=True)
        ]
    )
    # A cell with few edges scatters more: the noise is that of all cells, by weight.
    noise = np.sqrt((elsewhere**2 * weight).mean() / np.maximum(weight, 1e-9))
    typical = np.median(np.repeat(strength, np.maximum(1, weight.astype(int))))
    shows = (strength > 2.0 * noise) & (strength > 0.35 * typical) & (strength > 0.08)
    return float((weight * shows).sum() / max(float(weight.sum()), 1e-9))


def _by_sheet(view: View, seen: F32, look: Look, target: Target, about: Pose) -> _Found | None:
    """Return where the ink must lie by its sheet's edges; None if they do not tell."""
    if target.sheet is None:
        guess = rectangle_around(seen, target.size, about)
        if guess is None or guess.width < target.size[0] or guess.height < target.size[1]:
            return None
        shape = Shape.of_mask(np.ones((8, 8), bool), guess.width, guess.height)
        found = look(shape, guess.pose)
        differs = contrast(view, shape, found.fit.pose)
        whole = found.shown > 0.9 and differs >= _FAINTEST
        return found if found.believed and (whole or differs >= _CLEAR) else None
    sheet = target.sheet
    shape = Shape.of_mask(np.ones((8, 8), bool), sheet.width, sheet.height)
    x, y = (PER_MM * v for v in sheet.centre)

    def shifted(pose: Pose, sign: int) -> Pose:
        c, s = sign * math.cos(pose[2]), sign * math.sin(pose[2])
        return pose[0] + c * x - s * y, pose[1] + s * x + c * y, pose[2]

    found = look(shape, shifted(about, 1))
    first, second = found.fit.halves
    halves = shifted(first, -1), shifted(second, -1)
    fit = replace(found.fit, pose=shifted(found.fit.pose, -1), halves=halves)
    return replace(found, fit=fit) if found.believed else None


def _told(
    view: View, target: Target, found: _Found, tolerance: Tolerance, what: str
) -> TransferSeen:
    lies = view.to_platen(*found.fit.pose)
    goal = target.platen_from_art
    off = lies.x - goal.x, lies.y - goal.y
    turned = math.remainder(lies.angle - goal.angle, 2 * math.pi) if found.directed else None
    apart = found.fit.apart
    margin = (
        max(_LEAST_MARGIN[0], apart[0] / 2, 2 * math.hypot(*found.fit.spread[:2]) / PER_MM),
        max(_LEAST_MARGIN[1], apart[1] / 2, 2 * float(found.fit.spread[2])),
    )
    far = math.hypot(*off) + margin[0] > tolerance.distance
    skew = turned is not None and abs(turned) + margin[1] > tolerance.turn
    measured = f"measured by its {what}"
    if not far and not skew:
        return TransferSeen(
            True, True, off, turned, "good", f"{target.name} lies right, {measured}."
        )
    way = _way(off, turned or 0.0, far, skew)
    return TransferSeen(True, True, off, turned, "move", f"{way} ({measured}).")


def _way(off: tuple[float, float], turned: float, far: bool, skew: bool) -> str:
    parts = []
    if far:
        right, away = off
        if abs(right) >= 0.5:
            parts.append(f"{abs(right):.1f} mm to the {'left' if right > 0 else 'right'}")
        if abs(away) >= 0.5:
            parts.append(f"{abs(away):.1f} mm {'to you' if away > 0 else 'away from you'}")
    moved = [f"move it {' and '.join(parts)}"] if parts else []
    if skew:
        side = "right" if turned > 0 else "left"
        moved.append(f"turn it {abs(math.degrees(turned)):.1f} degrees {side}")
    words = ", ".join(moved)
    return words[:1].upper() + words[1:]


def _other(target: Target) -> TransferSeen:
    why = (
        f"What lies there is like {target.name}, but not everywhere: take it off unless it is the "
        "right artwork and name."
    )
    return TransferSeen(True, False, None, None, "wrong", why)


def _unseen(target: Target, found: _Found) -> TransferSeen:
    if found.shown >= _SHOWN:
        why = (
            f"The ink of {target.name} shows, but not where exactly: look at it yourself, "
            "against the light."
        )
    elif found.shown >= _PARTLY:
        why = (
            f"Only {100 * found.shown:.0f} % of what should show of {target.name} does: check "
            "that it is the right artwork and name, and that nothing covers it."
        )
    else:
        why = (
            f"Neither the ink of {target.name} nor its sheet shows against this cloth, or "
            "another artwork lies there: look at it yourself, against the light."
        )
    return TransferSeen(found.shown >= _SHOWN, False, None, None, "cannot see", why)
