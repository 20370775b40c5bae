"""How often noise alone is offered as a house rule, and after how many orders a taste is.

``python -m benchmarks.taste [shops [seed]]``

Invented shops of six kinds of prints and sixty orders each. Noise, per order: the operator lays, or
reads the light, a little beside on that day (normal, 2.5 mm); per piece: 2 mm; what is below 1 mm
is not moved. *Heavy tails* draw both from Student's t of three degrees of freedom, *drifting* lets
the day's part go over into the next order (a half of it), *batches* move the first piece and let
the rest of the order follow, and the *rig is off* by 6 mm for all prints alike, for ten orders at a
time. A taste is a move of one kind of print, on top of the same noise.

Told are shops with at least one false offer in all their orders, of how many, and of shops with a
taste the median number of orders of that kind until it was offered.
"""

from __future__ import annotations

import sys

import numpy as np
from numpy.random import Generator

from chalkbeam.record.taste import Decision, TasteGroup, beyond, habits

GROUPS = tuple(TasteGroup("crew_tee", "adult", f"place-{number}") for number in range(6))
ORDERS = 60
DAY, PIECE, LEAST = 2.5, 2.0, 1.0
KINDS = ("noise", "heavy tails", "drifting", "batches", "rig is off")


def draw(rng: Generator, kind: str, size: float, shape: tuple[int, ...]) -> np.ndarray:
    """Return moves of a size, mm."""
    if kind == "heavy tails":
        return np.asarray(size * rng.standard_t(3, shape))
    return np.asarray(rng.normal(0.0, size, shape))


def history(
    rng: Generator, kind: str, taste: tuple[float, float] | None = None, orders: int = ORDERS
) -> list[list[Decision]]:
    """Return what the orders of one shop say; a taste is of the first kind, right and down."""
    runs: list[list[Decision]] = []
    day = np.zeros(2)
    for number in range(orders):
        keep = 0.5 if kind == "drifting" else 0.0
        day = keep * day + draw(rng, kind, DAY, (2,)) * np.sqrt(1 - keep**2)
        off = np.array([0.0, 6.0]) if kind == "rig is off" and number // 10 % 2 else np.zeros(2)
        present = [group for group in GROUPS if rng.random() < 0.5] or [GROUPS[0]]
        moved = {}
        for group in present:
            own = np.zeros(2) if taste is None or group is not GROUPS[0] else np.array(taste)
            count = int(rng.integers(1, 25))
            laid = day + draw(rng, kind, DAY / 2, (2,))  # that day, for that kind of print
            each = laid + off + own + draw(rng, kind, PIECE, (count, 2))
            if kind == "batches":
                each = np.repeat(each[:1], count, axis=0)
            each = np.where(np.hypot(*each.T)[:, None] < LEAST, 0.0, np.round(each))
            moved[group] = each
        for group, each in moved.items():
            others = [pieces for other, pieces in moved.items() if other is not group]
            common = np.median(np.vstack(others), axis=0) if others else np.zeros(2)
            right, down = (
                np.median([beyond(own, shared) for own in axis])
                for axis, shared in zip(each.T, common, strict=True)
            )
            month = frozenset({f"calibration {number // 15}"})
            decision = Decision(group, float(right), float(down), (0.0, 0.0), len(each), month,
                                bool(others))  # fmt: skip
            runs.append([*(runs.pop() if runs and group is not present[0] else []), decision])
    return runs


def first_offer(runs: list[list[Decision]], group: TasteGroup | None) -> int | None:
    """Return after how many orders a group (None: any) was first offered; None if never."""
    for number in range(1, len(runs) + 1):
        found = habits(runs[:number])
        if any(group in (None, each.group) for each in found):
            return number
    return None


def false_offers(kind: str, shops: int, seed: int) -> int:
    """Return how many shops were offered anything."""
    return sum(
        first_offer(history(np.random.default_rng((seed, shop)), kind), None) is not None
        for shop in range(shops)
    )


def orders_until(down: float, shops: int, seed: int) -> list[float]:
    """Return after how many orders with it each shop was offered its taste; infinite if never."""
    found = []
    for shop in range(shops):
        runs = history(np.random.default_rng((seed, shop)), "noise", (0.0, down))
        after = first_offer(runs, GROUPS[0])
        said = runs[:after] if after is not None else []
        count = sum(any(each.group == GROUPS[0] for each in run) for run in said)
        found.append(float(count) if after is not None else float("inf"))
    return found


def main() -> None:
    shops = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 11
    print(f"{shops} shops, {len(GROUPS)} kinds of prints, {ORDERS} orders each")
    for kind in KINDS:
        print(f"{kind:12} false offers in {false_offers(kind, shops, seed)} shops")
    for down in (-6.35, -9.5, -12.7, -19.0):
        until = orders_until(down, shops // 4, seed + 1)
        never = sum(np.isinf(until))
        print(
            f"taste {down:6.2f} mm: offered after {np.median(until):.0f} orders with it (median), "
            f"never in {never} of {len(until)}"
        )


if __name__ == "__main__":
    main()
