import io
import json

import cv2
import numpy as np
import pypdfium2
import pytest
from PIL import Image

from calibration.geometry import PlatenFace
from calibration.targets.card_pdf import BAR, PAPERS, layout_record, pdf, png, png_name
from calibration.targets.cards import draw, layout

FACE = PlatenFace(406.4, 508.0)
MM = 72 / 25.4  # points
DPI = 300


def rendered(document, number, dpi=DPI):
    page = document[number]
    return np.asarray(page.render(scale=dpi / 72).to_pil().convert("L"))


@pytest.mark.parametrize(
    ("paper", "width", "height"),
    [
        ("a4", 210.0, 297.0),  # ISO 216
        ("letter", 215.9, 279.4),  # ANSI/ASME Y14.1, 8.5 x 11 in
    ],
)
def test_pages_have_the_standard_s_size(paper, width, height):
    document = pypdfium2.PdfDocument(pdf(layout(FACE), FACE, paper))
    for page in document:
        assert page.get_mediabox() == pytest.approx((0, 0, width * MM, height * MM), abs=0.01)


@pytest.mark.parametrize(
    "face", [FACE, PlatenFace(229, 305), PlatenFace(127, 127), PlatenFace(640, 900)]
)
@pytest.mark.parametrize("paper", list(PAPERS))
def test_the_bar_on_every_page_is_100_mm(face, paper):
    # Ruler: pypdfium2's rendering, which knows nothing of how the page was made.
    document = pypdfium2.PdfDocument(pdf(layout(face), face, paper))
    for number in range(len(document)):
        page = rendered(document, number)
        height = PAPERS[paper][1]
        # The bar is the longest unbroken dark run in the foot of the page.
        foot = page[round((height - 30) / 25.4 * DPI) :] < 128
        runs = [
            np.diff(np.flatnonzero(np.diff(np.concatenate([[0], row, [0]])))).max()
            for row in foot.astype(int)
            if row.any()
        ]
        assert max(runs) / DPI * 25.4 == pytest.approx(BAR, abs=2 * 25.4 / DPI)
        assert "100 mm" in document[number].get_textpage().get_text_range()


def test_a_printed_card_is_the_drawn_card_at_true_size():
    card = layout(FACE)[0]
    page = rendered(pypdfium2.PdfDocument(pdf(layout(FACE), FACE)), 0)
    expected = draw(card, DPI / 25.4)
    # Look for the drawn card on the printed page: its best place leaves hardly a difference.
    side = len(expected)
    inner = slice(side // 20, -side // 20)  # without cut lines and lettering on the margin
    template = expected[inner, inner].astype(np.float32)
    score = cv2.matchTemplate(page.astype(np.float32), template, cv2.TM_CCOEFF_NORMED)
    assert score.max() > 0.97  # the figure is set in another typeface
    for stretched in (0.99, 1.01):
        other = cv2.resize(template, None, fx=stretched, fy=stretched)
        worse = cv2.matchTemplate(page.astype(np.float32), other, cv2.TM_CCOEFF_NORMED)
        assert worse.max() < score.max() - 0.02


def test_the_same_input_gives_the_same_bytes():
    assert pdf(layout(FACE), FACE) == pdf(layout(FACE), FACE)


def test_every_card_is_on_the_sheets_once_and_says_where_it_goes():
    for face in (FACE, PlatenFace(229, 305), PlatenFace(127, 127)):
        document = pypdfium2.PdfDocument(pdf(layout(face), face))
        text = " ".join(page.get_textpage().get_text_range() for page in document)
        for number, place in enumerate(
            ("front left", "front right", "back left", "back right"), start=1
        ):
            assert text.count(f"card {number} · {place}") == 1
        assert "100 %" in text
        assert "Heat off" in text


def test_pictures_and_their_record_agree():
    cards = layout(FACE)
    record = json.loads(json.dumps(layout_record(cards, FACE)))
    assert record["platen_mm"] == [406.4, 508.0]
    for card, entry in zip(cards, record["cards"], strict=True):
        assert entry["png"] == png_name(card)
        assert np.allclose(entry["corners_mm"], card.outline())
        picture = Image.open(io.BytesIO(png(card, 150)))
        assert picture.size == (round(card.size / 25.4 * 150),) * 2
        assert picture.info["dpi"] == pytest.approx((150, 150), abs=0.1)
    # Front left: upright, so its top left is up and to the left in the platen frame.
    (left, top), _, (right, bottom), _ = record["cards"][0]["corners_mm"]
    assert (left, bottom) == pytest.approx((-203.2, -254.0))
    assert right > left
    assert top > bottom
