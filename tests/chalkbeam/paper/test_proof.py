"""Proofs and templates: one page that says what was placed; paper that is true to scale."""

import functools
import io
import itertools
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from calibration.refusal import Refusal
from chalkbeam.artwork import Box, letter, load_artwork
from chalkbeam.basics.units import Unit
from chalkbeam.garments import garment
from chalkbeam.locations import location
from chalkbeam.paper.proof import Proof, ink_picture, letter_picture, proof_pdf, template_pdf
from chalkbeam.paper.proof.sheet import loss_words
from chalkbeam.paper.proof.template import OVERLAP, covered, region_of, tiling
from chalkbeam.paper.worn import Losses
from chalkbeam.placement import place

CREST = Path(__file__).parents[3] / "src" / "chalkbeam" / "simulator" / "tern_harbour" / "crest.svg"


@pytest.fixture(autouse=True)
def _small_views(monkeypatch):
    monkeypatch.setattr("chalkbeam.paper.proof.sheet.PICTURE", 120)


@functools.cache
def _crest():
    return load_artwork(CREST, width=90.0), ink_picture(CREST)


def _proof(style="crew_tee", size="M", where="left-chest", width=90.0, turn=None, **said):
    artwork, picture = _crest()
    artwork = artwork.scaled(width / 90.0)
    placement = place(garment(style, size), location(where), artwork, turn=turn)
    return Proof(placement, picture, (240, 240, 240), **said)


def _pages(pdf):
    document = pypdfium2.PdfDocument(pdf)
    pages = [
        (page.get_size(), " ".join(page.get_textpage().get_text_range().split()))
        for page in document
    ]
    document.close()
    return pages


@pytest.mark.slow
def test_one_page_that_says_it_all():
    made = _proof(customer="Tern Harbour Rowing Club", order="Regatta", date="25 November 2026")
    pdf = proof_pdf(made, "letter")
    ((size, text),) = _pages(pdf)
    assert size == (612.0, 792.0)
    ink = Box.around(made.placement.hull())
    assert ink.top == pytest.approx(2.25 * 25.4, abs=2.0)
    for words in (
        "Tern Harbour Rowing Club", "Regatta", "25 November 2026", "Left chest: crest",
        "Crew tee, adult M", "3 1/2 in x 3 1/2 in", "2 1/4 in below the neck seam",
        "3 5/8 in right of centre", "the whole print shows from the front", "Signature",
    ):  # fmt: skip
        assert words in text
    assert pdf == proof_pdf(made, "letter")


@pytest.mark.slow
def test_a4_in_millimetres_with_a_name_beyond_latin_1():
    made = _proof(unit=Unit.MM, customer="Klub Wioślarski Żółw", where="centre-chest", width=200.0)
    ((size, text),) = _pages(proof_pdf(made, "a4"))
    # ISO 216: A4 is 210 x 297 mm
    assert size == pytest.approx((210 * 72 / 25.4, 297 * 72 / 25.4), abs=0.01)
    assert "Klub Wioślarski Żółw" in text
    assert "200 mm x 200 mm" in text
    assert "centred" in text


def test_words_for_what_the_eye_loses():
    assert loss_words(Losses(0.0, 0.0, 0.0), "front") == [
        "Worn, the whole print shows from the front."
    ]
    said = " ".join(loss_words(Losses(0.62, 0.3, 0.11), "back"))
    for words in ("62 %", "30 %", "11 %", "behind", "hood"):
        assert words in said


def test_the_picture_is_the_ink_alone(tmp_path):
    image = Image.new("RGB", (200, 100), "white")
    image.paste((200, 0, 0), (50, 20, 150, 60))
    image.save(tmp_path / "art.png")
    picture = ink_picture(tmp_path / "art.png")
    assert picture.shape == (40, 100, 4)
    assert (picture[..., 3] > 250).all()
    assert (picture[..., 0] > 190).all()


def test_one_of_a_ganged_sheet_is_shown_alone(tmp_path):
    image = Image.new("RGBA", (1100, 400), (0, 0, 0, 0))
    image.paste((200, 0, 0, 255), (50, 50, 350, 150))
    image.paste((0, 0, 200, 255), (700, 60, 900, 160))
    image.save(tmp_path / "gang.png")
    for pick, size, colour in ((1, (100, 300), 0), (2, (100, 200), 2)):
        picture = ink_picture(tmp_path / "gang.png", pick=pick, sheet_width=279.4)
        assert picture.shape[:2] == size
        assert (picture[..., colour] == 200).all()
    mirrored = ink_picture(tmp_path / "gang.png", pick=1, sheet_width=279.4, mirrored=True)
    assert (mirrored[..., 2] == 200).all()
    with pytest.raises(Refusal, match="holds 2 artworks: there is no number 3"):
        ink_picture(tmp_path / "gang.png", pick=3, sheet_width=279.4)


def test_a_mirrored_sheet_is_shown_as_seen(tmp_path):
    image = Image.new("RGBA", (100, 50), (0, 0, 0, 0))
    image.paste((200, 0, 0, 255), (0, 0, 50, 50))
    image.paste((0, 0, 200, 255), (50, 0, 100, 50))
    image.save(tmp_path / "art.png")
    assert ink_picture(tmp_path / "art.png", mirrored=True)[25, 10, 2] > 190


