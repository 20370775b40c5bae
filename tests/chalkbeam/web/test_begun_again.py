"""An order begun once more: the page has a button for each thing that may become of its run."""

from __future__ import annotations

import re
from multiprocessing import Pipe

import pytest

from chalkbeam.cli import run_for_page
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.web.doors import Right
from chalkbeam.web.orders.folders import About, make_order
from chalkbeam.web.orders.table import OrderTable
from chalkbeam.web.press.link import HowBegun
from tests.chalkbeam.web.test_orders import crest

ROW = ["Crew tee", "M", "navy", "2", "left chest", "crest.png", "89 mm", "", "", "", ""]


@pytest.fixture
def order(workshop):
    """An order of two tees."""
    made = make_order(workshop.orders, About(title="Regatta"), OrderTable(rows=(tuple(ROW),)))
    made.add_artwork("crest.png", crest())
    return made


@pytest.fixture
def work(workshop, order):
    """Press some of the order: `work(pressed=1, spoiled=1)`."""

    def done(pressed=0, spoiled=0):
        sheet = read_sheet(order.sheet)
        with Store(workshop.record) as store:
            planned = plan(sheet.pieces, None, fit_on_press)
            run = store.begin(planned, title="x", sheet=sheet.path, digest=sheet.digest)
            session = open_session(store, run)
            for _ in range(pressed):
                session.press()
            for _ in range(spoiled):
                session.spoil("scorched", replaced=False)

    return done


@pytest.fixture
def offered(ask, served, order):
    """Return what the order's page offers to begin: words by choice."""
    served.app.state.press._start = run_for_page.light_in_window

    def buttons():
        text = ask(f"/orders/{order.name}", right=Right.PRESS).text
        form = re.search(rf'action="/orders/{order.name}/press">(.*?)</form>', text, re.DOTALL)[1]
        found = re.findall(r"<button([^>]*)>([^<]*)</button>", form)
        return {"".join(re.findall(r'value="(\w+)"', given)): words for given, words in found}

    return buttons


def change(order):
    """Add three smaller tees."""
    order.save_table(order.taken().table.with_rows(1, [[ROW[0], "S", ROW[2], "3", *ROW[4:]]]))


def test_before_and_within_a_run_there_is_one_way_on(offered, work):
    assert offered() == {"": "Press this order"}
    work(pressed=1)
    assert offered() == {"": "Go on pressing"}


def test_a_run_whose_table_was_changed_asks(offered, work, order):
    work(pressed=1)
    change(order)
    found = offered()
    assert list(found) == ["changes", "as_recorded", "anew"]
    assert found["changes"] == "Go on with the changes"


def test_the_report_of_an_order_is_that_of_its_last_run(ask, work, order):
    at = f"/orders/{order.name}"
    assert ask(f"{at}/report").headers["location"] == f"{at}#press"
    work(pressed=2)
    report = ask(f"{at}/report").headers["location"]
    assert f'href="{report}"' in ask(at).text
    assert ask(report).status == 200


def test_a_finished_order_is_not_pressed_again_by_one_tap(offered, work):
    work(pressed=2)
    assert offered() == {"anew": "Yes, all of it on new garments"}


def test_what_was_spoiled_is_pressed_alone(offered, work):
    work(pressed=1, spoiled=1)
    assert offered()["spoiled"] == "Press only the spoiled and skipped: 1"


def test_what_was_added_to_a_finished_order_is_pressed_alone(offered, work, order):
    work(pressed=2)
    change(order)
    assert list(offered()) == ["changes", "anew"]


@pytest.mark.parametrize("choice", HowBegun)
def test_each_choice_is_that_of_the_command_line(order, ask, served, monkeypatch, choice):
    begun, asked = [], []
    served.app.state.press.start = lambda *what: begun.append(what)
    ask(f"/orders/{order.name}/press", form={"choice": choice.value}, right=Right.PRESS)
    assert begun == [(order.sheet, choice, order.name)]
    monkeypatch.setattr(run_for_page, "run_at_press", lambda options, beside: asked.append(options))
    here, there = Pipe()
    run_for_page.light_in_window(there, order.sheet, choice)
    assert here.recv() is None  # ended, and nothing was refused
    (options,) = asked
    flags = {
        HowBegun.AS_RECORDED: "as_recorded", HowBegun.CHANGES: "take_changes",
        HowBegun.SPOILED: "only_spoiled", HowBegun.ANEW: "new_run",
    }  # fmt: skip
    assert {name: getattr(options, name) for name in flags.values()} == {
        name: each is choice for each, name in flags.items()
    }
