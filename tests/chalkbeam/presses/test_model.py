"""Presses, crashes, cut connections and take-overs against a plain model of one queue.

The model is a dictionary of who has which piece and a list of what was pressed on which
garment; it shares nothing with the code under test. What must hold at every step: no piece
with two presses, no imprint pressed twice on a garment that counts, nothing told that is lost,
no conflict that no person is shown.
"""

import itertools
import json
from collections import Counter

import pytest
import sqlalchemy as sa
from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from chalkbeam.orders.order_of_work import plan
from chalkbeam.presses import acts, claims, conflicts
from chalkbeam.presses.acts import PressAct
from chalkbeam.presses.address import read_address
from chalkbeam.presses.beginning import add_run
from chalkbeam.presses.claims import Wish
from chalkbeam.presses.engine import Queue
from chalkbeam.presses.lots import lots_of
from chalkbeam.presses.tables import acts as acts_table
from chalkbeam.presses.tables import holds, outcomes
from chalkbeam.record.events import new_id
from tests.support.random_orders import random_order
from tests.support.shared_order import a_heading

PRESSES = range(3)
CUTS = st.sampled_from(["none", "none", "before", "after"])


class Cut(Exception):
    """The connection broke; nobody at the press knows what became of the act."""


class _Press:
    """A press as it is in the shop: its journal is on disk, the rest is lost in a crash."""

    def __init__(self, name: int) -> None:
        self.id, self.name = new_id(), f"press {name}"
        self.journal: list[PressAct] = []
        self.claim_id: str | None = None  # on disk too: made before the first try
        self.mine: list[str] = []
        self.reached = 0
        self.pressed: set[str] = set()

    def write(self, run: str, kind: str, imprint: str = "", **data) -> PressAct:
        number = len(self.journal) + 1
        act = PressAct(number, new_id(), run, kind, imprint, data, {"data": data})
        self.journal.append(act)
        return act


