"""The order of work: planning time, and how far from the least that is possible.

``python -m benchmarks.plan [--most 10000]``

*Mixed* orders draw styles, sizes, colours, up to two imprints, pads and names by chance from
short lists, as a club's order does; in *all different* ones nearly every piece has artwork of
its own. *Over bound* compares with a sum that no order can go below; the least possible lies
between the two.
"""

from __future__ import annotations

import argparse
import itertools
import time
from collections.abc import Sequence
from dataclasses import replace

from chalkbeam.orders.order_of_work import fit_as_listed, plan, total, walk
from chalkbeam.orders.pieces import Piece
from chalkbeam.orders.times import Times, format_duration
from chalkbeam.orders.visits import tasks_of
from tests.support.random_orders import random_order


def row(name: str, pieces: Sequence[Piece]) -> None:
    begun, worked = time.perf_counter(), time.process_time()
    planned = plan(pieces)
    seconds, work = time.perf_counter() - begun, time.process_time() - worked
    print(
        f"{name:14} {len(pieces):7} {len(planned.stops):8} {seconds:8.2f} s {work:8.2f} s"
        f" {planned.seconds / planned.bound - 1:9.1%}"
        f" {1 - planned.seconds / planned.as_listed:9.0%}"
        f" {1 - planned.seconds / planned.by_hand:9.0%}"
        f"   {format_duration(planned.seconds)}"
    )


def against_every_order(count: int) -> None:
    """Compare plans of up to 7 imprints with the cheapest of all their orders."""
    ratios = []
    for seed in range(count):
        pieces = random_order(seed, 4, artworks=2, sizes=2, most=2, lettering=0.1)
        kept = {imprint.id for imprint in [i for p in pieces for i in p.imprints][:7]}
        pieces = [replace(p, imprints=tuple(i for i in p.imprints if i.id in kept)) for p in pieces]
        tasks = [task for piece in pieces for task in tasks_of(piece, fit_as_listed)]
        best = min(
            total(walk(order, Times()))
            for order in itertools.permutations(tasks)
            if all(
                not after.imprint.follows or before.imprint.id == after.imprint.follows
                for before, after in itertools.pairwise(order)
            )
            and not order[0].imprint.follows
        )
        ratios.append(plan([p for p in pieces if p.imprints]).seconds / best)
    exact = sum(ratio < 1 + 1e-9 for ratio in ratios)
    print(
        f"\nAgainst every order of up to 7 imprints, {count} orders: the cheapest in {exact}, "
        f"{sum(ratios) / count - 1:.1%} dearer on average, at worst {max(ratios) - 1:.1%}."
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--most", type=int, default=10_000)
    parser.add_argument("--small", type=int, default=100, help="small orders tried exhaustively")
    options = parser.parse_args()
    print(
        "order           pieces imprints      time  processor over bound saved/list saved/hand"
        "   estimate"
    )
    for count in (60, 100, 1000, 5000, 10_000):
        if count <= options.most:
            row("mixed", random_order(1, count, artworks=8, sizes=9))
    for count in (1000, 10_000):
        if count <= options.most:
            row("all different", random_order(1, count, artworks=count, sizes=20))
    against_every_order(options.small)


if __name__ == "__main__":
    main()
