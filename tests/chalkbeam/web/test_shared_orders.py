"""Orders of the page where the shop's presses share a queue: found, begun and taken over there."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from contextlib import contextmanager
from multiprocessing import Pipe
from pathlib import Path

import pytest
import sqlalchemy as sa

from calibration.rig.file import save
from chalkbeam.cli import run_for_page
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.presses import acts, claims, shared_runs
from chalkbeam.presses.acts import PressAct
from chalkbeam.presses.address import read_address
from chalkbeam.presses.beginning import add_run
from chalkbeam.presses.claims import Wish
from chalkbeam.presses.engine import Queue
from chalkbeam.presses.lots import lots_of
from chalkbeam.presses.places import settings_file
from chalkbeam.presses.tables import outcomes
from chalkbeam.record import snapshot
from chalkbeam.record.events import Event, Kind, new_id
from chalkbeam.record.runs import event_body
from chalkbeam.record.store import Store
from chalkbeam.web.doors import Right
from chalkbeam.web.orders.folders import About, make_order
from chalkbeam.web.orders.table import OrderTable
from chalkbeam.web.press.link import FromOther, HowBegun
from chalkbeam.web.setup import trial
from chalkbeam.web.workshop import Workshop
from tests.chalkbeam.web.test_orders import crest
from tests.support.browser import SIZES, serious
from tests.support.rigs import demo_rig
from tests.support.shared_order import a_heading, enter, share

ROW = ("Crew tee", "M", "navy", "3", "left chest", "crest.png", "89 mm", "", "", "", "")


@pytest.fixture
def address(tmp_path):
    """A queue that the shop's settings name."""
    there = settings_file()
    there.parent.mkdir(parents=True, exist_ok=True)
    text = f"sqlite:///{tmp_path / 'queue.db'}"
    there.write_text(f'record = "{text}"\n')
    (there.with_name("press.toml")).write_text('press = "right"\n')
    return read_address(text)


@pytest.fixture
def queue(address):
    with Queue(address) as opened:
        yield opened


@pytest.fixture
def order(workshop):
    """An order of three tees on this page."""
    made = make_order(workshop.orders, About(title="Regatta"), OrderTable(rows=(ROW,)))
    made.add_artwork("crest.png", crest())
    return made


@pytest.fixture
def begun(served):
    """What was begun at the press from the page."""
    found = []
    served.app.state.press._start = run_for_page.light_in_window
    served.app.state.press.start = lambda *what, **more: found.append((*what, more))
    return found


def shared(queue, sheet, digest=None, place=None):
    """Put the order of a sheet into the queue, as another press does; return its run's id."""
    read = read_sheet(sheet)
    stops = plan(read.pieces, None, fit_on_press).stops
    heading = a_heading(
        title="Regatta", sheet=str(place or read.path), digest=digest or read.digest,
        work=snapshot.dump(stops, 0.0, 0.0),
    )  # fmt: skip
    return queue.transact(lambda c: add_run(c, heading, lots_of(stops)))


def pressed_at(queue, press, run, count=1):
    """Claim at a press, and press some."""
    got = queue.transact(lambda c: claims.claim(c, press, new_id(), run, Wish()))
    done = []
    for number, piece in enumerate(got.pieces[:count], start=1):
        event = Event(new_id(), Kind.PRESSED, f"{piece}/1", wall="2026-11-27T08:00:00+00:00")
        body = event_body(event)
        done.append(PressAct(number, event.id, run, "pressed", event.imprint, {}, body))
    queue.transact(lambda c: acts.push(c, press, done))


def test_an_order_that_another_press_works_shows_how_far_all_presses_are(ask, queue, order):
    run = shared(queue, order.sheet)
    pressed_at(queue, enter(queue, "left"), run, count=2)
    assert "2 of 3" in ask("/orders").text
    page = ask(f"/orders/{order.name}", right=Right.PRESS).text
    assert "2 of 3" in page
    assert run[:12] in page  # its report is the queue's
    assert "2 of 3" in ask(f"/reports/{run[:12]}").text
    assert "Regatta" in ask("/reports").text


def test_an_order_of_another_machine_is_pressed_here_by_a_tap(ask, queue, begun):
    run, _ = share(queue, title="From the office")
    page = ask("/orders", right=Right.PRESS).text
    assert f'action="/board/{run}/press"' in page
    assert f'action="/board/{run}/press"' in ask("/board", right=Right.PRESS).text
    assert f'action="/board/{run}/press"' not in ask("/orders", right=Right.SEE).text
    assert ask(f"/board/{run}/press", form={}, right=Right.PRESS).status == 303
    assert begun == [(Path(run), {"over": None})]


