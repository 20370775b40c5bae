"""Several presses at one queue: kills, server restarts and cut lines; lost, doubled, left over.

``python -m benchmarks.presses [--pieces 10000] [--presses 8] [--kills 60] [--restarts 4]``
(needs ``fork`` and Debian's postgresql, which it starts itself in a folder of its own)

Every press is a process with a record of its own, as `chalkbeam run` has it: it claims, presses,
and its link sends what it did up beside that. It says each press on a pipe once that is recorded.
The parent kills processes (SIGKILL), stops the server in the middle (immediate mode, as a crash)
and starts it again, and cuts connections at random in a proxy of its own. A press that was killed
begins again with its record. In the end every press that was said is in the database, none is
there twice, and nothing is left over.

Then: claims a second at the queue beside the least that any program could do at this server (one
statement and its commit, by the driver alone), from one run; and how long an order takes to be
opened where the queue has seen a million acts.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import select
import signal
import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import sqlalchemy as sa

from benchmarks._cut_proxy import CutProxy
from benchmarks.kills import pieces
from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import plan
from chalkbeam.presses import claims, conflicts, following, shared_runs, tables
from chalkbeam.presses.address import Address, read_address
from chalkbeam.presses.beginning import add_run
from chalkbeam.presses.claims import Wish
from chalkbeam.presses.engine import Queue
from chalkbeam.presses.faults import Unreachable
from chalkbeam.presses.link import QueueLink
from chalkbeam.presses.lots import lots_of
from chalkbeam.presses.news import FromQueue
from chalkbeam.presses.taking_part import Press, TakingPart
from chalkbeam.record import snapshot
from chalkbeam.record.events import Step
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from tests.support.postgres import MISSING, PostgresServer, postgres, programs
from tests.support.shared_order import a_heading

OF_ORDER = 250
"""Pieces of an order."""


def put_in(queue: Queue, count: int) -> list[str]:
    """Put orders with so many pieces in all into the queue; return their ids."""
    found = []
    for first in range(0, count, OF_ORDER):
        stops = plan(pieces(min(OF_ORDER, count - first))).stops
        heading = a_heading(
            title=f"order {first}", digest=str(first), work=snapshot.dump(stops, 0, 0)
        )
        lots = lots_of(stops, 8)
        found.append(queue.transact(lambda c, h=heading, p=lots: add_run(c, h, p)))
    return found


# -- a press ---------------------------------------------------------------------------------


def work(address: Address, folder: Path, name: str, pipe: int, seed: int) -> None:
    """Work the orders of the queue to their end, saying each press once it is recorded."""
    chance = random.Random(seed)
    with Store(folder / name / "record.db") as store:
        part = TakingPart(store, address, Press(name, "here"))
        while True:
            queue = part.try_queue()
            if queue is None:
                time.sleep(0.2)
                continue
            try:
                left = [
                    each.id
                    for each in queue.transact(shared_runs.headings)
                    if not finished(queue, each.id)
                ]
                if not left:
                    break
                for run in left:
                    work_one(part, run, pipe, chance)
            except Unreachable:
                time.sleep(0.2)
        part.close()


def finished(queue: Queue, run: str) -> bool:
    """Whether nothing of an order is left for anyone."""
    count = sa.select(tables.runs.c.imprints).where(tables.runs.c.id == run)
    return bool(
        queue.transact(
            lambda c: shared_runs.ended_imprints(c, run) >= c.execute(count).scalar_one()
        )
    )


def work_one(part: TakingPart, run_id: str, pipe: int, chance: random.Random) -> None:
    run, _ = part.take_up(run_id)
    session = open_session(part.store, run)
    session.progress.hear(part.heard(run_id))
    if session.progress.stop is None:
        return
    link, news = QueueLink(part, run), list[FromQueue]()
    link.notice(session.progress)
    link.listen(news.append)
    idle = 0
    while idle < 10:
        while news:
            each = news.pop(0)
            mine = session.progress.mine or frozenset()
            for claim in each.claimed:
                session.claim(claim.id, [piece for piece in claim.pieces if piece not in mine])
            if each.lost:
                session.give(each.lost)
            if each.elsewhere is not None:
                session.progress.hear(each.elsewhere)
        link.notice(session.progress)
        stop = session.progress.stop
        if stop is None:
            idle += 1
            time.sleep(0.1)
            continue
        idle = 0
        session.step(Step.LAY)
        session.press({"x": 0.0, "y": 0.0, "angle": 0.0})
        act = session.progress.undoable
        assert act is not None
        os.write(pipe, f"{act.id} {run_id} {stop.imprint.id}\n".encode())
        time.sleep(chance.uniform(0.0, 0.02))
    link.close()


class Child:
    """A press's process, started again whenever it was killed."""

    def __init__(self, begin: Callable[[int, int], None], name: str) -> None:
        self.name, self._begin, self._lives = name, begin, 0
        self.said: list[str] = []
        self.over = False
        self._rest = b""
        self.start()

    def start(self) -> None:
        """Begin a life."""
        self._lives += 1
        self.pipe, writing = os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            os.close(self.pipe)
            try:
                self._begin(writing, self._lives)
                os._exit(0)
            except BaseException as error:
                os.write(2, f"{self.name}: {error!r}\n".encode())
                os._exit(1)
        os.close(writing)
        self._rest = b""

    def listen(self) -> None:
        """Take what it says; at its end see how it ended."""
        some = os.read(self.pipe, 1 << 16)
        self._rest += some
        *words, self._rest = self._rest.split(b"\n")
        self.said += [word.decode() for word in words]
        if some:
            return
        os.close(self.pipe)
        _, status = os.waitpid(self.pid, 0)
        if os.WIFEXITED(status) and os.WEXITSTATUS(status) == 0:
            self.over = True
        else:
            self.start()

    def kill(self) -> None:
        """End its life at once."""
        os.kill(self.pid, signal.SIGKILL)


