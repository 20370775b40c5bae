"""Three invented shops' orders, read and pressed to their end by keys alone.

``python -m benchmarks.shops``

Told are imprints meant (written down by hand in tests/data/shops), read and pressed; how often
the press is set in the order of work and in the sheet's own; the keys it took.
"""

from __future__ import annotations

import csv
import tempfile
from pathlib import Path

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.precheck import on_file, precheck_order
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.record.events import Kind
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.station.controller import StationController
from chalkbeam.station.frames import FrameCache
from chalkbeam.station.ready_imprint import ImprintPreparer
from overlay.window.inputs import Key
from tests.support.rigs import make_rig

SHOPS = Path(__file__).parents[1] / "tests" / "data" / "shops"
ORDERS = ("office-order", "team-order", "matrix-order")
MOST_KEYS = 2000


def meant(name: str) -> int:
    """Return how many imprints an order means."""
    with (SHOPS / f"{name}.meaning.csv").open(newline="", encoding="utf-8") as lines:
        return sum(int(row["imprints"]) for row in csv.DictReader(lines))


def work(name: str, record: Path) -> None:
    """Work an order to its end and print what came of it."""
    order = read_sheet(SHOPS / f"{name}.csv", artwork_folder=SHOPS / "art")
    problems, _ = precheck_order(order, on_file())
    planned = plan(order.pieces, Times(), fit_on_press)
    rig = make_rig()  # of a platen of 16 x 20 in
    with Store(record) as store:
        run = store.begin(planned, title=name, sheet=order.path, digest=order.digest)
        session = open_session(store, run)
        station = StationController(session, ImprintPreparer([rig]), FrameCache())
        keys, at = 0, 100.0
        refused: list[str] = []
        while session.progress.stop is not None and keys < MOST_KEYS:
            if station.readiness.refused:
                refused.append(station.readiness.refused)
                break
            at += 30.0  # longer than any dwell
            station.take(Key("space", at=at))
            keys += 1
        events = store.events(run)
    pressed = {event.imprint for event in events if event.kind is Kind.PRESSED}
    read = sum(len(piece.imprints) for piece in order.pieces)
    print(
        f"{name:13} {len(order.pieces):6} {meant(name):6} {read:6} {len(problems):8} "
        f"{len(pressed):8} {sum(event.kind is Kind.SET for event in events):5} "
        f"{planned.changes['setting']:8} {planned.listed_changes['setting']:8} {keys:6}"
        f"{'  ' + refused[0] if refused else ''}"
    )


def main() -> None:
    print("order         pieces  meant   read problems  pressed  sets  changes  listed   keys")
    with tempfile.TemporaryDirectory() as folder:
        for name in ORDERS:
            work(name, Path(folder) / f"{name}.db")


if __name__ == "__main__":
    main()
