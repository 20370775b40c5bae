"""Artwork files to pixels: PNG, JPEG, WebP, TIFF and other pictures, SVG, PDF at true size."""

from __future__ import annotations

import io
import math
import re
import xml.etree.ElementTree as ElementTree
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps

from calibration.files import below, read_whole, resolved
from calibration.picture_files import (
    LARGEST_FILE,
    DamagedPicture,
    NoPicture,
    TooManyPixels,
    from_picture,
)
from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.worker import Lost, apart
from chalkbeam.artwork import fonts as font_files
from chalkbeam.artwork.fonts import Fonts, fonts_for
from chalkbeam.artwork.styled import runs, undrawn
from chalkbeam.basics.sentences import Sentence, literal
from chalkbeam.basics.units import MM_PER_INCH, parse_length

MM_PER_POINT = MM_PER_INCH / 72
"""PDF user space: 72 points to the inch (ISO 32000-1, 8.3.2.3)."""
CSS_DPI = 96.0
"""CSS pixels to the inch, which SVG measures physical units by (CSS Values and Units, 5.2)."""
VECTOR_PIXELS = 3000
"""Long side at which drawings are rendered: 0.1 mm a pixel on a 300 mm transfer."""
MOST_PIXELS = 170_000_000
"""A larger picture would not fit a small shop computer's memory; 22 x 80 in at 300 dpi does."""
LONGEST_PAGE = 10_000.0
"""mm; a roll of ganged transfers is a few metres long."""
WORK_PIXELS = 20_000_000
"""Larger pictures are reduced by a whole factor as they are read: a pixel of 0.25 mm is enough for
a long sheet of transfers."""

LARGEST_TEXT = 200_000_000
"""Bytes of an SVG, unpacked."""
DEEPEST = 1000
"""Elements of an SVG one in another; the parser's tree is walked to twice that without harm."""

Pixels = NDArray[np.uint8]
Result = TypeVar("Result")


@dataclass(frozen=True, eq=False)
class Picture:
    """An artwork file as pixels.

    Attributes
    ----------
    name : str
        The file's name.
    rgba : ndarray, shape (h, w, 4), uint8
        Straight alpha.
    pixels_per_mm : float or None
        Scale at the file's true size; None where the file does not say.
    drawn : bool
        Whether the file is a drawing (SVG, PDF), sharp at any size.
    remarks : tuple of Sentence
        What was taken for granted while reading it.
    """

    name: str
    rgba: Pixels
    pixels_per_mm: float | None
    drawn: bool
    remarks: tuple[Sentence, ...] = ()


def read_picture(path: Path, page: int = 1) -> Picture:
    """Read an artwork file.

    Parameters
    ----------
    path : Path
    page : int
        Page of a PDF, counted from 1.

    Raises
    ------
    Refusal
        If the file is missing, unreadable, empty or far too large.
    """
    path = Path(path)
    try:
        data = read_whole(path, LARGEST_FILE)
    except IsADirectoryError:
        raise Refusal(f"{path} is a folder: name the artwork file in it.") from None
    except FileNotFoundError:
        raise Refusal(f"There is no artwork file {path}: check the name and the folder.") from None
    except OSError as error:
        raise Refusal(
            f"{path.name} cannot be read ({error.strerror}): check that you may open the file."
        ) from error
    if not data:
        raise Refusal(f"{path.name} is empty: export the artwork again.")
    if data[:1024].lstrip().startswith(b"%PDF"):
        return _drawn_apart(path.name, partial(_read_pdf, path.name, data, page))
    if path.suffix.lower() in {".svg", ".svgz"} or b"<svg" in data[:4096]:
        return _read_svg(path, data)
    return _read_raster(path.name, data)


