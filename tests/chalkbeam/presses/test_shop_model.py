"""Presses with their records, their links and one queue, against the garments themselves.

The model is what lies in the shop: which prints are on which garment, and what each press's
operator saw. It shares nothing with the code under test. Presses work with steps under the head
and second heat, spoil, skip, take back and move; they crash with or without their database, their
lines are cut before or after any question; people take over and take an edited order's changes
in; in the end the order comes again. No print may be on a garment twice but where a person is
told of it, and what the queue says of every garment must be what is on it.
"""

from __future__ import annotations

from collections import Counter
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
import sqlalchemy as sa
from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test

from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import piece_of
from chalkbeam.placement.shift import Shift
from chalkbeam.presses import conflicts, shared_runs
from chalkbeam.presses.address import read_address
from chalkbeam.presses.beginning import Start
from chalkbeam.presses.engine import Queue
from chalkbeam.presses.faults import Unreachable
from chalkbeam.presses.link import QueueLink
from chalkbeam.presses.places import press_id
from chalkbeam.presses.tables import holds, outcomes
from chalkbeam.presses.taking_part import Press, TakingPart
from chalkbeam.record.events import UNDER_HEAD, Kind, Step
from chalkbeam.record.reorder import brought, earlier_placements
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.record.taken_over import take_over
from chalkbeam.station.words import unpeeled_pieces
from tests.support.random_orders import random_order

WHICH = st.sampled_from(range(3))
CUTS = st.one_of(st.none(), st.tuples(st.integers(1, 8), st.booleans()))
"""No cut, or at which question to the queue, and whether the answer alone is lost."""


class _AtPress:
    """A press: its files, and what its program holds while it runs."""

    def __init__(self, folder: Path, name: str, address) -> None:
        self.file, self.name, self.address = folder / "record.db", name, address
        self.begin()

    def begin(self) -> None:
        self.store = Store(self.file, press=press_id(self.file))
        self.part = TakingPart(self.store, self.address, Press(self.name, self.name))
        self.session = self.link = None
        self.news = []

    def open(self, run: str) -> None:
        """Take up an order, as the program does when it is begun."""
        found, _ = self.part.take_up(run)
        self.session = open_session(self.store, found)
        self.session.progress.hear(self.part.heard(run))
        self.link = QueueLink(self.part, found, tray=3)
        self.link._post = self.news.append
        self.link.notice(self.session.progress)

    def end(self, whole: bool) -> None:
        """Let the program die; its journal stays, its database only where it is `whole`."""
        self.part.close()
        self.store.close()
        if not whole:
            for ending in ("", "-wal", "-shm"):
                Path(f"{self.file}{ending}").unlink(missing_ok=True)

    def take_news(self) -> None:
        """Put the queue's news on record, as the window does."""
        for each in self.news:
            mine = self.session.progress.mine or frozenset()
            for claim in each.claimed:
                new = [piece for piece in claim.pieces if piece not in mine]
                if new:
                    self.session.claim(claim.id, new)
            lost = [piece for piece in each.lost if piece in mine]
            if lost:
                self.session.give(lost)
            if each.elsewhere is not None and self.session.progress.at.step is Step.LOAD:
                self.session.progress.hear(each.elsewhere)
        self.news.clear()
        self.link.notice(self.session.progress)


