"""A scanner found again from where its crosses land, the landings traced mirror by mirror."""

import math

import numpy as np
import pytest

from calibration.model.scanner import ScannerMap
from calibration.refusal import Refusal
from calibration.solve.scanner import fit_scanner
from tests.calibration.model.test_scanner import traced

FULL = math.radians(40)
GRID = [(x, y) for y in (-0.55, 0.0, 0.55) for x in (-0.45, 0.0, 0.45)]


def landings(signals, bend=0.0):
    """Return where a traced scanner 1010 above the platen lands; its drives bend by a cubic."""
    angles = np.array(signals) * FULL / 2
    return np.array([traced(a - bend * a**3, b - bend * b**3, 14.0, 1010.0) for a, b in angles])


def test_nine_exact_crosses_give_the_scanner_back():
    stated = ScannerMap.hung((5.0, -8.0, 1000.0), FULL * 1.02)
    fit = fit_scanner(landings(GRID), GRID, stated, noise=0.05)
    rng = np.random.default_rng(2)
    others = rng.uniform(-0.5, 0.5, (40, 2))
    off = np.hypot(*(fit.scanner.platen_from_signal(others) - landings(others)).T)
    assert off.max() < 0.05
    assert not fit.scanner.swapped


def test_which_signal_drives_the_first_mirror_is_found():
    swapped = ScannerMap.hung((0.0, 0.0, 1000.0), FULL, 30.0, swapped=True)
    seen = swapped.platen_from_signal(GRID)
    fit = fit_scanner(seen, GRID, ScannerMap.hung((0.0, 0.0, 1000.0), FULL), noise=0.02)
    assert fit.scanner.swapped


@pytest.mark.proof
def test_the_bound_holds_what_it_says():
    """Over benches drawn as the priors say: at least 95 of 100 points lie within the bound."""
    rng = np.random.default_rng(11)
    held = []
    for _ in range(25):
        place = np.array([0.0, 0.0, 1000.0])
        true = ScannerMap.hung(place + rng.normal(0, 15, 3), FULL * (1 + rng.normal(0, 0.04)),
                               abs(rng.normal(12, 8)))  # fmt: skip
        seen = true.platen_from_signal(GRID) + rng.normal(0, 0.3, (9, 2))
        fit = fit_scanner(seen, GRID, ScannerMap.hung(place, FULL))
        points = rng.uniform((-150, -200), (150, 200), (20, 2))
        for height in (0.0, 10.0):
            lands = true.platen_from_signal(fit.scanner.signal_from_platen(points, height), height)
            held += list(np.hypot(*(lands - points).T) <= fit.bound(points, height))
    assert np.mean(held) >= 0.95


def test_numbers_that_do_not_belong_together_are_refused():
    seen = landings(GRID)
    seen[[0, 8]] = seen[[8, 0]]
    with pytest.raises(Refusal, match="which number belongs to which cross"):
        fit_scanner(seen, GRID, ScannerMap.hung((0.0, 0.0, 1000.0), FULL))
    with pytest.raises(Refusal, match="measure 6 or more"):
        fit_scanner(seen[:5], GRID[:5], ScannerMap.hung((0.0, 0.0, 1000.0), FULL))
