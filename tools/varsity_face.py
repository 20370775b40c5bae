"""Draw the varsity face, the program's own: `python -m tools.varsity_face`.

Octagons and straight strokes of one weight with slab feet, as letters cut from felt have. Each
sign is a few lines of pen strokes on a grid, thickened and trimmed to its box.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

import shapely
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from shapely.geometry.base import BaseGeometry

from tools.faces import OUT

CAP, STEM, BEVEL = 700, 150, 95
"""Height of capitals, weight of strokes, and how far corners are cut along the pen's way."""
FOOT, REACH = 90, 45
"""Height of a slab foot, and how far it stands out on either side."""
SIDE = 45
"""Blank on either side of a sign."""

H = STEM // 2
TOP, MID, LOW = CAP - H, CAP // 2, H
Stroke = Sequence[tuple[float, float]]


def octagon(right: float, top: float = TOP, low: float = LOW, left: float = H) -> Stroke:
    """Return a ring with cut corners, from the middle of its right side anticlockwise."""
    b, middle = BEVEL, (top + low) / 2
    return [
        (right, middle), (right, top - b), (right - b, top), (left + b, top), (left, top - b),
        (left, low + b), (left + b, low), (right - b, low), (right, low + b), (right, middle),
    ]  # fmt: skip


def bowl(right: float, top: float, low: float, left: float = H) -> Stroke:
    """Return a bowl open to the left."""
    b = BEVEL
    return [(left, top), (right - b, top), (right, top - b), (right, low + b), (right - b, low),
            (left, low)]  # fmt: skip


def stem(x: float) -> Stroke:
    """Return an upright from foot to head."""
    return [(x, 0), (x, CAP)]


