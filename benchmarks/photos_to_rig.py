"""From photo files to a rig file: time of each step, on the sample photos of 12 MP.

``python -m benchmarks.photos_to_rig [--repeats 5]``

Wall time, the photos read and searched on two threads as `calibrate` and the demo do it,
and the processor time of all threads. Rendering is no part of it.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from calibration.detect.observe import observe
from calibration.observations import PhotoObservation
from calibration.photo.read import read_photo
from calibration.rig.file import Rig, save
from calibration.solve.fit import solve
from calibration.targets.cards import layout
from calibration.targets.pattern import Pattern
from chalkbeam.placement.platens import platen
from chalkbeam.simulator.demo import PLATEN, samples
from chalkbeam.simulator.rig.stage import SAMPLE_PHOTOS, SAMPLE_SPACER

SETS = {"1 photo": (0,), "3 photos": (0, 1, 2), "3 + 1 raised": (0, 1, 2, 3)}


def once(chosen: Sequence[int], target: Path) -> tuple[float, ...]:
    """Return wall seconds of reading and finding, of solving and writing, and CPU seconds."""
    face = platen(PLATEN).face
    cards, pattern = layout(face), Pattern((1920, 1080))

    def look(number: int) -> PhotoObservation:
        photo = read_photo(samples() / SAMPLE_PHOTOS[number])
        return observe(photo, cards, pattern, SAMPLE_SPACER if number == 3 else 0.0)

    start, busy = time.perf_counter(), time.process_time()
    with ThreadPoolExecutor(2) as pool:
        seen = list(pool.map(look, chosen))
    found = time.perf_counter()
    solution = solve(seen, cards, pattern, face)
    rig = Rig("timed", face, solution.map, solution.fit, photos=solution.photos)
    save(rig, target)
    end = time.perf_counter()
    return found - start, end - found, end - start, time.process_time() - busy


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--repeats", type=int, default=5)
    options = parser.parse_args(argv)
    print(f"{'seconds: median':16}{'find':>8}{'solve':>8}{'all':>8}{'worst':>8}{'CPU':>8}")
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "rig.json"
        once((0,), target)  # what is loaded once is no part of it
        for name, chosen in SETS.items():
            spent = np.array([once(chosen, target) for _ in range(options.repeats)])
            find, work, whole, busy = np.median(spent, axis=0)
            worst = spent[:, 2].max()
            print(f"{name:16}{find:8.2f}{work:8.2f}{whole:8.2f}{worst:8.2f}{busy:8.2f}")


if __name__ == "__main__":
    main()
