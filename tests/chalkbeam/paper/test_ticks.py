"""The tick sheet on paper, measured back."""

import json
from dataclasses import replace

import numpy as np
import pypdfium2
import pytest

from calibration.geometry import PlatenFace
from chalkbeam.lasers.aims import Stand, plan_aims
from chalkbeam.lasers.hung import TWO_LINES
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.paper.ticks import WorkedStop, legs_of
from chalkbeam.paper.ticks.set_ups import crossing_words
from chalkbeam.placement.platens import platen
from chalkbeam.station.ready_imprint import ImprintPreparer
from chalkbeam.station.tick_guide import lines_of, ready_stops
from chalkbeam.station.tick_view import rig_from_above
from tests.support.crew_order import crew
from tests.support.run_cli import run_program

DPI = 300
MM = DPI / 25.4


def written(capsys, monkeypatch, path, paper, *more):
    code, out, _ = run_program(
        capsys, monkeypatch, "ticks", "--style", "crew-tee", "--sizes", "S-L",
        "--location", "left-chest", "--location", "full-back", "--platen", "16x20in",
        "--paper", paper, "--out", path, "--json", *more,
    )  # fmt: skip
    assert code == 0
    return json.loads(out), pypdfium2.PdfDocument(path.read_bytes())


def dark(document, number):
    """Return where a page is dark; the ruler is pypdfium2, which knows nothing of its making."""
    picture = document[number].render(scale=DPI / 72).to_pil().convert("L")
    return np.asarray(picture) < 225


def longest(row):
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    return max(np.diff(edges)[::2], default=0)


@pytest.mark.parametrize("paper", ["letter", pytest.param("a4", marks=pytest.mark.proof)])
def test_bar_and_strips_are_at_true_scale(capsys, monkeypatch, tmp_path, paper):
    told, document = written(capsys, monkeypatch, tmp_path / "t.pdf", paper)
    page = dark(document, 0)
    foot = page[-round(30 * MM) :]
    assert max(map(longest, foot)) / MM == pytest.approx(100.0, abs=2 / MM)

    # Parts of the near edge without ticks are not printed; the first strip with some is the
    # right half of it, from the platen's middle to its corner 203.2 mm further.
    wanted = sorted(tick["edges"]["near"] for tick in told["ticks"] if "near" in tick["edges"])
    text = document[0].get_textpage().get_text_range()
    assert "NEAR EDGE" in text
    assert "100 mm" in text
    row = page[rows_of_strips(page)[1] + round(7.3 * MM)]  # below the scale, above the labels
    at = centres(row) / MM
    left, right = at[0], at[-1]  # the strip's own cut lines
    assert right - left == pytest.approx(203.2, abs=0.1)
    inside = [place for place in at[1:-1] - left if place > 1]
    assert inside == pytest.approx([x for x in wanted if x > 1], abs=0.1)


def rows_of_strips(page):
    """Return the rows at which strips begin: long thin lines, two of them 24 mm apart."""
    lines = [k for k in range(len(page)) if page[k].sum() > 180 * MM]
    firsts = [k for k in lines if k - 1 not in lines]
    return [k for k in firsts if any(abs(j - k - 24 * MM) < 3 for j in firsts)]


def centres(row):
    """Return the middles of the dark runs of a row, px."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    return (edges[::2] + edges[1::2] - 1) / 2


@pytest.mark.proof
def test_the_same_order_gives_the_same_bytes(capsys, monkeypatch, tmp_path):
    for name in ("a.pdf", "b.pdf"):
        written(capsys, monkeypatch, tmp_path / name, "a4")
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_every_set_up_has_a_picture_and_every_page_the_sheet_s_number(
    capsys, monkeypatch, tmp_path
):
    told, document = written(capsys, monkeypatch, tmp_path / "t.pdf", "letter")
    pages = [page.get_textpage().get_text_range() for page in document]
    assert all(f"tick sheet {told['sheet']}" in page for page in pages)
    whole = " ".join(pages)
    for label in (tick["label"] for tick in told["ticks"]):
        assert whole.count(label) >= 3  # two ticks, and a picture
    assert "class 2" in whole
    assert "Tilt of A, B unknown" in " ".join(whole.split())


def test_stops_share_a_picture_only_if_the_garment_lies_alike(tmp_path):
    stops = plan(crew(tmp_path)[:1], choose=fit_on_press).stops * 3
    ready = ready_stops(stops, ImprintPreparer([rig_from_above(platen("16x20in"))]))
    aims = plan_aims([lines_of(each) for each in ready], TWO_LINES)
    alike = [
        WorkedStop(stop, each.choice, set_up)
        for stop, each, set_up in zip(stops, ready, aims.set_ups, strict=True)
    ]
    assert [leg.number for leg in legs_of(alike)] == [1]
    further = replace(alike[1].choice.loading, overhang=alike[1].choice.loading.overhang + 5)
    alike[1] = replace(alike[1], choice=replace(alike[1].choice, loading=further))
    assert [leg.number for leg in legs_of(alike)] == [1, 2, 1]


@pytest.mark.parametrize(
    ("degrees", "offset", "words"),
    [
        (90, 87.36, "near and far edge 87.4 mm right of the middle"),
        (0, -20.0, "left and right edge 20.0 mm nearer than the middle"),
        (90, 0.0, "near and far edge in the middle"),
        # Rising 15 degrees to the right through the middle: 200 tan 15 = 53.6.
        (15, 0.0, "left edge 53.6 mm nearer than the middle, right edge 53.6 mm beyond the middle"),
    ],
)
def test_where_a_line_crosses_is_written_out(degrees, offset, words):
    stand = Stand(TWO_LINES[0], 1, np.radians(degrees), offset)
    assert crossing_words(stand, PlatenFace(400.0, 500.0)) == words
