"""Pages of a PDF to pixels at true size."""

from __future__ import annotations

import io
import math
import re
from typing import Any

import numpy as np

from calibration.refusal import Refusal, Remedy, RemedyKind
from chalkbeam.artwork.picture import MM_PER_POINT, Picture, drawn_pixels
from chalkbeam.basics.sentences import Sentence

LONGEST_PAGE = 10_000.0
"""mm; a roll of ganged transfers is a few metres long."""


def read_pdf(name: str, data: bytes, page: int) -> Picture:
    """Return a page as pixels; pages are counted from 1.

    Raises
    ------
    Refusal
        If the file or the page cannot be read.
    """
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
        longest = max(width, height) * unit * MM_PER_POINT
        if not longest <= LONGEST_PAGE:
            raise Refusal(
                f"{name} has a page {longest / 1000:.3g} m long, "
                "which is no sheet of transfers: export it at true size."
            )
        scale = drawn_pixels(longest) / max(width, height)
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
