"""The record: time to write an act, to take a long run up again, and memory over it.

``python -m benchmarks.record [--pieces 10000] [--events 1000000]``

Every act is a line of the journal, on the disk before it counts; the time depends on the disk
under the temporary folder. With ``--events`` a record of years is made first: how long the
database takes to be made anew, an order to be opened, and an act to be written, and the memory.
"""

from __future__ import annotations

import argparse
import resource
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict
from itertools import count
from pathlib import Path

import numpy as np

from chalkbeam.orders.order_of_work import plan
from chalkbeam.placement.shift import Shift
from chalkbeam.record import snapshot
from chalkbeam.record.events import Event, Kind, Step, new_id
from chalkbeam.record.journal_lines import JournalLine
from chalkbeam.record.runs import Heading, begun_body, event_body
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store, journal_of
from chalkbeam.record.summary import summarise
from tests.support.random_orders import random_order

A_YEAR_AGO = "2025-11-26T08:00:00.000+00:00"
ORDER = 1000
"""Pieces of each of the orders of years."""


def resident() -> float:
    """Return the memory in use now, MB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def lines_of_years(events: int) -> Iterator[JournalLine]:
    """Yield the lines of many finished orders, as an operator would have made them."""
    planned = plan(random_order(1, ORDER))
    work = snapshot.dump(planned.stops, planned.as_listed, planned.by_hand)
    numbers = count(1)
    left = events
    while left > 0:
        run, session = new_id(), new_id()
        heading = Heading(run, "order", f"/orders/{run}.csv", run * 2, None, A_YEAR_AGO)
        bodies = [begun_body(asdict(heading), work)]
        for stop in planned.stops:
            for kind, step in ((Kind.STEPPED, Step.LAY), (Kind.NUDGED, None), (Kind.PRESSED, None)):
                data = {
                    Kind.STEPPED: {},
                    Kind.NUDGED: {"batch": "", **Shift(0.1, 0.0).data()},
                    Kind.PRESSED: {"pose": {"x": 1.0, "y": 2.0, "angle": 0.0}},
                }[kind]
                bodies.append(
                    event_body(
                        Event(
                            new_id(), kind, stop.imprint.id, step, data, 0, session,
                            wall=A_YEAR_AGO, operator="Kit", rig="press 1", calibration="c7",
                        )
                    )
                )  # fmt: skip
        left -= len(bodies) - 1
        for body in bodies:
            number = next(numbers)
            yield JournalLine("press", number, run, body, (number, number))


def years(folder: Path, events: int) -> None:
    """Make a record of many events, and say what an order in it costs."""
    path = folder / "years.db"
    with journal_of(path).open("wb") as file:
        for line in lines_of_years(events):
            file.write(f"{line.text}\n".encode())
    size = journal_of(path).stat().st_size / 1e6
    before, memory = time.perf_counter(), resident()
    with Store(path) as store:
        runs = len(store.runs())
    print(
        f"{events} events in {runs} orders, journal {size:.0f} MB, database "
        f"{path.stat().st_size / 1e6:.0f} MB, made anew in {time.perf_counter() - before:.0f} s"
        f" with {resident() - memory:.0f} MB more memory"
    )
    for _ in range(3):
        before, memory = time.perf_counter(), resident()
        spent = time.process_time()
        with Store(path) as store:
            opened = time.perf_counter() - before
            run = store.latest()
            assert run is not None
            session = open_session(store, run)
            whole = time.perf_counter() - before
            spent = time.process_time() - spent
            times = []
            for _ in range(200):
                begun = time.perf_counter()
                session.note("as it goes")
                times.append(time.perf_counter() - begun)
        print(
            f"open the record {opened:.3f} s; with the latest order of {len(run.stops)} imprints "
            f"taken up {whole:.3f} s ({spent:.3f} s processor time), {resident() - memory:.0f} MB "
            f"more memory; an act then {1e3 * float(np.median(times)):.2f} ms"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pieces", type=int, default=10_000)
    parser.add_argument("--events", type=int, default=0)
    options = parser.parse_args()
    if options.events:
        with tempfile.TemporaryDirectory() as folder:
            years(Path(folder), options.events)
        return
    planned = plan(random_order(1, options.pieces, artworks=8, sizes=9))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.db"
        with Store(path) as store:
            begun = time.perf_counter()
            run = store.begin(planned, title="long", sheet=Path("long.csv"), digest="")
            print(f"begin a run of {len(run.stops)} imprints: {time.perf_counter() - begun:.2f} s")
            session = open_session(store, run)
            times: list[float] = []
            acts: tuple[Callable[[], None], ...] = (
                lambda: session.step(Step.LAY),
                lambda: session.nudge(Shift(0.1, 0.0)),
                lambda: session.press({"x": 0.0, "y": 0.0, "angle": 0.0}),
            )
            print("imprints done   act median   act worst   memory")
            for number in range(len(run.stops)):
                for act in acts:
                    before = time.perf_counter()
                    act()
                    times.append(time.perf_counter() - before)
                if (number + 1) % max(1, len(run.stops) // 8) == 0:
                    print(
                        f"{number + 1:13} {np.median(times) * 1e3:9.2f} ms"
                        f" {max(times) * 1e3:8.1f} ms {resident():7.0f} MB"
                    )
                    times.clear()
            killed = path.with_name("killed.db")
            for tail in ("", "-wal", ".journal"):  # as a killed program leaves it
                shutil.copy(f"{path}{tail}", f"{killed}{tail}")
        logged = killed.with_name("killed.db-wal").stat().st_size / 1e6
        before = time.process_time()
        with Store(killed):
            spent = time.process_time() - before
        print(
            f"open after a kill, with a log of {logged:.1f} MB: {1e3 * spent:.0f} ms processor time"
        )
        size = path.stat().st_size / 1e6
        written = journal_of(path).stat().st_size / 1e6
        before = time.perf_counter()
        with Store(path) as store:
            latest = store.latest()
            assert latest is not None
            open_session(store, latest)
            taken_up = time.perf_counter() - before
            before = time.perf_counter()
            summarise(latest, store.events(latest))
        print(
            f"database {size:.0f} MB, journal {written:.0f} MB; "
            f"open and take up again {taken_up:.2f} s; "
            f"report {time.perf_counter() - before:.2f} s"
        )


if __name__ == "__main__":
    main()
