"""The proof for the customer: one page that shows the print, says its measures, and is signed."""

from __future__ import annotations

import io
import math

from reportlab.graphics import renderPDF
from reportlab.graphics.shapes import Drawing, Group, Line, String
from reportlab.lib.colors import Color, HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import KeepInFrame, Paragraph

from chalkbeam.artwork import Box
from chalkbeam.basics.units import format_length
from chalkbeam.paper.drawing import FILLS, INK, PAPER, QUIET, PageMap, cloth, fit_page
from chalkbeam.paper.fonts import BOLD, FONT, font_for
from chalkbeam.paper.proof.likeness import share_like
from chalkbeam.paper.proof.parts import MARGIN, RULE, draw_art, image_of, signature, text_at
from chalkbeam.paper.proof.values import Proof
from chalkbeam.paper.sizes import PAPERS
from chalkbeam.paper.worn import Losses, View, Worn, look, losses
from chalkbeam.placement.loading import centre_line, origin_words

PICTURE = 620
"""Height of a worn view, px: some 220 dots to the inch on the page."""


def worn_of(proof: Proof) -> Worn:
    """Return what the worn view shows of a proof."""
    placement = proof.placement
    red, green, blue = (value / 255 for value in proof.cloth)
    return Worn(
        placement.garment,
        placement.location.face,
        proof.art,
        placement.garment_from_art,
        placement.artwork.ink.width,
        (red, green, blue),
        proof.belly,
    )


def proof_pdf(proof: Proof, paper: str = "letter") -> bytes:
    """Return the proof as a PDF of one page, the same bytes for the same proof.

    Parameters
    ----------
    proof : Proof
    paper : {"letter", "a4"}
    """
    width, height = PAPERS[paper]
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(width, height), invariant=1)
    canvas.setTitle(_title(proof))
    canvas.setCreator("Chalkbeam")
    inner = width - 2 * MARGIN
    top = _head(canvas, proof, height - MARGIN, inner)
    middle = top - 0.47 * height
    share = 0.6 * inner
    flat(canvas, proof, (MARGIN, middle, share, top - middle))
    views: tuple[View, View] = ("straight", "three_quarter")
    worn = worn_of(proof)
    column = inner - share - 16
    tall = (top - middle - 10) / 2
    for number, view in enumerate(views):
        low = top - (number + 1) * tall - 10 * number
        picture = look(worn, view, PICTURE, round(PICTURE * column / tall))
        canvas.drawImage(image_of(picture), MARGIN + share + 16, low, column, tall)
    low = _figures(canvas, proof, middle - 16, inner)
    foot = MARGIN + 96
    _caveats(canvas, proof, losses(worn), (MARGIN, foot, inner, low - foot - 10))
    signature(canvas, (MARGIN, MARGIN, inner, 84))
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _title(proof: Proof) -> str:
    title = proof.placement.location.title
    return f"Proof: {title}, {proof.placement.garment.label}"


def _head(canvas: Canvas, proof: Proof, top: float, inner: float) -> float:
    """Draw the head; return where it ends."""
    right = MARGIN + inner
    text_at(canvas, MARGIN, top - 20, "Proof", BOLD, 24)
    said = [line for line in (proof.customer, proof.order, proof.date) if line]
    for number, line in enumerate(said):
        font = BOLD if number == 0 and proof.customer else FONT
        text_at(
            canvas, right, top - 9 - 12.5 * number, line, font, 10, right=True, room=0.66 * inner
        )
    low = top - 42
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.8)
    canvas.line(MARGIN, low, right, low)
    placement = proof.placement
    title = placement.location.title
    text_at(canvas, MARGIN, low - 18, f"{title[:1].upper()}{title[1:]}: {placement.artwork.name}",
          BOLD, 12.5, room=inner)  # fmt: skip
    fabric = f", {proof.fabric}" if proof.fabric else ""
    text_at(canvas, MARGIN, low - 32, f"{placement.garment.label}{fabric}", FONT, 10, QUIET)
    return low - 44


