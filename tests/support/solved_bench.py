"""Photos of a synthetic bench, solved, and how far its light then misses."""

from __future__ import annotations

import numpy as np

from calibration.observations import PhotoObservation
from calibration.solve.fit import Solution, solve
from calibration.solve.values import Stated
from tests.support import synthetic_rig
from tests.support.synthetic_rig import Bench

GRID = synthetic_rig.grid()
CAREFUL = Stated(laid=0.05, bar=100.0)


def photos(
    bench: Bench,
    rng: np.random.Generator,
    flat: int,
    raised: int = 0,
    noise: float = 0.05,
    camera: synthetic_rig.TrueLens | None = None,
) -> list[PhotoObservation]:
    lens = camera or synthetic_rig.phone(rng)
    return [
        bench.photo(
            synthetic_rig.posed(lens, rng), rng, noise, 10.0 * (k >= flat), f"photo-{k + 1}.jpg"
        )
        for k in range(flat + raised)
    ]


def off(bench: Bench, solution: Solution, height: float = 0.0) -> np.ndarray:
    """Where light lands less where it is meant, mm, over the whole platen."""
    return bench.landing(solution.map.projector_from_platen(GRID, height), height) - GRID


def rms(vectors: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.sum(vectors**2, axis=1))))


def solved(bench: Bench, seen: list[PhotoObservation], stated: Stated = CAREFUL) -> Solution:
    return solve(seen, bench.cards, bench.pattern, bench.face, stated)
