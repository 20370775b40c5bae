from dataclasses import replace

import numpy as np
import pytest

from calibration.model.coverage import unlit
from calibration.refusal import Refusal, RemedyKind
from calibration.rig import from_photos
from calibration.solve.values import Stated
from tests.support.remedies import kinds
from tests.support.synthetic_rig import FACE, bench, grid, phone, posed


def calibrated(monkeypatch, key):
    """Calibrate from three photos that two phones took, all under one key."""
    rng = np.random.default_rng(12)  # lenses that differ much
    truth = bench(rng)
    lenses = [phone(rng), phone(rng)]
    seen = tuple(
        truth.photo(posed(lenses[k % 2], rng), rng, name=f"{k}.jpg", key=key) for k in range(3)
    )
    monkeypatch.setattr(from_photos, "read_and_observe", lambda *_: ((), seen))
    return truth, from_photos.calibrate([], FACE, truth.pattern.size, part_lit=True)


@pytest.mark.proof
def test_photos_that_do_not_name_their_camera_may_come_from_two(monkeypatch):
    truth, done = calibrated(monkeypatch, "unknown camera 4032x3024")
    points = grid()
    landed = truth.landing(done.solution.map.projector_from_platen(points))
    assert np.linalg.norm(landed - points, axis=1).max() < 0.25


@pytest.mark.proof
def test_photos_of_one_named_camera_share_its_lens(monkeypatch):
    with pytest.raises(Refusal):
        calibrated(monkeypatch, "Phone 4032x3024")


def stitched(photo, seam):
    """A panorama of two shots whose right one is `seam` px too low, joined within 80 px."""

    def joined(corner):
        x, y = corner.pixel
        share = 1 / (1 + np.exp(-(x - photo.size[0] / 2) / 80))
        return replace(corner, pixel=(x, float(y + seam * share)))

    return replace(
        photo,
        cards=tuple(joined(corner) for corner in photo.cards),
        pattern=tuple(joined(corner) for corner in photo.pattern),
    )


@pytest.mark.proof
def test_a_photo_whose_parts_do_not_fit_is_named_whatever_gate_it_fails(monkeypatch):
    rng = np.random.default_rng(14)
    truth = bench(rng)
    lens = phone(rng)
    seen = [truth.photo(posed(lens, rng), rng, 0.05, name=f"{k}.jpg") for k in range(3)]
    seen[0] = stitched(seen[0], 12.0)
    monkeypatch.setattr(from_photos, "read_and_observe", lambda *_: ((), tuple(seen[:1])))
    with pytest.raises(Refusal, match=r"parts of 0\.jpg do not fit together: take it") as caught:
        from_photos.calibrate([], FACE, truth.pattern.size)
    (again,) = caught.value.remedies
    assert (again.kind, again.value) == (RemedyKind.AGAIN, "0.jpg")
    # Beside two good ones it does no harm, and nothing is said.
    monkeypatch.setattr(from_photos, "read_and_observe", lambda *_: ((), tuple(seen)))
    done = from_photos.calibrate(
        [], FACE, truth.pattern.size, Stated(heights=(0.0,)), part_lit=True
    )
    landed = truth.landing(done.solution.map.projector_from_platen(points := grid()))
    assert np.linalg.norm(landed - points, axis=1).max() < 0.25


def scaled(truth, share):
    """The bench whose pattern fills only so much of the picture, about its middle."""
    lens = truth.projector
    middle = (np.array(lens.size) - 1) / 2
    x, y = middle + (np.array(lens.centre) - middle) / share
    return replace(truth, projector=replace(lens, focal=lens.focal / share, centre=(x, y)))


@pytest.mark.proof
def test_a_pattern_shown_in_a_window_is_refused_for_the_dark_it_leaves(monkeypatch):
    rng = np.random.default_rng(14)
    whole = scaled(bench(rng), 1.2)  # a picture that covers the platen
    lens = phone(rng)
    places = [posed(lens, rng) for _ in range(3)]

    def calibrate(truth, **options):
        seen = tuple(
            truth.photo(place, np.random.default_rng(k), 0.05, name=f"{k}.jpg")
            for k, place in enumerate(places)
        )
        monkeypatch.setattr(from_photos, "read_and_observe", lambda *_: ((), seen))
        stated = Stated(heights=(0.0, 1.0))
        return from_photos.calibrate([], FACE, truth.pattern.size, stated, **options)

    share, _ = unlit(calibrate(whole).solution.map, FACE)
    assert share == 0.0
    with pytest.raises(Refusal, match=r"picture ends on the platen: .* full screen") as caught:
        calibrate(scaled(whole, 0.8))
    assert kinds(caught.value) == [RemedyKind.ALL_AGAIN, RemedyKind.PART_LIT]
    # True dark parts, by the true projector: what it lights at the picture's corners.
    share, point = unlit(calibrate(scaled(whole, 0.8), part_lit=True).solution.map, FACE)
    pixels = scaled(whole, 0.8).projector.project(np.column_stack([grid(), np.zeros(len(grid()))]))
    dark = ((pixels < -0.5) | (pixels > np.array(whole.pattern.size) - 0.5)).any(axis=1)
    assert share == pytest.approx(dark.mean(), abs=0.03)
    assert abs(point[0]) > FACE.width / 3


@pytest.mark.proof
def test_photos_of_platen_and_board_that_are_swapped_are_told_as_that(monkeypatch):
    rng = np.random.default_rng(3)
    truth = bench(rng)
    lens = phone(rng)
    heights = (0.0, 0.0, 10.0)
    seen = [
        truth.photo(posed(lens, rng), rng, 0.05, height, name=f"{k}.jpg")
        for k, height in enumerate(heights)
    ]
    seen = [replace(each, raised=10.0 - each.raised) for each in seen]
    monkeypatch.setattr(from_photos, "read_and_observe", lambda *_: ((), tuple(seen)))
    said = r"swapped, .* 0\.jpg, 1\.jpg show the bare platen, 2\.jpg the board"
    with pytest.raises(Refusal, match=said) as caught:
        from_photos.calibrate([], FACE, truth.pattern.size, part_lit=True)
    assert kinds(caught.value) == [RemedyKind.SPACER]
