"""The board of all presses on the terminal: once, or live."""

from __future__ import annotations

import time
from contextlib import suppress
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.cli.terminal import terminal

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Group

    from chalkbeam.presses.address import Address
    from chalkbeam.presses.board import Board, OrderStanding, PressStanding, WaitsFor
    from chalkbeam.presses.engine import Queue

EVERY = 0.2
"""Seconds between two looks: what is shown is behind by less than one."""
MOST = 6
"""Pieces named one by one."""


def show_queue(
    address: Address,
    still_open: bool,
    watch: bool,
    settle: int | None,
    counts: bool | None,
    json: bool,
) -> None:
    """Show the board of a queue as the options of `chalkbeam orders` ask; settle what they say.

    Raises
    ------
    Refusal
        If the queue does not answer, or there is nothing to settle.
    """
    from dataclasses import asdict, replace

    from chalkbeam.presses import conflicts
    from chalkbeam.presses.board import board
    from chalkbeam.presses.engine import Queue

    if (settle is None) != (counts is None):
        raise Refusal("--settle goes with --counts or --waste: say which, by the garment.")
    with Queue(address) as queue:
        if settle is not None and counts is not None:
            queue.transact(lambda c: conflicts.settle(c, settle, counts))
        if watch:
            with suppress(KeyboardInterrupt):
                watch_board(queue)
            return
        found = queue.transact(board)
    if still_open:
        left = tuple(order for order in found.orders if not order.finished)
        found = replace(found, orders=left)
    if json:
        import json as json_module

        print(json_module.dumps(asdict(found), ensure_ascii=False))
        return
    show_board(found)


def show_board(found: Board) -> None:
    """Print the board."""
    terminal().print(_drawn(found))


def watch_board(queue: Queue) -> None:
    """Show the board until it is left by Ctrl-C; a queue that goes away is said in its place."""
    from rich.live import Live
    from rich.text import Text

    from chalkbeam.presses.board import LiveBoard
    from chalkbeam.presses.faults import Unreachable

    watch, shown = LiveBoard(), None
    with Live(console=terminal(), screen=False, auto_refresh=False) as live:
        while True:
            try:
                found = queue.transact(watch.look)
                if found is not shown:
                    shown = found
                    live.update(_drawn(found), refresh=True)
            except Unreachable as refusal:
                shown = None
                live.update(Text(str(refusal)), refresh=True)
            time.sleep(EVERY)


def _drawn(found: Board) -> Group:
    from rich.console import Group
    from rich.table import Table
    from rich.text import Text

    if not found.presses and not found.orders:
        return Group(Text("Nothing is in the queue yet: an order comes with its first run."))
    presses = Table("press", "order", "at", "step", "in hand", "last act", box=None, pad_edge=False)
    for press in found.presses:
        presses.add_row(*_press(press))
    orders = Table(
        "order", "run", "pressed", "at each press", "", "waits", box=None, pad_edge=False
    )
    for order in found.orders:
        orders.add_row(*_order(order))
    parts: list[Table | Text] = [presses, Text(), orders]
    if found.conflicts:
        parts += [Text(), Text("Two presses say different things; a person settles it:")]
        parts += [Text(f"  {each.number}  {each}.") for each in found.conflicts]
    return Group(*parts)


def _press(press: PressStanding) -> tuple[str, ...]:
    from chalkbeam.record.resume import local_time

    piece, _, _ = press.imprint.rpartition("/")
    last = local_time(press.last) if press.last else "–"
    at = f"piece {piece}" if piece else "–"
    return press.name, press.order or "–", at, press.step or "–", str(press.in_hand), last


def _order(order: OrderStanding) -> tuple[str, ...]:
    spoiled = order.spoiled_garments
    apart = [
        f"{order.skipped} skipped" if order.skipped else "",
        f"{spoiled} {'garment' if spoiled == 1 else 'garments'} spoiled" if spoiled else "",
        "finished" if order.finished else "",
    ]
    return (
        order.title,
        order.run[:8],
        f"{order.pressed} of {order.imprints}",
        ", ".join(f"{name} {count}" for name, count in order.by_press),
        ", ".join(filter(None, apart)),
        "; ".join(map(_waits, order.waiting)),
    )


def _waits(waiting: WaitsFor) -> str:
    return f"{_pieces(waiting.pieces)} for {waiting.what}"


def _pieces(pieces: Sequence[str]) -> str:
    more = len(pieces) - MOST
    return ", ".join(pieces[:MOST]) + (f" and {more} more" if more > 0 else "")
