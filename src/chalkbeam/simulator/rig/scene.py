"""What stands under the lens: press, platen, spacer, paper, cards, cloth and the room's light.

Reflectances are linear and in the order blue, green, red, like every picture here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from calibration.geometry import Isometry, PlatenFace, Points
from chalkbeam.simulator.rig.arrays import BGR, U8
from chalkbeam.simulator.rig.optics import XYZ

if TYPE_CHECKING:
    from calibration.targets.cards import Card
    from chalkbeam.placement.platens import Pad
    from chalkbeam.simulator.rig.cloth import Cloth


PAPER_WHITE: BGR = (0.80, 0.82, 0.83)
PRINTED_BLACK: BGR = (0.045, 0.043, 0.042)


@dataclass(frozen=True, eq=False)
class LaidPrint:
    """A printed sheet lying on the topmost flat face.

    Attributes
    ----------
    image : uint8 array, shape (H, W)
        The print, 255 is bare paper; its outer edges are the sheet's edges.
    width, depth : float
        Size of the sheet as it truly came out of the printer, mm.
    pose : Isometry
        platen_from_print; the print's frame has its origin in its middle, x to
        the right of the picture and y to its top.
    """

    image: U8
    width: float
    depth: float
    pose: Isometry

    def corners(self) -> Points:
        """Return the sheet's corners tl, tr, br, bl, platen frame, mm, shape (4, 2)."""
        w, d = self.width / 2, self.depth / 2
        return self.pose.apply([[-w, d], [w, d], [w, -d], [-w, -d]])


@dataclass(frozen=True)
class Laying:
    """How far a card lies from where it should, and how wrong its print came out.

    Attributes
    ----------
    dx, dy : float
        Shift of the card's middle, platen frame, mm.
    turn : float
        Counter-clockwise, radians.
    scale : float
        True size over intended size.
    """

    dx: float = 0.0
    dy: float = 0.0
    turn: float = 0.0
    scale: float = 1.0


def lay_cards(
    cards: Sequence[Card], layings: Sequence[Laying] = (), pixels_per_mm: float = 12.0
) -> tuple[LaidPrint, ...]:
    """Print and lay calibration cards, each with its own error (none where `layings` is short)."""
    from calibration.targets.cards import draw

    errors = [*layings, *[Laying()] * (len(cards) - len(layings))]
    return tuple(
        LaidPrint(
            image=draw(card, pixels_per_mm),
            width=card.size * error.scale,
            depth=card.size * error.scale,
            pose=Isometry(
                card.centre[0] + error.dx, card.centre[1] + error.dy, card.angle + error.turn
            ),
        )
        for card, error in zip(cards, errors, strict=True)
    )


@dataclass(frozen=True)
class Slab:
    """A block with a flat rounded top: platen, spacer, the press's bed.

    Attributes
    ----------
    face : PlatenFace
        Outline of the top.
    centre : (float, float)
        Middle of the top, platen frame, mm.
    top, bottom : float
        Heights above the bare platen, mm.
    colour, side : BGR
        Reflectance of the top and of the walls.
    papered : bool
        Whether cover sheet and prints lie on it.
    """

    face: PlatenFace
    centre: tuple[float, float]
    top: float
    bottom: float
    colour: BGR
    side: BGR
    papered: bool = False


@dataclass(frozen=True)
class RoomLight:
    """The light that is there without the projector.

    Attributes
    ----------
    level : float
        Irradiance on the platen's middle; 1 is what a photo exposes paper for.
    tint : BGR
        Colour of that light.
    lamp : (float, float, float)
        Direction towards the main lamp, platen frame, need not be of unit length.
    gradient : (float, float)
        Relative change per metre along platen x and y.
    """

    level: float = 1.0
    tint: BGR = (0.92, 1.0, 1.06)
    lamp: XYZ = (-0.35, 0.45, 1.0)
    gradient: tuple[float, float] = (0.2, -0.15)


@dataclass(frozen=True, eq=False)
class PressScene:
    """Everything that light can fall on.

    Attributes
    ----------
    face : PlatenFace
        The platen's top face, at height 0.
    prints : tuple of LaidPrint
        Sheets on the topmost flat face, later ones above earlier ones.
    cover : bool
        Whether a white cover sheet lies under the prints, over the whole face.
    spacer : float
        Height of a flat spacer of the platen's outline between platen and cover, mm.
    paper : float
        Height of the prints' and the cover sheet's face above what they lie on, mm.
    pad : Pad or None
        A raised pad under the cloth.
    cloth : Cloth or None
        A garment over it all.
    """

    face: PlatenFace
    prints: tuple[LaidPrint, ...] = ()
    cover: bool = True
    spacer: float = 0.0
    paper: float = 0.0
    pad: Pad | None = None
    cloth: Cloth | None = None
    room: RoomLight = field(default_factory=RoomLight)

    @property
    def top(self) -> float:
        """Height of the topmost flat face, mm, where prints lie and cloth rests."""
        return self.spacer + (self.paper if self.cover or self.prints else 0.0)

    def slabs(self) -> tuple[Slab, ...]:
        """Return the blocks from the top down; the last is the table, which has no end."""
        steel, rubber = (0.16, 0.15, 0.145), (0.05, 0.05, 0.052)
        platen = Slab(self.face, (0.0, 0.0), self.top, -26.0, (0.11, 0.10, 0.10), steel, True)
        bed = Slab(
            PlatenFace(self.face.width * 0.62, self.face.depth * 0.5 + 420.0, 18.0),
            (0.0, self.face.depth * 0.25 + 170.0),
            -34.0,
            -78.0,
            (0.13, 0.11, 0.095),
            (0.09, 0.075, 0.065),
        )
        table = Slab(
            PlatenFace(8000.0, 8000.0), (0.0, 0.0), -78.0, -200.0, (0.042, 0.058, 0.08), rubber
        )
        if self.pad is None:
            return platen, bed, table
        foam = (0.12, 0.14, 0.16)
        pad = Slab(self.pad.face, self.pad.centre, self.pad.height, 0.0, foam, foam)
        return pad, platen, bed, table
