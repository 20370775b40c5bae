"""Which lines garments have: to tell a mistyped line in a location file."""

from __future__ import annotations

import functools

from chalkbeam.garments import garment, sizes, styles
from chalkbeam.locations import Axis, Location

EXTRA = frozenset({"name_foot"})
"""Lines that a placement brings with it, not a garment."""


@functools.cache
def known_lines(face: str) -> tuple[frozenset[str], frozenset[str]]:
    """Return the names of the lines across and along a face that any style has."""
    across: set[str] = set()
    along: set[str] = set(EXTRA)
    for style in styles():
        piece = garment(style, sizes(style)[0])
        if face in piece.faces:
            across |= set(piece.face(face).across)
            along |= set(piece.face(face).along)
    return frozenset(across), frozenset(along)


@functools.cache
def known_faces() -> frozenset[str]:
    """Return the names of the faces that any style has."""
    return frozenset(face for style in styles() for face in garment(style, sizes(style)[0]).faces)


def unknown_lines(location: Location) -> tuple[str, ...]:
    """Return the lines a location names that no garment has on that face, sorted."""
    across, along = known_lines(location.face)
    missing = set()
    for rule in location.rules:
        known = across if rule.axis is Axis.ACROSS else along
        missing |= {rule.line} - known
        missing |= {*rule.when, *rule.unless} - across - along
    return tuple(sorted(missing))
