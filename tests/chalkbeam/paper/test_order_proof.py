"""The proof of a whole order, read back with pdfium."""

import re
from dataclasses import replace

import pypdfium2
import pytest

from chalkbeam.basics.units import Unit
from chalkbeam.orders.pieces import ArtKind
from chalkbeam.paper.proof import order as order_proof
from chalkbeam.paper.proof.entries import entries_of, wearers
from chalkbeam.paper.proof.order import ProofHead, order_proof_pdf
from tests.support.crew_order import crew, write_pennant
from tests.support.run_cli import run_program

HEAD = ProofHead("regatta", "Slipway Press", "Tern Harbour Rowing Club", "30 May 2026")


@pytest.fixture
def pieces(tmp_path):
    """Three shirts of two sizes with a crest each, and one with a name and a number besides."""
    first, second, third = crew(tmp_path)
    crest = replace(first.imprints[0], id="4-1/3")
    return [first, second, replace(third, imprints=(*third.imprints, crest))]


@pytest.fixture
def small(monkeypatch):
    monkeypatch.setattr(order_proof, "_WORN", 40)  # px: quick to draw


def words_of(pdf):
    document = pypdfium2.PdfDocument(pdf)
    return [page.get_textpage().get_text_bounded() for page in document]


def test_each_print_stands_once_with_all_its_sizes(pieces):
    found = entries_of(pieces, Unit.INCH)
    told = [(each.proof.placement.location.name, each.kind, each.pieces) for each in found]
    assert told == [
        ("left-chest", ArtKind.FILE, 3),
        ("nape", ArtKind.FILE, 1),
        ("player-name", ArtKind.NAME, 1),
        ("player-number", ArtKind.NUMBER, 1),
    ]
    (crest, *_) = found
    assert [(row.size, row.pieces) for row in crest.rows] == [("M", 2), ("L", 1)]
    assert crest.proof.placement.garment.size == "M"  # the size with most pieces is drawn
    medium, large = crest.rows
    assert (medium.width, medium.height) == pytest.approx((90.0, 60.0), abs=1.5)
    assert large.top > medium.top  # the placement's own figures, not the drawn size's


def test_one_shirt_in_two_colours_is_shown_in_both(pieces):
    other = replace(pieces[0], id="5-1", row=5, colour="white")
    found = entries_of([pieces[0], other], Unit.INCH)
    assert [each.proof.fabric for each in found] == ["navy", "white"]


def test_the_pages_say_shop_customer_measures_and_every_name(pieces, small):
    found = entries_of(pieces, Unit.INCH)
    pages = words_of(order_proof_pdf(found, wearers(pieces), HEAD, Unit.INCH))
    for number, page in enumerate(pages, start=1):
        assert "Slipway Press" in page
        assert "Tern Harbour Rowing Club" in page
        assert f"page {number}" in page
    every = " ".join(pages)
    assert re.search(r"Left chest: pennant.*Nape[^\n]*: pennant", every, re.DOTALL)
    assert "3 1/2 in x 2 3/8 in" in every
    assert re.search(r"4-1\s+MARIT\s+7\s+M", every)
    assert every.count("Go ahead as shown") == 1
    assert "Go ahead as shown" in pages[-1]


def test_a_long_order_goes_on_over_pages_and_nothing_leaves_the_paper(pieces, small):
    many = [replace(pieces[2], id=f"{n}-1", row=n, name=f"NAME {n}") for n in range(2, 62)]
    found = entries_of(pieces, Unit.MM) * 3
    pdf = order_proof_pdf(found, wearers(many), HEAD, Unit.MM, "a4")
    document = pypdfium2.PdfDocument(pdf)
    assert len(document) > 2
    for page in document:
        said = page.get_textpage()
        for k in range(said.count_rects()):
            left, low, right, high = said.get_rect(k)
            assert 20 < left < right < page.get_width() - 20
            assert 20 < low < high < page.get_height() - 20
    assert all(f"NAME {n}" in " ".join(words_of(pdf)) for n in range(2, 62))
    assert pdf == order_proof_pdf(found, wearers(many), HEAD, Unit.MM, "a4")


def test_the_command_writes_it(tmp_path, monkeypatch, capsys, small):
    monkeypatch.chdir(tmp_path)
    write_pennant(tmp_path / "pennant.png")
    (tmp_path / "club.csv").write_text(
        "Style,Size,Colour,Qty,Location,Artwork,Width\ncrew tee,M,navy,2,nape,pennant.png,3 in\n"
    )
    words = ("sheet", "proof", "club.csv", "--shop", "Slipway Press")
    code, out, _ = run_program(capsys, monkeypatch, *words)
    assert (code, out) == (0, "proof.pdf: a proof of 1 print on 2 pieces to sign.\n")
    assert "Slipway Press" in words_of((tmp_path / "proof.pdf").read_bytes())[0]
