"""SVG drawings to pixels at true size, their letters and linked pictures seen to."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ElementTree
import zlib
from collections.abc import Iterator, Mapping
from functools import partial
from pathlib import Path

from calibration.files import below, read_whole, resolved
from calibration.picture_files import LARGEST_FILE, from_picture
from calibration.refusal import Refusal
from chalkbeam.artwork import fonts as font_files
from chalkbeam.artwork.fonts import Fonts, fonts_for
from chalkbeam.artwork.picture import (
    MM_PER_POINT,
    Picture,
    Pixels,
    drawn_apart,
    drawn_pixels,
    to_rgba,
)
from chalkbeam.artwork.styled import runs, undrawn
from chalkbeam.basics.sentences import Sentence, literal
from chalkbeam.basics.units import parse_length

CSS_DPI = 96.0
"""CSS pixels to the inch, which SVG measures physical units by (CSS Values and Units, 5.2)."""
LARGEST_TEXT = 200_000_000
"""Bytes of an SVG, unpacked."""
DEEPEST = 1000
"""Elements of an SVG one in another; the parser's tree is walked to twice that without harm."""


def is_svg(path: Path, data: bytes) -> bool:
    """Whether a file of this name and content is an SVG."""
    return path.suffix.lower() in {".svg", ".svgz"} or b"<svg" in data[:4096]


def read_svg(path: Path, data: bytes) -> Picture:
    """Return a drawing as pixels.

    Raises
    ------
    Refusal
        If it cannot be drawn, or would be drawn otherwise than it is meant.
    """
    try:
        text = _svg_text(data)
    except (LookupError, ValueError, OSError, EOFError, zlib.error) as error:
        raise Refusal(
            f"{path.name} is not a drawing Chalkbeam can read: export it as plain SVG or PDF."
        ) from error
    have = font_files.installed() if "text" in text else {}
    return drawn_apart(path.name, partial(_drawing, resolved(path), text, have))


def _drawing(path: Path, text: str, have: Mapping[str, tuple[Path, ...]]) -> Picture:
    """Return an SVG as pixels."""
    root = _root(text)
    _check_links(path, root)
    fonts = fonts_for(path.name, root, have)
    width = _physical(root.get("width", ""))
    height = _physical(root.get("height", ""))
    pixels = drawn_pixels(max(width or 0.0, height or 0.0))
    rgba = _draw_svg(text, path, fonts, width=pixels)
    if rgba.shape[0] > pixels:
        rgba = _draw_svg(text, path, fonts, height=pixels)
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
        if not is_svg(path, data):
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
    return from_picture(drawn, to_rgba)


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
