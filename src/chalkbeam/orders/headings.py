"""The headings of a run sheet: our word for each column, what shops call it, what it is for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

_LENGTHS = ("mm", "cm", "in")
_TIMES = ("s", "min")


@dataclass(frozen=True)
class Title:
    """One kind of column.

    Attributes
    ----------
    field : str
        Our word for it.
    about : str
        What its cells say, for people.
    also : tuple of str
        What else shops write in a header; compared without case, accents, marks.
    units : tuple of str
        Units that the header may give for bare numbers.
    per_imprint : bool
        Whether it may come again for a second imprint: “Location 2”, “Second Location”, or
        “Location” twice.
    """

    field: str
    about: str
    also: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    per_imprint: bool = False


PIECES = (
    Title(
        "style", "which garment: crew tee, zip hood, …",
        ("garment", "garment style", "item", "product", "article", "garment type", "apparel"),
    ),
    Title("size", "its size, as its chart has it", ("sz", "garment size", "shirt size")),
    Title("fit", "regular or women's", ("cut", "gender")),
    Title(
        "colour", "of the cloth",
        ("color", "fabric colour", "fabric color", "fabric", "garment colour", "garment color",
         "cloth", "cloth colour", "cloth color", "shirt colour", "shirt color", "col"),
    ),
    Title(
        "quantity", "how many pieces alike; without the column each row is one",
        ("qty", "quant", "count", "pieces", "pcs", "number of pieces", "no of pieces", "amount",
         "how many"),
    ),
    Title(
        "total", "beside sizes across: how many they come to, to be compared",
        ("row total", "total qty", "total quantity", "total pieces", "ttl", "sum"),
    ),
    Title(
        "name", "lettering: the name that is printed",
        ("player name", "wearer", "personalisation", "personalization", "lettering", "player",
         "printed name", "name on back", "back name", "last name", "surname"),
    ),
    Title(
        "number", "lettering: the number that is printed",
        ("player number", "squad number", "no", "nr", "figure", "figures", "jersey number",
         "shirt number", "back number", "number on back"),
    ),
    Title("name location", "where the name goes", ("name placement", "name position")),
    Title("number location", "where the number goes", ("number placement", "number position")),
    Title("name width", "of the name", units=_LENGTHS),
    Title("name height", "of its capitals", units=_LENGTHS),
    Title("number width", "of the number", units=_LENGTHS),
    Title("number height", "of its figures", units=_LENGTHS),
    Title(
        "font", "of name and number: a face by its name, or a file beside the sheet",
        ("typeface", "face", "lettering font", "letter font", "name font"),
    ),
    Title("number font", "of the number, if another", ("figure font", "numeral font")),
    Title(
        "arc", "radius that the name is bent by", ("arch", "arc radius", "name arc", "name arch"),
        _LENGTHS,
    ),
    Title(
        "narrowest", "per cent of their own width that letters may be condensed to",
        ("condense to", "condensed to", "least width", "narrowest letters", "squeeze to"),
    ),
    Title(
        "for", "whose the piece is, where that is not printed",
        ("employee", "recipient", "person", "member", "staff", "issued to", "for whom"),
    ),
    Title(
        "note", "what the operator should know: “tall fit”",
        ("notes", "comment", "comments", "remark", "remarks", "instructions",
         "special instructions"),
    ),
    Title("customer", "whose order it is", ("client", "account", "customer name", "company")),
    Title(
        "order number", "by which the order is known",
        ("order no", "order nr", "order id", "job", "job number", "job no", "work order"),
    ),
    Title(
        "order", "a place of its own in the order of work, by number",
        ("run order", "sequence", "press order", "rank"),
    ),
)  # fmt: skip
"""Columns that hold for a piece."""

IMPRINTS = (
    Title(
        "location", "where the artwork goes; several parted by +",
        ("placement", "position", "print location", "art location", "where", "print position",
         "print placement", "logo location", "logo placement", "logo position",
         "design location", "decoration location", "imprint location"),
    ),
    Title(
        "artwork", "its file, beside the sheet; “name” and “number” for lettering",
        ("art", "design", "file", "art file", "artwork file", "image", "motif",
         "logo", "print", "graphic", "design file", "logo file", "print file"),
    ),
    Title(
        "transfer", "a product of the shop's own shelf: its settings, carrier and margin",
        ("transfer type", "transfer product", "film", "vinyl", "media", "transfer material"),
    ),
    Title(
        "width", "of the ink, with its unit", ("art width", "print width", "artwork width",
        "design width", "logo width", "w", "wide", "how wide"), _LENGTHS,
    ),
    Title(
        "height", "of the ink, in place of its width", ("art height", "print height",
        "artwork height", "design height", "logo height", "h"), _LENGTHS,
    ),
    Title(
        "print size", "of the ink: one length is its width; “4 in tall”, “10 x 12 in”",
        ("art size", "artwork size", "design size", "logo size", "imprint size", "image size",
         "transfer size", "dimensions", "print dimensions", "size of print"), _LENGTHS,
    ),
    Title("temperature", "press setting, as the supplier gives it",
            ("temp", "press temperature", "heat"), ("°C", "°F")),
    Title("time", "press setting", ("press time", "dwell", "dwell time", "duration"), _TIMES),
    Title("pressure", "press setting", ("press pressure",), ("bar", "psi", "kPa")),
    Title("peel", "press setting: hot, warm or cold", ("peeling",)),
    Title(
        "cooling", "press setting: how long it cools after the press, before the peel",
        ("cooling time", "cool time", "cool", "cool down", "cool for", "peel after", "peel wait"),
        _TIMES,
    ),
    Title(
        "prepress", "press setting: how long the bare garment is pressed before",
        ("pre press", "preheat", "pre heat", "prepress time", "pre press time"), _TIMES,
    ),
    Title(
        "second press", "press setting: how long again after the peel, and under what cover",
        ("2nd press", "repress", "re press", "post press", "press again", "finishing press"),
        _TIMES,
    ),
    Title("platen", "which one, where it matters", ("platen size", "lower platen")),
    Title("pad", "width x depth x height", ("press pad", "foam", "foam pad", "pillow")),
    Title(
        "pad place", "where the pad's middle lies from the platen's: “2 in right, 1 in away”",
        ("pad position", "pad location", "pad centre", "pad center"),
    ),
    Title(
        "collar place", "how far the collar's seam hangs over the platen's edge",
        ("collar", "overhang", "collar overhang", "neck overhang"), _LENGTHS,
    ),
    Title(
        "aside", "how far the garment's centre line lies right of the platen's middle",
        ("off centre", "off center", "sideways"), _LENGTHS,
    ),
    Title("sheet margin", "blank carrier around the ink",
            ("margin", "carrier margin", "transfer margin", "film margin"), _LENGTHS),
    Title("sheet width", "of the whole picture, in place of the ink's",
            ("carrier width", "film width", "gang width", "gang sheet width"), _LENGTHS),
    Title("mirrored", "yes where the file is printed in mirror image",
            ("mirror", "reversed", "flipped", "mirror image")),
    Title("turn", "degrees; positive rises to the right",
            ("rotation", "rotate", "angle", "tilt", "turned")),
    Title("pick", "which artwork of a ganged file, from 1", ("gang number", "gang position")),
    Title("page", "of a PDF", ("pdf page", "page number")),
)  # fmt: skip
"""Columns that hold for an imprint."""

HEADINGS: Mapping[str, Title] = {
    each.field: each
    for each in (
        *PIECES,
        *(Title(e.field, e.about, e.also, e.units, True) for e in IMPRINTS),
    )
}
"""Every heading by its field."""

PER_IMPRINT = frozenset(each.field for each in IMPRINTS)
"""Columns that may come again for a second imprint."""

KNOWN: Mapping[str, str] = {
    spelling: each.field for each in HEADINGS.values() for spelling in (each.field, *each.also)
}
"""From what a header says, plain, to the field."""

FOR_THE_OFFICE = frozenset(
    {"po", "po no", "po number", "purchase order", "sku", "upc", "ean", "item number", "item no",
     "style number", "style no", "price", "unit price", "total price", "cost", "phone", "email",
     "e mail", "address", "ship to", "ship via", "shipping", "due", "due date", "date",
     "order date", "in hands date", "sales rep", "rep", "salesperson", "sold by", "contact",
     "invoice", "invoice number", "status", "line", "row", "weight", "vendor", "supplier", "brand",
     "department", "dept", "id"}
)  # fmt: skip
"""What orders say that nobody at the press needs: their numbers are no quantities, and their
names are on no shirt."""
