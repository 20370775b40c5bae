"""A press at work beside its queue: what goes up, what comes, and a queue that goes away."""

import threading
import time
from pathlib import Path

import pytest
import sqlalchemy as sa

from chalkbeam.orders.order_of_work import plan
from chalkbeam.presses import claims, link, taking_part
from chalkbeam.presses.address import read_address
from chalkbeam.presses.engine import Queue
from chalkbeam.presses.faults import Unreachable
from chalkbeam.presses.link import QueueLink
from chalkbeam.presses.tables import acts
from chalkbeam.presses.taking_part import Press, TakingPart
from chalkbeam.record.events import Step, new_id
from chalkbeam.record.progress import Progress
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from tests.support.random_orders import random_order
from tests.support.shared_order import enter


class AtWork:
    """A press whose window takes the queue's news when it is asked to."""

    def __init__(self, folder, address):
        self.store = Store(folder / "record.db")
        self.part = TakingPart(self.store, address, Press("left", "here"))
        run = self.part.begin(plan(random_order(1, 30)), "Regatta", Path("s.csv"), "d")
        self.run, self.told = self.part.take_up(run)
        self.session = open_session(self.store, self.run)
        self.news = []
        self.link = QueueLink(self.part, self.run, tray=6)
        self.link.notice(self.session.progress)
        self.link.listen(self.news.append)

    def press(self):
        self.session.step(Step.LAY)
        self.session.press()
        self.link.notice(self.session.progress)

    def take(self, found=lambda news: True, wait=10.0):
        """Take news until such as is looked for has come; return it."""
        until = time.monotonic() + wait
        while time.monotonic() < until:
            while self.news:
                each = self.news.pop(0)
                for claim in each.claimed:
                    self.session.claim(claim.id, claim.pieces)
                if each.lost:
                    self.session.give(each.lost)
                if each.elsewhere is not None:
                    self.session.progress.hear(each.elsewhere)
                self.link.notice(self.session.progress)
                if found(each):
                    return each
            time.sleep(0.01)
        raise AssertionError("no such news came")

    def close(self):
        self.link.close()
        self.part.close()
        self.store.close()


@pytest.fixture
def address(tmp_path, monkeypatch):
    monkeypatch.setattr(link, "ROUND", 0.02)
    monkeypatch.setattr(link, "AWAY", 0.02)
    return read_address(f"sqlite:///{tmp_path / 'queue.db'}")


@pytest.fixture
def left(tmp_path, address):
    press = AtWork(tmp_path, address)
    yield press
    press.close()


def in_queue(address, press):
    query = sa.select(acts.c.id).where(acts.c.press == press).order_by(acts.c.number)
    with Queue(address) as queue:
        return list(queue.transact(lambda c: c.execute(query).scalars()))


def test_a_tray_of_pieces_is_in_hand_and_what_is_pressed_goes_up(left, address):
    left.take(lambda news: news.claimed and len(left.session.progress.mine) >= 6)
    for _ in range(3):
        left.press()
    left.close()
    pressed = [e.id for e in left.session._log.history] + [left.session.progress.undoable.id]
    assert pressed[-1] in in_queue(address, left.part.id)
    assert len(in_queue(address, left.part.id)) == left.store.journal.last


def test_while_the_queue_is_away_the_press_goes_on_and_then_everything_goes_up_once(
    left, address, monkeypatch
):
    left.take(lambda news: news.claimed)
    with monkeypatch.context() as patched:

        def cut(self, act):
            raise Unreachable("The queue does not answer.")

        patched.setattr(Queue, "transact", cut)
        left.take(lambda news: news.away)
        for _ in range(2):
            left.press()
    left.take(lambda news: not news.away)
    left.close()
    ids = in_queue(address, left.part.id)
    assert len(ids) == len(set(ids)) == left.store.journal.last


def test_a_press_hears_that_its_pieces_were_taken_over_and_works_them_no_more(left, address):
    left.take(lambda news: news.claimed)
    with Queue(address) as queue:
        right = enter(queue, "right")
        doubts = queue.transact(lambda c: claims.in_doubt(c, left.part.id, left.run.id))
        said = {imprint: False for doubt in doubts for imprint in doubt.imprints}
        got = queue.transact(
            lambda c: claims.take_over(c, right, new_id(), left.run.id, left.part.id, said)
        )
    lost = left.take(lambda news: news.lost).lost
    assert set(lost) <= set(got.pieces)
    assert set(lost.values()) == {"right"}
    assert not left.session.progress.mine & set(lost)


def test_what_was_not_begun_is_given_back_and_what_was_is_taken_up_again(tmp_path, address):
    press = AtWork(tmp_path, address)
    press.take(lambda news: news.claimed and len(press.session.progress.mine) >= 6)
    press.press()
    mine = press.session.progress.mine
    press.link.close()
    given = press.part.give_back(press.run)
    assert given
    assert mine - set(given), "what was begun stays"
    again = Progress(press.run.stops, press.store.events(press.run))
    assert again.mine == mine - set(given)
    press.close()
    back = AtWork(tmp_path, address)
    assert mine - set(given) <= back.session.progress.mine
    back.close()


def test_an_order_gone_on_with_while_the_queue_is_away_needs_something_in_hand(
    tmp_path, address, monkeypatch
):
    press = AtWork(tmp_path, address)
    press.close()

    def away(address):
        raise Unreachable("The queue does not answer.")

    monkeypatch.setattr(taking_part, "Queue", away)
    with Store(tmp_path / "record.db") as store:
        part = TakingPart(store, address, Press("left", "here"))
        run, told = part.take_up(part.source().latest("d").id)
        assert told == ("The queue does not answer.",)
        assert Progress(run.stops, store.events(run)).stop is not None
    with Store(tmp_path / "other.db") as store:
        part = TakingPart(store, address, Press("right", "here"))
        assert part.source().latest("d") is None
        with pytest.raises(Unreachable):
            part.take_up(press.run.id)


def test_a_press_that_leaves_waits_for_the_thread_that_is_still_asking(tmp_path, monkeypatch):
    """Both ask the same queue: one that closes it must not take it from under the other."""
    address = read_address(f"sqlite:///{tmp_path / 'queue.db'}")
    with Store(tmp_path / "record.db") as store:
        part = TakingPart(store, address, Press("left", "here"))
        part.close()
        entered = taking_part.TakingPart._enter
        leaving = threading.Thread(target=part.close)

        def slow(part, connection):
            leaving.start()
            leaving.join(0.3)  # long enough to close it, where nothing keeps it from that
            return entered(part, connection)

        monkeypatch.setattr(taking_part.TakingPart, "_enter", slow)
        assert part.try_queue() is not None
        leaving.join()
        part.close()