def strokes() -> dict[str, tuple[float, list[Stroke], list[tuple[float, str]]]]:
    """Return each sign's width, its strokes, and its slab feet: where, and top or low."""
    w, r, b = 520, 520 - H, BEVEL
    both = ["top", "low"]
    ring = octagon(r)
    signs: dict[str, tuple[float, list[Stroke], list[tuple[float, str]]]] = {
        "A": (600, [[(H, 0), (H, TOP - 180), (H + 180, TOP), (600 - H - 180, TOP),
                     (600 - H, TOP - 180), (600 - H, 0)], [(H, 270), (600 - H, 270)]],
              [(H, "low"), (600 - H, "low")]),
        "B": (w, [stem(H), bowl(r - 20, TOP, MID), bowl(r, MID, LOW)], [(H, e) for e in both]),
        "C": (w, [[(r, 430), *ring[1:8], (r, LOW + b), (r, 270)]], []),
        "D": (w, [stem(H), bowl(r, TOP, LOW)], [(H, e) for e in both]),
        "E": (480, [stem(H), [(H, TOP), (480, TOP)], [(H, MID), (400, MID)],
                    [(H, LOW), (480, LOW)], [(405, 0), (405, 230)], [(405, CAP), (405, 470)]],
              [(H, e) for e in both]),
        "F": (480, [stem(H), [(H, TOP), (480, TOP)], [(H, MID), (400, MID)],
                    [(405, CAP), (405, 470)]], [(H, e) for e in both]),
        "G": (w, [[(r, 460), *ring[1:8], (r, LOW + b), (r, 310), (300, 310)]], []),
        "H": (580, [stem(H), stem(580 - H), [(H, MID), (580 - H, MID)]],
              [(x, e) for x in (H, 580 - H) for e in both]),
        "I": (STEM, [stem(H)], [(H, e) for e in both]),
        "J": (440, [[(440 - H, CAP), (440 - H, LOW + b), (440 - H - b, LOW), (H + b, LOW),
                     (H, LOW + b), (H, 260)]], [(440 - H, "top")]),
        "K": (580, [stem(H), [(H, 270), (600, 795)], [(250, 420), (620, -95)]],
              [(H, "top"), (H, "low"), (510, "top"), (525, "low")]),
        "L": (460, [stem(H), [(H, LOW), (460, LOW)], [(460 - H, 0), (460 - H, 230)]],
              [(H, e) for e in both]),
        "M": (720, [stem(H), stem(720 - H), [(H - 40, CAP + 40), (360, 190), (760 - H, CAP + 40)]],
              [(H - 12, "top"), (732 - H, "top"), (H, "low"), (720 - H, "low")]),
        "N": (600, [stem(H), stem(600 - H), [(H - 30, CAP + 60), (630 - H, -60)]],
              [(H - 12, "top"), (H, "low"), (600 - H, "top")]),
        "O": (w, [ring], []),
        "P": (w, [stem(H), bowl(r, TOP, 270)], [(H, e) for e in both]),
        "Q": (w, [ring, [(330, 270), (600, -120)]], []),
        "R": (560, [stem(H), bowl(r, TOP, 290), [(290, 330), (500, -60)]],
              [(H, "top"), (H, "low"), (480, "low")]),
        "S": (w, [[(r, 490), (r, TOP - b), (r - b, TOP), (H + b, TOP), (H, TOP - b),
                   (H, MID + b), (H + b, MID), (r - b, MID), (r, MID - b), (r, LOW + b),
                   (r - b, LOW), (H + b, LOW), (H, LOW + b), (H, 210)]], []),
        "T": (540, [stem(270), [(0, TOP), (540, TOP)], [(H, CAP), (H, 470)],
                    [(540 - H, CAP), (540 - H, 470)]], [(270, "low")]),
        "U": (w + 30, [[(H, CAP), (H, LOW + b), (H + b, LOW), (r + 30 - b, LOW), (r + 30, LOW + b),
                        (r + 30, CAP)]], [(H, "top"), (r + 30, "top")]),
        "V": (600, [[(60, 790), (300, 40), (540, 790)]], [(90, "top"), (510, "top")]),
        "W": (820, [[(60, 790), (235, 40), (410, 620), (585, 40), (760, 790)]],
              [(85, "top"), (735, "top")]),
        "X": (600, [[(45, 790), (555, -90)], [(555, 790), (45, -90)]],
              [(100, "top"), (500, "top"), (100, "low"), (500, "low")]),
        "Y": (600, [[(300, 0), (300, 300)], [(300, 300), (45, 790)], [(300, 300), (555, 790)]],
              [(95, "top"), (505, "top"), (300, "low")]),
        "Z": (500, [[(0, TOP), (500 - H, TOP), (H, LOW), (500, LOW)], [(H, CAP), (H, 470)],
                    [(500 - H, 0), (500 - H, 230)]], []),
        "0": (w, [ring], []),
        "1": (300, [[(190, 0), (190, CAP)], [(190, CAP - 60), (40, CAP - 190)]], [(190, "low")]),
        "2": (w, [[(H, 480), (H, TOP - b), (H + b, TOP), (r - b, TOP), (r, TOP - b), (r, 430),
                   (H, 140), (H, LOW), (w, LOW)], [(r, 0), (r, 200)]], []),
        "3": (w, [[(H, 490), (H, TOP - b), (H + b, TOP), (r - b, TOP), (r, TOP - b), (r, MID + 75),
                   (r - 75, MID), (210, MID)], [(r - 75, MID), (r, MID - 75), (r, LOW + b),
                   (r - b, LOW), (H + b, LOW), (H, LOW + b), (H, 210)]], []),
        "4": (560, [[(400, 0), (400, CAP)], [(400, CAP + 20), (H - 15, 260)],
                    [(20, 215), (560, 215)]], [(400, "low")]),
        "5": (w, [[(r, TOP), (H, TOP), (H, 410), (r - b, 410), (r, 410 - b), (r, LOW + b),
                   (r - b, LOW), (H + b, LOW), (H, LOW + b), (H, 240)], [(r, CAP), (r, 500)]], []),
        "6": (w, [[(r, 465), (r, TOP - b), (r - b, TOP), (H + b, TOP), (H, TOP - b), (H, LOW + b),
                   (H + b, LOW), (r - b, LOW), (r, LOW + b), (r, 350 - b), (r - b, 350),
                   (H, 350)]], []),
        "7": (w, [[(0, TOP), (r, TOP), (r, TOP - 60), (210, 180), (210, 0)], [(H, CAP), (H, 470)]],
              [(210, "low")]),
        "8": (w, [octagon(r - 15, TOP, MID, H + 15), octagon(r, MID, LOW)], []),
        "9": (w, [[(H, 235), (H, LOW + b), (H + b, LOW), (r - b, LOW), (r, LOW + b), (r, TOP - b),
                   (r - b, TOP), (H + b, TOP), (H, TOP - b), (H, 350 + b), (H + b, 350),
                   (r, 350)]], []),
        "-": (300, [[(0, MID), (300, MID)]], []),
        ".": (STEM, [[(H, 0), (H, STEM)]], []),
        ",": (STEM, [[(H, -110), (H, STEM)]], []),
        "'": (STEM, [[(H, CAP), (H, 450)]], []),
        "!": (STEM, [[(H, CAP), (H, 240)], [(H, 0), (H, STEM)]], []),
        "#": (600, [[(190, 0), (190, CAP)], [(410, 0), (410, CAP)], [(0, 230), (600, 230)],
                    [(0, 470), (600, 470)]], []),
        "&": (620, [[(600, -60), (H + 60, 520), (H + 60, TOP - 60), (H + 120, TOP), (330, TOP),
                     (390, TOP - 60), (390, 500), (H, 280), (H, LOW + b), (H + b, LOW), (400, LOW),
                     (590, 330)]], []),
        "/": (420, [[(20, -60), (400, 760)]], []),
    }  # fmt: skip
    return signs