def _read_raster(name: str, data: bytes) -> Picture:
    try:
        rgba, pictures = from_picture(data, partial(_upright, name))
    except TooManyPixels:
        raise Refusal(
            f"{name} has more pixels than Chalkbeam reads: export it at 300 dpi."
        ) from None
    except (NoPicture, DamagedPicture):
        raise Refusal(
            f"{name} is not a picture Chalkbeam can read: export it as PNG, SVG or PDF."
        ) from None
    remarks: tuple[Sentence, ...] = ()
    if pictures > 1:
        remarks = (Sentence(f"The file holds {pictures} pictures: the first of them is taken."),)
    return Picture(name, rgba, None, False, remarks)


def _upright(name: str, image: Image.Image) -> tuple[Pixels, int]:
    """Return a picture's pixels, RGBA and not too many, and how many pictures its file holds."""
    if image.width * image.height > MOST_PIXELS:
        raise Refusal(
            f"{name} has {image.width} x {image.height} pixels, more than Chalkbeam "
            "reads: export it at 300 dpi."
        )
    pictures = int(getattr(image, "n_frames", 1))
    factor = math.ceil(math.sqrt(image.width * image.height / WORK_PIXELS))
    ImageOps.exif_transpose(image, in_place=True)
    return _to_rgba(image if factor == 1 else _reduced(image, factor)), pictures


def _reduced(image: Image.Image, factor: int) -> Image.Image:
    """Return a picture with so many times fewer pixels each way, each their mean."""
    plain = {"1": "L", "P": "RGBA", "PA": "RGBA", "I;16": "I", "I;16B": "I"}.get(image.mode)
    return (image.convert(plain) if plain else image).reduce(factor)


def _to_rgba(image: Image.Image) -> Pixels:
    if image.mode == "LAB":
        lab, srgb = ImageCms.createProfile("LAB"), ImageCms.createProfile("sRGB")
        image = ImageCms.profileToProfile(image, lab, srgb, outputMode="RGB") or image
    if image.mode.startswith("I;16") or image.mode in {"I", "F"}:  # more than 8 bits a channel
        grey = np.asarray(image, dtype=np.float64)
        peak = 65535.0 if grey.max() > 255 else 255.0
        eight = np.clip(grey / peak * 255, 0, 255).astype(np.uint8)
        image = Image.fromarray(eight)
    return np.array(image.convert("RGBA"))


def _drawn_apart(name: str, draw: Callable[[], Result]) -> Result:
    """Return what is drawn in the process apart.

    Raises
    ------
    Refusal
        As `draw`, or where drawing it crashed, took too long or too much memory.
    """
    try:
        return apart(draw)
    except Refusal:
        raise
    except Lost as lost:
        raise Refusal(
            f"{name} cannot be drawn, it {lost}: simplify the drawing, or export it as PNG."
        ) from None
    except Exception as error:  # a damaged drawing raises whatever its reader runs into
        raise Refusal(
            f"{name} is not a drawing Chalkbeam can read: export it as plain SVG or PDF."
        ) from error


def _read_svg(path: Path, data: bytes) -> Picture:
    try:
        text = _svg_text(data)
    except (LookupError, ValueError, OSError, EOFError, zlib.error) as error:
        raise Refusal(
            f"{path.name} is not a drawing Chalkbeam can read: export it as plain SVG or PDF."
        ) from error
    have = font_files.installed() if "text" in text else {}
    return _drawn_apart(path.name, partial(_drawing, resolved(path), text, have, VECTOR_PIXELS))


def _drawing(path: Path, text: str, have: Mapping[str, tuple[Path, ...]], pixels: int) -> Picture:
    """Return an SVG as pixels, its longer side so many."""
    root = _root(text)
    _check_links(path, root)
    fonts = fonts_for(path.name, root, have)
    rgba = _draw_svg(text, path, fonts, width=pixels)
    if rgba.shape[0] > pixels:
        rgba = _draw_svg(text, path, fonts, height=pixels)
    width = _physical(root.get("width", ""))
    height = _physical(root.get("height", ""))
    if width:
        scale: float | None = rgba.shape[1] / width
    else:
        scale = rgba.shape[0] / height if height else None
    remarks: tuple[Sentence, ...] = ()
    if fonts is not None:
        words = (
            f"Its letters are drawn in this computer's {', '.join(fonts.named)}: outlines instead "
            "of text would look the same everywhere."
        )
        remarks = (Sentence(literal(words)),)
    return Picture(path.name, rgba, scale, True, remarks)


