"""How far light lands from where it is meant, on virtual rigs never used while tuning.

``python -m benchmarks.calibration [--rigs 20] [--camera phone|webcam|both] [--laying 0.4]
[--first 1000] [--jobs 2] [--keep FOLDER] [--csv FILE]``

Each rig is drawn from its own seed (from 1000 on), its photos are rendered and JPEG-coded,
and go through detection and the solver as any photos do. Errors are measured against the
rig's truth on 17 x 21 points over the whole platen, at each height, for one photo, three,
and three with one more on a 10 mm board, beside a chain of two `cv2.findHomography` calls
on the same detections.

``--laying`` is the standard deviation of each card's place in mm; with it go the card's
turn, the print's scale, a board of not quite the stated height and paper 0.1 mm thick.
At 0 everything lies exactly: what remains is what the photos themselves allow. The solver
does not know that and lets every card float, but for the set marked *told* (as with
``--laid 0.02mm``).

Two Cramér-Rao bounds of the same observations stand beside the errors. *Bound* knows what the
solver was told and no more: how well cards are laid (0.4 mm unless told, so ``--laying 0.4``
and ``--laying 0`` for *told* are the fair matches), that a print or a board's height may be off.
*Least* knows that cards, print and board are exactly in place, at ``--laying 0``, which nobody
tells the solver: no solver that must allow for them can reach it.

*Shape* is what one shift and turn of the light (a touch-up) cannot take out. Its ratio is
always to the bound with floating cards: their size is known, how they lie is not, so the
map's scale and shape rest on the cards' sizes.
"""

from __future__ import annotations

import argparse
import csv
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from benchmarks._truth import (
    Aim,
    Floats,
    half_pixel,
    lattice,
    missed_by,
    naive,
    rms,
    without_rigid,
)
from calibration.detect.observe import observe
from calibration.geometry import Points
from calibration.model.uncertainty import bound, landing_covariance, landing_slope
from calibration.observations import PhotoObservation
from calibration.photo.read import read_photo
from calibration.refusal import Refusal
from calibration.solve.fit import Solution, solve
from calibration.solve.least_squares import covariance
from calibration.solve.values import Stated
from calibration.targets.cards import layout
from calibration.targets.pattern import Pattern
from chalkbeam.simulator.rig import VirtualRig, random_rig, write_photo
from chalkbeam.simulator.rig.rigs import CameraKind

HEIGHTS = (0.0, 1.0, 4.0, 10.0, 20.0)
SETS = {"1 photo": (1, 0), "3 photos": (3, 0), "3 + 1 raised": (3, 1)}
UNSEEN = "3 + 1, no edges"
"""With the platen's edges left out, as if something covered them."""
TOLD, TOLD_LAID = "3 + 1, told", 0.02
"""With cards laid exactly, and the solver told so, mm."""
NAIVE = "naive, 3 photos"


@dataclass(frozen=True)
class Row:
    """The errors of one method on one rig at one height, mm."""

    camera: str
    seed: int
    method: str
    height: float
    far: tuple[float, ...]
    """Distances at every point."""
    rms: float
    shape: float
    """Root mean square after one shift and turn of the light (the operator's touch-up)."""
    bound: float
    """What the Cramér-Rao bound of these observations predicts for `rms`."""
    least: float
    """The same if cards, print and board were known to be exactly in place."""
    shape_bound: float
    """The same for `shape`, the cards floating."""
    stated: float
    """The rig's own 95 % bound at the worst point; nan for what states none."""
    held: float
    """Share of points within the rig's own bound there."""
    half_pixel: float
    seconds: float
    """Of the solver."""


def render(rig: VirtualRig, names: Sequence[Path]) -> None:
    """Write the photos of a rig that are not there yet."""
    lit = rig.lit_pattern()
    for index, name in enumerate(names):
        view = rig.photos[index].view
        phone = max(view.size) > 2000  # a webcam writes neither its name nor its lens
        if not name.is_file():
            write_photo(
                rig.photo(index, lit),
                name,
                make="Virtual" if phone else "",
                view=view if phone else None,
            )


def photograph(rig: VirtualRig, camera: str, folder: Path) -> list[PhotoObservation]:
    """Render and detect every photo of a rig; leave out those that are refused."""
    cards, pattern = layout(rig.face), Pattern(rig.projector.view.size)
    laid = "laid" if rig.paper else "exact"
    names = [folder / f"{camera}-{rig.seed}-{laid}-{index + 1}.jpg" for index in range(4)]
    if not all(name.is_file() for name in names):
        render(rig, names)
    seen = []
    for name, shot in zip(names, rig.photos, strict=True):
        photo = read_photo(name)
        try:
            seen.append(observe(photo, cards, pattern, shot.spacer))
        except Refusal as refusal:
            print(f"  refused: {refusal}", file=sys.stderr)
    return seen


