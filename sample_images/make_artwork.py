"""Draw the invented club's artwork: ``python sample_images/make_artwork.py``.

Tern Harbour Rowing Club does not exist. Everything is drawn here as paths, the
lettering with the typeface that `overlay` carries, so the files need no fonts.
"""

from __future__ import annotations

import io
import math
from importlib.resources import files
from pathlib import Path

import resvg_py
from fontTools.misc.transform import Transform
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.pens.transformPen import TransformPen
from fontTools.ttLib import TTFont
from PIL import Image

FOLDER = Path(__file__).parents[1] / "src" / "chalkbeam" / "simulator" / "tern_harbour"
FONT = files("overlay") / "text" / "fonts" / "DejaVuSans-Bold.ttf"

INK, SEA, GOLD, PAPER, BILL = "#12315c", "#2f7fb5", "#e0a63a", "#ffffff", "#c8402f"

TERN = (
    "M 352 168 C 334 158, 318 152, 303 151 C 296 142, 278 139, 264 146"
    " C 262 118, 242 74, 176 22 C 192 70, 190 112, 203 158"
    " C 186 166, 166 174, 150 180 C 112 176, 76 178, 40 196"
    " C 74 194, 100 196, 122 200 C 98 208, 78 222, 62 244"
    " C 96 222, 128 212, 158 208 C 176 210, 190 210, 204 208"
    " C 176 232, 150 266, 134 322 C 176 280, 226 252, 258 206"
    " C 276 200, 292 190, 302 174 C 318 172, 334 172, 352 168 Z"
)
CAP = "M 303 151 C 296 142, 278 139, 262 147 C 272 152, 288 158, 304 161 Z"
BEAK = "M 352 168 C 334 158, 318 152, 303 151 L 302 174 C 318 172, 334 172, 352 168 Z"


def oar(cx: float, cy: float, length: float, degrees: float, colour: str, width: float) -> str:
    """Return an oar about (cx, cy), its blade at the upper end."""
    half, blade = length / 2, length * 0.24
    wide = blade * 0.21
    shape = (
        f"M {-width} {half} L {width} {half} L {width} {-half + blade}"
        f" C {wide} {-half + blade * 0.8}, {wide * 1.15} {-half + blade * 0.3}, {wide} {-half}"
        f" L {-wide} {-half}"
        f" C {-wide * 1.15} {-half + blade * 0.3}, {-wide} {-half + blade * 0.8},"
        f" {-width} {-half + blade} Z"
    )
    return f'<path transform="translate({cx} {cy}) rotate({degrees})" d="{shape}" fill="{colour}"/>'


def waves(left: float, right: float, y: float, pitch: float, rise: float, colour: str) -> str:
    """Return a stroked row of waves."""
    parts, x, up = [f"M {left} {y}"], left, -1
    while x < right - 1e-6:
        parts.append(f"q {pitch / 2} {up * rise} {pitch} 0")
        x, up = x + pitch, -up
    path = " ".join(parts)
    return (
        f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="9" stroke-linecap="round"/>'
    )


class Letters:
    """Lettering as paths."""

    def __init__(self) -> None:
        self.font = TTFont(str(FONT))
        self.glyphs = self.font.getGlyphSet()
        self.cmap = self.font.getBestCmap()
        self.cap = 1493.0  # cap height of this typeface, of 2048 units an em

    def _path(self, letter: str, transform: Transform) -> str:
        pen = SVGPathPen(self.glyphs, ntos=lambda value: f"{value:.1f}")
        self.glyphs[self.cmap[ord(letter)]].draw(TransformPen(pen, transform))
        return pen.getCommands()

    def _advance(self, letter: str) -> float:
        return float(self.glyphs[self.cmap[ord(letter)]].width)

    def straight(
        self, text: str, middle: tuple[float, float], cap: float, spacing: float, colour: str
    ) -> str:
        """Return a centred line whose capitals are `cap` high, baseline at middle y."""
        scale = cap / self.cap
        steps = [self._advance(letter) * scale + spacing for letter in text]
        x = middle[0] - (sum(steps) - spacing) / 2
        paths = []
        for letter, step in zip(text, steps, strict=True):
            paths.append(self._path(letter, Transform(scale, 0, 0, -scale, x, middle[1])))
            x += step
        return f'<path d="{" ".join(paths)}" fill="{colour}"/>'

    def arched(
        self,
        text: str,
        centre: tuple[float, float],
        radius: float,
        cap: float,
        spacing: float,
        colour: str,
    ) -> str:
        """Return a line whose baseline is the upper arc of a circle."""
        scale = cap / self.cap
        steps = [self._advance(letter) * scale + spacing for letter in text]
        run = -(sum(steps) - spacing) / 2
        paths = []
        for letter, step in zip(text, steps, strict=True):
            wide = step - spacing
            angle = (run + wide / 2) / radius
            at = (
                centre[0] + radius * math.sin(angle),
                centre[1] - radius * math.cos(angle),
            )
            turn = Transform().translate(*at).rotate(angle).scale(scale, -scale)
            paths.append(self._path(letter, turn.translate(-wide / 2 / scale, 0)))
            run += step
        return f'<path d="{" ".join(paths)}" fill="{colour}"/>'