class Shop(RuleBasedStateMachine):
    address = None

    @initialize(seed=st.integers(0, 30))
    def begin(self, seed):
        self.queue = Queue(self.address)
        stops = plan(random_order(seed, 8, most=2)).stops
        self.imprints = {}
        for stop in stops:
            self.imprints.setdefault(stop.piece.id, []).append(stop.imprint.id)
        heading = a_heading()
        self.run = self.queue.transact(lambda c: add_run(c, heading, lots_of(stops, 3)))
        self.presses = [_Press(number) for number in PRESSES]
        for each in self.presses:
            name = f"{each.name} {each.id}"
            self.queue.transact(
                lambda c, own=each, said=name: claims.enter(c, own.id, said, "here", Wish())
            )
        self.holder = {}  # the plain model: piece -> press
        self.settled = 0

    def teardown(self):
        if hasattr(self, "queue"):
            self.finish()
            self.queue.close()

    def ask(self, act, cut, told=lambda answer: None):
        """Do an act at the queue over a line that may break before or after it is kept.

        `told` is the model, which sees what the press may not.
        """
        if cut == "before":
            raise Cut
        answer = self.queue.transact(act)
        told(answer)
        if cut == "after":
            raise Cut
        return answer

    @rule(which=st.sampled_from(PRESSES), cut=CUTS)
    def claims_a_lot(self, which, cut):
        press = self.presses[which]
        press.claim_id = press.claim_id or new_id()
        own = press.claim_id

        def act(connection):
            return claims.claim(connection, press.id, own, self.run, Wish())

        def got_by(answer):
            for piece in () if answer is None else answer.pieces:
                assert self.holder.get(piece, which) == which, "a piece with two presses"
                self.holder[piece] = which

        try:
            got = self.ask(act, cut, got_by)
        except Cut:
            return  # the same id is asked for again
        press.claim_id = None
        press.mine += [p for p in (got.pieces if got else ()) if p not in press.mine]

    @rule(which=st.sampled_from(PRESSES))
    def crashes_and_comes_back(self, which):
        """Take up what the queue says is held, and what the journal says was pressed."""
        press = self.presses[which]
        own = self.queue.transact(lambda c: claims.own_claims(c, press.id, self.run))
        press.mine = [piece for each in own for piece in each.pieces]
        for piece in press.mine:
            assert self.holder.get(piece, which) == which
            self.holder[piece] = which
        press.reached = self.queue.transact(
            lambda c: claims.enter(c, press.id, f"{press.name} {press.id}", "here", Wish())
        )

    def open_at(self, press):
        return [
            imprint
            for piece in press.mine
            for imprint in self.imprints[piece]
            if imprint not in press.pressed
        ]

    @rule(which=st.sampled_from(PRESSES), pick=st.integers(0, 5), how=st.sampled_from("pppus"))
    def works(self, which, pick, how):
        """Press, take back or spoil at a press, whether or not the queue answers."""
        press = self.presses[which]
        if how == "u":
            last = next((a for a in reversed(press.journal) if a.kind != "undone"), None)
            if last is not None and last.kind == "pressed" and last.imprint in press.pressed:
                press.write(self.run, "undone", event=last.id)
                press.pressed.discard(last.imprint)
            return
        todo = self.open_at(press)
        if not todo:
            return
        imprint = todo[pick % len(todo)]
        if how == "s":
            press.write(self.run, "spoiled", imprint, reason="scorched", replaced=True)
            press.pressed -= set(self.imprints[imprint.rpartition("/")[0]])
            return
        press.write(self.run, "pressed", imprint)
        press.pressed.add(imprint)

    @rule(which=st.sampled_from(PRESSES), cut=CUTS, count=st.integers(1, 5))
    def acts_go_up(self, which, cut, count):
        press = self.presses[which]
        some = press.journal[press.reached : press.reached + count]
        if some:
            try:
                press.reached = self.ask(lambda c: acts.push(c, press.id, some), cut)
            except Cut:
                return  # they are sent once more

    @rule(one=st.sampled_from(PRESSES), other=st.sampled_from(PRESSES), data=st.data())
    def takes_over(self, one, other, data):
        """A person looks at the garments and answers truly what the other press has pressed."""
        if one == other:
            return
        press, was = self.presses[one], self.presses[other]
        doubts = self.queue.transact(lambda c: claims.in_doubt(c, was.id, self.run))
        if not doubts:
            return
        said = {imprint: imprint in was.pressed for doubt in doubts for imprint in doubt.imprints}
        got = self.queue.transact(
            lambda c: claims.take_over(c, press.id, new_id(), self.run, was.id, said)
        )
        for piece in got.pieces:
            assert self.holder[piece] == other
            self.holder[piece] = one
            press.mine.append(piece)
            press.pressed |= {each for each in self.imprints[piece] if each in was.pressed}

    @precondition(lambda self: hasattr(self, "run"))
    @invariant()
    def each_piece_has_one_press(self):
        rows = self.queue.transact(
            lambda c: c.execute(
                sa.select(holds.c.piece, holds.c.press).where(holds.c.run == self.run)
            ).all()
        )
        assert max(Counter(row.piece for row in rows).values(), default=0) <= 1
        ids = [each.id for each in self.presses]
        for row in rows:
            which = ids.index(row.press)
            assert self.holder.get(row.piece, which) == which

    @precondition(lambda self: hasattr(self, "run"))
    @invariant()
    def what_went_up_is_what_was_written(self):
        for press in self.presses:
            ids = self.queue.transact(
                lambda c, own=press.id: list(
                    c.execute(
                        sa.select(acts_table.c.id)
                        .where(acts_table.c.press == own)
                        .order_by(acts_table.c.number)
                    ).scalars()
                )
            )
            assert ids == [act.id for act in press.journal[: len(ids)]]
            assert len(ids) >= press.reached

    def finish(self):
        """Everything goes up, all that is left is pressed, and what is at odds is settled."""
        for press in self.presses:
            press.reached = 0
            for _ in range(2):  # from the beginning, and once more: twice is once
                while press.reached < len(press.journal):
                    some = press.journal[press.reached :][:7]
                    press.reached = self.queue.transact(
                        lambda c, own=press.id, these=some: acts.push(c, own, these)
                    )
                press.reached = 0
            press.reached = len(press.journal)
        for which in itertools.cycle(PRESSES):
            press = self.presses[which]
            got = self.queue.transact(
                lambda c, own=press.id: claims.claim(c, own, new_id(), self.run, Wish())
            )
            if got is None:
                break
        held = self.queue.transact(
            lambda c: c.execute(sa.select(holds).where(holds.c.run == self.run)).all()
        )
        assert {row.piece for row in held} == set(self.imprints), "a piece is left over"
        for row in held:
            press = next(each for each in self.presses if each.id == row.press)
            done = self.done(row.piece, row.garment)
            for imprint in self.imprints[row.piece]:
                if imprint not in done:
                    press.write(self.run, "pressed", imprint)
        for press in self.presses:
            self.queue.transact(
                lambda c, own=press: acts.push(c, own.id, own.journal[own.reached :])
            )
        told = self.queue.transact(lambda c: conflicts.open_conflicts(c, self.run))
        for row in held:
            assert self.done(row.piece, row.garment) == set(self.imprints[row.piece])
        # Every press that does not count is in front of a person, or was taken back by its press.
        counted = self.queue.transact(
            lambda c: set(
                c.execute(sa.select(outcomes.c.act).where(outcomes.c.run == self.run)).scalars()
            )
        )
        told_of = {(each.press.split()[-1], each.imprint) for each in told}
        for press in self.presses:
            undone = {act.data["event"] for act in press.journal if act.kind == "undone"}
            spoiled_at = {
                act.imprint.rpartition("/")[0]: act.number
                for act in press.journal
                if act.kind == "spoiled"
            }
            for act in press.journal:
                if act.kind != "pressed" or act.id in undone or act.id in counted:
                    continue
                replaced = spoiled_at.get(act.imprint.rpartition("/")[0], 0) > act.number
                again = any(
                    later.kind in ("pressed", "spoiled") and later.imprint == act.imprint
                    for later in press.journal[act.number :]
                )
                assert replaced or again or (press.id, act.imprint) in told_of, json.dumps(
                    [act.imprint, press.name]
                )
        for each in told:
            self.queue.transact(lambda c, n=each.number: conflicts.settle(c, n, counts=True))
        assert not self.queue.transact(lambda c: conflicts.open_conflicts(c, self.run))

    def done(self, piece, garment):
        query = sa.select(outcomes.c.imprint).where(
            outcomes.c.run == self.run, outcomes.c.piece == piece, outcomes.c.garment == garment
        )
        return set(self.queue.transact(lambda c: c.execute(query).scalars().all()))


def against_the_model(address, examples, steps):
    class Here(Shop):
        pass

    Here.address = address
    run_state_machine_as_test(
        Here,
        settings=settings(
            max_examples=examples, stateful_step_count=steps, phases=(Phase.generate,)
        ),
    )


@pytest.mark.slow
def test_presses_crashes_and_cuts_against_a_plain_model(tmp_path):
    against_the_model(read_address(f"sqlite:///{tmp_path / 'queue.db'}"), 8, 25)


@pytest.mark.proof
def test_the_same_at_length_on_both_engines(address):
    against_the_model(address, 40, 30)