def kills(options: argparse.Namespace) -> bool:
    """Press everything under kills, restarts and cuts; print what became of it."""
    chance = random.Random(options.seed)
    with tempfile.TemporaryDirectory() as folder, postgres() as server:
        proxy = CutProxy(server.port)
        direct = read_address(server.address)
        cut_off = read_address(server.address.replace(f":{server.port}", f":{proxy.port}"))
        with Queue(direct) as queue:
            put_in(queue, options.pieces)
        # No connection may be open where a process is forked.
        begun = time.perf_counter()
        children = [
            Child(
                lambda pipe, life, n=number: work(
                    cut_off, Path(folder), f"press {n}", pipe, 1000 * n + life
                ),
                f"press {number}",
            )
            for number in range(options.presses)
        ]
        done = {"kills": 0, "restarts": 0}
        progress = 0
        due = options.pieces / (options.kills + 1)
        restart_due = options.pieces / (options.restarts + 1)
        cut_at = time.perf_counter()
        while any(not child.over for child in children):
            living = [child for child in children if not child.over]
            ready, _, _ = select.select([child.pipe for child in living], [], [], 0.2)
            for child in living:
                if child.pipe in ready:
                    child.listen()
            progress = sum(len(child.said) for child in children)
            if progress > due * (done["kills"] + 1) and done["kills"] < options.kills:
                done["kills"] += 1
                chance.choice(living).kill()
            if progress > restart_due * (done["restarts"] + 1) and (
                done["restarts"] < options.restarts
            ):
                done["restarts"] += 1
                server.stop()
                time.sleep(chance.uniform(0.0, 2.0))
                server.start()
            if time.perf_counter() - cut_at > 2.0:
                cut_at = time.perf_counter()
                proxy.cut(0.2, chance)
        took = time.perf_counter() - begun
        proxy.close()
        with Queue(direct) as queue:
            found = queue.transact(lambda c: examined(c, children))
    found |= done | {"cuts": proxy.cuts, "presses": options.presses, "seconds": round(took, 1),
                     "pressed_a_second": round(options.pieces / took, 1)}  # fmt: skip
    print(json.dumps(found))
    return not any(found[name] for name in ("lost", "doubled", "left_over", "conflicts"))


def examined(connection: sa.Connection, children: list[Child]) -> dict[str, float]:
    """Compare what was said with what is in the database."""
    acts, outcomes, runs = tables.acts, tables.outcomes, tables.runs
    rows = connection.execute(
        sa.select(acts.c.id, acts.c.run, acts.c.imprint).where(acts.c.kind == "pressed")
    ).all()
    said = [word.split()[0] for child in children for word in child.said]
    there = Counter(row.id for row in rows)
    per_imprint = Counter((row.run, row.imprint) for row in rows)
    total = connection.execute(sa.select(sa.func.sum(runs.c.imprints))).scalar_one()
    ended = connection.execute(sa.select(sa.func.count()).select_from(outcomes)).scalar_one()
    return {
        "imprints": int(total),
        "said": len(said),
        "lost": sum(own not in there for own in said),
        "doubled": sum(count - 1 for count in per_imprint.values()),
        "left_over": int(total) - int(ended),
        "conflicts": len(conflicts.open_conflicts(connection)),
    }


# -- claims a second -------------------------------------------------------------------------

_PLAIN = """UPDATE plain SET claim = %s WHERE lot = (SELECT lot FROM plain WHERE claim IS NULL
ORDER BY lot LIMIT 1 FOR UPDATE SKIP LOCKED) RETURNING lot"""