def measure(
    rig: VirtualRig,
    camera: str,
    method: str,
    aim: Aim,
    solution: Solution | None,
    seconds: float,
    exact: bool,
) -> list[Row]:
    """Return a row for each height."""
    points = lattice(rig.face)
    rows = []
    for height in HEIGHTS:
        missed = missed_by(rig, aim, points, height)
        far = np.hypot(*missed.T)
        bounds: tuple[float, ...] = (float("nan"),) * 3
        limits = np.full(len(points), np.nan)
        if solution is not None:
            bounds = predicted(solution, points, height, exact)
            fit = solution.fit
            spread = landing_covariance(solution.map, fit.matrix, points, height)
            limits = bound(spread, fit.freedom)
        rows.append(
            Row(
                camera=camera,
                seed=rig.seed,
                method=method,
                height=height,
                far=tuple(float(value) for value in far),
                rms=rms(missed),
                shape=rms(without_rigid(points, missed)),
                bound=bounds[0],
                least=bounds[1],
                shape_bound=bounds[2],
                stated=float(limits.max()),
                held=float(np.mean(far < limits)),
                half_pixel=half_pixel(rig, points, height),
                seconds=seconds,
            )
        )
    return rows


def predicted(solution: Solution, points: Points, height: float, exact: bool) -> tuple[float, ...]:
    """Return the bound on the root mean square miss, the least one, and that on its shape."""
    slope = landing_slope(solution.map, points, height)
    places = solution.problem.model.layout.map
    spread = covariance(solution.problem, solution.vector)
    floating = _modes(slope, spread[np.ix_(places, places)])
    held = _modes(slope, known_cards(solution)) if exact else np.full_like(floating, np.nan)
    shapes = np.stack([without_rigid(points, mode) for mode in np.moveaxis(floating, 2, 0)])
    return tuple(float(np.sum(modes**2) / len(points)) ** 0.5 for modes in (floating, held, shapes))


def _modes(slope: Floats, spread: Floats) -> Floats:
    """Return the independent ways to miss, one standard error of each, shape (N, 2, P)."""
    values, vectors = np.linalg.eigh(spread)
    scaled = vectors * np.sqrt(np.clip(values, 0, None))
    return np.asarray(np.einsum("nip,pq->niq", slope, scaled), np.float64)


def known_cards(solution: Solution) -> Floats:
    """Return the projector's covariance with cards, print and boards held at their places."""
    model = solution.problem.model
    layout_ = model.layout
    held = np.zeros(layout_.size, dtype=np.bool_)
    held[layout_.scale] = True
    for level, height in enumerate(model.levels):
        for card in range(len(model.plans)):
            held[layout_.card_pose(level, card)] = True
        if height:
            held[layout_.spacer_pose(level)] = True
            held[layout_.height_error(level)] = True
    problem = replace(solution.problem, free=solution.problem.free & ~held)
    return covariance(problem, solution.vector)[np.ix_(layout_.map, layout_.map)]


def study(seed: int, camera: str, laying: float, keep: Path | None) -> list[Row]:
    """Return everything measured on one rig."""
    cv2.setNumThreads(1)
    kind: CameraKind = "phone" if camera == "phone" else "webcam"
    paper = 0.1 if laying else 0.0
    rig = random_rig(seed, kind, photos=3, raised=1, laying=laying, paper=paper)
    with tempfile.TemporaryDirectory() as passing:
        seen = photograph(rig, camera, keep or Path(passing))
    flat = [photo for photo in seen if not photo.raised]
    raised = [photo for photo in seen if photo.raised]
    cards, pattern = layout(rig.face), Pattern(rig.projector.view.size)
    rows = []
    sets = SETS | {UNSEEN if laying else TOLD: SETS["3 + 1 raised"]}
    for method, (wanted, boards) in sets.items():
        used = [*flat[:wanted], *raised[:boards]]
        if len(used) < wanted + boards:
            print(f"  {camera} {seed}: too few good photos for {method}", file=sys.stderr)
            continue
        if method == UNSEEN:
            used = [replace(each, edges=()) for each in used]
        start = time.perf_counter()
        try:
            stated = Stated(laid=TOLD_LAID) if method == TOLD else Stated()
            solution = solve(used, cards, pattern, rig.face, stated)
        except Refusal as refusal:
            print(f"  {camera} {seed}, {method}: refused: {refusal}", file=sys.stderr)
            continue
        seconds = time.perf_counter() - start
        aim: Aim = solution.map.projector_from_platen
        rows += measure(rig, camera, method, aim, solution, seconds, not laying)
    if flat:
        rows += measure(rig, camera, NAIVE, naive(flat, cards, pattern), None, 0.0, not laying)
    return rows


