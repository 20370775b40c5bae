"""A press's part in an order of the queue: what it holds there, and in its own record."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import sqlalchemy as sa

from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import Plan, Stop
from chalkbeam.orders.pieces import piece_of
from chalkbeam.presses import acts, claims, contents, shared_runs
from chalkbeam.presses.address import Address
from chalkbeam.presses.beginning import Start, add_run
from chalkbeam.presses.board import why_nothing
from chalkbeam.presses.claims import Claim, Doubt, Wish
from chalkbeam.presses.engine import Queue
from chalkbeam.presses.faults import Unreachable
from chalkbeam.presses.heard import heard_file, last_heard
from chalkbeam.presses.journal_acts import acts_after
from chalkbeam.presses.lots import lots_of
from chalkbeam.presses.news import lost_words
from chalkbeam.presses.queue_record import QueueRecord
from chalkbeam.presses.tables import holds, presses
from chalkbeam.record import snapshot
from chalkbeam.record.elsewhere import Elsewhere
from chalkbeam.record.events import Kind, NewEvent, new_id
from chalkbeam.record.progress import Progress
from chalkbeam.record.recorder import Recorder
from chalkbeam.record.runs import Run
from chalkbeam.record.source import RunSource
from chalkbeam.record.store import Store, utc_now


@dataclass(frozen=True)
class Press:
    """Who takes part.

    Attributes
    ----------
    name : str
        Of the press, its own in the shop.
    machine : str
        The computer's name, for people.
    """

    name: str
    machine: str


AtHand = Callable[[Sequence[Stop]], "frozenset[str] | None"]


class TakingPart:
    """A press that works orders of a queue.

    What it has in hand it knows by its own record, so that it goes on while the queue does not
    answer.

    Parameters
    ----------
    store : Store
        The press's own record; for orders of this queue alone.
    address : Address
    press : Press

    Attributes
    ----------
    id : str
        The press's, made with its record.
    away : str
        Why the queue does not answer; empty where it does.
    at_hand : frozenset of str or None
        Platens and pads, as `Wish.at_hand`.

    Raises
    ------
    Refusal
        If the queue answers and will not have this press.
    """

    def __init__(self, store: Store, address: Address, press: Press) -> None:
        self.store, self.address, self.press = store, address, press
        self.id = store.journal.press
        self.away = ""
        self.at_hand: frozenset[str] | None = None
        self._asking = threading.RLock()
        self._queue: Queue | None = None
        self._reached = 0
        self.try_queue()

    def close(self) -> None:
        """Let the queue go."""
        with self._asking:
            if self._queue is not None:
                self._queue.close()
                self._queue = None

    # -- the queue -------------------------------------------------------------------------

    def try_queue(self) -> Queue | None:
        """Return the queue with all in it that this press has done; None where it is away.

        Raises
        ------
        Refusal
            If it answers, and something else than time is needed.
        """
        # A press that leaves may ask while the thread beside the light is still at it.
        with self._asking:
            try:
                if self._queue is None:
                    self._queue = Queue(self.address)
                    self._reached = self._queue.transact(self._enter)
                self._go_up(self._queue)
            except Unreachable as refusal:
                self.away = str(refusal)
                self.close()
                return None
            self.away = ""
            return self._queue

    def _enter(self, connection: sa.Connection) -> int:
        wish = Wish(self.at_hand)
        return claims.enter(connection, self.id, self.press.name, self.press.machine, wish)

    def _go_up(self, queue: Queue) -> None:
        """Send what the journal has and the queue has not, in order."""
        while self._reached < self.store.journal.last:
            some = acts_after(self.store.journal, self._reached, acts.MOST)
            if not some:
                return
            self._reached = queue.transact(lambda c, some=some: acts.push(c, self.id, some))  # type: ignore[misc]

    # -- orders ----------------------------------------------------------------------------

    def source(self) -> RunSource:
        """Return where orders are read: the queue, or while it is away this press's own record."""
        queue = self.try_queue()
        return self.store if queue is None else QueueRecord(queue)

    def begin(
        self,
        plan: Plan,
        title: str,
        sheet: Path,
        digest: str,
        *,
        anew: bool = False,
        by_place: bool = False,
        earlier: str | None = None,
        start: Start = Start(),  # noqa: B008 - a frozen value
    ) -> str:
        """Put an order into the queue, or find it there where another press was first.

        Parameters
        ----------
        anew : bool
            Begin another order of a sheet that has an unfinished one.
        by_place : bool
            A copy of the sheet at another place is another order.
        earlier : str, optional
            The order that it repeats, or goes on from.
        start : Start, optional
            What it begins with.

        Raises
        ------
        Refusal
            If the queue is away, or others work on the order that it takes the place of.
        """
        queue = self._must()
        place = shared_runs.place_of(str(sheet)) if by_place else None

        def add(connection: sa.Connection) -> str:
            found = shared_runs.run_of_sheet(connection, digest, place)
            if found is not None and not found[1] and not anew:
                return found[0]
            heading = {
                "id": new_id(),
                "key": f"{digest} {shared_runs.times_begun(connection, digest)}",
                "title": title,
                "sheet": str(sheet),
                "digest": digest,
                "earlier": earlier,
                "begun": utc_now(),
                "work": snapshot.dump(plan.stops, plan.as_listed, plan.by_hand),
            }
            return add_run(connection, heading, lots_of(plan.stops), self.id, start)

        run_id = queue.transact(add)
        for path, held in contents.read_art(plan.stops).items():
            queue.transact(lambda c, one={path: held}: contents.put_art(c, run_id, one))  # type: ignore[misc]
        return run_id

    def named(self, beginning: str) -> str | None:
        """Return the unfinished order whose id begins so; None if there is none, or several."""
        queue = self.try_queue()
        if queue is None:
            found = [each.id for each in self.store.runs() if each.id.startswith(beginning)]
        else:
            found = [
                each.id
                for each in queue.transact(shared_runs.headings)
                if each.id.startswith(beginning)
            ]
        return found[0] if beginning and len(found) == 1 else None

    def _must(self) -> Queue:
        queue = self.try_queue()
        if queue is None:
            raise Unreachable(self.away)
        return queue

    def take_up(
        self, run_id: str, at_hand: AtHand = lambda stops: None, chosen: str = ""
    ) -> tuple[Run, tuple[str, ...]]:
        """Take up what this press holds of an order, and claim something where that is nothing.

        Parameters
        ----------
        at_hand : callable, optional
            What an order's stops want that this press has, as `Wish.at_hand`.
        chosen : str, optional
            A pile or a piece to be claimed, by the operator's choice.

        Returns
        -------
        Run
            In the press's own record.
        tuple of str
            What is to be told.

        Raises
        ------
        Refusal
            If there is nothing of it for this press.
        """
        queue = self.try_queue()
        run = self._own(run_id, queue)
        recorder = Recorder(self.store, run)
        progress = self._progress(run)
        self.at_hand = at_hand(run.stops)
        if queue is None:
            return run, (self.away,)
        queue.transact(self._enter)
        held = queue.transact(lambda c: claims.own_claims(c, self.id, run_id))
        mine = progress.mine or frozenset()
        for each in held:
            new = [piece for piece in each.pieces if piece not in mine]
            if new:
                recorder.write(Kind.CLAIMED, claim=each.id, pieces=new)
        told: list[str] = []
        lost = sorted(mine - {piece for each in held for piece in each.pieces})
        if lost:
            recorder.write(Kind.GIVEN, pieces=lost)
            holders = queue.transact(lambda c: holder_names(c, run_id))
            told += lost_words({piece: holders.get(piece, "the queue") for piece in lost})
        progress = self._progress(run)
        if chosen or progress.stop is None:
            claim = self.claim(queue, run_id, replace(self.wish(progress), chosen=chosen))
            if claim is not None:
                recorder.write(Kind.CLAIMED, claim=claim.id, pieces=list(claim.pieces))
            elif chosen:
                raise Refusal(
                    f"Nothing of “{chosen}” is free for this press: another has it, it wants a "
                    "platen that is not here, or it is done. Choose another pile."
                )
        return run, tuple(told)

    def claim(self, queue: Queue, run_id: str, wish: Wish) -> Claim | None:
        """Claim something; None if there is nothing that the press can take."""
        own = new_id()
        return queue.transact(lambda c: claims.claim(c, self.id, own, run_id, wish, utc_now()))

    def wish(self, progress: Progress) -> Wish:
        """Return what the press would like next: as it is set, of the pile it is at."""
        last = progress.stop
        setting = progress.press.set_to.words() if progress.press.set_to is not None else ""
        return Wish(self.at_hand, setting, last.piece.pile if last is not None else "")

    def why_nothing(self, run_id: str) -> str:
        """Return why there is nothing of an order for this press."""
        said = self._must().transact(lambda c: why_nothing(c, run_id, Wish(self.at_hand)))
        return said or "The order is finished: nothing of it is left to press."

    def in_doubt(self, run_id: str, other: str) -> tuple[Doubt, ...]:
        """Return what another press, by its name, has not told the end of.

        Raises
        ------
        Refusal
            If there is no such press, it is this one, or it holds nothing of the order.
        """
        own = self._named(other)
        doubts = self._must().transact(lambda c: claims.in_doubt(c, own, run_id))
        if not doubts:
            raise Refusal("That press holds nothing of this order that is still to be done.")
        return doubts

    def take_over(self, run_id: str, other: str, said: Mapping[str, bool]) -> str:
        """Take over what another press holds, and say so; `said` as of `claims.take_over`."""
        own, claim = self._named(other), new_id()
        got = self._must().transact(
            lambda c: claims.take_over(c, self.id, claim, run_id, own, said, utc_now())
        )
        pressed = sum(said.values())
        return (
            f"Taken over from {other}: {len(got.pieces)} pieces, {pressed} imprints of them "
            "pressed already. Stop that press from going on with them."
        )

    def _named(self, name: str) -> str:
        query = sa.select(presses.c.id, presses.c.name).order_by(presses.c.name)
        found = {
            row.name: row.id for row in self._must().transact(lambda c: c.execute(query).all())
        }
        if name == self.press.name or name not in found:
            others = ", ".join(each for each in found if each != self.press.name) or "none"
            raise Refusal(
                f"There is no other press “{name}” to take over from; there are: {others}."
            )
        return str(found[name])

    def heard(self, run_id: str) -> Elsewhere:
        """Return what was last heard of the other presses."""
        return last_heard(heard_file(self.store.path, run_id))

    def give_back(self, run: Run) -> tuple[str, ...]:
        """Give back what was claimed and not begun; return the pieces.

        The press's own record has it first: a piece given back there is not pressed here, even if
        the queue has not heard of it.
        """
        queue = self.try_queue()
        if queue is None:
            return ()
        events = self.store.events(run)
        touched = {piece_of(event.imprint) for event in events if event.kind is not Kind.BROUGHT}
        given: list[str] = []
        for each in queue.transact(lambda c: claims.own_claims(c, self.id, run.id)):
            if touched.isdisjoint(each.pieces):
                Recorder(self.store, run).write(Kind.GIVEN, pieces=list(each.pieces))
                own = each.id
                if queue.transact(lambda c, own=own: claims.give_back(c, self.id, own)):  # type: ignore[misc]
                    given += each.pieces
        self.try_queue()
        return tuple(given)

    def _own(self, run_id: str, queue: Queue | None) -> Run:
        """Return an order as the press's own record has it, begun there if it is new."""
        if any(each.id == run_id for each in self.store.runs()):
            return self.store.run(run_id)
        if queue is None:
            raise Unreachable(self.away)
        run = queue.transact(lambda c: shared_runs.shared_run(c, run_id))
        start = queue.transact(lambda c: shared_runs.start_of(c, run_id))
        digests = queue.transact(lambda c: contents.art_of(c, run_id))
        for path, digest in contents.missing_here(digests).items():
            held = queue.transact(lambda c, one=digest: contents.content(c, one))  # type: ignore[misc]
            contents.keep_content(held, path)
        stops = contents.with_art_here(run.stops, digests)
        plan = Plan(stops, 0.0, run.as_listed, run.by_hand, 0.0, {})
        nothing = NewEvent(Kind.CLAIMED, data={"claim": "", "pieces": []})
        sheet = Path(run.sheet)
        return self.store.begin(
            plan, title=run.title, sheet=sheet if sheet.is_file() else None, digest=run.digest,
            carried=(nothing, *start), own_id=run_id,
        )  # fmt: skip

    def own_progress(self, run_id: str) -> Progress | None:
        """Return how far an order is by this press's own record; None where it has none of it."""
        if not any(each.id == run_id for each in self.store.runs()):
            return None
        return self._progress(self.store.run(run_id))

    def _progress(self, run: Run) -> Progress:
        progress = Progress(run.stops, self.store.events(run))
        progress.hear(self.heard(run.id))
        return progress


def holder_names(connection: sa.Connection, run: str) -> dict[str, str]:
    """Return the name of the press that holds each piece."""
    query = (
        sa.select(holds.c.piece, presses.c.name)
        .join(presses, presses.c.id == holds.c.press)
        .where(holds.c.run == run)
    )
    return {row.piece: row.name for row in connection.execute(query)}


def open_pieces(progress: Progress) -> Sequence[str]:
    """Return the pieces that a press has in hand and has not ended."""
    left = (stop.piece.id for index, stop in enumerate(progress.stops) if not progress.ended(index))
    return tuple(dict.fromkeys(left))
