"""Small lettering in an outline: its line box, by the box that the drawing library states."""

from pathlib import Path

import pytest
from PIL import Image, ImageDraw, ImageFont
from shapely import Polygon, box

import overlay
from chalkbeam.artwork import load_artwork

FONT = next((Path(overlay.__file__).parent / "text" / "fonts").glob("*.ttf"))
WIDE = 900


def drawn(folder, *lines, blot=None):
    """Write black lettering, each line as (words, left, top, size), and return its file."""
    picture = Image.new("RGBA", (WIDE, 700), (0, 0, 0, 0))
    pen = ImageDraw.Draw(picture)
    pen.rectangle((0, 0, WIDE - 1, 60), fill="black")  # a bar over it all, for the scale
    if blot is not None:
        pen.ellipse(blot, fill="black")
    boxes = []
    for words, left, top, size in lines:
        font = ImageFont.truetype(FONT, size)
        pen.text((left, top), words, fill="black", font=font)
        boxes.append(pen.textbbox((left, top), words, font=font))
    picture.save(folder / "art.png")
    return folder / "art.png", boxes


@pytest.mark.parametrize("words", ["TERN ROWING CLUB", "by the mole, est. 1897"])
def test_a_small_line_is_its_box(tmp_path, words):
    path, (stated,) = drawn(tmp_path, (words, 60, 300, 50))
    per_mm = WIDE / 150
    art = load_artwork(path, width=150)
    ring = next(r for r in art.outline if max(y for _, y in r) > art.ink.top + 20)
    got = [round((v - o) * per_mm) for v, o in zip(
        Polygon(ring).bounds, (art.ink.left, art.ink.top) * 2, strict=True)]  # fmt: skip
    assert got == pytest.approx(stated, abs=4)
    assert len(ring) == 4
    assert len(art.outline) == 2


def test_lines_light_would_run_together_are_one_shape(tmp_path):
    path, _ = drawn(tmp_path, ("TERN HARBOUR", 60, 300, 50), ("ROWING CLUB", 60, 345, 50))
    assert len(load_artwork(path, width=150).outline) == 2
    path, _ = drawn(tmp_path, ("TERN HARBOUR", 60, 300, 50), ("ROWING CLUB", 60, 400, 50))
    assert len(load_artwork(path, width=150).outline) == 3


def test_large_lettering_keeps_its_shape(tmp_path):
    path, _ = drawn(tmp_path, ("OARS", 60, 300, 200))
    rings = load_artwork(path, width=300).outline
    assert len(rings) == 5  # the bar, and four letters
    assert all(len(ring) > 4 for ring in rings[1:])


def test_what_stands_inside_a_shape_is_not_outlined(tmp_path):
    path, (stated,) = drawn(tmp_path, ("ROWING CLUB", 300, 300, 40))
    picture = Image.open(path)
    pen = ImageDraw.Draw(picture)
    pen.rounded_rectangle((200, 200, 800, 460), radius=40, outline="black", width=20)
    picture.save(path)
    rings = load_artwork(path, width=150).outline
    assert len(rings) == 2
    assert not any(Polygon(ring).equals(box(*stated)) for ring in rings)


def test_a_texture_is_no_lettering(tmp_path):
    path, _ = drawn(tmp_path)
    picture = Image.open(path)
    pen = ImageDraw.Draw(picture)
    for row in range(20):
        for column in range(20):
            if (row - 9.5) ** 2 + (column - 9.5) ** 2 < 100:
                x, y = 200 + 18 * column, 200 + 18 * row
                pen.ellipse((x, y, x + 9, y + 9), fill="black")
    picture.save(path)
    rings = load_artwork(path, width=150).outline
    dots = max((Polygon(ring) for ring in rings), key=lambda ring: ring.bounds[3])
    across, down = dots.bounds[2] - dots.bounds[0], dots.bounds[3] - dots.bounds[1]
    assert dots.area < 0.85 * across * down  # a disc, not a box
