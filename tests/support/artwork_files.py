"""Artwork made of numbers alone, for tests of placing."""

from __future__ import annotations

from chalkbeam.artwork import Artwork, Box, OpticalCentre
from chalkbeam.basics.sentences import Sentence


def block_art(
    width: float,
    height: float,
    *,
    centre=(0.0, 0.0),
    baseline=None,
    margin: float = 0.0,
    name: str = "block",
) -> Artwork:
    """A rectangle of ink, mm."""
    ink = Box(-width / 2, -height / 2, width / 2, height / 2)
    corners = tuple((float(x), float(y)) for x, y in ink.corners())
    return Artwork(
        name=name,
        ink=ink,
        sheet=ink.grown(margin),
        optical_centre=OpticalCentre(centre, Sentence("as the test says")),
        centroid=centre,
        baseline=baseline,
        outline=(corners,),
        hull=corners,
    )


def mirror_art(art: Artwork) -> Artwork:
    """The same art seen in a mirror."""
    from dataclasses import replace

    def points(ring):
        return tuple((-x, y) for x, y in ring)

    def box(b):
        return Box(-b.right, b.top, -b.left, b.bottom)

    x, y = art.optical_centre.point
    return replace(
        art,
        ink=box(art.ink),
        sheet=box(art.sheet),
        optical_centre=OpticalCentre((-x, y), art.optical_centre.reason),
        outline=tuple(points(ring) for ring in art.outline),
        hull=points(art.hull),
    )
