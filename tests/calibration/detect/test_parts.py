"""The parts of detection one by one: alignment, the smooth view, the layout, marker reading."""

import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.detect import card_layout, plane_view
from calibration.detect.cards import find_cards
from calibration.detect.corners import align, reduce, refine
from calibration.detect.markers import Marker, find_charuco, find_markers
from calibration.geometry import PlatenFace
from calibration.photo import channels
from calibration.targets.cards import layout
from calibration.targets.charuco import Family
from calibration.targets.pattern import Pattern
from tests.support.render_photos import Bench


@pytest.fixture(scope="module")
def bench():
    return Bench()


@pytest.fixture(scope="module")
def photo(bench):
    return bench.photo()


def test_alignment_is_several_times_better_than_the_crossing_alone(bench, photo):
    lattice = Pattern((1920, 1080)).lattices[0]

    def truth(modules):
        return bench.camera_pixels(bench.platen_of_projector(lattice.place(modules)))

    places = bench.platen_of_projector(lattice.place(lattice.charuco.corners))
    middle = np.flatnonzero((np.abs(places) < [80, 180]).all(axis=1))
    view = channels.grey(photo.image)
    wrong = np.random.default_rng(1).normal(0, 0.5, 2)
    crossing, seen = refine(view, lambda p: truth(p) + wrong, lattice.charuco, middle)
    assert seen.all()
    aligned, agreement = align(view, truth, lattice.charuco, middle, crossing)
    assert agreement.min() > 0.9
    off = [
        np.sqrt(np.mean((p - truth(lattice.charuco.corners[middle])) ** 2))
        for p in (crossing, aligned)
    ]
    assert off[1] < 0.02
    assert off[1] < off[0] / 3


def test_markers_of_some_ids_are_those_that_all_ids_give(photo):
    view = channels.equalised(channels.grey(photo.image))
    every = find_markers(view, Family.TAG_36H11)
    asked = sorted(marker.id for marker in every)[3::2]
    some = find_markers(view, Family.TAG_36H11, ids=asked)
    assert len(asked) > 20
    rings = {marker.id: marker.ring for marker in every}
    assert sorted(marker.id for marker in some) == asked
    for marker in some:
        np.testing.assert_array_equal(marker.ring, rings[marker.id])


def test_nothing_is_seen_where_no_corner_is(bench, photo):
    card = bench.cards[0]

    def beside(modules):
        return bench.camera_pixels(card.place(np.asarray(modules)) + np.array([150.0, 20.0]))

    indices = np.arange(9)
    view = channels.red(photo.image)
    pixels, _ = refine(view, beside, card.charuco, indices)
    _, agreement = align(view, beside, card.charuco, indices, pixels)
    assert np.nanmax(agreement) < 0.7


def test_a_patch_beyond_the_photo_s_edge_has_no_agreement(bench, photo):
    card = bench.cards[0]

    def outside(modules):
        return bench.camera_pixels(card.place(np.asarray(modules))) - [400.0, 0.0]

    _, seen = refine(channels.red(photo.image), outside, card.charuco, np.arange(9))
    assert not seen.any()


def test_reduction_keeps_pixel_centres():
    ramp = np.tile(np.arange(60, dtype=np.float32), (30, 1))
    small = reduce(ramp.astype(np.uint8), 3)
    assert np.allclose(small[0], (np.arange(20) + 0.5) * 3 - 0.5)


def test_a_smooth_view_follows_a_lens_and_ignores_strays():
    rng = np.random.default_rng(3)
    plane = rng.uniform(-200, 200, (120, 2))
    bench = Bench(size=(1920, 1080), k1=-0.2, tilt=math.radians(40))
    truth = bench.camera_pixels(plane)
    spoiled = truth + rng.normal(0, 0.02, truth.shape)
    spoiled[::12] += 5.0
    view = plane_view.fit(plane, spoiled, bench.size)
    good = np.ones(len(plane), bool)
    good[::12] = False
    assert np.abs(view(plane) - truth)[good].max() < 0.06
    few = plane_view.fit(plane[good][:6], truth[good][:6], bench.size)
    assert len(few.coefficients) == 0


@pytest.mark.proof
def test_the_layout_says_how_cards_lie():
    """Three cards right, one 12 mm off and turned by 4 degrees: told to half a millimetre."""
    cards = layout(PlatenFace(406, 508))
    x, y = cards[3].centre
    laid = (*cards[:3], replace(cards[3], centre=(x - 12.0, y - 3.0), angle=math.radians(4)))
    bench = Bench(cards=laid, k1=-0.1, size=(1600, 1200))
    found = find_cards(bench.photo().image, cards).found
    measured = card_layout.measure([found[card.name] for card in cards], bench.size)
    centres = np.array([pose.centre for pose in measured.poses])
    true = np.array([card.centre for card in laid])
    # The layout is set on the platen as fits best: compare what lies between cards.
    between = np.linalg.norm(centres[:, None] - centres, axis=2)
    assert np.abs(between - np.linalg.norm(true[:, None] - true, axis=2)).max() < 0.5
    turn = measured.poses[3].turn - np.mean([pose.turn for pose in measured.poses[:3]])
    assert turn == pytest.approx(math.radians(4), abs=math.radians(0.2))
    assert measured.misfit < 0.2
    there = measured.view.photo_from_plane(true)
    assert np.allclose(measured.view.plane_from_photo(there), true, atol=1e-6)


def test_misread_markers_and_twins_find_no_support():
    charuco = Pattern((1920, 1080)).lattices[0].charuco
    rng = np.random.default_rng(2)
    matrix = np.array([[3.0, 0.2, 40.0], [-0.1, 2.5, 60.0], [1e-4, 2e-4, 1.0]])

    def seen(ring):
        h = np.column_stack([ring, np.ones(4)]) @ matrix.T
        return h[:, :2] / h[:, 2:] + rng.normal(0, 0.3, (4, 2))

    right = [Marker(k, seen(charuco.markers[k])) for k in list(charuco.markers)[:40]]
    shift = rng.uniform(100, 600, (15, 1, 2))
    wrong = [Marker(m.id, m.ring + s) for m, s in zip(right, shift, strict=False)]
    located = find_charuco(charuco, wrong + right)
    kept = {id(m) for m in located.markers}
    assert all(id(m) in kept for m in right)
    assert not any(id(m) in kept for m in wrong)
    assert find_charuco(charuco, []) is None


def test_cross_talk_is_measured_and_divided_out(bench, photo):
    rows, columns = photo.image.shape[:2]
    y, x = np.mgrid[:rows, :columns]
    middle = bench.camera_pixels([[0.0, 0.0]])[0]
    area = np.hypot(x - middle[0], y - middle[1]) < 200
    cross_talk = channels.cross_talk(photo.image, area)
    assert 0.03 < cross_talk < 0.3
    equalised = photo.image.copy()
    equalised[..., 2] = channels.ink(photo.image, cross_talk)
    assert channels.cross_talk(equalised, area) < 0.1 * cross_talk
    blind = photo.image.copy()
    blind[..., 2] = 200
    assert channels.cross_talk(blind, area) == pytest.approx(0.0, abs=1e-6)


def test_markers_of_both_families_are_read_in_one_photo(photo):
    tags = {m.id for m in find_markers(channels.red(photo.image), Family.TAG_16H5)}
    assert len(tags & set(range(28))) >= 24
    lit = find_markers(channels.equalised(channels.grey(photo.image)), Family.TAG_36H11)
    assert len(lit) > 80