class ShopFloor(RuleBasedStateMachine):
    server = None

    @initialize(seed=st.integers(0, 40))
    def begin(self, seed):
        self.room = TemporaryDirectory()
        folder = Path(self.room.name)
        address = self.server() if self.server else read_address(f"sqlite:///{folder / 'q.db'}")
        self.queue = Queue(address)
        self.pieces = random_order(seed, 6, most=2)
        self.presses = []
        for number in range(3):
            (folder / str(number)).mkdir()
            self.presses.append(_AtPress(folder / str(number), f"press {number}", address))
        first = self.presses[0].part
        self.edits = 0
        self.run = first.begin(plan(self.pieces), "Regatta", Path("o.csv"), "0")
        for each in self.presses:
            each.open(self.run)
        self.on = Counter()  # the garments: (piece, garment, imprint) -> how often it is on it
        self.fresh = Counter()  # piece -> which garment it is by now
        self.moved = {}  # imprint -> how far it was moved when it was pressed
        self.doubtful = set()  # pieces that a press went on with that another had taken over

    def teardown(self):
        if hasattr(self, "room"):
            try:
                self.finish()
                self.comes_again()
            finally:
                for each in self.presses:
                    each.end(whole=True)
                self.queue.close()
                self.room.cleanup()

    @contextmanager
    def line(self, cut):
        """Let the line to the queue break at a question, before or after it is kept."""
        whole, count = Queue.transact, [0]

        def transact(queue, act):
            count[0] += 1
            if cut is None or queue is self.queue or count[0] < cut[0]:
                return whole(queue, act)
            if count[0] == cut[0] and cut[1]:
                whole(queue, act)
            raise Unreachable("The line is cut.")

        Queue.transact = transact
        try:
            yield
        finally:
            Queue.transact = whole

    def holder(self, piece):
        query = sa.select(holds.c.press).where(holds.c.run == self.run, holds.c.piece == piece)
        return self.queue.transact(lambda c: c.execute(query).scalar())

    def touched(self, press, piece):
        if press.session.run.id != self.run or self.holder(piece) != press.part.id:
            self.doubtful.add(piece)

    @rule(which=WHICH, cut=CUTS)
    def looks_at_the_queue(self, which, cut):
        press = self.presses[which]
        with self.line(cut):
            try:
                press.link._round(False)
            except Refusal:
                press.part.close()
        press.take_news()

    @rule(which=WHICH, how=st.sampled_from("pppp2nxsuj"))
    def works(self, which, how):
        self.work(self.presses[which], how)

    def work(self, press, how):
        session = press.session
        progress = session.progress
        if how == "u":
            last = progress.undoable
            if last is not None and last.kind is Kind.PRESSED:  # it is under the head again
                piece = piece_of(last.imprint)
                session.undo()
                self.moved.pop(last.imprint, None)
                self.touched(press, piece)
            return
        stop = progress.stop
        if stop is None:
            return
        piece, imprint = stop.piece.id, stop.imprint.id
        key = piece, self.fresh[piece], imprint
        under = progress.at.step in UNDER_HEAD
        if how == "j" and not under:
            places = [i for i, each in enumerate(progress.stops) if not progress.ended(i)]
            session.jump(places[-1])
        elif how == "s" and not under:
            session.skip("no transfer")
            self.touched(press, piece)
        elif how == "x":
            session.spoil("scorched", replaced=True)
            self.touched(press, piece)
            self.fresh[piece] += 1
        elif how == "n" and not under:
            session.step(Step.LAY)
            session.nudge(Shift(1.0, 0.0))
        elif how == "2" and not under:  # left under the head, or between its two heats
            session.step(Step.LAY)
            session.step(Step.PRESS)
            self.on[key] += 1
            self.touched(press, piece)
        elif how == "p":
            if not under:
                session.step(Step.LAY)
                session.step(Step.PRESS)
                self.on[key] += 1
            elif progress.at.step is Step.PRESS:
                session.step(Step.SECOND)  # the same print is heated once more: no second one
            index = progress.at.index
            self.moved[imprint] = progress.nudge(index)
            session.press()
            self.touched(press, piece)

    @rule(which=WHICH, whole=st.booleans(), cut=CUTS)
    def crashes_and_comes_back(self, which, whole, cut):
        press = self.presses[which]
        run = press.session.run.id
        press.end(whole)
        with self.line(cut):
            press.begin()
            try:
                press.open(run)
            except Refusal:  # it is begun once more when the queue answers
                press.session = None
        if press.session is None:
            press.end(True)
            press.begin()
            press.open(run)

    @rule(one=WHICH, other=WHICH)
    def takes_over(self, one, other):
        """A person looks at the garments there, and says truly what is on them."""
        press, was = self.presses[one], self.presses[other]
        if one == other or press.session.run.id != self.run:
            return
        try:
            doubts = press.part.in_doubt(self.run, was.name)
        except Refusal:
            return
        said = {
            imprint: self.on[each.piece, self.fresh[each.piece], imprint] > 0
            for each in doubts
            for imprint in each.imprints
        }
        press.part.take_over(self.run, was.name, said)
        # A garment that its press spoiled without telling is seen as it is: the queue counts it as
        # the one that it knows.
        self.doubtful |= {each.piece for each in doubts if self.untold(was, each.piece)}
        press.open(self.run)

    def untold(self, press, piece):
        """Whether a press has done something to a piece that the queue has not heard of."""
        reached = self.queue.transact(lambda c: shared_runs.all_events(c, self.run))
        known = {event.id for event in reached}
        own = press.store.events(press.store.run(self.run))
        ends = {Kind.PRESSED, Kind.SPOILED, Kind.SKIPPED, Kind.UNDONE}
        return any(
            each.kind in ends and each.id not in known
            for each in own
            if each.kind is Kind.UNDONE or (each.imprint and piece_of(each.imprint) == piece)
        )

    @rule(which=WHICH, cut=CUTS)
    def takes_changes_in(self, which, cut):
        """The sheet was edited: another piece came to it."""
        press = self.presses[which]
        progress = press.session.progress
        lies = progress.stop is not None and progress.at.step in UNDER_HEAD
        if self.edits == 2 or press.session.run.id != self.run or lies or unpeeled_pieces(progress):
            return
        pieces = [*self.pieces, *random_order(90 + self.edits, 7, most=2)[-1:]]
        row = 50 + self.edits
        pieces[-1] = _as_row(pieces[-1], row)
        begun = None
        with self.line(cut):
            try:
                source = press.part.source()
                run = source.run(self.run)
                done = take_over(run.id, run.stops, source.events(run), pieces)
                before = earlier_placements(run.stops, source.events(run), plan(pieces).stops)
                start = Start((*done.acts, *brought(before)), self.run)
                digest = str(self.edits + 1)
                begun = press.part.begin(
                    plan(pieces), "Regatta", Path("o.csv"), digest, earlier=self.run, start=start
                )
            except Refusal:  # cut, or another press has pieces in hand
                pass
        found = self.queue.transact(lambda c: shared_runs.run_of_sheet(c, str(self.edits + 1)))
        assert begun is None or found is not None
        if found is not None:  # kept, whether or not the answer came
            self.run, self.pieces, self.edits = found[0], pieces, self.edits + 1
            press.open(self.run)

    # -- the end -------------------------------------------------------------------------------

    def finish(self):
        """All lines are whole: everything goes up, and what is left is pressed."""
        for _ in range(60):
            for press in self.presses:
                if press.session.run.id != self.run:
                    press.part.try_queue()
                    press.open(self.run)
                press.link._counts = {}
                press.link._round(False)
                press.take_news()
                for _ in range(4):
                    self.work(press, "p")
                press.link._round(False)
                press.take_news()
            if self.all_ended():
                break
        assert self.all_ended(), "something is left over"
        self.check()

    def told(self):
        """Return the pieces of which a person is told that presses say different things."""
        at_odds = self.queue.transact(lambda c: conflicts.open_conflicts(c, self.run))
        return {each.piece for each in at_odds}

    def ended(self):
        """Return how imprints ended, by the queue, on the garments that count."""
        query = (
            sa.select(outcomes.c.imprint, outcomes.c.outcome)
            .join(
                holds,
                (holds.c.run == outcomes.c.run) & (holds.c.piece == outcomes.c.piece),
                isouter=True,
            )
            .where(
                outcomes.c.run == self.run,
                outcomes.c.garment == sa.func.coalesce(holds.c.garment, 0),
            )
        )
        return {
            row.imprint: row.outcome
            for row in self.queue.transact(lambda c: c.execute(query).all())
        }

    def all_ended(self):
        """Whether nothing is left but what waits for a person's word."""
        waits, ended = self.doubtful & self.told(), self.ended()
        return all(
            imprint.id in ended
            for piece in self.pieces
            if piece.id not in waits
            for imprint in piece.imprints
        )

    def check(self):
        told, now = self.told(), self.ended()
        for piece in self.pieces:
            for imprint in piece.imprints:
                there = self.on[piece.id, self.fresh[piece.id], imprint.id]
                if piece.id in self.doubtful:
                    assert there <= 1 or piece.id in told, f"{imprint.id}: twice, and nobody told"
                    continue
                assert piece.id not in told, f"{imprint.id}: nothing is at odds"
                assert there <= 1, f"{imprint.id} is twice on its garment"
                assert (now[imprint.id] == "pressed") == (there == 1), imprint.id

    def comes_again(self):
        """The same order once more: each print comes back where it was pressed, and once."""
        earlier = self.run
        press = self.presses[1]
        source = press.part.source()
        before = source.run(earlier)
        planned = plan(self.pieces)
        found = earlier_placements(before.stops, source.events(before), planned.stops)
        start = Start(tuple(brought(found)))
        self.run = press.part.begin(
            planned, "Again", Path("again.csv"), "again", earlier=earlier, start=start
        )
        for piece in self.pieces:  # new garments
            self.fresh[piece.id] += 1
        was, self.moved = self.moved, {}
        # Like imprints come back by what was done to most of them: one without a like is sure.
        like = Counter(_like(each, imprint) for each in self.pieces for imprint in each.imprints)
        sure = [each for each in self.pieces if each.id not in self.doubtful]
        self.doubtful = set()
        self.finish()
        for piece in sure:
            for imprint in piece.imprints:
                if like[_like(piece, imprint)] == 1 and imprint.id in found and imprint.id in was:
                    assert self.moved[imprint.id] == was[imprint.id], imprint.id


def _like(piece, imprint):
    """Return what like imprints agree in."""
    return piece.style, piece.size, piece.fit, imprint.location, imprint.art.stack, imprint.width


def _as_row(piece, row):
    """Return a piece as one of another row."""
    imprints = tuple(
        replace(each, id=f"{row}-1/{number}", follows=each.follows and f"{row}-1/{number - 1}")
        for number, each in enumerate(piece.imprints, start=1)
    )
    return replace(piece, id=f"{row}-1", row=row, imprints=imprints)


def on_the_floor(examples, steps, address=None):
    class Here(ShopFloor):
        server = staticmethod(address) if address is not None else None

    run_state_machine_as_test(
        Here,
        settings=settings(
            max_examples=examples, stateful_step_count=steps, phases=(Phase.generate,),
            deadline=None,
        ),
    )  # fmt: skip


@pytest.mark.slow
def test_records_links_and_people_against_the_garments_themselves():
    on_the_floor(3, 25)


@pytest.mark.proof
def test_the_same_at_length():
    on_the_floor(40, 50)
