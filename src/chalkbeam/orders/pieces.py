"""What an order asks for: pieces, the imprints on them, and the supplier's press settings."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path


class ArtKind(Enum):
    """What is pressed."""

    FILE = "file"
    """A picture from a file."""
    NAME = "name"
    """The wearer's name, set as lettering."""
    NUMBER = "number"
    """The wearer's number, set as figures."""


@dataclass(frozen=True)
class Cut:
    """How a transfer is printed and cut, where that is not as usual.

    Attributes
    ----------
    margin : float or None
        Blank carrier around the ink, mm; without it the picture's own edge is cut.
    width : float or None
        Of the whole picture, mm, in place of the ink's.
    mirrored : bool
        Whether the file is printed in mirror image.
    page : int
        Of a PDF.
    pick : int or None
        Which artwork of a ganged file, from 1; None: the file is one artwork.
    """

    margin: float | None = None
    width: float | None = None
    mirrored: bool = False
    page: int = 1
    pick: int | None = None


@dataclass(frozen=True)
class Art:
    """One artwork, or the lettering of one piece.

    Attributes
    ----------
    text : str
        The file as the sheet writes it, or the name or number to set.
    path : Path or None
        Where the file is; None for lettering.
    cut : Cut
    """

    kind: ArtKind
    text: str
    path: Path | None = None
    cut: Cut = Cut()

    @property
    def stack(self) -> str:
        """The pile of transfer sheets this comes from.

        Names and numbers are one pile, sorted as the pieces come.
        """
        return self.text if self.kind is ArtKind.FILE else "names and numbers"


@dataclass(frozen=True)
class PressSettings:
    """What the transfer supplier's sheet says, as the user entered it; never filled in by us.

    Attributes
    ----------
    transfer : str
        The product of the shop's shelf that they are taken from; empty where the run sheet says
        them itself.
    temperature, time, pressure, peel, prepress, second, cooling : str
        As written, with the unit; empty where the sheet says nothing. `second` is the press
        after the peel, `cooling` how long the carrier stays on after the press.
    dwell, prepress_dwell, second_dwell, cooling_wait : float or None
        Seconds to count down, where `time`, `prepress`, `second` or `cooling` says one plain
        duration.
    """

    temperature: str = ""
    time: str = ""
    pressure: str = ""
    peel: str = ""
    prepress: str = ""
    dwell: float | None = None
    prepress_dwell: float | None = None
    second: str = ""
    second_dwell: float | None = None
    transfer: str = ""
    cooling: str = ""
    cooling_wait: float | None = None

    def __str__(self) -> str:
        """Return the settings in one line for the operator; empty if the sheet gives none."""
        said = (self.temperature, self.time, self.pressure, self.peel and f"peel {self.peel}")
        settings = ", ".join(part for part in said if part)
        return ": ".join(part for part in (self.transfer, settings) if part)


@dataclass(frozen=True)
class PressSetup:
    """What the press and the garment must be like for an imprint.

    Attributes
    ----------
    platen, pad : str
        Which platen and which pad; empty for the one that is on.
    loading : str
        Which way the garment is threaded: ``front``, ``back``, ``left sleeve``, ….
    """

    platen: str = ""
    pad: str = ""
    loading: str = "front"

    @property
    def platen_words(self) -> str:
        """Which platen, for the operator."""
        return f"platen {self.platen or 'of the rig'}"

    @property
    def pad_words(self) -> str:
        """Which pad, for the operator."""
        return f"pad {self.pad}" if self.pad else "pad out"


@dataclass(frozen=True)
class NameLine:
    """How high the names of an order are, and the radius that they are bent by, mm."""

    height: float
    arc: float | None = None


@dataclass(frozen=True)
class Imprint:
    """One artwork at one location on one piece.

    Attributes
    ----------
    id : str
        Unique in the run: the piece's id, a slash, and 1, 2, … such as ``7-2/1``.
    location : str
        Name of a preset.
    width, height : float or None
        Of the ink, mm; None where the artwork's file or the preset decides.
    platen, pad : str
        As the sheet names them; empty where it leaves the choice to the program.
    pad_place : str
        Where the pad's middle lies from the platen's, as written: “2 in right, 1 in away”.
    overhang, aside : float or None
        How far the collar's seam hangs over the platen's edge, and the centre line lies right of
        its middle, mm; chosen without.
    turn : float or None
        Of the artwork in the garment frame, radians; the location's own without.
    follows : str or None
        Id of the imprint on the same piece that this one is placed by (a number under its
        name): the two are pressed one right after the other, in this order.
    face : str
        What lettering is set in: a face's name, or a font file; empty for the usual one.
    narrowest : float or None
        Least share of their own width that letters are condensed to; the face's own without.
    arc : float or None
        Radius that lettering is bent by, mm.
    common : float or None
        Height of its capitals, mm, that all lettering of its kind in the order has where the
        sheet gives no size; for its own location.
    under : NameLine or None
        What names the order's numbers stand under, on a piece with a name or without.
    """

    id: str
    location: str
    art: Art
    width: float | None = None
    height: float | None = None
    press: PressSettings = field(default_factory=PressSettings)
    platen: str = ""
    pad: str = ""
    follows: str | None = None
    face: str = ""
    arc: float | None = None
    common: float | None = None
    under: NameLine | None = None
    pad_place: str = ""
    overhang: float | None = None
    aside: float | None = None
    turn: float | None = None
    narrowest: float | None = None

    @property
    def padding(self) -> str:
        """Which pad, and where it lies; empty for none."""
        return ", ".join(part for part in (self.pad, self.pad and self.pad_place) if part)


@dataclass(frozen=True)
class Piece:
    """One garment of an order.

    Attributes
    ----------
    id : str
        Row of the sheet and which of that row's pieces, such as ``7-2``. What a barcode says.
    row : int
        Row of the sheet as a spreadsheet counts them, from 1.
    copy, copies : int
        This is piece `copy` of the row's `copies`, from 1.
    colour : str
        Fabric colour: a name or hex.
    order : float or None
        The place that the user pinned the piece to; pinned pieces come first, lowest first.
    fit : str
        The garment's fit, where the sheet says it (women's); empty for the style's usual one.
    recipient : str
        Whose it is, where that is not printed.
    customer, order_number : str
        Whose order it belongs to, and by what that is known.
    """

    id: str
    row: int
    copy: int
    copies: int
    style: str
    size: str
    colour: str
    imprints: tuple[Imprint, ...]
    name: str = ""
    number: str = ""
    note: str = ""
    order: float | None = None
    fit: str = ""
    recipient: str = ""
    customer: str = ""
    order_number: str = ""

    @property
    def pile(self) -> str:
        """The pile of blank garments this piece is taken from."""
        garment = f"{self.style} {self.fit}".removesuffix(" regular").strip()
        return f"{garment} · {self.colour} · {self.size}"


def piece_of(imprint_id: str) -> str:
    """Return the id of the piece that the imprint is on."""
    return imprint_id.rpartition("/")[0]
