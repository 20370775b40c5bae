import numpy as np
import pytest

from calibration import pipeline
from calibration.refusal import Refusal
from tests.calibration.synthetic import FACE, bench, grid, phone, posed


def calibrated(monkeypatch, key):
    """Calibrate from three photos that two phones took, all under one key."""
    rng = np.random.default_rng(12)  # lenses that differ much
    truth = bench(rng)
    lenses = [phone(rng), phone(rng)]
    seen = tuple(
        truth.photo(posed(lenses[k % 2], rng), rng, name=f"{k}.jpg", key=key) for k in range(3)
    )
    monkeypatch.setattr(pipeline, "look", lambda *_: ((), seen))
    return truth, pipeline.calibrate([], FACE, truth.pattern.size)


def test_photos_that_do_not_name_their_camera_may_come_from_two(monkeypatch):
    truth, done = calibrated(monkeypatch, "unknown camera 4032x3024")
    points = grid()
    landed = truth.landing(done.solution.map.projector_from_platen(points))
    assert np.linalg.norm(landed - points, axis=1).max() < 0.25


def test_photos_of_one_named_camera_share_its_lens(monkeypatch):
    with pytest.raises(Refusal):
        calibrated(monkeypatch, "Phone 4032x3024")
