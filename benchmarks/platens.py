"""How far light lands off on further platens of a press, by one photo or three crosses.

``python -m benchmarks.platens [--benches 40] [--first 3000]``

Each bench (`tests.support.synthetic_rig`: another model of the world than the solver's, pixels by
`cv2.projectPoints`) is calibrated on a 16 x 20 in platen from three photos of a phone, cards laid
to 0.2 mm. Then each of five other platens lies up to 40 mm aside, 60 mm along and 40 mm above or
below, turned by 2 degrees and leaning by 0.1 (standard deviations), and is found from one photo of
cards in its corners, or from three crosses (four where it is wide) set to 0.15 mm and a height
measured to 0.5 mm (standard deviations). Told are the worst error over the platen, the bound there,
and how many platens had an error over its bound anywhere: a bound promises 95 of 100.
"""

from __future__ import annotations

import argparse
from collections import defaultdict

import numpy as np

from calibration.geometry import PlatenFace, Points
from calibration.model.uncertainty import bound, landing_covariance, over_platen
from calibration.refusal import Refusal
from calibration.rig.file import Rig
from calibration.rig.platens import crosses_wanted, find_by_crosses, find_by_photos
from calibration.solve.acceptance import examine
from calibration.solve.fit import Solution, solve
from calibration.solve.values import Cross, Stated
from tests.support import synthetic_rig
from tests.support.synthetic_rig import Bench, on_another_platen

FACES = {
    "15 x 15 in": PlatenFace(381.0, 381.0, 15.0),
    "sleeve 5 x 18 in": PlatenFace(127.0, 457.2, 15.0),
    "sleeve 4 x 16 in": PlatenFace(101.6, 406.4, 15.0),
    "pocket 6 x 6 in": PlatenFace(152.4, 152.4, 15.0),
    "cap 6.5 x 3.5 in": PlatenFace(165.1, 88.9, 15.0),
}
HEIGHTS = (0.0, 4.0, 10.0)
SETTING, RULER = 0.15, 0.5


def calibrated(bench: Bench, rng: np.random.Generator) -> Rig:
    """Return the press calibrated on its first platen."""
    lens = synthetic_rig.phone(rng)
    seen = [
        bench.photo(synthetic_rig.posed(lens, rng), rng, 0.05, raised)
        for raised in (0.0, 0.0, 10.0)
    ]
    found = solve(seen, bench.cards, bench.pattern, bench.face, Stated(bar=100.0))
    return Rig.of(found, "press", bench.face)


def by_photo(rig: Rig, other: Bench, rng: np.random.Generator) -> Solution:
    """Return the other platen found from one photo."""
    camera = synthetic_rig.posed(synthetic_rig.phone(rng), rng)
    photo = other.photo(camera, rng, 0.05, name="now.jpg", key="another phone")
    return find_by_photos(rig, other.face, [photo], Stated(bar=100.0))


def by_crosses(rig: Rig, other: Bench, height: float, rng: np.random.Generator) -> Solution:
    """Return the other platen found from as many crosses as it wants, and a ruler."""
    few = np.array([(-1, -1), (1, -1), (0, 1)])
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    marks = (few if crosses_wanted(other.face) == len(few) else corners) * (
        other.face.width / 2 - 15,
        other.face.depth / 2 - 15,
    )
    lit = np.column_stack([marks + rng.normal(0, SETTING, marks.shape), np.zeros(len(marks))])
    pairs = zip(marks, other.projector.project(lit), strict=True)
    set_ = [Cross((float(x), float(y)), (float(u), float(v))) for (x, y), (u, v) in pairs]
    return find_by_crosses(rig, other.face, set_, height + rng.normal(0, RULER), Stated())


def missed(other: Bench, found: Solution, points: Points, height: float) -> tuple[Points, Points]:
    """Return how far light lands off at points, and the bounds told, mm."""
    pixels = found.map.projector_from_platen(points, height)
    off = np.linalg.norm(other.landing(pixels, height) - points, axis=1)
    spread = landing_covariance(found.map, found.fit.matrix, points, height)
    return off, bound(spread, found.fit.freedom)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--benches", type=int, default=40)
    parser.add_argument("--first", type=int, default=3000)
    asked = parser.parse_args()
    errors: dict[tuple[str, str, float], list[tuple[float, float, bool]]] = defaultdict(list)
    refused: dict[tuple[str, str], int] = defaultdict(int)
    for seed in range(asked.first, asked.first + asked.benches):
        rng = np.random.default_rng(seed)
        bench = synthetic_rig.bench(rng, card_error=0.2)
        rig = calibrated(bench, rng)
        for name, face in FACES.items():
            middle = tuple(float(v) for v in rng.uniform((-40, -60, -40), (40, 60, 40)))
            turn, lean = rng.normal(0, np.radians(2.0)), np.radians(0.1)
            other = on_another_platen(bench, rng, face, middle, turn, lean, 0.2)
            points = over_platen(face, 15.0)
            for way in ("photo", "crosses"):
                try:
                    found = (
                        by_photo(rig, other, rng)
                        if way == "photo"
                        else by_crosses(rig, other, middle[2], rng)
                    )
                    examine(found, face)
                except Refusal:
                    refused[name, way] += 1
                    continue
                for height in HEIGHTS:
                    off, limits = missed(other, found, points, height)
                    worst = int(off.argmax())
                    errors[name, way, height].append(
                        (float(off[worst]), float(limits[worst]), bool((off > limits).any()))
                    )
    print(f"{asked.benches} benches; worst error over the platen, mm: median, 95 %, largest;")
    print("the median bound at that point; platens with an error over its bound; refused")
    for (name, way, height), found_ in errors.items():
        off, limit, over = np.array(found_, dtype=float).T
        print(
            f"{name:18} {way:8} {height:4.0f} mm up: {np.median(off):.2f} "
            f"{np.quantile(off, 0.95):.2f} {off.max():.2f}; bound {np.median(limit):.2f}; "
            f"over {int(over.sum())} of {len(found_)}; refused {refused[name, way]}"
        )
    every = [beyond for found_ in errors.values() for *_, beyond in found_]
    print(f"over their bound: {sum(every)} of {len(every)}; the bounds promise 95 of 100")


if __name__ == "__main__":
    main()