def svg(width: float, height: float, body: list[str]) -> str:
    """Return a whole file."""
    inner = "\n  ".join(body)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}" height="{height:g}">\n  {inner}\n</svg>\n'
    )


def tern(x: float, y: float, scale: float) -> str:
    """Return the flying tern."""
    return (
        f'<g transform="translate({x} {y}) scale({scale})">'
        f'<path d="{TERN}" fill="{PAPER}"/><path d="{BEAK}" fill="{BILL}"/>'
        f'<path d="{CAP}" fill="{INK}"/></g>'
    )


def crest(letters: Letters) -> str:
    """Return the round crest: a tern over crossed oars and the harbour's water."""
    return svg(
        600,
        600,
        [
            f'<circle cx="300" cy="300" r="298" fill="{PAPER}"/>',
            f'<circle cx="300" cy="300" r="286" fill="{INK}"/>',
            f'<circle cx="300" cy="300" r="212" fill="{PAPER}"/>',
            f'<circle cx="300" cy="300" r="204" fill="{SEA}"/>',
            oar(300, 318, 372, 38, GOLD, 5.5),
            oar(300, 318, 372, -38, GOLD, 5.5),
            waves(181, 419, 440, 34, 15, PAPER),
            waves(215, 385, 468, 34, 15, PAPER),
            tern(122, 128, 0.90),
            letters.arched("TERN HARBOUR", (300, 300), 229, 40, 9, PAPER),
            letters.straight("R C", (300, 566), 34, 4, GOLD),
            f'<circle cx="62" cy="356" r="9" fill="{GOLD}"/>',
            f'<circle cx="538" cy="356" r="9" fill="{GOLD}"/>',
        ],
    )


def regatta(letters: Letters, lettering: str) -> str:
    """Return the large print: the name above and below crossed oars and a tern."""
    return svg(
        1200,
        1060,
        [
            letters.arched("TERN", (600, 1010), 806, 190, 12, lettering),
            oar(600, 580, 1000, 68, GOLD, 11),
            oar(600, 580, 1000, -68, GOLD, 11),
            f'<circle cx="600" cy="580" r="236" fill="{PAPER}"/>',
            f'<circle cx="600" cy="580" r="222" fill="{SEA}"/>',
            waves(486, 714, 738, 28.5, 13, PAPER),
            tern(370, 350, 1.12),
            letters.straight("HARBOUR", (600, 1040), 144, 10, lettering),
        ],
    )


def stroke_seat(letters: Letters) -> str:
    """Return a single line of lettering for a chest."""
    return svg(900, 140, [letters.straight("COXSWAIN", (450, 120), 100, 8, GOLD)])


def oars() -> str:
    """Return crossed oars over a wave, for a sleeve."""
    return svg(
        600,
        420,
        [
            oar(300, 200, 560, 62, GOLD, 9),
            oar(300, 200, 560, -62, GOLD, 9),
            f'<circle cx="300" cy="200" r="30" fill="{PAPER}"/>',
            f'<circle cx="300" cy="200" r="22" fill="{SEA}"/>',
            waves(130, 470, 372, 34, 16, PAPER),
        ],
    )


def rowing(letters: Letters) -> str:
    """Return the club's name on one line."""
    return svg(2200, 160, [letters.straight("TERN HARBOUR ROWING", (1100, 130), 104, 9, PAPER)])


def tern_over_water() -> bytes:
    """Return a tern over two waves in one colour, a PNG 180 mm wide at 300 dpi."""
    rows = waves(150, 1050, 720, 75, 34, INK) + waves(300, 900, 800, 75, 34, INK)
    bird = f'<g transform="translate(250 40) scale(1.75)"><path d="{TERN}" fill="{INK}"/></g>'
    drawing = svg(1200, 900, [bird, rows.replace('stroke-width="9"', 'stroke-width="20"')])
    picture = resvg_py.svg_to_bytes(svg_string=drawing, width=round(180 / 25.4 * 300))
    image = Image.open(io.BytesIO(bytes(picture))).convert("RGBA")
    left, top, right, bottom = image.getbbox() or (0, 0, *image.size)
    image = image.crop((left - 12, top - 12, right + 12, bottom + 12))
    kept = io.BytesIO()
    few = image.quantize(64, method=Image.Quantize.FASTOCTREE)
    few.save(kept, "PNG", dpi=(300, 300), optimize=True)
    return kept.getvalue()


def main() -> None:
    """Write every drawing into the program's sample order."""
    letters = Letters()
    for name, drawing in (
        ("crest.svg", crest(letters)),
        ("regatta.svg", regatta(letters, INK)),
        ("regatta-light.svg", regatta(letters, PAPER)),
        ("coxswain.svg", stroke_seat(letters)),
        ("oars.svg", oars()),
        ("rowing.svg", rowing(letters)),
    ):
        (FOLDER / name).write_text(drawing, encoding="utf-8")
    (FOLDER / "tern.png").write_bytes(tern_over_water())


if __name__ == "__main__":
    main()