def test_taking_over_asks_of_every_imprint_whether_it_was_pressed(ask, queue, begun):
    run, stops = share(queue, count=3)
    left = enter(queue, "left")
    got = queue.transact(lambda c: claims.claim(c, left, new_id(), run, Wish()))
    imprints = [each.imprint.id for each in stops if each.piece.id in got.pieces]
    link = f"/board/{run}/over?press=left"
    assert link in ask("/board", right=Right.PRESS).text
    page = ask(link, right=Right.PRESS).text
    assert re.findall(r'name="i-(.*?)" value="no" required', page) == imprints
    answers = {f"i-{imprint}": "no" for imprint in imprints}
    some = dict(list(answers.items())[1:])
    answer = ask(f"/board/{run}/over", form={"press": "left"} | some, right=Right.PRESS)
    assert "Say of every imprint" in answer.text
    assert begun == []
    answers[f"i-{imprints[0]}"] = "yes"
    ask(f"/board/{run}/over", form={"press": "left"} | answers, right=Right.PRESS)
    assert begun == [(Path(run), {"over": FromOther("left", (imprints[0],))})]
    assert "nothing of this order in hand" in ask(f"/board/{run}/over?press=nobody").text


def test_the_same_table_at_another_press_is_asked_about(ask, queue, order, begun, tmp_path):
    run = shared(queue, order.sheet, place=tmp_path / "office" / "tees.csv")
    press = f"/orders/{order.name}/press"
    page = ask(f"/orders/{order.name}", right=Right.PRESS).text
    assert "Is it this one?" in page
    assert f'formaction="/board/{run}/press"' in page
    assert "say whether it is this one" in ask(press, form={}, right=Right.PRESS).text
    assert begun == []
    ask(press, form={"choice": "anew"}, right=Right.PRESS)
    assert begun == [(order.sheet, HowBegun.ANEW, order.name, {})]


def test_a_copy_made_here_is_known_to_be_another_order(ask, queue, order, workshop):
    shared(queue, order.sheet)
    ask(f"/orders/{order.name}/again", form={"title": "Once more"})
    (copy,) = workshop.orders.glob("once-more-*")  # marked: other machines may have the title
    page = ask(f"/orders/{copy.name}", right=Right.PRESS).text
    assert "Is it this one?" not in page


def test_while_the_queue_is_away_this_press_s_own_record_is_shown(
    ask, address, order, monkeypatch, served
):
    with Queue(address) as queue:
        run = shared(queue, order.sheet)
        assert "0 of 3" in ask("/orders").text
    from chalkbeam.presses.faults import Unreachable

    def away(*_):
        raise Unreachable("The queue does not answer (unplugged): check the network.")

    monkeypatch.setattr(served.app.state.queue, "_open", away)
    page = ask("/orders").text
    assert "does not answer" in page
    assert run[:12] not in page


# -- the light's side ------------------------------------------------------------------------


@pytest.fixture
def asked(monkeypatch):
    """What the light is asked for."""
    found = []
    monkeypatch.setattr(run_for_page, "run_at_press", lambda options, beside: found.append(options))

    def call(sheet, choice=HowBegun.USUAL, over=None):
        _, there = Pipe()
        run_for_page.light_in_window(there, sheet, choice, over)
        return found.pop()

    return call


def test_an_order_of_the_page_goes_into_the_shop_s_queue_and_a_trial_piece_does_not(asked, order):
    assert asked(order.sheet).record is None  # the shop's own: its settings name the queue
    shop = Workshop.of_user()
    sheet = trial.written(trial.place(shop.data))
    assert asked(sheet).record == str(shop.record)


def test_a_run_of_the_queue_is_begun_by_its_number_with_what_is_taken_over(asked):
    options = asked(Path("0123abcd"), over=FromOther("left", ("2-1/1", "2-2/1")))
    assert (options.sheet, options.take_over, options.pressed) == (
        Path("0123abcd"), "left", "2-1/1 2-2/1",
    )  # fmt: skip
    assert asked(Path("0123abcd"), over=FromOther("left", ())).pressed == "none"


