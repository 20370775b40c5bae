"""A stand-in for artwork that is not there yet: a box of the usual size for its location."""

from __future__ import annotations

from chalkbeam.artwork import Artwork, Box, OpticalCentre
from chalkbeam.basics.sentences import Sentence
from chalkbeam.garments import Age
from chalkbeam.locations import Location

SHAPE = 0.75
"""Height over width of a box of which only one is usual. Chalkbeam's choice."""
ANY_WIDTH = 100.0
"""Width where a location names none, mm. Chalkbeam's choice."""


def blank_art(location: Location, age: Age) -> Artwork:
    """Return a box of the usual size; its middle is the art's optical centre."""
    widths, heights = location.preset.width.get(age), location.preset.height.get(age)
    width = widths.usual if widths else heights.usual / SHAPE if heights else ANY_WIDTH
    height = heights.usual if heights else SHAPE * width
    box = Box(-width / 2, -height / 2, width / 2, height / 2)
    corners = tuple((float(x), float(y)) for x, y in box.corners())
    return Artwork(
        name="a box of the usual size", ink=box, sheet=box,
        optical_centre=OpticalCentre((0.0, 0.0), Sentence("the middle of the box")),
        centroid=(0.0, 0.0), baseline=height / 2, outline=(corners,), hull=corners,
    )  # fmt: skip
