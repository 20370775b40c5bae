"""Make the faces that come with the program from their packages: `python -m tools.faces FOLDER`.

FOLDER holds the unpacked packages named in `SOURCES`. Each face is cut down to Latin letters and
figures, its weight fixed, its width left free where it has one, and renamed: a changed font may
not bear a reserved name. The licence of each lies beside it.
"""

from __future__ import annotations

import shutil
import sys
from dataclasses import dataclass
from pathlib import Path

from fontTools import subset
from fontTools.ttLib import TTFont
from fontTools.varLib import instancer

OUT = Path(__file__).parents[1] / "src" / "chalkbeam" / "artwork" / "typefaces"

LETTERS = [
    *range(0x20, 0x7F), *range(0xA0, 0x180), *range(0x218, 0x21C), 0x1E9E,
    0x2013, 0x2014, 0x2018, 0x2019, 0x201C, 0x201D, 0x2022, 0x2026, 0x20AC, 0x2116,
]  # fmt: skip
"""Latin of Europe and the Americas, with the signs that stand in names."""


@dataclass(frozen=True)
class Source:
    """Where a face comes from.

    Attributes
    ----------
    package, file : str
        The Python package, and the font in its folder.
    axes : mapping
        What each axis is fixed at, or the (least, most) that stays free.
    """

    package: str
    file: str
    axes: dict[str, float | tuple[float, float]]


SOURCES = {
    "block": Source("fontpkg_archivo", "Archivo[wdth,wght].ttf", {"wght": 800, "wdth": (62, 100)}),
    "square": Source("fontpkg_saira", "Saira[wdth,wght].ttf", {"wght": 800, "wdth": (50, 100)}),
    "tall": Source("fontpkg_anton", "Anton-Regular.ttf", {}),
    "slab": Source("fontpkg_alfa_slab_one", "AlfaSlabOne-Regular.ttf", {}),
    "stencil": Source("fontpkg_black_ops_one", "BlackOpsOne-Regular.ttf", {}),
    "script": Source("fontpkg_yellowtail", "Yellowtail-Regular.ttf", {}),
}


def made(font: TTFont, name: str, axes: dict[str, float | tuple[float, float]]) -> TTFont:
    """Return a font cut down, its axes fixed, under the program's name for it."""
    options = subset.Options(
        layout_features=["kern", "mark", "mkmk", "ccmp", "locl"], hinting=False,
        name_IDs=[0, 1, 2, 3, 4, 5, 6, 13, 14], notdef_outline=True, drop_tables=["DSIG"],
    )  # fmt: skip
    cutter = subset.Subsetter(options)
    cutter.populate(unicodes=LETTERS)
    cutter.subset(font)
    if axes:
        font = instancer.instantiateVariableFont(font, axes)
    own = f"Chalkbeam {name.capitalize()}"
    for identity, text in ((1, own), (3, own), (4, own), (6, own.replace(" ", "-"))):
        font["name"].setName(text, identity, 3, 1, 0x409)
        font["name"].removeNames(nameID=identity, platformID=1)
    return font


def main(folder: Path) -> None:
    """Write every face and its licence."""
    OUT.mkdir(exist_ok=True)
    for name, source in SOURCES.items():
        package = folder / source.package
        font = TTFont(package / "files" / source.file, recalcTimestamp=False)
        made(font, name, source.axes).save(OUT / f"{name}.ttf")
        shutil.copyfile(package / "LICENSE", OUT / f"{name}.LICENSE.txt")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
