"""The board of all presses on the page: what it shows, and that it is live."""

from __future__ import annotations

import http.client
import json
import time

import pytest
import sqlalchemy as sa

from chalkbeam.presses import acts, claims, conflicts, shared_runs
from chalkbeam.presses.acts import PressAct
from chalkbeam.presses.address import read_address
from chalkbeam.presses.claims import Wish
from chalkbeam.presses.engine import Queue
from chalkbeam.presses.places import settings_file
from chalkbeam.presses.tables import presses
from chalkbeam.record.events import new_id
from chalkbeam.web.doors import Right
from chalkbeam.web.security import COOKIE
from tests.support.shared_order import enter, share
from tests.support.until import PATIENCE


@pytest.fixture
def queue(tmp_path):
    """A shop's queue with an order of twelve pieces, and two presses at it."""
    there = settings_file()
    there.parent.mkdir(parents=True, exist_ok=True)
    there.write_text(f'record = "sqlite:///{tmp_path / "queue.db"}"\n')
    with Queue(read_address(f"sqlite:///{tmp_path / 'queue.db'}")) as opened:
        yield opened


@pytest.fixture
def at_work(queue):
    """Claim for a press, and return what acts at its pieces."""
    run, stops = share(queue, title="Regatta <2026>")
    left = enter(queue, "left")
    got = queue.transact(lambda c: claims.claim(c, left, new_id(), run, Wish()))
    imprint = next(stop.imprint.id for stop in stops if stop.piece.id == got.pieces[0])
    numbers = iter(range(1, 100))

    def call(kind, step=None):
        number = next(numbers)
        wall = "2026-11-27T08:00:00+00:00"
        done = PressAct(number, new_id(), run, kind, imprint, {}, {"step": step, "wall": wall})
        queue.transact(lambda c: acts.push(c, left, [done]))

    return call


def test_without_a_queue_there_is_none_in_the_menu_and_a_sentence(ask):
    assert 'href="/board"' not in ask("/").text
    assert "there is no queue to look at" in ask("/board").text


def test_it_shows_who_presses_what_and_how_far(ask, at_work):
    at_work("stepped", "press")
    assert 'href="/board"' in ask("/").text
    page = ask("/board").text
    assert "left" in page
    assert "Under the press" in page
    assert "Regatta &lt;2026&gt;" in page
    assert "Waits for a press" in page
    at_work("pressed")
    time.sleep(0.5)  # one look serves all who watch for that long
    page = ask("/board").text
    assert "1 of " in page
    assert "left 1" in page


def test_what_is_new_comes_by_itself(served, at_work):
    cookie = f"{COOKIE}={served.app.state.devices.add('looks', Right.SEE)}"
    line = http.client.HTTPConnection("127.0.0.1", served.settings.port, timeout=PATIENCE)
    line.request("GET", "/board/events", headers={"cookie": cookie})
    answer = line.getresponse()
    assert "Nothing yet" in json.loads(answer.readline().decode()[6:])
    answer.readline()
    at_work("stepped", "lay")
    assert "Laying" in json.loads(answer.readline().decode()[6:])
    line.close()


def test_a_person_settles_what_two_presses_say_differently(ask, queue, at_work):
    (run,) = queue.transact(shared_runs.headings)
    left = queue.transact(lambda c: c.execute(sa.select(presses.c.id)).scalar_one())
    right = enter(queue, "right")
    got = queue.transact(lambda c: claims.in_doubt(c, left, run.id))
    said = {imprint: False for each in got for imprint in each.imprints}
    queue.transact(lambda c: claims.take_over(c, right, new_id(), run.id, left, said))
    at_work("pressed")  # at a press that has it no more
    page = ask("/board").text
    assert "Two presses say different things" in page
    assert ask("/board/settle", form={"number": "1", "how": "waste"}).status == 303
    assert queue.transact(conflicts.open_conflicts) == ()
    assert "Two presses say different things" not in ask("/board").text
