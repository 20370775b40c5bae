"""Artwork made to harm: nothing is run, nothing outside its folder is opened, all is told."""

import gzip
import io
import os
from functools import partial

import numpy as np
import pytest
from fontTools.ttLib import TTFont
from PIL import EpsImagePlugin, Image

from calibration.photo.read import read_photo
from calibration.refusal import Refusal
from chalkbeam.artwork import letter, load_artwork
from overlay.text.typeface import BUNDLED_FONT
from tests.support.answered import answered

# PostScript Language Reference, 3rd edition, 8.2: `loop` runs a procedure until it exits.
EPS = b"""%!PS-Adobe-3.0 EPSF-3.0
%%BoundingBox: 0 0 800 600
%%EndComments
{} loop
"""
OPEN = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {}>'


def svg(folder, inside, more='width="100mm" height="60mm" viewBox="0 0 100 60"', name="art.svg"):
    path = folder / name
    path.write_text(OPEN.format(more) + inside + "</svg>", encoding="utf-8")
    return path


@pytest.mark.parametrize("name", ["art.eps", "art.png", "art.jpg", "art.tif"])
def test_postscript_is_never_run(tmp_path, monkeypatch, name):
    ran = []
    monkeypatch.setattr(EpsImagePlugin, "Ghostscript", lambda *args, **_: ran.append(args))
    path = tmp_path / name
    path.write_bytes(EPS)
    for read in (lambda: load_artwork(path, width=80), lambda: read_photo(path)):
        with pytest.raises(Refusal):
            read()
    assert ran == []


@pytest.mark.parametrize("kind", ["PPM", "TGA", "ICNS", "PCX", "SGI", "JPEG2000"])
def test_formats_that_no_shop_sends_are_not_opened(tmp_path, kind):
    buffer = io.BytesIO()
    Image.new("RGB", (64, 64)).save(buffer, kind)
    (tmp_path / "art.png").write_bytes(buffer.getvalue())
    with pytest.raises(Refusal, match="is not a picture Chalkbeam can read"):
        load_artwork(tmp_path / "art.png", width=80)


@pytest.mark.parametrize("kind", ["TIFF", "JPEG", "PNG", "WEBP", "GIF", "BMP"])
def test_damaged_pictures_are_refused_or_read(tmp_path, kind):
    pixels = np.random.default_rng(1).integers(0, 255, (120, 160, 3), np.uint8)
    exif = Image.Exif()
    exif[0x010F] = "Maker"
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, kind, **({} if kind in {"GIF", "BMP"} else {"exif": exif}))
    whole = buffer.getvalue()
    draw = np.random.default_rng(7)
    for _ in range(12):
        spoiled = bytearray(whole[: draw.integers(1, len(whole))] if draw.random() < 0.5 else whole)
        for place in draw.integers(0, min(len(spoiled), 300), 4):
            spoiled[place] = draw.integers(0, 256)
        path = tmp_path / "art.bin"
        path.write_bytes(spoiled)
        answered(partial(load_artwork, path, width=80))
        answered(partial(read_photo, path))


@pytest.mark.proof
def test_nesting_that_crashes_the_renderer_ends_in_a_sentence(tmp_path):
    deep = 300
    inside = '<g opacity="0.9">' * deep + '<rect width="50" height="50"/>' + "</g>" * deep
    with pytest.raises(Refusal, match=r"art\.svg cannot be drawn, it made its reader crash"):
        load_artwork(svg(tmp_path, inside))
    deeper = "<g>" * 5000 + "</g>" * 5000
    with pytest.raises(Refusal, match="is not a drawing Chalkbeam can read"):
        load_artwork(svg(tmp_path, deeper))
    assert load_artwork(svg(tmp_path, '<rect width="50" height="50"/>')).ink.width == (
        pytest.approx(50, abs=0.1)
    )


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="a system without pipes that have names")
@pytest.mark.parametrize("href", ["href", "xlink:href"])
@pytest.mark.parametrize(
    ("link", "words"),
    [
        ("/dev/zero", "outside its folder"),
        ("../other.png", "outside its folder"),
        ("pipe", "is not there"),
        ("none.png", "is not there"),
    ],
)
def test_links_to_devices_pipes_and_other_folders_are_refused(tmp_path, href, link, words):
    here = tmp_path / "art"
    here.mkdir()
    os.mkfifo(here / "pipe")
    Image.new("RGB", (9, 9)).save(tmp_path / "other.png")
    Image.new("RGB", (9, 9)).save(here / "own.png")
    other = "xlink:href" if href == "href" else "href"
    for more in ("", f' {other}="own.png"'):
        inside = f'<image width="50" height="50" {href}="{link}"{more}/>'
        with pytest.raises(Refusal, match=words):
            load_artwork(svg(here, inside))


@pytest.mark.parametrize(
    "content",
    [
        b"\x1f\x8b",
        gzip.compress(b"<svg")[:12],
        gzip.compress(b"<svg " + b" " * 300_000_000, 1),
        "<svg".encode("utf-16"),
        b'<?xml version="1.0" encoding="latin-9000"?><svg/>',
        b"<!DOCTYPE svg [<!ENTITY a 'aaaaaaaaaa'>" + b"".join(
            b"<!ENTITY %c '%s'>" % (98 + k, b"&%c;" % (97 + k) * 10) for k in range(9)
        ) + b"]><svg xmlns='http://www.w3.org/2000/svg'><text>&j;</text></svg>",
    ],
    ids=["head", "cut", "bomb", "utf-16", "encoding", "entities"],
)  # fmt: skip
def test_packed_and_misencoded_drawings(tmp_path, content):
    (tmp_path / "art.svgz").write_bytes(content)
    with pytest.raises(Refusal, match="is not a drawing Chalkbeam can read"):
        load_artwork(tmp_path / "art.svgz", width=80)


@pytest.mark.parametrize("table", ["glyf", "loca", "GPOS", "GSUB", "cmap", "hmtx", "head", "maxp"])
def test_damaged_fonts_are_refused_or_set(tmp_path, table):
    whole = BUNDLED_FONT.read_bytes()
    entry = TTFont(BUNDLED_FONT).reader.tables[table]
    draw = np.random.default_rng(3)
    spoiled = bytearray(whole)
    for place in draw.integers(0, min(entry.length, 400), 60):
        spoiled[entry.offset + place] = draw.integers(0, 256)
    path = tmp_path / "font.ttf"
    path.write_bytes(spoiled)
    art = answered(partial(letter, "Tern 7", height=60, font=path))
    assert isinstance(art, str) or 0 < art.ink.width < 2000