def linked_files(path: Path) -> tuple[Path, ...]:
    """Return the files that a drawing shows in itself; none where it is no drawing.

    A drawing within it has none: the renderer shows no pictures of those.
    """
    try:
        data = read_whole(path, LARGEST_FILE)
        if path.suffix.lower() not in {".svg", ".svgz"} and b"<svg" not in data[:4096]:
            return ()
        links = tuple(_links(_root(_svg_text(data))))
        return tuple(
            place
            for link in links
            if not link.startswith(("data:", "#")) and (place := _within(path, link)) is not None
        )
    except (ElementTree.ParseError, LookupError, ValueError, OSError, EOFError, zlib.error):
        return ()


def _links(root: ElementTree.Element) -> Iterator[str]:
    """Yield where a drawing's pictures are, empty where one does not say."""
    for element in root.iter():
        if str(element.tag).endswith(("}image", "}feImage")):
            # Of two, renderers choose differently.
            said = [element.get(name) for name in ("href", "{http://www.w3.org/1999/xlink}href")]
            yield from [link for link in said if link is not None] or [""]


def _check_links(path: Path, root: ElementTree.Element) -> None:
    """Refuse a drawing with a picture which is not there, is elsewhere, or has text."""
    for link in _links(root):
        if link.startswith(("data:", "#")):
            _check_inner(path, link)
            continue
        where = _within(path, link) if link else None
        if where is None and link and (path.parent / link).exists():
            raise Refusal(
                f"{path.name} links to a picture outside its folder ({link[:80]}): embed the "
                "picture and export it again."
            )
        if where is None or not where.is_file():
            raise Refusal(
                f"{path.name} links to a picture that is not there "
                f"({link[:80] or 'without a name'}): embed the picture and export it again."
            )
        _check_inner(path, link)


def _within(path: Path, link: str) -> Path | None:
    """Return the file that a drawing links to; None where it is not below the drawing's folder."""
    return below(path.parent, link)


def _check_inner(path: Path, link: str) -> None:
    """Refuse a drawing within a drawing that has text: the renderer gives it no font."""
    if link.startswith("data:image/svg"):
        from urllib.request import urlopen

        with urlopen(link) as stream:  # a data: URL holds its data itself
            data = stream.read()
    elif link.lower().endswith((".svg", ".svgz")):
        data = read_whole(path.parent / link, LARGEST_FILE)
    else:
        return
    root = _root(_svg_text(data))
    if undrawn(root) or runs(root):
        raise Refusal(
            f"{path.name} shows another drawing with text, which would be left out: turn the "
            "letters into outlines and export it again."
        )


def _root(text: str) -> ElementTree.Element:
    """Return an SVG's root.

    Raises
    ------
    ElementTree.ParseError
        If the text is no XML, or nested so deep that walking it would overrun the stack.
    """
    depth = 0
    root: ElementTree.Element | None = None
    for event, element in ElementTree.iterparse(io.BytesIO(text.encode()), ("start", "end")):
        root = element if root is None else root
        depth += 1 if event == "start" else -1
        if depth > DEEPEST:
            raise ElementTree.ParseError(f"more than {DEEPEST} elements one in another")
    if root is None:
        raise ElementTree.ParseError("no element")
    return root