def flat(canvas: Canvas, proof: Proof, box: tuple[float, float, float, float]) -> None:
    """Draw the face with the art in place and its two distances, in a box (x, y, w, h)."""
    x, y, wide, high = box
    face = proof.placement.face
    page = fit_page(face, x + 34, y, wide - 34, high - 24)
    red, green, blue = (value / 255 for value in proof.cloth)
    tint = Color(red, green, blue) if proof.fabric else FILLS["cloth"]
    dark = 0.299 * red + 0.587 * green + 0.114 * blue < 0.45 and bool(proof.fabric)
    drawing = Drawing(x + wide, y + high)
    drawing.add(cloth(face, page, tint, HexColor("#AEB9C2") if dark else INK))
    renderPDF.draw(drawing, canvas, 0, 0)
    draw_art(canvas, proof, page)
    marks = Drawing(x + wide, y + high)
    marks.add(_distances(proof, page, x + 22, y + high - 14))
    renderPDF.draw(marks, canvas, 0, 0)


def _haloed(group: Group, x0: float, y0: float, x1: float, y1: float, thick: float = 0.7) -> None:
    """Add a line that shows on cloth of any colour."""
    group.add(Line(x0, y0, x1, y1, strokeColor=PAPER, strokeWidth=thick + 1.0, strokeOpacity=0.8))
    group.add(Line(x0, y0, x1, y1, strokeColor=INK, strokeWidth=thick))