def claims_a_second(server: PostgresServer, presses: int, each: int) -> None:
    """Claim at the queue, and by one statement of the driver alone; print both rates."""
    import psycopg

    address = read_address(server.address)
    with Queue(address) as queue:
        # Lots of one piece, as a pile of one is.
        stops = plan(pieces(presses * each)).stops
        heading = a_heading(work="{}")
        run = queue.transact(lambda c: add_run(c, heading, lots_of(stops, 1)))
        for number in range(presses):
            queue.transact(
                lambda c, n=number: claims.enter(c, f"rate {n}", f"rate {n}", "here", Wish())
            )
    with psycopg.connect(server.address) as plain:
        plain.execute("CREATE TABLE plain (lot BIGINT PRIMARY KEY, claim TEXT)")
        plain.execute(
            "INSERT INTO plain SELECT n, NULL FROM generate_series(1, %s) n", (presses * each,)
        )

    def at_queue(number: int) -> list[float]:
        with Queue(address) as queue:
            return timed(
                lambda n: queue.transact(
                    lambda c: claims.claim(c, f"rate {number}", f"{number} {n}", run, Wish())
                ),
                each,
            )

    def plainly(number: int) -> list[float]:
        with psycopg.connect(server.address) as plain:

            def claim(n: int) -> None:
                plain.execute(_PLAIN, (f"{number} {n}",))
                plain.commit()

            return timed(claim, each)

    rates = {}
    for name, act in (("plain", plainly), ("queue", at_queue)):
        begun = time.perf_counter()
        spent = together(act, presses)
        rates[name] = presses * each / (time.perf_counter() - begun)
        print(
            f"{name}: {rates[name]:.0f} claims a second by {presses} processes, "
            f"median {1e3 * statistics.median(spent):.1f} ms"
        )
    print(f"the queue's rate is {rates['queue'] / rates['plain']:.2f} of the plain database's")


def timed(act: Callable[[int], object], count: int) -> list[float]:
    found = []
    for number in range(count):
        before = time.perf_counter()
        act(number)
        found.append(time.perf_counter() - before)
    return found


def together(act: Callable[[int], list[float]], count: int) -> list[float]:
    """Return what processes of their own give, all at once."""
    ways = []
    for number in range(count):
        reading, writing = os.pipe()
        if os.fork() == 0:
            with os.fdopen(writing, "w") as way:
                json.dump(act(number), way)
            os._exit(0)
        os.close(writing)
        ways.append(reading)
    found: list[float] = []
    for way in ways:
        with os.fdopen(way) as answer:
            found += json.load(answer)
        os.wait()
    return found


# -- a million acts --------------------------------------------------------------------------


def resident() -> float:
    """Return the memory in use now, MB."""
    held = int(Path("/proc/self/statm").read_text().split()[1])
    return held * resource.getpagesize() / 1e6


def a_million(server: PostgresServer, count: int) -> None:
    """Fill the queue with acts and print how long an order takes to be opened."""
    import psycopg

    address = read_address(server.address)
    orders, moved = 500, {"x": 0.1, "y": 0.0, "batch": ""}
    with Queue(address) as queue:
        run = put_in(queue, OF_ORDER)[0]
        press = "many"
        queue.transact(lambda c: claims.enter(c, press, press, "here", Wish()))

        def opened() -> int:
            def read(connection: sa.Connection) -> int:
                there = shared_runs.shared_run(connection, run)
                news = following.look(connection, "another", run, {})
                return len(there.stops) + sum(map(len, news.events.values()))

            return queue.transact(read)

        def fill() -> None:
            with psycopg.connect(server.address) as plain:
                plain.execute(
                    "INSERT INTO acts SELECT 'many', n, 'many ' || n, CASE WHEN n %% %s = 0 "
                    "THEN %s ELSE 'order ' || n %% %s END, 'nudged', '2-1/1', '2-1', %s "
                    "FROM generate_series(1, %s) n",
                    (orders, run, orders, json.dumps({"data": moved}), count),
                )
                plain.execute("UPDATE presses SET last = %s WHERE id = 'many'", (count,))
                plain.commit()
                plain.autocommit = True
                plain.execute("ANALYZE")

        empty = statistics.median(timed(lambda n: opened(), 5))
        before = resident()
        fill()
        full = timed(lambda n: opened(), 9)
        print(
            f"opening an order of {OF_ORDER} pieces: {1e3 * empty:.0f} ms with nothing else there; "
            f"{1e3 * statistics.median(full):.0f} ms, worst {1e3 * max(full):.0f} ms, among "
            f"{count:,} acts ({opened()} stops and acts read), memory +{resident() - before:.1f} MB"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--pieces", type=int, default=10_000)
    parser.add_argument("--presses", type=int, default=8)
    parser.add_argument("--kills", type=int, default=60)
    parser.add_argument("--restarts", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--claims", type=int, default=100, help="claims of each press, for rates")
    parser.add_argument("--acts", type=int, default=1_000_000)
    parser.add_argument("--only", choices=["kills", "claims", "acts"])
    options = parser.parse_args()
    if programs() is None:
        sys.exit(MISSING)
    sound = True
    try:
        if options.only in (None, "kills"):
            sound = kills(options)
        if options.only != "kills":
            with postgres() as server:
                if options.only in (None, "claims"):
                    claims_a_second(server, options.presses, options.claims)
                if options.only in (None, "acts"):
                    a_million(server, options.acts)
    except Refusal as refusal:
        sys.exit(str(refusal))
    sys.exit(0 if sound else 1)


if __name__ == "__main__":
    main()
