"""Which colours are visible on a given cloth, by computation.

Model: the projector's light and the room's fall on the cloth, which reflects its share of
red, green and blue. What the eye receives is converted to CIELAB and compared by CIEDE2000.
White is the brightest thing in view, either white paper in the room's light or the cloth
itself in the projector's full light. Three bands instead of spectra, standard video primaries
and a matt cloth are simplifications: the result ranks colours, it does not measure them.
CIEDE2000 is made for small differences between patches. It ranks thin lines here too, with a
separate requirement on lightness, since the eye sees fine lines by light and dark rather than
by hue.

No role depends on its colour alone: line styles (`overlay.palette`) differ as well.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from overlay.colour.colorimetry import (
    Colours,
    ciede2000,
    lab_from_linear,
    linear_from_srgb,
    relative_luminance,
)
from overlay.marks import Role
from overlay.palette import DEFAULT_PALETTE, RGB, Palette


@dataclass(frozen=True)
class Lighting:
    """The lighting of the platen. The defaults are assumptions for a small shop.

    Attributes
    ----------
    projector : float
        Illuminance of projected white on the platen, lux: lumens over the lit square metres.
        3000 lm over a picture of 1.2 × 0.7 m give about 3500.
    room : float
        Illuminance of the room's light on the platen, lux.
    contrast : float
        Projected white over projected black.
    """

    projector: float = 2500.0
    room: float = 500.0
    contrast: float = 500.0

    def falling(self, colours: ArrayLike, gamma: float = 2.2) -> Colours:
        """Return the light on the platen under projector colours 0 … 255, lux a channel."""
        emitted = (np.asarray(colours, dtype=np.float64) / 255.0) ** gamma
        black = 1.0 / self.contrast
        return np.asarray(self.room + self.projector * (black + (1.0 - black) * emitted))

    def seen(self, colours: ArrayLike, cloth: RGB, gamma: float = 2.2) -> Colours:
        """Return what comes back to the eye from cloth, linear sRGB with white at 1.

        Parameters
        ----------
        colours : array_like, shape (…, 3)
            Projector codes 0 … 255.
        cloth : RGB
            The cloth's colour as sRGB codes under white light.
        """
        share = linear_from_srgb(cloth)
        full = (self.room + self.projector) * float(relative_luminance(cloth))
        return np.asarray(self.falling(colours, gamma) * share / max(self.room, full))


@dataclass(frozen=True)
class RoleVisibility:
    """How well one role is seen on a cloth.

    Attributes
    ----------
    difference : float
        CIEDE2000 of the lit line from the cloth beside it.
    lightness : float
        By how much L* of the line is above the cloth's.
    nearest : Role
        The role whose colour is most like it: among lines for lines, among lettering for lettering.
    apart : float
        CIEDE2000 from that role's lines.
    """

    difference: float
    lightness: float
    nearest: Role
    apart: float


CLOTH_DIFFERENCE = 20.0
"""CIEDE2000 from the cloth at which a line counts as clearly visible: several times what is
clear between patches (common practice, no source), since lines are thin."""

CLOTH_LIGHTNESS = 20.0
"""L* above the cloth required of every line, so that no line is seen by hue alone."""

ROLE_DIFFERENCE = 10.0
"""CIEDE2000 between roles at which their colours help to tell them apart."""

_ROLES = tuple(Role)
_LIKE = frozenset(
    frozenset(pair)
    for pair in (
        (Role.LOAD, Role.LAY),
        (Role.LOAD, Role.CLEAR),
        (Role.LAY, Role.CLEAR),
        (Role.NOTE, Role.WARN),
    )
)
"""Roles that could be mistaken for each other: lines for lines, lettering for lettering. The
alignment view is shown alone."""


def role_visibilities(
    palette: Palette, cloth: RGB, light: Lighting | None = None
) -> dict[Role, RoleVisibility]:
    """Return how well each role is seen on `cloth` (sRGB codes under white light)."""
    light = light or Lighting()
    lab = _labs([palette.look(role).colour for role in _ROLES], cloth, light, palette.gamma)
    ground = _labs([(0, 0, 0)], cloth, light, palette.gamma)[0]
    between = ciede2000(lab[:, None], lab[None, :])
    found = {}
    for index, role in enumerate(_ROLES):
        others = [k for k, other in enumerate(_ROLES) if frozenset((role, other)) in _LIKE]
        others = others or [k for k in range(len(_ROLES)) if k != index]
        nearest = min(others, key=lambda k: float(between[index, k]))
        found[role] = RoleVisibility(
            difference=float(ciede2000(lab[index], ground)),
            lightness=float(lab[index, 0] - ground[0]),
            nearest=_ROLES[nearest],
            apart=float(between[index, nearest]),
        )
    return found


@functools.lru_cache(maxsize=256)
def palette_for(
    cloth: RGB, light: Lighting | None = None, usual: Palette = DEFAULT_PALETTE
) -> Palette:
    """Return the palette whose roles are best seen on `cloth`.

    Operators learn the colours, so each role keeps its usual one where that is clearly
    visible, and otherwise changes as little as needed. Line styles never change.

    Parameters
    ----------
    cloth : RGB
        The cloth's colour as sRGB codes under white light.
    light : Lighting, optional
    usual : Palette
        The colours to keep to.
    """
    light = light or Lighting()
    choices = _candidates(usual)
    lab = _labs(choices, cloth, light, usual.gamma)
    ground = _labs([(0, 0, 0)], cloth, light, usual.gamma)[0]
    from_cloth = np.minimum(
        ciede2000(lab, ground) / CLOTH_DIFFERENCE, (lab[:, 0] - ground[0]) / CLOTH_LIGHTNESS
    )
    between = ciede2000(lab[:, None], lab[None, :]) / ROLE_DIFFERENCE
    # How far a choice is from the usual colour, as both look on white in full light.
    pure = lab_from_linear(linear_from_srgb(choices))
    departure = ciede2000(pure[:, None], pure[None, :]) / 100.0
    # One role after another until nothing improves; the first candidates are the usual colours.
    # Sixty random starts on eight cloths found nothing more than 0.04 better.
    chosen = list(range(len(_ROLES)))
    best = -np.inf
    while True:
        for place in range(len(_ROLES)):
            scores = _scores(chosen, place, from_cloth, between, departure)
            chosen[place] = int(np.argmax(scores))
            score = float(scores[chosen[place]])
        if score <= best + 1e-12:
            break
        best = score
    looks = {
        role: replace(usual.look(role), colour=choices[choice])
        for role, choice in zip(_ROLES, chosen, strict=True)
    }
    return replace(
        usual,
        load=looks[Role.LOAD],
        lay=looks[Role.LAY],
        clear=looks[Role.CLEAR],
        note=looks[Role.NOTE],
        warn=looks[Role.WARN],
        check=looks[Role.CHECK],
    )


_LEVELS = (0, 96, 160, 208, 255)


def _candidates(usual: Palette) -> list[RGB]:
    """Return the usual colours, role by role, then a grid of bright ones."""
    grid = [
        (red, green, blue)
        for red in _LEVELS
        for green in _LEVELS
        for blue in _LEVELS
        if max(red, green, blue) >= 208
    ]
    return [usual.look(role).colour for role in _ROLES] + grid


def _labs(colours: list[RGB], cloth: RGB, light: Lighting, gamma: float) -> Colours:
    return lab_from_linear(light.seen(np.array(colours, dtype=np.float64), cloth, gamma))


def _scores(
    chosen: list[int],
    place: int,
    from_cloth: NDArray[np.float64],
    between: NDArray[np.float64],
    departure: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the merit of the whole choice for every candidate in `place`.

    Each requirement (a role from the cloth, a role from another) is met at 1 and gains nothing
    beyond. What falls short costs its square, so that the worst is improved first. Visibility
    counts more than difference between roles, which line styles tell apart too; keeping the
    usual colour counts least.
    """
    rest = [k for k in range(len(chosen)) if k != place]
    merit = -3.0 * _short(from_cloth) ** 2 - 0.3 * departure[place]
    for k in rest:
        merit = merit - 3.0 * _short(from_cloth[chosen[k]]) ** 2 - 0.3 * departure[k, chosen[k]]
        if frozenset((_ROLES[place], _ROLES[k])) in _LIKE:
            merit = merit - _short(between[:, chosen[k]]) ** 2
    for a, b in combinations(rest, 2):
        if frozenset((_ROLES[a], _ROLES[b])) in _LIKE:
            merit = merit - _short(between[chosen[a], chosen[b]]) ** 2
    return np.asarray(merit)


def _short(share: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(np.clip(1.0 - np.asarray(share), 0.0, None))
