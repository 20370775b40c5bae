"""The faces that lettering is set in: those that come with the program, and the shop's own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

import platformdirs

from calibration.files import below
from calibration.refusal import Refusal
from chalkbeam.basics.suggestions import choices
from overlay.text.typeface import BUNDLED_FONT, typeface

_FOLDER = Path(__file__).parent / "typefaces"
_ENDINGS = (".ttf", ".otf")

PLAIN = "plain"
"""The face with the most alphabets: what others lack is set in it."""
USUAL = "tall"
"""What names and numbers are set in where nobody names a face. At the usual heights its lines are
as wide as usual: figures 8 in high about 9 in, ten letters 2 1/2 in high 12 in when condensed;
common practice, no source."""

BUILTIN: Mapping[str, tuple[Path, str]] = {
    PLAIN: (BUNDLED_FONT, "a wide sans serif with many alphabets"),
    "block": (_FOLDER / "block.ttf", "a heavy sans serif, drawn in all widths down to 62 %"),
    "square": (_FOLDER / "square.ttf", "squared rounds, drawn in all widths down to 50 %"),
    "tall": (_FOLDER / "tall.ttf", "a condensed poster face"),
    "varsity": (_FOLDER / "varsity.ttf", "octagons with slab feet, capitals and figures"),
    "slab": (_FOLDER / "slab.ttf", "a fat face with slab serifs"),
    "stencil": (_FOLDER / "stencil.ttf", "a stencil"),
    "script": (_FOLDER / "script.ttf", "a brush script, for names with small letters"),
}
"""The faces that come with the program: where each is, and what it looks like. Their licences
lie beside them."""


def faces_folder() -> Path:
    """Return the folder of the shop's own fonts (it need not exist yet)."""
    return platformdirs.user_data_path("chalkbeam", appauthor=False) / "fonts"


def is_builtin(font: Path) -> bool:
    """Whether a font comes with the program."""
    return any(font == path for path, _ in BUILTIN.values())


def find_face(name: str, beside: Path | None = None) -> Path:
    """Return the font that a face's name or a file stands for.

    Parameters
    ----------
    name : str
        One of `BUILTIN`, the name of a font in the shop's folder, or a .ttf or .otf file.
    beside : Path, optional
        The folder that a file must lie in, as a sheet's artwork does.

    Raises
    ------
    Refusal
        If there is none.
    """
    wanted = name.strip()
    if wanted.lower().endswith(_ENDINGS):
        own = faces_folder() / Path(wanted).name
        path = Path(wanted) if beside is None else below(beside, wanted.replace("\\", "/"))
        if path is not None and path.is_file():
            return path
        if own.is_file():
            return own
        raise Refusal(
            f"The font {path or wanted} is not there: give the path of a .ttf or .otf file."
        )
    if wanted.lower() in BUILTIN:
        return BUILTIN[wanted.lower()][0]
    own_faces = {path.stem: path for path in own_files()}
    for stem, path in own_faces.items():
        if stem.lower() == wanted.lower():
            return path
    raise Refusal(
        f"There is no face “{wanted}”: {choices(wanted, [*BUILTIN, *own_faces])}, or give a .ttf "
        "or .otf file."
    )


def usual_face(texts: Iterable[str]) -> str:
    """Return the face for lines whose face nobody names: `USUAL`, `PLAIN` if it lacks a letter."""
    usual = typeface(BUILTIN[USUAL][0])
    return PLAIN if any(usual.missing(text) for text in texts) else USUAL


def own_files() -> list[Path]:
    """Return the fonts in the shop's folder, by name."""
    folder = faces_folder()
    if not folder.is_dir():
        return []
    return sorted(path for path in folder.iterdir() if path.suffix.lower() in _ENDINGS)
