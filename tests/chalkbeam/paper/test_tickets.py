"""Tickets and the pull list: what goes with the garments of an order."""

from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
import zxingcpp

from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece
from chalkbeam.orders.problems import SheetRefusal
from chalkbeam.orders.pull import counted_in, pull_list
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.paper.tickets import tickets_pdf
from chalkbeam.record.progress import Progress

SHOPS = Path(__file__).parents[2] / "data" / "shops"


@pytest.fixture(scope="module")
def order():
    return read_sheet(SHOPS / "team-order.csv", artwork_folder=SHOPS / "art")


def picture(page, scale=4):
    return np.ascontiguousarray(np.asarray(page.render(scale=scale).to_pil().convert("L")))


def test_a_label_for_each_piece_says_its_code_for_the_scanner(order):
    pieces = order.pieces[2:5]
    document = pypdfium2.PdfDocument(tickets_pdf(pieces, "otters", "label"))
    assert len(document) == 3
    progress = Progress(plan(order.pieces).stops)
    for page, piece in zip(document, pieces, strict=True):
        # Read by OpenCV's detector, which shares nothing with what draws the code.
        code, *_ = cv2.QRCodeDetector().detectAndDecode(picture(page))
        assert code == piece.id
        assert progress.stops[progress.find(code)].piece.id == piece.id
        text = page.get_textpage().get_text_bounded()
        for said in (piece.size, piece.colour, piece.name, piece.number, piece.note, piece.id):
            assert said in text
        assert "left chest: otter, 3 1/2 in" in text
        assert "Pinebrook Otters" in text


@pytest.mark.parametrize("paper", ["label", "letter"])
def test_an_independent_reader_reads_both_codes_as_a_label_printer_prints_them(order, paper):
    """ZXing-C++, which shares nothing with segno and reportlab, that draw them.

    Black and white alone, 203 dots an inch: the coarsest of the usual label printers (common
    practice, no source); and in a photo of that, turned, blurred and in dim light.
    """
    pieces = order.pieces[:8]
    document = pypdfium2.PdfDocument(tickets_pdf(pieces, "otters", paper))
    for number, page in enumerate(document):
        wanted = {piece.id for piece in (pieces if paper == "letter" else [pieces[number]])}
        printed = np.where(picture(page, 203 / 72) < 128, 0, 255).astype(np.uint8)
        height, width = printed.shape
        turn = cv2.getRotationMatrix2D((width / 2, height / 2), 7.0, 2.0)
        turn[:, 2] += (width, height)
        size = (3 * width, 3 * height)
        photo = cv2.warpAffine(printed, turn, size, borderValue=255)
        photo = np.rint(cv2.GaussianBlur(photo, (0, 0), 1.5) * 0.45 + 20).astype(np.uint8)
        for seen in (printed, photo):
            read = {(each.format.name, each.text) for each in zxingcpp.read_barcodes(seen)}
            assert read == {(kind, code) for kind in ("Code128", "QRCode") for code in wanted}


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_eight_to_a_sheet_within_the_paper(order, paper):
    document = pypdfium2.PdfDocument(tickets_pdf(order.pieces, "otters", paper))
    assert len(document) == 4
    ink = picture(document[0], 1) < 200
    assert not ink[:, :8].any()
    assert not ink[:, -8:].any()


def test_more_prints_than_have_room_are_counted():
    art = Art(ArtKind.FILE, "a.svg")
    imprints = tuple(Imprint(f"2-1/{n}", "left-chest", art, 90.0) for n in range(1, 15))
    piece = Piece("2-1", 2, 1, 1, "crew_tee", "M", "navy", imprints, note="tall fit")
    page = pypdfium2.PdfDocument(tickets_pdf([piece], "o", "label"))[0]
    text = page.get_textpage().get_text_bounded()
    assert "more prints" in text
    assert "tall fit" in text


def test_what_is_short_of_what_came_in(order, tmp_path):
    piles = {each.pile: each.wanted for each in pull_list(order.pieces)}
    assert piles == {
        "long_sleeve · navy · S": 5,
        "long_sleeve · navy · M": 10,
        "long_sleeve · navy · L": 10,
        "long_sleeve · navy · XL": 4,
        "long_sleeve · navy · 2XL": 1,
    }
    (tmp_path / "came.csv").write_text(
        "Item,Colour,Size,Qty\nlong sleeve,navy,S,5\nlong sleeve,navy,M,7\nlong sleeve,navy,M,1\n"
        "long sleeve,navy,L,12\nlong sleeve,navy,XL,4\n"
    )
    found = pull_list(order.pieces, counted_in(tmp_path / "came.csv"))
    assert [each.short for each in found] == [0, 2, 0, 0, 1]


def test_a_count_that_cannot_be_read_is_told(tmp_path):
    path = tmp_path / "came.csv"
    path.write_text("Item,Size,Qty\nlong sleeve,S,some\nlong sleve,S,1\n")
    with pytest.raises(SheetRefusal, match="has 2 things to correct"):
        counted_in(path)
    path.write_text("Item,Qty\nlong sleeve,1\n")
    with pytest.raises(Refusal, match="does not say the size"):
        counted_in(path)
