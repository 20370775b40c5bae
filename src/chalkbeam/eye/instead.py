"""What a piece might be instead of what was ordered: the next sizes, and its other side."""

from __future__ import annotations

from calibration.refusal import Refusal
from chalkbeam.garments import Garment, sizes
from chalkbeam.garments import garment as find_garment


def instead_of(garment: Garment, face: str) -> tuple[tuple[Garment, str], ...]:
    """Return what a piece could be mistaken for: one size smaller or larger, the other face."""
    row = sizes(garment.style, fit=garment.fit)
    at = row.index(garment.size) if garment.size in row else None
    near = () if at is None else tuple(row[k] for k in (at - 1, at + 1) if 0 <= k < len(row))
    found = [(other, face) for name in near if (other := _found(garment, name)) is not None]
    other_face = "back" if face == "front" else "front"
    if other_face in garment.faces:
        found.append((garment, other_face))
    return tuple(found)


def _found(like: Garment, size: str) -> Garment | None:
    try:
        return find_garment(like.style, size, fit=like.fit)
    except Refusal:
        return None