MARKS: dict[str, list[Stroke]] = {
    "\u0300": [[(-70, 950), (70, 790)]],
    "\u0301": [[(70, 950), (-70, 790)]],
    "\u0302": [[(-130, 790), (0, 920), (130, 790)]],
    "\u030c": [[(-130, 940), (0, 810), (130, 940)]],
    "\u0303": [[(-170, 810), (-70, 900), (50, 830), (160, 920)]],
    "\u0308": [[(-120, 770), (-120, 910)], [(120, 770), (120, 910)]],
    "\u0307": [[(0, 770), (0, 910)]],
    "\u0304": [[(-150, 840), (150, 840)]],
    "\u0306": [[(-140, 940), (-90, 840), (90, 840), (140, 940)]],
    "\u030b": [[(-20, 950), (-140, 790)], [(140, 950), (20, 790)]],
    "\u030a": [[(70, 850), (0, 920), (-70, 850), (0, 780), (70, 850)]],
    "\u0327": [[(0, 20), (0, -110), (-120, -160)]],
    "\u0328": [[(90, 20), (20, -110), (140, -160)]],
    "\u0326": [[(0, -60), (-50, -220)]],
}
"""Accents over or under a letter whose middle stands at 0."""


def sign(width: float, lines: list[Stroke], feet: list[tuple[float, str]]) -> BaseGeometry:
    """Return a sign's shape, trimmed to the height of capitals."""
    deepest = -130 if any(y < -100 for line in lines for _, y in line) and width < 200 else 0
    box = shapely.box(-REACH, deepest, width + REACH, CAP)
    inked = [
        shapely.LineString(line).buffer(H, cap_style="flat", join_style="mitre", mitre_limit=2.2)
        for line in lines
    ]
    for x, end in feet:
        low = 0 if end == "low" else CAP - FOOT
        inked.append(shapely.box(x - H - REACH, low, x + H + REACH, low + FOOT))
    return shapely.union_all(inked).intersection(box)


def accented(base: BaseGeometry, mark: str, width: float) -> BaseGeometry:
    """Return a letter with an accent."""
    strokes_of = [
        shapely.LineString(line).buffer(48, cap_style="flat", join_style="mitre")
        for line in MARKS[mark]
    ]
    moved = shapely.affinity.translate(shapely.union_all(strokes_of), width / 2, 0)
    return base.union(moved)


def glyph(shape: BaseGeometry, left: float) -> object:
    """Return a shape as a font's glyph, `left` to the right of where it stands."""
    pen = TTGlyphPen(None)
    for part in shapely.get_parts(shape):
        part = shapely.geometry.polygon.orient(part, -1.0)  # outer rings clockwise
        for ring in (part.exterior, *part.interiors):
            points = [(round(x + left), round(y)) for x, y in list(ring.coords)[:-1]]
            pen.moveTo(points[0])
            for point in points[1:]:
                pen.lineTo(point)
            pen.closePath()
    return pen.glyph()


def main() -> None:
    """Write the font."""
    plain = {
        name: (width, sign(width, lines, feet)) for name, (width, lines, feet) in strokes().items()
    }
    shapes: dict[str, tuple[float, BaseGeometry]] = dict(plain)
    for code in [*range(0xC0, 0x180), *range(0x218, 0x21C)]:
        letter = chr(code)
        parts = unicodedata.normalize("NFD", letter.upper() if len(letter.upper()) == 1 else "")
        if len(parts) == 2 and parts[0] in plain and parts[1] in MARKS:
            width, base = plain[parts[0]]
            shapes[letter] = width, accented(base, parts[1], width)
    shapes["Ø"] = shapes["ø"] = (
        520,
        plain["O"][1].union(
            shapely.LineString([(0, -40), (520, 740)]).buffer(40, cap_style="flat")
        ),
    )
    shapes |= {letter.lower(): shape for letter, shape in plain.items() if letter.isalpha()}
    shapes["’"] = shapes["'"]
    shapes["–"] = shapes["-"]
    order = [".notdef", "space", *(f"u{ord(each):04X}" for each in shapes)]
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder(order)
    builder.setupCharacterMap(
        {0x20: "space", 0xA0: "space", **{ord(each): f"u{ord(each):04X}" for each in shapes}}
    )
    blank = TTGlyphPen(None).glyph()
    glyphs, metrics = {".notdef": blank, "space": blank}, {".notdef": (500, 0), "space": (260, 0)}
    for each, (_, shape) in shapes.items():
        name = f"u{ord(each):04X}"
        left, _, right, _ = shape.bounds
        glyphs[name] = glyph(shape, SIDE - left)
        metrics[name] = (round(right - left + 2 * SIDE), SIDE)
    builder.setupGlyf(glyphs)
    builder.setupHorizontalMetrics(metrics)
    builder.setupHorizontalHeader(ascent=980, descent=-240)
    builder.setupOS2(sCapHeight=CAP, sTypoAscender=980, sTypoDescender=-240, usWeightClass=800)
    builder.setupNameTable({
        "familyName": "Chalkbeam Varsity", "styleName": "Regular",
        "licenseDescription": "MIT, as the program",
    })  # fmt: skip
    builder.setupPost()
    builder.font["head"].created = builder.font["head"].modified = 0
    builder.font.recalcTimestamp = False
    builder.save(OUT / "varsity.ttf")


if __name__ == "__main__":
    main()
