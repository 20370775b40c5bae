"""The record: time to write an act, to take a long run up again, and memory over it.

``python -m benchmarks.record [--pieces 10000]``

Every act is committed with ``synchronous=FULL`` before it counts; the time depends on the
disk under the temporary folder.
"""

from __future__ import annotations

import argparse
import resource
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from chalkbeam.orders.order_of_work import plan
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.record.summary import summarise
from tests.support.random_orders import random_order


def resident() -> float:
    """Return the memory in use now, MB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pieces", type=int, default=10_000)
    options = parser.parse_args()
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
            for tail in ("", "-wal"):  # as a killed program leaves it
                shutil.copy(f"{path}{tail}", f"{killed}{tail}")
        logged = killed.with_name("killed.db-wal").stat().st_size / 1e6
        before = time.process_time()
        with Store(killed):
            spent = time.process_time() - before
        print(
            f"open after a kill, with a log of {logged:.1f} MB: {1e3 * spent:.0f} ms processor time"
        )
        size = path.stat().st_size / 1e6
        before = time.perf_counter()
        with Store(path) as store:
            latest = store.latest()
            assert latest is not None
            open_session(store, latest)
            taken_up = time.perf_counter() - before
            before = time.perf_counter()
            summarise(latest, store.events(latest))
        print(
            f"file {size:.0f} MB; open and take up again {taken_up:.2f} s; "
            f"report {time.perf_counter() - before:.2f} s"
        )


if __name__ == "__main__":
    main()