def test_letters_keep_their_counters():
    artwork = letter("O8", height=50.0)
    picture = letter_picture(artwork, (20, 30, 40))
    aspect = picture.shape[1] / picture.shape[0]
    assert aspect == pytest.approx(artwork.ink.width / artwork.ink.height, rel=0.02)
    middle = picture[picture.shape[0] // 2, : picture.shape[1] // 2, 3]
    assert middle.max() == 255
    assert (middle == 0).sum() > 0.1 * len(middle)


boxes = st.tuples(
    st.floats(-300, 100), st.floats(-100, 100), st.floats(30, 700), st.floats(30, 900)
).map(lambda b: Box(b[0], b[1], b[0] + b[2], b[1] + b[3]))


@given(boxes, st.sampled_from(["letter", "a4"]))
def test_pages_cover_the_region_and_share_their_crosses(region, paper):
    cut = tiling(region, paper)
    union = shapely.Polygon(covered(cut))
    whole = shapely.Polygon(region.corners())
    assert union.symmetric_difference(whole).area < 1e-6 * whole.area
    for tile in cut.tiles:
        corners = tile.page.points(tile.part.corners())
        assert corners.min() > 0
        assert (corners < cut.size).all()
        assert tile.page.scale == 72 / 25.4
    for x, y in cut.marks:
        on = [t for t in cut.tiles
              if t.part.left < x < t.part.right and t.part.top < y < t.part.bottom]  # fmt: skip
        assert len(on) >= 2
    for first, second in itertools.pairwise(cut.tiles):
        if first.row == second.row:
            assert first.part.right - second.part.left == pytest.approx(OVERLAP)


def _ink(pdf, page, dots):
    document = pypdfium2.PdfDocument(pdf)
    picture = np.asarray(document[page].render(scale=dots / 72).to_pil().convert("L"))
    document.close()
    return picture


def test_the_check_bar_measures_100_mm():
    # Independent: pypdfium2 as a ruler.
    dots = 600
    picture = _ink(template_pdf(_proof(), "a4"), 0, dots)
    tall = picture.shape[0]
    foot = picture[round(tall - 15 / 25.4 * dots) : round(tall - 10.8 / 25.4 * dots)]
    columns = np.nonzero((foot < 128).sum(axis=0) > 30)[0]
    bar = columns[columns > 0.4 * picture.shape[1]]
    millimetres = (bar.max() - bar.min()) / dots * 25.4
    assert millimetres == pytest.approx(100.0, abs=0.4)  # the ends' lines are 0.3 mm thick


def test_the_window_lies_where_the_placement_says():
    # Independent: the window's edges and the neck seam's level are found on the rendered page.
    made = _proof(where="left-chest", width=80.0)
    dots = 300
    pdf = template_pdf(made, "letter")
    cut = tiling(region_of(made), "letter")
    assert len(cut.tiles) == 1
    document = pypdfium2.PdfDocument(pdf)
    picture = np.asarray(document[0].render(scale=dots / 72).to_pil().convert("RGB")).astype(int)
    document.close()
    tinted = (picture[..., 0] - picture[..., 2] > 15) & (picture[..., 0] > 225)
    rows, columns = np.nonzero(tinted)
    sheet = Box.around(made.placement.sheet())
    assert (columns.max() - columns.min()) / dots * 25.4 == pytest.approx(sheet.width, abs=0.6)
    page = cut.tiles[0].page
    (left, top), (seam_x, seam_y) = page.points([(sheet.left, sheet.top), (0.0, 0.0)])
    assert columns.min() / dots * 72 == pytest.approx(left, abs=1.0)
    assert rows.min() / dots * 72 == pytest.approx(cut.size[1] - top, abs=1.0)
    # 1 mm of garment is 1 mm of paper, from collar to window
    assert (seam_y - top) / 72 * 25.4 == pytest.approx(sheet.top)
    assert (left - seam_x) / 72 * 25.4 == pytest.approx(sheet.left)


def test_a_large_print_takes_several_named_pages():
    made = _proof(where="full-back", size="3XL", width=330.0)
    pages = _pages(template_pdf(made, "letter"))
    assert len(pages) >= 4
    assert "page A1 of" in pages[0][1]
    assert all("100 mm" in text for _, text in pages)


def test_template_is_the_same_every_time():
    assert template_pdf(_proof()) == template_pdf(_proof())


@pytest.mark.slow
def test_turned_art_is_drawn_turned():
    ((_, text),) = _pages(proof_pdf(_proof(turn=-0.26)))
    assert "turned 15°" in text


def test_a_file_without_ink_is_refused(tmp_path):
    buffer = io.BytesIO()
    Image.new("RGBA", (50, 50), (0, 0, 0, 0)).save(buffer, "PNG")
    (tmp_path / "none.png").write_bytes(buffer.getvalue())
    with pytest.raises(Refusal):
        ink_picture(tmp_path / "none.png")
