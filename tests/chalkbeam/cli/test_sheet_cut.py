"""`chalkbeam sheet cut`: which piece gets which transfer of which sheet, on paper and as CSV."""

import csv
import io

import pypdfium2
import pytest
from PIL import Image, ImageDraw
from typer.testing import CliRunner

from chalkbeam.cli.app import app

ORDER = """Style,Size,Colour,Quantity,Location,Artwork,Pick,Sheet width
Crew tee,M,navy,2,left chest,gang.png,1,11 in
Crew tee,L,black,1,left chest,gang.png,2,11 in
"""


def chalkbeam(*words):
    return CliRunner().invoke(app, [str(word) for word in words], env={"COLUMNS": "160"})


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    gang = Image.new("RGBA", (550, 200), (0, 0, 0, 0))
    draw = ImageDraw.Draw(gang)
    for left in (20, 200, 380):
        draw.ellipse((left, 20, left + 130, 180), fill=(40, 60, 160, 255))
    gang.save("gang.png")
    (tmp_path / "order.csv").write_text(ORDER)
    return tmp_path


def test_a_ganged_file_is_drawn_with_the_code_of_each_piece_on_it(shop):
    said = chalkbeam("sheet", "cut", "order.csv", "--csv", "cut.csv")
    assert said.exit_code == 0
    assert said.stdout.splitlines() == [
        "cut-list.pdf: 2 to cut, in the order of work.", "Spare: 1 of gang no. 2.",
    ]  # fmt: skip
    rows = list(csv.DictReader(io.StringIO((shop / "cut.csv").read_text("utf-8-sig"))))
    assert [(row["copy"], row["number"], row["piece"] or row["location"]) for row in rows] == [
        ("1", "1", "2-1"), ("1", "2", "3-1"), ("2", "1", "2-2"), ("2", "2", "spare"),
    ]  # fmt: skip
    page = pypdfium2.PdfDocument("cut-list.pdf")[0]
    text = page.get_textpage()
    words = text.get_text_bounded()
    assert words.count("2-1") == 2  # on the picture, and in its row
    found = text.search("2-1")
    left, bottom, *_ = text.get_charbox(found.get_next()[0])
    drawn = page.render(scale=2).to_numpy()
    # Its code stands on the first of three ovals: their pale ink is round about it.
    x, y = round(2 * left), round(2 * (page.get_height() - bottom))
    assert (drawn[y - 40 : y + 40, x - 30].min(axis=1) < 240).any()


def test_what_was_printed_is_compared_with_the_order(shop):
    (shop / "printed.csv").write_text("Sheet,Artwork,Pick,Sheets\nA,gang.png,1,1\nA,gang.png,2,1\n")
    said = chalkbeam("sheet", "cut", "order.csv", "--printed", "printed.csv")
    assert said.exit_code == 1
    assert "Short: 1 of gang no. 1." in said.stdout
    said = chalkbeam("sheet", "check", "order.csv", "--printed", "printed.csv")
    assert said.exit_code == 1
    assert "Short: 1 of gang no. 1." in said.stdout
