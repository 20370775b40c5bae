"""A garment to try things on: a style, a size and a face, chosen on a page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from calibration.refusal import Refusal
from chalkbeam.artwork import Artwork, Box, OpticalCentre
from chalkbeam.basics.sentences import Sentence
from chalkbeam.garments import FITS, Face, Fit, Garment, garment, sizes, styles


@dataclass(frozen=True)
class Wearing:
    """A garment, and what else could be chosen.

    Attributes
    ----------
    garment : Garment
    face : Face
    styles, sizes, faces : tuple of str
        What there is to choose from.
    """

    garment: Garment
    face: Face
    styles: tuple[str, ...]
    sizes: tuple[str, ...]
    faces: tuple[str, ...]


def wearing(chosen: Mapping[str, str], with_face: str = "") -> Wearing:
    """Return the garment that some fields choose: `style`, `size`, `fit`, `face`; else a usual one.

    Parameters
    ----------
    with_face : str
        Only styles that have this face.
    """
    known = tuple(each for each in styles() if not with_face or _has(each, with_face))
    usual = "crew_tee" if "crew_tee" in known else known[0]
    style = chosen.get("style", "") if chosen.get("style", "") in known else usual
    fit = next((each for each in FITS if each == chosen.get("fit")), FITS[0])
    run = sizes(style, fit=fit) or sizes(style)
    fit = fit if sizes(style, fit=fit) else FITS[0]
    size = chosen.get("size", "") if chosen.get("size", "") in run else middle(run)
    worn = garment(style, size, fit=fit)
    face = chosen.get("face", "") or with_face
    shown = worn.face(face if face in worn.faces else with_face or worn.faces[0])
    return Wearing(worn, shown, known, run, worn.faces)


def _has(style: str, face: str) -> bool:
    try:
        garment(style, sizes(style)[0]).face(face)
    except Refusal:
        return False
    return True


def middle(run: tuple[str, ...]) -> str:
    """Return a usual size of a run: M where there is one."""
    return "M" if "M" in run else run[len(run) // 2]


def three_sizes(style: str, fit: Fit, size: str) -> tuple[str, ...]:
    """Return the smallest and the largest size of one age group, with a size between them."""
    age = garment(style, size, fit=fit).age
    run = [each for each in sizes(style, fit=fit) if garment(style, each, fit=fit).age == age]
    return tuple(dict.fromkeys((run[0], size, run[-1])))


def block(width: float, height: float, name: str) -> Artwork:
    """Return a rectangle of ink, mm, to be placed where there is no artwork."""
    ink = Box(-width / 2, -height / 2, width / 2, height / 2)
    corners = tuple((float(x), float(y)) for x, y in ink.corners())
    return Artwork(
        name=name, ink=ink, sheet=ink, optical_centre=OpticalCentre((0.0, 0.0), Sentence("")),
        centroid=(0.0, 0.0), baseline=None, outline=(corners,), hull=corners,
    )  # fmt: skip