def _dimension(group: Group, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Add a dimension line with ticks, upright or level."""
    (x0, y0), (x1, y1) = start, end
    _haloed(group, x0, y0, x1, y1)
    dx, dy = (3.0, 0.0) if abs(x1 - x0) < abs(y1 - y0) else (0.0, 3.0)
    for x, y in (start, end):
        _haloed(group, x - dx, y - dy, x + dx, y + dy)


def _distances(proof: Proof, page: PageMap, left: float, top: float) -> Group:
    """Return how far the ink lies below the collar, at `left`, and off the centre, at `top`."""
    group = Group()
    placement, unit = proof.placement, proof.unit
    ink = Box.around(placement.hull())
    seam_y = float(page.points([(0.0, 0.0)])[0, 1])
    ink_left, ink_top = page.points([(ink.left, ink.top)])[0]
    for level, end in ((seam_y, float(page.points([(0.0, 0.0)])[0, 0])), (ink_top, ink_left)):
        _haloed(group, left - 4, float(level), float(end), float(level), 0.4)
    _dimension(group, (left, seam_y), (left, float(ink_top)))
    label = Group(String(0, 0, format_length(abs(ink.top), unit), fontName=BOLD, fontSize=8.5,
                         fillColor=INK, textAnchor="middle"))  # fmt: skip
    label.translate(left - 5, (seam_y + float(ink_top)) / 2)
    label.rotate(90)
    group.add(label)
    centre, (x, _) = centre_line(placement), placement.centre
    if abs(x - centre) > 0.5:
        ends = [float(page.points([(value, 0.0)])[0, 0]) for value in (centre, x)]
        level = float(page.points([(0.0, placement.centre[1])])[0, 1])
        for end in ends:
            _haloed(group, end, top + 4, end, level, 0.4)
        _dimension(group, (ends[0], top), (ends[1], top))
        group.add(String(max(ends) + 6, top - 3, format_length(abs(x - centre), unit),
                         fontName=BOLD, fontSize=8.5, fillColor=INK))  # fmt: skip
    return group


def _figures(canvas: Canvas, proof: Proof, top: float, inner: float) -> float:
    """Write the measures in three columns; return where they end."""
    placement, unit = proof.placement, proof.unit
    ink = Box.around(placement.hull())
    origin = origin_words(placement.face.name)
    off = placement.centre[0] - centre_line(placement)
    side = "right" if off > 0 else "left"
    size = placement.artwork.ink
    beside = f"{format_length(abs(off), unit)} {side} of centre" if abs(off) > 0.5 else "centred"
    turn = -math.degrees(placement.garment_from_art.angle)
    turned = f", turned {abs(turn):.0f}°" if abs(turn) > 0.5 else ""
    above = "below" if ink.top >= 0 else "above"
    columns = (
        ("Size of the print",
         f"{format_length(size.width, unit)} x {format_length(size.height, unit)}{turned}"),
        ("Top of the print",
         f"{format_length(abs(ink.top), unit)} {above} the {origin}"),
        ("Sideways, as you look at it", beside),
    )  # fmt: skip
    starts = (0.0, 0.31 * inner, 0.68 * inner, inner)
    for (name, value), start, end in zip(columns, starts[:-1], starts[1:], strict=True):
        text_at(canvas, MARGIN + start, top, name, FONT, 8, QUIET)
        text_at(canvas, MARGIN + start, top - 14, value, BOLD, 10.5, room=end - start - 6)
    return top - 22


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def loss_words(found: Losses, face: str) -> list[str]:
    """Return what the eye loses of the print when it is worn, as sentences."""
    sides = {"back": "behind", "left_hood": "its side", "right_hood": "its side"}
    where = sides.get(face, "the front")
    said = []
    if found.out_of_sight >= 0.01:
        share = _percent(found.out_of_sight)
        said.append(f"Worn, about {share} of the print is out of sight, seen from {where}.")
    if found.edge_on >= 0.01:
        share = _percent(found.edge_on)
        said.append(f"About {share} turns so far round the body that it looks narrow.")
    if found.under_hood > 0.0:
        share = _percent(max(found.under_hood, 0.01))
        said.append(f"The hood, lying down, covers about {share} of the print.")
    return said or [f"Worn, the whole print shows from {where}."]


def _likeness_words(proof: Proof) -> list[str]:
    """Return what of the print will hardly show on the cloth, as sentences."""
    alike = share_like(proof.art, proof.cloth) if proof.fabric else 0.0
    if alike < 0.02:
        return []
    return [
        f"About {_percent(alike)} of the print has nearly the colour of the cloth and will hardly "
        "show: choose lighter or darker artwork, or another fabric."
    ]


def _spread_words(proof: Proof) -> str:
    """Return how far the print may sit elsewhere on the next piece."""
    across, along = (max(value, 0.0) for value in proof.placement.tolerance)
    unit = proof.unit
    ways = [
        f"{format_length(value, unit)} {way}"
        for value, way in ((along, "higher or lower"), (across, "to either side"))
        if value >= 1.0
    ]
    about = format_length(proof.placement.garment.tolerance, unit)
    differ = f"Garments of one box differ by about {about}"
    if not ways:
        return f"{differ} in their measures."
    return f"{differ}: on the next piece the print may sit up to {' and '.join(ways)}."


def _caveats(
    canvas: Canvas, proof: Proof, found: Losses, box: tuple[float, float, float, float]
) -> None:
    placement, unit = proof.placement, proof.unit
    # What was assumed while reading a file concerns the shop, not the customer.
    told = (concern for concern in placement.warnings if concern.about != "file")
    lines = [concern.sentence.say(unit) for concern in told]
    lines += _likeness_words(proof)
    lines += loss_words(found, placement.location.face)
    lines += [
        _spread_words(proof),
        "Colours on screen and paper differ from the transfer's. The worn view is a plain body "
        "form without folds; drawings are not to scale.",
    ]
    style = ParagraphStyle("caveat", fontName=FONT, fontSize=8.5, leading=11, textColor=INK,
                           leftIndent=9, bulletIndent=0, spaceAfter=1.5)  # fmt: skip
    head = ParagraphStyle("head", parent=style, fontName=BOLD, leftIndent=0, spaceAfter=3)
    parts = [Paragraph("Please note", head)]
    for line in lines:
        wide = ParagraphStyle("wide", parent=style, fontName=font_for(line, FONT))
        escaped = line.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        parts.append(Paragraph(escaped, wide, bulletText="\u2022"))
    x, y, wide_room, high = box
    frame = KeepInFrame(wide_room, high, parts, mode="shrink")
    _, used = frame.wrapOn(canvas, wide_room, high)
    frame.drawOn(canvas, x, y + high - used)