def _svg_text(data: bytes) -> str:
    """Return an SVG's text, unpacked.

    It is in the encoding that it declares, else in UTF-8, or in UTF-16 by its mark.
    """
    if data[:2] == b"\x1f\x8b":
        import gzip

        with gzip.open(io.BytesIO(data)) as packed:
            data = packed.read(LARGEST_TEXT + 1)
    if len(data) > LARGEST_TEXT:
        raise ValueError(f"more than {LARGEST_TEXT} bytes of text")
    if data[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        text = data.decode("utf-16")
    else:
        declared = re.match(rb"<\?xml[^>]*encoding\s*=\s*[\"']([\w.-]+)", data[:200])
        text = data.decode(declared[1].decode("ascii") if declared else "utf-8-sig")
    # What is text already needs no encoding, and readers refuse one that differs.
    return re.sub(r"^\ufeff?\s*<\?xml[^>]*\?>", "", text, count=1)


def _draw_svg(
    text: str,
    path: Path,
    fonts: Fonts | None,
    width: int | None = None,
    height: int | None = None,
) -> Pixels:
    import resvg_py

    generic = {} if fonts is None else fonts.generic
    drawn = resvg_py.svg_to_bytes(
        svg_string=text,
        width=width,
        height=height,
        dpi=CSS_DPI,
        resources_dir=str(resolved(path).parent),
        skip_system_fonts=True,  # reading hundreds of fonts takes longer than drawing
        font_files=[] if fonts is None else [str(file) for file in fonts.files],
        font_family=generic.get("serif"),
        serif_family=generic.get("serif"),
        sans_serif_family=generic.get("sans-serif"),
        monospace_family=generic.get("monospace"),
    )
    return from_picture(drawn, _to_rgba)


def _physical(text: str) -> float | None:
    """Return an SVG length in mm if it is in a physical unit; px, % and bare numbers are not."""
    match = re.fullmatch(r"\s*([\d.]{1,12})\s*(mm|cm|in|pt|pc)\s*", text)
    if not match:
        return None
    try:
        if match[2] in {"pt", "pc"}:
            return float(match[1]) * MM_PER_POINT * (12 if match[2] == "pc" else 1)
        return parse_length(f"{match[1]} {match[2]}")
    except ValueError:
        return None


def _read_pdf(name: str, data: bytes, page: int) -> Picture:
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(data)
    except pypdfium2.PdfiumError as error:
        raise Refusal(
            f"{name} is not a PDF Chalkbeam can open (damaged, or locked with a password): "
            "export it again."
        ) from error
    try:
        if not 1 <= page <= len(document):
            count = len(document)
            pages = "1 page" if count == 1 else f"{count} pages"
            raise Refusal(f"{name} has {pages}: there is no page {page}.")
        sheet = document[page - 1]
        width, height = sheet.get_size()
        if not (0 < width < math.inf and 0 < height < math.inf):
            raise Refusal(f"{name} has a page without a size: export it again.")
        unit = _user_unit(document, page - 1)
        if not max(width, height) * unit * MM_PER_POINT <= LONGEST_PAGE:
            raise Refusal(
                f"{name} has a page {max(width, height) * unit * MM_PER_POINT / 1000:.3g} m long, "
                "which is no sheet of transfers: export it at true size."
            )
        scale = VECTOR_PIXELS / max(width, height)
        bitmap = sheet.render(
            scale=scale, fill_color=(255, 255, 255, 0), rev_byteorder=True, may_draw_forms=False
        )
        rgba = np.array(bitmap.to_pil().convert("RGBA"))
        count = len(document)
    finally:
        document.close()
    other = Remedy(RemedyKind.PAGE, "another can be chosen")
    taken = Sentence(f"Page {page} of {count} is taken: {{remedy}}.", remedy=other)
    remarks = (taken,) if count > 1 else ()
    return Picture(name, rgba, rgba.shape[1] / (width * unit * MM_PER_POINT), True, remarks)


def _user_unit(document: Any, index: int) -> float:
    """Return how many points a unit of a page is (ISO 32000-1, 14.11: UserUnit), usually 1.

    PDFium does not tell. It writes the page alone, its entries in plain text.
    """
    import pypdfium2

    alone = pypdfium2.PdfDocument.new()
    try:
        alone.import_pages(document, [index])
        written = io.BytesIO()
        alone.save(written)
    finally:
        alone.close()
    entries = re.sub(rb"stream\r?\n.*?endstream", b"", written.getvalue(), flags=re.DOTALL)
    said = re.search(rb"/UserUnit\s+(\d*\.?\d+)", entries)
    unit = float(said[1]) if said else 1.0
    return unit if unit > 0 else 1.0
