"""What people ask after a run, against an order that is counted and timed here by hand."""

from __future__ import annotations

import itertools
from datetime import datetime
from pathlib import Path

import pypdfium2
import pytest

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece, PressSettings
from chalkbeam.orders.settings import Degrees
from chalkbeam.paper import run_report_words as words
from chalkbeam.paper.run_report_pdf import MOST, report_pdf
from chalkbeam.record.account import account_of
from chalkbeam.record.events import Step
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.record.summary import summarise

COLD = PressSettings("280 F", "10 s", "medium", "cold", transfer="Soft 7")
HOT = PressSettings("305 F", "12 s", "firm", "hot")


def piece(row: int, style: str, size: str, colour: str, press: PressSettings, **more: str) -> Piece:
    art = Art(ArtKind.FILE, "crest.svg", Path("crest.svg"))
    prints = (Imprint(f"{row}-1/1", "left-chest", art, press=press),)
    whose = {"customer": "Quillmarsh Bakery", "order_number": "Q-7"} | more
    return Piece(f"{row}-1", row, 1, 1, style, size, colour, prints, **whose)


PIECES = [
    piece(2, "polo", "M", "navy", COLD, name="INÉS"),
    piece(3, "polo", "M", "navy", COLD),
    piece(4, "polo", "XL", "navy", COLD),
    piece(5, "crew_tee", "YM", "white", HOT),
    piece(6, "crew_tee", "YM", "white", HOT),
]


@pytest.fixture
def worked(tmp_path):
    """A run of `PIECES` as listed, the shop's clock turned by hand."""
    now = [50.0]
    wall = (f"2026-11-25T10:00:{second:02d}+00:00" for second in itertools.count())

    def after(seconds, act, *rest, **more):
        now[0] += seconds
        act(*rest, **more)

    with Store(tmp_path / "record.db") as store:
        order = plan(PIECES, as_listed=True)
        run = store.begin(order, title="Uniforms", sheet=Path("u.csv"), digest="0")
        session = open_session(
            store, run, operator="Kit", clock=lambda: now[0], wall=lambda: next(wall)
        )
        after(30, session.set_press)
        for load, lay, press in ((8, 6, 15), (12, 4, 17)):
            after(load, session.step, Step.LAY)
            after(lay, session.step, Step.PRESS)
            after(press, session.press)
        after(10, session.step, Step.LAY)
        after(2, session.pause)
        after(900, session.pause)  # tea
        after(5, session.spoil, "scorched", replaced=False, missing="garment")
        after(60, session.set_press)
        after(9, session.step, Step.LAY)
        after(3, session.step, Step.PRESS)
        after(20, session.press)
        yield store, run


def test_counts_settings_and_what_is_left(worked):
    store, run = worked
    account = account_of(run.stops, store.events(run))
    assert account.heading == "Quillmarsh Bakery · order Q-7"
    assert [
        (words.garment_words(each), words.sizes_words(each), each.finished, each.ordered)
        for each in account.styles
    ] == [
        ("polo · navy", ("M 2", "XL 0 of 1"), 2, 3),
        ("crew tee · white", ("YM 1 of 2",), 1, 2),
    ]
    assert [
        (words.setting_words(each, Degrees.CELSIUS), words.count_words(each))
        for each in account.settings
    ] == [
        # 280 °F is 137.8 °C and 305 °F 151.7 °C: (F - 32) / 1.8.
        ("Soft 7: 138 °C, medium · cold peel · 10 s", "2 imprints, set 1 time"),
        ("152 °C, firm · hot peel · 12 s", "1 imprint, set 1 time"),
    ]
    (spoiled,) = account.spoiled
    assert words.piece_words(spoiled.piece) == "4-1: polo, navy, XL"
    assert words.spoiled_words(spoiled) == "scorched; left out, no garment left"
    assert words.to_press_lines(account) == (("6-1: crew tee, white, YM", "left chest: crest"),)


def test_the_paper_begins_with_them_by_the_shop_s_clock(worked, monkeypatch):
    store, run = worked
    found = summarise(run, store.events(run))
    document = pypdfium2.PdfDocument(report_pdf(found))
    text = document[0].get_textpage().get_text_range()
    document.close()
    local = f"{datetime.fromisoformat(run.begun).astimezone():%Y-%m-%d %H:%M}"
    asked = ("Quillmarsh Bakery", local, "XL 0 of 1", "cold peel", "left out, no garment", "6-1:")
    measured = "setting the press"  # 30 s and 60 s: 45 s each, as a rule
    asked = (*asked, measured, "45 s each, as a rule", "Corrections over the run")
    places = [text.index(each) for each in asked]
    assert places == sorted(places)


def test_a_long_list_goes_on_over_the_page_and_is_cut(tmp_path):
    pieces = [piece(row, "polo", "M", "navy", COLD, name=f"N{row}") for row in range(2, 90)]
    with Store(tmp_path / "record.db") as store:
        run = store.begin(plan(pieces), title="Many", sheet=Path("m.csv"), digest="0")
        session = open_session(store, run)
        for _ in range(40):
            session.spoil("scorched", replaced=True)
        document = pypdfium2.PdfDocument(report_pdf(summarise(run, store.events(run))))
    text = "".join(each.get_textpage().get_text_range() for each in document)
    document.close()
    assert f"and {len(pieces) - MOST} more" in text
    assert f"and {40 - MOST} more" in text
    assert "N25" in text
