"""The fonts of all that is printed, and how text is made to fit with them."""

from __future__ import annotations

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from overlay.text.typeface import BUNDLED_FONT

FONT, SLANTED, BOLD = "Helvetica", "Helvetica-Oblique", "Helvetica-Bold"
"""Fonts that every PDF reader brings along: for letters of Western Europe."""

_BUNDLED = "Chalkbeam"


def font_for(text: str, font: str) -> str:
    """Return `font`, or the bundled typeface where text has letters beyond Western Europe's."""
    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        if _BUNDLED not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(_BUNDLED, str(BUNDLED_FONT)))
        return _BUNDLED
    return font


def fitted(text: str, font: str, size: float, width: float) -> str:
    """Return `text`, cut with an ellipsis where it is wider than `width`, pt."""
    if pdfmetrics.stringWidth(text, font, size) <= width:
        return text
    while text and pdfmetrics.stringWidth(f"{text}…", font, size) > width:
        text = text[:-1]
    return f"{text}…"
