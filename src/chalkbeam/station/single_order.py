"""Light for one artwork as an order of one piece: an imprint at each location asked for."""

from __future__ import annotations

from collections.abc import Sequence

from chalkbeam.orders.order_of_work import Plan, plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece, PressSetup
from chalkbeam.placement import Placement


def single_order(
    placements: Sequence[Placement], *, art: str, colour: str = "", pad: str = ""
) -> Plan:
    """Return the order of work, in the order of the placements.

    Parameters
    ----------
    placements : sequence of Placement
        One for each location; of one garment.
    art : str
        What the artwork is called.
    colour : str
        Fabric colour; empty for the usual colours of light.
    pad : str
        The pad on the press; empty for none.
    """
    faces = {each.location.name: each.location.face for each in placements}
    imprints = tuple(
        Imprint(f"1-1/{number}", name, Art(ArtKind.FILE, art), pad=pad)
        for number, name in enumerate(faces, start=1)
    )
    garment = placements[0].garment
    piece = Piece("1-1", 1, 1, 1, garment.style, garment.size, colour, imprints)

    def fit(piece: Piece, imprint: Imprint) -> PressSetup:
        return PressSetup(pad=pad, loading=faces[imprint.location])

    return plan([piece], choose=fit, as_listed=True)