# -- in the browser --------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing_serious_where_an_order_is_taken_up_or_over(
    let_in, queue, begun, order, size
):
    run = shared(queue, order.sheet, place="/office/tees/tees.csv")
    left = enter(queue, "left")
    queue.transact(lambda c: claims.claim(c, left, new_id(), run, Wish()))
    page = let_in(Right.SET_UP, size=SIZES[size], scheme="dark" if size == "phone" else "light")
    for path in ("/board", f"/board/{run}/over?press=left", "/orders", f"/orders/{order.name}"):
        page.goto(path)
        assert serious(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0]


@contextmanager
def page_of(folder, name, address):
    """`chalkbeam page` of a machine of its own; gives where its browser is let in."""
    data = folder / name / "chalkbeam"
    (data / "rigs").mkdir(parents=True)
    save(demo_rig(), data / "rigs" / "bench.json")
    (data / "shop.toml").write_text(f'record = "{address}"\nunits = "mm"\n')
    (data / "press.toml").write_text(f'press = "{name}"\n')
    process = subprocess.Popen(
        [sys.executable, "-m", "chalkbeam", "page", "--port", "0", "--no-browser"],
        env=os.environ | {"XDG_DATA_HOME": str(folder / name), "SDL_VIDEODRIVER": "dummy"},
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    try:
        yield next(found[0] for line in process.stdout if (found := re.search(r"http\S+", line)))
    finally:
        process.terminate()
        process.wait()
        process.stdout.close()


@pytest.mark.proof
def test_two_pages_press_one_order_and_one_takes_over(tmp_path, chromium_browser):
    from playwright.sync_api import expect

    text = f"sqlite:///{tmp_path / 'queue.db'}"
    with page_of(tmp_path, "left", text) as one, page_of(tmp_path, "right", text) as two:
        left, right = chromium_browser.new_page(), chromium_browser.new_page()
        for page, where in ((left, one), (right, two)):
            page.set_default_timeout(180_000)
            page.goto(where)
            page.get_by_role("link", name=re.compile("All presses")).wait_for()
        root_left, root_right = one.split("/pair")[0], two.split("/pair")[0]
        orders = tmp_path / "left" / "chalkbeam" / "orders"
        made = make_order(orders, About(title="Tees"), OrderTable(rows=(ROW,)))
        made.add_artwork("crest.png", crest())
        left.goto(f"{root_left}/orders/{made.name}")
        left.get_by_role("button", name="Press this order").click()
        on = left.locator("[data-name=on]")
        for step in ("load", "lay", "press"):
            expect(left.locator(".steps .now")).to_have_text(step, timeout=180_000)
            left.wait_for_timeout(200)  # sooner it would be a pedal's bounce
            on.click()
        expect(left.locator(".progress")).to_contain_text("1 of 3", timeout=60_000)
        right.goto(f"{root_right}/board")
        right.get_by_role("link", name="Take over from left: 2").click()
        for each in right.locator("input[value=no]").all():
            each.check()
        right.get_by_role("button", name="Take over, and press here").click()
        expect(right.locator(".said")).to_contain_text("Taken over from left", timeout=180_000)
        expect(left.locator(".said")).to_contain_text("right's by now", timeout=60_000)
        on = right.locator("[data-name=on]")
        for _ in range(2):
            for step in ("load", "lay", "press"):
                expect(right.locator(".steps .now")).to_have_text(step, timeout=60_000)
                right.wait_for_timeout(200)
                on.click()
        expect(right.get_by_role("heading", name="Nothing more in hand here")).to_be_visible(
            timeout=60_000
        )
        left.goto(f"{root_left}/board")
        expect(left.get_by_text("3 of 3 pressed")).to_be_visible(timeout=60_000)
        left.goto(f"{root_left}/orders/{made.name}")
        expect(left.locator("#press")).to_contain_text("3 of 3")
        left.close()
        right.close()
    with Queue(read_address(text)) as queue:
        (run,) = queue.transact(shared_runs.headings)
        count = sa.select(outcomes.c.press, sa.func.count()).group_by(outcomes.c.press)
        counts = sorted(n for _, n in queue.transact(lambda c: c.execute(count).all()))
    assert counts == [1, 2]
    assert run.title == "Tees"
    own = tmp_path / "left" / "chalkbeam" / "record.db"
    if own.exists():  # nothing of it went into the machine's own record
        with Store(own) as store:
            assert store.runs() == []
