"""Reports on the page: the same figures, PDF and CSV as the command line's."""

from __future__ import annotations

import csv
import io

import pypdfium2
import pytest

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece
from chalkbeam.placement.shift import Shift
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store


@pytest.fixture
def run(workshop):
    """A run of twelve pieces, one of them spoiled and one skipped; its id."""
    pieces = [
        Piece(f"{row}-1", row, 1, 1, "crew_tee", "M", "navy",
              (Imprint(f"{row}-1/1", "left-chest", Art(ArtKind.NAME, "=INÉS")),))
        for row in range(2, 14)
    ]  # fmt: skip
    with Store(workshop.record) as store:
        run = store.begin(plan(pieces), title="Regatta", sheet=workshop.data / "a.csv", digest="0")
        session = open_session(store, run)
        session.spoil("transfer <slipped>", replaced=True)
        session.skip("later")
        while session.progress.stop is not None:
            session.nudge(Shift(1.0, 0.0, 0.0))
            session.press()
    return run.id


def test_a_report_has_the_figures_of_the_record(ask, run):
    assert f'href="/reports/{run[:12]}"' in ask("/reports").text
    page = ask(f"/reports/{run[:12]}").text
    assert "<dd>11 of 12</dd>" in page
    assert "transfer &lt;slipped&gt;" in page
    assert "<dt>spoiled, 1 replaced</dt><dd>1</dd>" in page


def test_it_comes_as_pdf_and_csv(ask, run):
    report = ask(f"/reports/{run[:12]}/report.pdf?paper=letter")
    assert report.headers["content-disposition"].startswith("attachment")
    document = pypdfium2.PdfDocument(report.body)
    assert document[0].get_size() == (612.0, 792.0)  # letter, 8 1/2 x 11 in of 72 pt
    assert "Regatta" in document[0].get_textpage().get_text_range()
    rows = list(csv.DictReader(io.StringIO(ask(f"/reports/{run[:12]}/presses.csv").text)))
    assert [each["result"] for each in rows].count("pressed") == 11


@pytest.mark.parametrize("chart", ["spoiled", "times", "right", "away"])
def test_its_charts_are_pictures_that_load_nothing(ask, run, chart):
    answer = ask(f"/reports/{run[:12]}/{chart}.svg")
    assert answer.headers["content-type"] == "image/svg+xml"
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert "<svg" in answer.text
    assert "<script" not in answer.text


@pytest.mark.parametrize("name", ["0" * 12, "%25", "_", "x" * 500])
def test_no_other_run_is_shown(ask, run, name):
    assert ask(f"/reports/{name}").status == 400


def test_without_a_record_none_is_made(ask, workshop):
    assert ask("/reports").status == 200
    assert ask("/reports/0").status == 400
    assert not workshop.record.exists()


def test_measuring_takes_as_long_as_the_shop_says(ask, run):
    assert ask(f"/reports/{run[:12]}?measure=90").status == 200
    assert ask(f"/reports/{run[:12]}?measure=nan").status == 400
    assert ask(f"/reports/{run[:12]}?measure=-1").status == 400
