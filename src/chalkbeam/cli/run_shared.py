"""An order at a press that shares it with others: what `chalkbeam run` does for a queue."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.cli.run_beginning import Beginning, beginning
from chalkbeam.cli.run_choices import check_nothing_lies

if TYPE_CHECKING:
    from calibration.rig.file import Rig
    from chalkbeam.cli.run_beginning import NewRun
    from chalkbeam.cli.run_options import RunOptions
    from chalkbeam.orders.order_of_work import Stop
    from chalkbeam.placement.loading import Collar
    from chalkbeam.presses.address import Address
    from chalkbeam.presses.claims import Doubt
    from chalkbeam.presses.link import QueueLink
    from chalkbeam.presses.news import FromQueue
    from chalkbeam.record.progress import Progress
    from chalkbeam.record.resume import Left
    from chalkbeam.record.runs import Run
    from chalkbeam.record.session import RunSession
    from chalkbeam.record.source import RunSource
    from chalkbeam.record.store import Store


def queue_for(asked: RunOptions) -> Address | None:
    """Return the address of the queue that an order is worked with; None for a record of one press.

    An order that was begun in the machine's own record, before the shop's settings named a queue,
    is gone on with there: the queue knows nothing of what is pressed of it.

    Raises
    ------
    Refusal
        If the address cannot be used.
    """
    from chalkbeam.cli.options.record import queue_address
    from chalkbeam.cli.run_choices import digest_now, seen_before
    from chalkbeam.record.source import runs_in
    from chalkbeam.record.store import record_file

    address = queue_address(asked.record)
    anew = asked.new_run or asked.again is not None
    if address is None or asked.record is not None or anew or not asked.sheet.is_file():
        return address
    with runs_in(record_file()) as own:
        _, left = seen_before(own, asked.sheet, digest_now(asked.sheet, True), asked.of_page)
    if left is None:
        return address
    print(
        f"This order was begun before the shop had its queue ({left}): it is gone on with at this "
        "press alone.",
        file=sys.stderr,
    )
    return None


class SharedRun:
    """The part of this press in an order of the queue, from its beginning to its end.

    Parameters
    ----------
    asked : RunOptions
    address : Address
    rigs : sequence of Rig
        Their platens are at hand.

    Attributes
    ----------
    store : Store
        The press's own record.

    Raises
    ------
    Refusal
        If something is asked for that a shared order does not know.
    """

    def __init__(self, asked: RunOptions, address: Address, rigs: Sequence[Rig]) -> None:
        from chalkbeam.presses.places import machine_name, press_id, press_record
        from chalkbeam.presses.settings import own_name, own_settings
        from chalkbeam.presses.taking_part import Press, TakingPart
        from chalkbeam.record.store import Store

        self._asked, self._rigs = asked, rigs
        self._pads = own_settings().pads
        self._told: list[str] = []
        name = own_name(asked.press)
        self.path = press_record(address, name)
        self.store = Store(self.path, press=press_id(self.path))
        self._link: QueueLink | None = None
        try:
            self._part = TakingPart(self.store, address, Press(name, machine_name()))
        except BaseException:
            self.store.close()
            raise

    def __enter__(self) -> Store:
        return self.store

    def __exit__(self, *_: object) -> None:
        self.close()
        self._part.close()
        self.store.close()

    def beginning(self, collar: Collar | None) -> Beginning:
        """Return the order as it comes to this press: read, or begun at some press already.

        Raises
        ------
        Refusal
            If it cannot be read, or there is nothing of it for this press.
        """
        asked = self._asked
        if not asked.sheet.is_file():  # no sheet here: an order of another machine's, by its number
            run_id = self._part.named(str(asked.sheet))
            if run_id is not None:
                left = self._taken_up(run_id)
                return Beginning(left, None, left.run.digest, None)
        found = beginning(asked, self.source(), collar)
        if found.left is not None:
            return replace(found, left=self._taken_up(found.left.run.id))
        if self._part.away:  # a new order has to be where the others see it
            from chalkbeam.presses.faults import Unreachable

            raise Unreachable(self._part.away)
        if found.before is not None:
            own = self._part.own_progress(found.before.id)
            if own is not None:
                check_nothing_lies(own)
        return found

    def source(self) -> RunSource:
        """Return where orders are read that were begun."""
        return self._part.source()

    def _taken_up(self, run_id: str) -> Left:
        self._take_over(run_id)
        return self._left(run_id)

    def _left(self, run_id: str) -> Left:
        from chalkbeam.record.progress import Progress
        from chalkbeam.record.resume import Left

        run = self._take_up(run_id)
        progress = Progress(run.stops, self.store.events(run))
        progress.hear(self._part.heard(run.id))
        still_open = tuple(
            stop for index, stop in enumerate(run.stops) if not progress.ended(index)
        )
        if not still_open:
            raise Refusal(self._part.why_nothing(run.id))
        return Left(run, progress.pressed(), still_open)

    def _take_up(self, run_id: str) -> Run:
        run, told = self._part.take_up(run_id, self._at_hand, self._asked.pile)
        self._told += [sentence for sentence in told if sentence != self._part.away]
        return run

    def begin(self, new: NewRun, begun: Beginning) -> Run:
        """Return the run, put into the queue if no other press was first."""
        from calibration.files import resolved
        from chalkbeam.presses.beginning import Start
        from chalkbeam.record.reorder import brought

        asked, done = self._asked, begun.done
        start = Start(
            (*(() if done is None else done.acts), *brought(new.brought)),
            new.earlier.id if new.earlier is not None and asked.take_changes else "",
        )
        run = self._part.begin(
            new.plan, asked.title or asked.sheet.stem, resolved(asked.sheet), begun.digest,
            anew=asked.new_run, by_place=asked.of_page, start=start,
            earlier=None if new.earlier is None else new.earlier.id,
        )  # fmt: skip
        return self._left(run).run

    def joined(self, session: RunSession) -> None:
        """Work a run together with the other presses from now on."""
        from chalkbeam.presses.link import QueueLink

        session.progress.hear(self._part.heard(session.run.id))
        self._link = QueueLink(self._part, session.run)

    def _at_hand(self, stops: Sequence[Stop]) -> frozenset[str]:
        """Return which of the platens and pads that an order wants are at this press."""
        from chalkbeam.presses.claims import ANY_PAD

        named = {stop.fit.platen for stop in stops if stop.fit.platen}
        here = {f"platen {name}" for name in named if self._has(name)}
        pads = [ANY_PAD] if self._pads is None else [f"pad {name}" for name in self._pads]
        return frozenset(here) | frozenset(pads)

    def _has(self, name: str) -> bool:
        from chalkbeam.placement.platens import alike, platen
        from chalkbeam.station.laying import called

        if any(called(rig).casefold() == name.casefold() for rig in self._rigs):
            return True
        try:
            wanted = platen(name).face
        except Refusal:  # a name that another press's rig has
            return False
        return any(alike(rig.face, wanted) for rig in self._rigs)

    # -- as a source of the window's ---------------------------------------------------------

    def listen(self, post: Callable[[FromQueue], None]) -> None:
        """Begin to work with the queue."""
        from chalkbeam.presses.news import FromQueue

        if self._told:
            post(FromQueue(said=tuple(self._told)))
        if self._link is not None:
            self._link.listen(post)

    def notice(self, progress: Progress) -> None:
        """See how far the press is."""
        if self._link is not None:
            self._link.notice(progress)

    def close(self) -> None:
        """Let the queue have what was done, and ask it no more."""
        if self._link is not None:
            self._link.close()
            self._link = None

    def ended(self, run: Run) -> tuple[str, ...]:
        """Give back what was not begun; return what to tell."""
        given = self._part.give_back(run)
        said = (
            [f"{len(given)} pieces that were not begun went back into the queue"] if given else []
        )
        if self._part.away:
            said.append(f"Not in the queue yet: {self._part.away}")
        return tuple(said)

    # -- taking over -------------------------------------------------------------------------

    def _take_over(self, run_id: str) -> None:
        """Take over from another press what it has not told the end of, if that is asked for.

        Raises
        ------
        Refusal
            If it is not said which of it was pressed: what is in question.
        """
        other, pressed = self._asked.take_over, self._asked.pressed
        if not other:
            if pressed is not None:
                raise Refusal("--pressed goes with --take-over: name the press it is about.")
            return
        doubts = self._part.in_doubt(run_id, other)
        known = [imprint for doubt in doubts for imprint in doubt.imprints]
        if pressed is None:
            raise Refusal(
                f"{other} has {len(doubts)} pieces of which it has not told the end: "
                f"{', '.join(map(_in_question, doubts))}. Was it pressed? Look at every garment, "
                "then say which were with --pressed: “none”, “all”, or these numbers."
            )
        said = _said(known, pressed)
        self._told.append(self._part.take_over(run_id, other, said))


def _in_question(doubt: Doubt) -> str:
    """Return a piece's imprints, and where it was when its press was last heard of."""
    known = ", ".join(doubt.imprints)
    return f"{known} ({doubt.last} there)" if doubt.last else known


def _said(known: Sequence[str], pressed: str) -> dict[str, bool]:
    """Return whether each imprint was pressed; a piece's number stands for all that is on it."""
    words = set(pressed.replace(",", " ").split())
    if words == {"none"}:
        return dict.fromkeys(known, False)
    if words == {"all"}:
        return dict.fromkeys(known, True)
    pieces = {imprint.rpartition("/")[0] for imprint in known}
    strange = words - set(known) - pieces
    if strange or not words:
        raise Refusal(
            f"--pressed names {', '.join(sorted(strange)) or 'nothing'}, which is not in "
            f"question; in question are {', '.join(known)}."
        )
    return {each: bool({each, each.rpartition("/")[0]} & words) for each in known}