def table(rows: Sequence[Row], camera: str) -> None:
    """Print what was measured with one kind of camera."""
    mine = [row for row in rows if row.camera == camera]
    if not mine:
        return
    rigs = len({row.seed for row in mine})
    print(f"\n{camera}, {rigs} rigs: mm between intended and landed light over the whole platen")
    print(
        f"{'':17}{'height':>7}{'RMS':>8}{'95 %':>8}{'max':>8}{'median':>8}{'worst':>8}"
        f"{'bound':>8}{'ratio':>7}{'least':>8}{'ratio':>7}{'shape':>8}{'ratio':>7}{'half px':>9}"
    )
    print(f"{'':17}{'mm':>7}{'':24}{'rig':>8}{'rig':>8}")
    for method in (*SETS, UNSEEN, TOLD, NAIVE):
        for height in HEIGHTS:
            part = [row for row in mine if row.method == method and row.height == height]
            if not part:
                continue
            each = np.array([row.rms for row in part])
            total, lowest, least, shape, shape_bound, half = (
                _joint([getattr(row, name) for row in part])
                for name in ("rms", "bound", "least", "shape", "shape_bound", "half_pixel")
            )
            far = np.concatenate([row.far for row in part])
            print(
                f"{method:17}{height:7.0f}{total:8.3f}{np.quantile(far, 0.95):8.3f}"
                f"{far.max():8.3f}{np.median(each):8.3f}{each.max():8.3f}"
                f"{lowest:8.3f}{total / lowest:7.2f}{least:8.3f}{total / least:7.2f}"
                f"{shape:8.3f}{shape / shape_bound:7.2f}{half:9.3f}"
            )
    best = [row for row in mine if row.method == "3 + 1 raised"]
    plain = [row for row in mine if row.method == NAIVE]
    for height in HEIGHTS:
        ours = {row.seed: row.rms for row in best if row.height == height}
        theirs = {row.seed: row.rms for row in plain if row.height == height}
        ratios = [theirs[seed] / ours[seed] for seed in ours if seed in theirs]
        over = sum(row.rms > row.half_pixel for row in best if row.height == height)
        if ratios:
            print(
                f"3 + 1 raised at {height:2.0f} mm: naive / ours median {np.median(ratios):6.1f}, "
                f"least {min(ratios):5.1f}; rigs over half a projector pixel: {over} of {len(ours)}"
            )
    for method in (*SETS, UNSEEN):
        own = [row for row in mine if row.method == method and row.height in Stated().heights]
        if own:
            print(
                f"{method}, up to {max(Stated().heights):g} mm: own bound median "
                f"{np.median([row.stated for row in own]):.2f} mm, "
                f"{np.mean([row.held for row in own]):.1%} of points within it, "
                f"all points on {np.mean([row.held == 1.0 for row in own]):.1%} of rigs"
            )
    for method in SETS:
        spent = [row.seconds for row in mine if row.method == method and row.height == 0]
        if spent:
            print(f"solver, {method}: median {np.median(spent):.2f} s, worst {max(spent):.2f} s")


def _joint(values: Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--rigs", type=int, default=20)
    parser.add_argument("--first", type=int, default=1000, help="seed of the first rig")
    parser.add_argument("--camera", choices=("phone", "webcam", "both"), default="both")
    parser.add_argument("--laying", type=float, default=0.0, help="mm, standard deviation")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="folder to keep rendered photos in and use again")
    parser.add_argument("--csv", type=Path, help="write every row here, too")
    options = parser.parse_args(argv)
    if options.keep:
        options.keep.mkdir(parents=True, exist_ok=True)
    cameras = ("phone", "webcam") if options.camera == "both" else (options.camera,)
    seeds = range(options.first, options.first + options.rigs)
    rows: list[Row] = []
    with ProcessPoolExecutor(options.jobs) as pool:
        for camera in cameras:
            look = partial(study, camera=camera, laying=options.laying, keep=options.keep)
            for found in pool.map(look, seeds):
                rows += found
                print(f"\r{camera}: {len({r.seed for r in rows if r.camera == camera})}",
                      end="", file=sys.stderr, flush=True)  # fmt: skip
            print(file=sys.stderr)
    print(f"cards laid with a standard deviation of {options.laying:g} mm; seeds {seeds}")
    for camera in cameras:
        table(rows, camera)
    if options.csv and rows:
        with options.csv.open("w", newline="", encoding="utf-8") as file:
            names = [name for name in asdict(rows[0]) if name != "far"]
            writer = csv.DictWriter(file, names, extrasaction="ignore")
            writer.writeheader()
            writer.writerows(asdict(row) for row in rows)


if __name__ == "__main__":
    main()
