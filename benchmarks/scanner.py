"""Scanners: how often load lines are drawn, and how right the two-mirror model is.

``python -m benchmarks.scanner [--benches 40]``

The benches are two flat mirrors traced ray by ray, their drives bent by a cubic, hung beside and
turned from their stated place. *Nine crosses* are measured by a ruler to 0.3 mm; *the eye* stands
for a calibrated camera that finds 25 spots to 0.1 mm (the camera itself is not simulated).
"""

from __future__ import annotations

import argparse
import math
from dataclasses import replace

import numpy as np

from calibration.geometry import PlatenFace, Points
from calibration.model.uncertainty import over_platen
from calibration.refusal import Refusal
from calibration.solve.scanner import fit_scanner
from chalkbeam.garments import garment
from chalkbeam.lasers.blanks import blank_art
from chalkbeam.lasers.frames import GUIDES, lay_frame, load_frame
from chalkbeam.lasers.scanner import ScannerUnit
from chalkbeam.locations import location
from chalkbeam.placement import place
from chalkbeam.placement.loading import load
from chalkbeam.placement.platens import platen
from overlay.laser.paths import beam_path
from tests.calibration.model.test_scanner import reflected, turned

FACE = PlatenFace(406.4, 508.0, 15.0)
FULL = math.radians(40)
UNIT = ScannerUnit("", "2", 20_000.0, math.radians(8), FULL, (0.0, 0.0, 1150.0))


class Bench:
    """A traced scanner with errors of its own."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.place = np.array(UNIT.place) + rng.normal(0, 15, 3)
        axis = rng.normal(size=3)
        self.axis, self.turn = axis / np.linalg.norm(axis), rng.normal(0, 0.03)
        self.gap = rng.uniform(6, 20)
        self.gain = 1 + rng.normal(0, 0.03, 2)
        self.bend = rng.normal(0, 0.03, 2)

    def lands(self, signals: Points, height: float) -> Points:
        """Return where the beam lands, platen frame, mm."""
        x, y, z = np.eye(3)
        found = []
        for signal in signals:
            t = signal * FULL / 2 * self.gain
            first, second = t + self.bend * t**3
            n1 = turned((x + y) / math.sqrt(2), z, first / 2)
            n2 = turned((y - z) / math.sqrt(2), x, second / 2)
            point, along = reflected(np.array([-50.0, self.gap, 0.0]), x, self.gap * y, n1)
            point, along = reflected(point, along, np.zeros(3), n2)
            point, along = (turned(each, self.axis, self.turn) for each in (point, along))
            point = point + self.place
            found.append((point + (height - point[2]) / along[2] * along)[:2])
        return np.array(found)


def rates() -> None:
    print("load lines and sheet, rounds a second (a crew tee M's left chest on 16 x 20 in)")
    print(f"{'kpps':>6}{'points/round':>14}{'with seams':>12}{'without':>10}{'sheet, cross':>14}")
    worn, where = garment("crew_tee", "M"), location("left-chest")
    placement = place(worn, where, blank_art(where, worn.age))
    loading = load(placement, platen("16x20in"))
    full, lay = load_frame(placement, loading), lay_frame(placement, loading)
    fewer = [line for line in full if line.name != GUIDES]
    for kpps in (8, 12, 20, 30, 40):
        unit = replace(UNIT, points_a_second=1000.0 * kpps)
        paths = [
            beam_path(lines, unit.scanner.signal_from_platen, unit.pace)
            for lines in (full, fewer, lay)
        ]
        cells = [path.rate(unit.points_a_second) for path in paths]
        print(f"{kpps:6}{len(paths[0].signals):14}{cells[0]:12.0f}{cells[1]:10.0f}{cells[2]:14.0f}")


def model(benches: int) -> None:
    grid = {
        "nine crosses, ruler": (3, 0.3),
        "25 spots, eye": (5, 0.1),
    }
    points = over_platen(FACE, 60.0)
    print(f"\nscanner model, mm rms / worst over the platen, {benches} benches")
    print(f"{'':22}" + "".join(f"{height:>16g} mm" for height in (0, 4, 10, 20)) + "   in bound")
    for words, (count, noise) in grid.items():
        off: dict[float, list[np.ndarray]] = {height: [] for height in (0.0, 4.0, 10.0, 20.0)}
        held, refused = [], 0
        rng = np.random.default_rng(5)
        for _ in range(benches):
            bench = Bench(rng)
            x, y = np.meshgrid(np.linspace(-160, 160, count), np.linspace(-210, 210, count))
            places = np.column_stack([x.ravel(), y.ravel()])
            signals = UNIT.stated.signal_from_platen(places)
            seen = bench.lands(signals, 0.0) + rng.normal(0, noise, signals.shape)
            try:
                fit = fit_scanner(seen, signals, UNIT.stated, 0.0, noise)
            except Refusal:
                refused += 1
                continue
            for height, found in off.items():
                lands = bench.lands(fit.scanner.signal_from_platen(points, height), height)
                found.append(np.hypot(*(lands - points).T))
                held.append(found[-1] <= fit.bound(points, height))
        cells = [f"{np.sqrt(np.mean(np.square(each))):.2f} / {np.max(each):.2f}"
                 for each in off.values()]  # fmt: skip
        row = "".join(f"{cell:>19}" for cell in cells)
        told = f", {refused} refused" if refused else ""
        print(f"{words:22}{row}{100 * np.mean(held):10.1f} %{told}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--benches", type=int, default=40)
    rates()
    model(parser.parse_args().benches)


if __name__ == "__main__":
    main()
