"""What a run at the press begins from: an order read and planned, or what was left of it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.cli import advice
from chalkbeam.cli.options.order import plan_order, read_order, read_planning
from chalkbeam.cli.run_choices import (
    check_new,
    check_one_choice,
    digest_now,
    seen_before,
    taken_over,
)
from chalkbeam.cli.transfer_words import spare_words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from calibration.refusal import Phrase
    from chalkbeam.cli.run_options import RunOptions
    from chalkbeam.orders.cut_list import CutList
    from chalkbeam.orders.order_of_work import Plan, Stop
    from chalkbeam.orders.place_imprint import Lay
    from chalkbeam.orders.sheet import RunSheet
    from chalkbeam.orders.visits import Chooser
    from chalkbeam.placement.loading import Collar
    from chalkbeam.record.reorder import Earlier
    from chalkbeam.record.resume import Left
    from chalkbeam.record.runs import Run
    from chalkbeam.record.source import RunSource
    from chalkbeam.record.taken_over import TakenOver
    from chalkbeam.station.host import Tell
    from chalkbeam.station.ready_imprint import ImprintPreparer


@dataclass(frozen=True)
class Beginning:
    """An order as it comes to the press.

    Attributes
    ----------
    left : Left or None
        The run to go on with; None for a new one.
    order : RunSheet or None
        The order as it was read; None where that was not needed.
    digest : str
        Of the sheet, as far as it was read.
    newest : str or None
        The latest run of this sheet.
    before : Run or None
        The run whose pressed imprints stay pressed, `done`.
    done : TakenOver or None
    """

    left: Left | None
    order: RunSheet | None
    digest: str
    newest: str | None
    before: Run | None = None
    done: TakenOver | None = None

    @property
    def left_out(self) -> tuple[str, ...]:
        """Rows of the sheet that are not in the run, and why."""
        from chalkbeam.orders.problems import told

        if self.left is not None:
            return self.left.left_out
        return told(self.order.left_out) if self.order is not None else ()


def beginning(asked: RunOptions, source: RunSource, collar: Collar | None) -> Beginning:
    """Return what there is of an order: read, or left unfinished, by the operator's choice.

    Raises
    ------
    Refusal
        If it cannot be read, or something is to be chosen first.
    """
    from chalkbeam.record.resume import check_unchanged

    sheet, of_page = asked.sheet, asked.of_page
    check_one_choice(
        asked.as_recorded, asked.new_run, asked.again is not None, asked.take_changes,
        asked.only_spoiled,
    )  # fmt: skip
    takes_over = asked.take_changes or asked.only_spoiled
    begins = asked.new_run or asked.again is not None
    digest = digest_now(sheet, asked.as_recorded)
    newest, left = seen_before(source, sheet, digest, of_page)
    if begins or takes_over:
        left = None
    if asked.as_recorded and left is None:
        raise Refusal(
            f"There is no unfinished run of {sheet} to go on with: leave --as-recorded out."
        )
    if left is None and not begins and not takes_over:
        check_new(source, sheet, digest, None, of_page)
    if left is not None and (asked.as_recorded or left.run.digest == digest):
        return Beginning(left, None, digest, newest)
    order = read_for_run(asked, collar, left)
    if left is not None:
        check_unchanged(left, order.pieces)
    elif takes_over:
        before, order, done = taken_over(source, order, asked.only_spoiled)
        return Beginning(None, order, order.digest, newest, before, done)
    elif not begins:
        check_new(source, sheet, digest, order, of_page)
    return Beginning(left, order, order.digest, newest)


def without_effect(asked: RunOptions, begun: Beginning) -> str:
    """Return which options come too late for a run that goes on; empty for none.

    Raises
    ------
    Refusal
        If one says what cannot be, as for a new run.
    """
    left = begun.left
    if left is None:
        return ""
    read_planning(left.pieces, asked.times, asked.first)
    if asked.artwork is not None and not asked.artwork.is_dir():
        raise Refusal(f"There is no folder “{asked.artwork}” of artwork: correct --artwork.")
    given = {
        "--times": asked.times, "--first": asked.first, "--as-listed": asked.as_listed,
        "--anyway": asked.anyway,
    }  # fmt: skip
    if begun.order is None:  # else the sheet was read with them, to be compared
        given |= {"--unit": asked.unit, "--artwork": asked.artwork}
    return ", ".join(name for name, value in given.items() if value)


@dataclass(frozen=True)
class NewRun:
    """A run that is to begin.

    Attributes
    ----------
    plan : Plan
    earlier : Run or None
        The run that it repeats or goes on from.
    brought : mapping of imprint id to Earlier
        Placements that a reorder brings back.
    """

    plan: Plan
    earlier: Run | None
    brought: Mapping[str, Earlier]


def new_run(
    asked: RunOptions, begun: Beginning, source: RunSource, choose: Chooser, lay: Lay | None = None
) -> NewRun | None:
    """Return the run that begins, and say what it keeps of an earlier one; None to go on.

    `choose` says which platen each imprint goes on, and `lay` how it lies there.
    """
    from chalkbeam.record.resume import local_time

    order, before, done = begun.order, begun.before, begun.done
    if begun.left is not None or order is None:
        return None
    earlier = before if asked.again is None else source.run(asked.again)
    plan = plan_order(order, asked.times, asked.first, asked.as_listed, choose, lay)
    brought = {} if earlier is None else _brought_back(source, earlier, plan.stops)
    if done is not None and before is not None:
        print(
            f"Of the run begun {local_time(before.begun)} {done.pressed} imprints stay "
            f"pressed; {len(plan.stops) - len(done.acts)} are to be done."
        )
        for piece in done.gone:
            print(f"Pressed, and in the order no more: {piece}.", file=sys.stderr)
    elif earlier is not None:
        print(
            f"A reorder: {len(brought)} of {len(plan.stops)} imprints come back as "
            f"they were pressed in the run begun {local_time(earlier.begun)}."
        )
    for note in order.notes:
        print(f"Note: {note}", file=sys.stderr)
    return NewRun(plan, earlier, brought)


def stock_of(asked: RunOptions, stops: Sequence[Stop]) -> tuple[CutList, Mapping[str, int]] | None:
    """Return what there is for a run as the shop lists it: transfers, and garments by pile.

    None where it lists neither.

    Raises
    ------
    Refusal
        If a list cannot be read.
    """
    from chalkbeam.orders.cut_list import CutList, cut_list
    from chalkbeam.orders.printed import read_printed
    from chalkbeam.orders.pull import counted_in

    if asked.printed is None and asked.came is None:
        return None
    cuts, pieces = CutList((), (), ()), tuple(dict.fromkeys(stop.piece for stop in stops))
    if asked.printed is not None:
        folder = asked.artwork or asked.sheet.parent
        there = read_printed(asked.printed, pieces, folder, asked.unit)
        cuts = cut_list(pieces, there)
        for said in (*(f"Note: {note}" for note in there.notes), *spare_words(cuts, asked.units)):
            print(said, file=sys.stderr)
    return cuts, {} if asked.came is None else counted_in(asked.came)


def to_skip(
    asked: RunOptions,
    begun: Beginning,
    new: NewRun | None,
    preparer: Callable[[], ImprintPreparer],
    tell: Tell,
) -> tuple[str, ...]:
    """Return what cannot be pressed for now, a sentence each; a new order is placed ahead.

    `preparer` makes one for this thread; `tell` is told how far the order is.

    Raises
    ------
    SheetRefusal
        If something can never be pressed as the sheet asks.
    """
    from chalkbeam.record.resume import absent_artwork

    if begun.left is not None:
        return absent_artwork(begun.left.still_open)
    if asked.anyway or begun.order is None:
        return absent_artwork(new.plan.stops if new is not None else ())
    called = asked.title or asked.sheet.stem
    brought = {} if new is None else {name: each.location for name, each in new.brought.items()}
    return _place_ahead(begun.order, preparer(), asked.units, brought, called, tell)


def read_for_run(asked: RunOptions, collar: Collar | None, left: Left | None = None) -> RunSheet:
    """Return the order; where it cannot be read, say everything that is wrong with it.

    Artwork may be missing if the order is begun `anyway`, or may be gone on with (`left`); begun
    anyway, it is without the rows that cannot be read.
    """
    from chalkbeam.orders.precheck import on_file
    from chalkbeam.orders.problems import SheetRefusal
    from chalkbeam.record.resume import CHOICE, unfinished

    given = (asked.sheet, asked.unit, asked.artwork)
    absent = asked.anyway or left is not None
    readable = asked.anyway and left is None
    try:
        return read_order(*given, absent=absent, readable=readable)
    except SheetRefusal as refusal:
        if left is not None:
            raise Refusal(f"{refusal}\n{unfinished(left)}. ", *CHOICE) from None
    try:
        return read_order(*given, on_file(collar, not asked.on_top), asked.units, absent)
    except SheetRefusal as refusal:
        if not absent and _readable(*given):
            raise SheetRefusal(asked.sheet, refusal.problems, ANYWAY) from None
        raise


def _readable(sheet: Path, unit: Unit | None, artwork: Path | None) -> bool:
    """Whether some of the order can be read, without artwork that is missing."""
    try:
        read_order(sheet, unit, artwork, absent=True, readable=True)
    except Refusal:
        return False
    return True


ANYWAY = (
    "Correct the sheet, or begin all the same with --anyway: rows that cannot be read are then "
    "left out."
)


def _brought_back(source: RunSource, earlier: Run, stops: Sequence[Stop]) -> dict[str, Earlier]:
    """Return what a reorder brings back, by imprint id."""
    from chalkbeam.record.reorder import earlier_placements

    return earlier_placements(earlier.stops, source.events(earlier), stops)


def _place_ahead(
    order: RunSheet,
    preparer: ImprintPreparer,
    units: Unit,
    brought: Mapping[str, str],
    called: str,
    tell: Tell,
) -> tuple[str, ...]:
    """Place the whole order before it begins, so that nothing is first met at the press.

    Returns what no rig at hand takes: it waits to be skipped, for its platen may come later.
    `brought` are locations other than the sheet's, by imprint id; `tell` is told how far the
    order, so `called`, is.

    Raises
    ------
    SheetRefusal
        If something can never be pressed as the sheet asks.
    """
    from chalkbeam.orders.precheck import precheck_order
    from chalkbeam.orders.problems import SheetRefusal
    from chalkbeam.station.display import GettingReady
    from chalkbeam.station.precheck_on_rigs import first_rigs

    later: dict[tuple[Phrase, ...], None] = {}
    problems, _ = precheck_order(
        order,
        first_rigs(preparer, later),
        units,
        lambda imprint: brought.get(imprint.id, imprint.location),
        lambda done: tell(GettingReady(called, done, len(order.pieces))),
    )
    if problems:
        raise SheetRefusal(order.path, problems, ANYWAY)
    return tuple(advice.told(said) for said in later)
