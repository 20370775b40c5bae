"""Light lands where the map says, to a fraction of a pixel, at true scale."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from shapely import LineString, Polygon, box

from calibration.geometry import rectangle, resample, xy_tuple
from overlay.contours import Contours
from overlay.draw.frame import render
from overlay.draw.raster import tiles
from overlay.marks import LEADING, LINE_WIDTH, Crosshair, Dash, Hatch, Role, Stroke, Text
from overlay.palette import DEFAULT_PALETTE
from tests.support.oblique_projector import oblique_map

RIGS = [
    oblique_map(),
    oblique_map(tilt=0.35, turn=-0.5, roll=-0.1, k1=0.08),
    oblique_map(tilt=0.78, turn=0.4, roll=0.02, distance=1100, k1=-0.08),
    oblique_map(tilt=0.0, turn=0.0, roll=3.1, k1=0.0),
]


def light(frame, channel=1):
    """Emitted light of one channel, 0 to 1: the code through the projector's gamma."""
    return (frame[:, :, channel] / 255.0) ** DEFAULT_PALETTE.gamma


def mapped(platen_map, outline, height=0.0):
    """The picture of a platen polygon, its edges cut finely."""
    fine = resample(outline, 0.5, closed=True)
    return Polygon(platen_map.projector_from_platen(fine, height))


def centroid(seen, shape):
    """Centre of mass of the light around `shape`, (x, y), px; None if the frame cuts it."""
    left, top, right, bottom = np.add(np.rint(shape.bounds).astype(int), (-3, -3, 4, 4))
    if left < 0 or top < 0 or right > seen.shape[1] or bottom > seen.shape[0]:
        return None
    y, x = ndimage.center_of_mass(seen[top:bottom, left:right])
    return x + left, y + top


@pytest.mark.parametrize("platen_map", RIGS)
@pytest.mark.parametrize("height", [0.0, 4.0, 12.0])
def test_strokes_are_centred_where_the_map_says(platen_map, height):
    """References: scipy.ndimage.center_of_mass of the light, shapely's centroid of the shape.

    Square pixels alone displace the light of a line that is w px wide and parallel
    to their rows by up to 1 / (8 w) px: the part f of a pixel that an edge covers
    shines from the pixel's middle, f (1 - f) / 2 from where it belongs.
    """
    rng = np.random.default_rng(7)
    seen_any = 0
    for _ in range(20):
        middle, angle = rng.uniform(-120, 120, 2), rng.uniform(0, math.tau)
        length, width = rng.uniform(4, 40), rng.uniform(0.8, 5.0)
        along = np.array([math.cos(angle), math.sin(angle)])
        across = np.array([-along[1], along[0]]) * width / 2
        ends = np.array([middle - along * length / 2, middle + along * length / 2])
        frame = render(
            [Stroke(xy_tuple(ends), Role.NOTE, width, height=height)], platen_map, DEFAULT_PALETTE
        )
        shape = mapped(
            platen_map,
            [ends[0] - across, ends[1] - across, ends[1] + across, ends[0] + across],
            height,
        )
        seen = light(frame)
        found = centroid(seen, shape)
        if found is None:
            continue
        seen_any += 1
        offset = np.subtract(found, shape.centroid.coords[0])
        start, end = platen_map.projector_from_platen(ends, height)
        px_long = math.dist(start, end)
        px_wide = shape.area / px_long
        unit = (end - start) / px_long
        assert abs(unit[0] * offset[1] - unit[1] * offset[0]) <= 1 / (8 * px_wide) + 0.005
        assert abs(unit @ offset) <= 1 / (8 * min(px_long, px_wide)) + 0.005
        # True width and length: as much light as the shape has area.
        assert seen.sum() == pytest.approx(shape.area, rel=0.02)
    assert seen_any >= 8


def test_lines_of_usual_width_are_centred_to_a_twentieth_of_a_pixel():
    """At 1080p, over the whole platen, at any angle."""
    platen_map = oblique_map(size=(1920, 1080), k1=-0.1)
    rng = np.random.default_rng(11)
    errors = []
    for _ in range(40):
        middle, angle = rng.uniform((-200, -120), (200, 120)), rng.uniform(0, math.tau)
        along = np.array([math.cos(angle), math.sin(angle)]) * 20
        across = np.array([-along[1], along[0]]) / 20 * LINE_WIDTH / 2
        ends = np.array([middle - along, middle + along])
        frame = render([Stroke(xy_tuple(ends), Role.NOTE)], platen_map, DEFAULT_PALETTE)
        shape = mapped(
            platen_map, [ends[0] - across, ends[1] - across, ends[1] + across, ends[0] + across]
        )
        found = centroid(light(frame), shape)
        if found is not None:
            errors.append(math.dist(found, shape.centroid.coords[0]))
    assert len(errors) > 30
    assert max(errors) <= 0.05


def test_long_lines_follow_the_bend_of_the_lens():
    """Every crosscut of a line through the platen has its centroid on the mapped line."""
    platen_map = oblique_map(size=(1920, 1080), k1=-0.6)
    ends = np.array([[-180.0, -110.0], [180.0, -70.0]])
    frame = render([Stroke(xy_tuple(ends), Role.NOTE)], platen_map, DEFAULT_PALETTE)
    line = LineString(platen_map.projector_from_platen(resample(ends, 0.2)))
    straight = LineString([line.coords[0], line.coords[-1]])
    assert line.hausdorff_distance(straight) > 1  # px: the bend is there to be followed
    seen = light(frame)
    offsets = []
    for middle in np.linspace(0.1, 0.9, 60):
        at = line.interpolate(middle, normalized=True)
        column = round(at.x)
        rows = slice(int(at.y) - 8, int(at.y) + 9)
        cut = seen[rows, column]
        centroid = (cut * np.arange(rows.start, rows.stop)).sum() / cut.sum()
        offsets.append(line.distance(shapely.Point(column, centroid)))
    assert np.max(offsets) <= 0.05


@pytest.mark.parametrize("place", [(0, -110), (0, 0), (40, 120)])
def test_lines_are_equally_wide_on_the_platen_everywhere(place):
    """The light of a line, brought back to the platen, covers its length times its width."""
    platen_map = RIGS[2]
    for angle in (0.0, 1.0, math.pi / 2):
        along = np.array([math.cos(angle), math.sin(angle)]) * 15
        ends = np.array([place - along, place + along])
        frame = render([Stroke(xy_tuple(ends), Role.NOTE, 2.0)], platen_map, DEFAULT_PALETTE)
        rows, columns = np.nonzero(frame[:, :, 1])
        pixels = np.column_stack([columns, rows]).astype(float)
        right, left, down, up = (
            platen_map.platen_from_projector(pixels + np.array(by) / 2)
            for by in ((1, 0), (-1, 0), (0, 1), (0, -1))
        )
        dx, dy = right - left, down - up
        area = np.abs(dx[:, 0] * dy[:, 1] - dx[:, 1] * dy[:, 0])  # mm² of each pixel
        assert (area * light(frame)[rows, columns]).sum() == pytest.approx(30 * 2.0, rel=0.01)


def test_lettering_is_true_to_scale_and_upright():
    """Brought back to the platen, the letter H is as high as asked and stands on its anchor."""
    platen_map = RIGS[1]
    anchor = (-20.0, 30.0)
    frame = render(
        [Text(anchor, "H", Role.NOTE, size=24.0, align=(0.0, 0.0))], platen_map, DEFAULT_PALETTE
    )
    rows, columns = np.nonzero(frame[:, :, 1] > 200)
    back = platen_map.platen_from_projector(np.column_stack([columns, rows]).astype(float))
    pixel = 0.9  # mm
    assert back[:, 1].min() == pytest.approx(30.0, abs=pixel)
    assert back[:, 1].max() == pytest.approx(54.0, abs=pixel)
    assert back[:, 0].min() > -20.0
    # Upright and not mirrored: an L has its foot below and to the right of its stem.
    frame = render([Text((0, 0), "L", Role.NOTE, size=40.0)], platen_map, DEFAULT_PALETTE)
    rows, columns = np.nonzero(frame[:, :, 1] > 200)
    back = platen_map.platen_from_projector(np.column_stack([columns, rows]).astype(float))
    low, high = back[back[:, 1] < -14], back[back[:, 1] > 10]
    assert low[:, 0].max() > high[:, 0].max() + 10
    assert abs(low[:, 0].min() - high[:, 0].min()) < 1.5


def test_coverage_is_the_covered_area_of_each_pixel():
    """Reference: shapely's intersection of the polygon with every pixel's square."""
    rng = np.random.default_rng(3)
    polygon = Polygon([(3.3, 2.1), (27.4, 5.2), (18.0, 11.7), (29.2, 20.9), (4.9, 17.3)])
    shift = rng.uniform(0, 1, 2)
    contours = Contours.of([np.array(polygon.exterior.coords)[:-1] + shift])
    cover = np.zeros((24, 32))
    for top, left, tile in tiles(contours, (32, 24), 7):
        cover[top : top + len(tile), left : left + tile.shape[1]] = tile / 255
    moved = shapely.affinity.translate(polygon, *shift)
    exact = [
        [moved.intersection(box(x - 0.5, y - 0.5, x + 0.5, y + 0.5)).area for x in range(32)]
        for y in range(24)
    ]
    np.testing.assert_allclose(cover, exact, atol=0.02)


def test_more_polygons_than_one_outline_holds():
    rng = np.random.default_rng(5)
    squares = rng.uniform(0, 60, (12_000, 1, 2)) + rectangle(0.5, 0.5)
    expected = np.zeros((64, 64))
    for part in np.array_split(squares, 6):
        for top, left, tile in tiles(Contours.uniform(part), (64, 64), 64):
            view = expected[top : top + len(tile), left : left + tile.shape[1]]
            np.maximum(view, tile, out=view)
    everything = np.zeros((64, 64))
    for top, left, tile in tiles(Contours.uniform(squares), (64, 64), 64):
        everything[top : top + len(tile), left : left + tile.shape[1]] = tile
    assert (everything >= expected - 1).all()
    assert everything.max() == 255


def test_nothing_to_light_is_dark():
    frame = render([], RIGS[0], DEFAULT_PALETTE)
    assert frame.shape == (540, 960, 3)
    assert frame.dtype == np.uint8
    assert not frame.any()


@pytest.mark.parametrize("size", [(801, 300), (1366, 768), (37, 29)])
def test_any_frame_size(size):
    platen_map = oblique_map(size=size)
    frame = render([Crosshair((0, 0), Role.LAY, arm=40, width=4)], platen_map, DEFAULT_PALETTE)
    assert frame.shape == (size[1], size[0], 3)
    assert frame.flags["C_CONTIGUOUS"]
    column, row = np.rint(platen_map.projector_from_platen([(0, 0)])[0]).astype(int)
    assert light(frame)[row, column] > 0.2
    assert light(frame).sum() > 0.5


def test_crossing_lines_take_the_brighter_of_each_channel():
    marks = [
        Stroke(((-40, 0), (40, 0)), Role.LOAD, 8, dash=Dash.SOLID),
        Stroke(((0, -40), (0, 40)), Role.LAY, 8),
    ]
    frame = render(marks, RIGS[0], DEFAULT_PALETTE)
    column, row = np.rint(RIGS[0].projector_from_platen([(0, 0)])[0]).astype(int)
    brighter = np.maximum(DEFAULT_PALETTE.load.colour, DEFAULT_PALETTE.lay.colour)
    np.testing.assert_array_equal(frame[row, column, ::-1], brighter)
    np.testing.assert_array_equal(frame, render(marks[::-1], RIGS[0], DEFAULT_PALETTE))


def test_lines_stop_short_of_lettering():
    line = Stroke(((-100, 0), (100, 0)), Role.LAY, 2)
    text = Text((0, 0), "MM", Role.NOTE, 12)
    alone, both = (render(m, RIGS[0], DEFAULT_PALETTE) for m in ([line], [line, text]))
    text_alone = render([text], RIGS[0], DEFAULT_PALETTE)
    near = np.rint(RIGS[0].projector_from_platen([(-16.0, 0)])[0]).astype(int)
    far = np.rint(RIGS[0].projector_from_platen([(-60.0, 0)])[0]).astype(int)
    assert alone[near[1], near[0]].any()
    assert not both[near[1], near[0]].any() or text_alone[near[1], near[0]].any()
    np.testing.assert_array_equal(both[far[1], far[0]], alone[far[1], far[0]])
    letters = text_alone.max(axis=2) == 255
    np.testing.assert_array_equal(both[letters], text_alone[letters])


def test_warnings_stand_in_a_box():
    plain = render([Text((0, 0), "stop", Role.NOTE, 10)], RIGS[0], DEFAULT_PALETTE)
    boxed = render([Text((0, 0), "stop", Role.WARN, 10)], RIGS[0], DEFAULT_PALETTE)
    rows, columns = (np.ptp(np.nonzero(f.any(axis=2)), axis=1) for f in (boxed, plain))
    assert (rows > columns + 4).all()


def test_roles_differ_without_colour():
    """In grey the line styles of load, lay and clear still differ."""
    frames = []
    for role in (Role.LOAD, Role.LAY, Role.CLEAR):
        frame = render([Stroke(((-90, 0), (90, 0)), role, 2)], RIGS[3], DEFAULT_PALETTE)
        frames.append((frame.max(axis=2) > 60).sum())
    assert frames[1] > 1.3 * frames[0] > 1.3 * 1.3 * frames[2]


NAN, INF = math.nan, math.inf
DEGENERATE = {
    "no points": Stroke((), Role.LAY),
    "one point": Stroke(((0, 0),), Role.LAY),
    "one point, closed": Stroke(((0, 0),), Role.LAY, closed=True),
    "two points, closed": Stroke(((0, 0), (9, 9)), Role.LAY, closed=True, dash=Dash.DOTTED),
    "all the same": Stroke(((3, 3),) * 9, Role.LOAD, closed=True),
    "there and back": Stroke(((0, 0), (50, 0), (0, 0)), Role.LAY, 3),
    "not a number": Stroke(((0, 0), (NAN, 1), (10, 10)), Role.LAY),
    "only not a number": Stroke(((NAN, NAN),), Role.LAY),
    "infinite": Stroke(((-INF, 0), (INF, 0)), Role.LAY),
    "very far": Stroke(((-1e300, 5), (1e300, 5)), Role.LAY, dash=Dash.CHAIN),
    "behind the projector": Stroke(((0, 900), (0, 40_000)), Role.LAY),
    "through the lens's plane": Stroke(((-1400, -1400), (1400, 1400)), Role.LAY, 2),
    "width not a number": Stroke(((0, 0), (5, 5)), Role.LAY, NAN),
    "no width": Stroke(((0, 0), (5, 5)), Role.LAY, 0),
    "wider than the platen": Stroke(((0, 0), (5, 5)), Role.LAY, 900),
    "height not a number": Stroke(((0, 0), (5, 5)), Role.LAY, height=NAN),
    "above the projector": Stroke(((-50, 0), (50, 0)), Role.LAY, height=5000),
    "at the lens": Crosshair((0, 0), Role.LAY, height=765.0),
    "no arms": Crosshair((0, 0), Role.LAY, arm=0),
    "arms not a number": Crosshair((0, NAN), Role.LAY, arm=NAN, angle=INF),
    "nothing to hatch": Hatch(()),
    "flat hatch": Hatch(((0, 0), (10, 0), (20, 0))),
    "hatch without spacing": Hatch(((0, 0), (40, 0), (40, 40)), spacing=0),
    "endless hatch": Hatch(((-1e9, -1e9), (1e9, -1e9), (0, 1e9)), spacing=40),
    "no text": Text((0, 0), ""),
    "blank": Text((0, 0), "  \n"),
    "huge text": Text((0, 0), "O", size=1200),
    "text without size": Text((0, 0), "a", size=-3),
    "text nowhere": Text((NAN, 0), "a", size=5),
    "text in no known script": Text((0, 0), "\u0e01\U0001f600\x00", Role.WARN),
    "long text": Text((0, 0), "0123456789 " * 60),
}


@pytest.mark.parametrize("name", DEGENERATE)
def test_degenerate_marks_harm_nothing(name):
    """Whatever a mark says, the others are drawn as if it made sense or were not there."""
    other = Crosshair((-60, -60), Role.CHECK, arm=10, width=2)
    for platen_map in (RIGS[0], RIGS[2]):
        frame = render([DEGENERATE[name], other], platen_map, DEFAULT_PALETTE)
        column, row = np.rint(platen_map.projector_from_platen([(-60, -60)])[0]).astype(int)
        if name not in ("endless hatch", "huge text", "long text", "wider than the platen"):
            assert frame[row, column].any()


def test_marks_behind_the_projector_are_not_lit():
    """A line that runs under the lens and beyond is lit in front of it only."""
    platen_map = oblique_map(tilt=0.75, turn=0.0, roll=0.0, distance=500, k1=0.0)
    lens = platen_map.pinhole.lens
    behind = lens[1] + lens[2] * math.tan(math.pi / 2 - 0.75) + 50  # past the lens's own plane
    assert behind < 1450
    wide = [(-1400.0, behind), (1400.0, behind)]
    pixels = platen_map.projector_from_platen(resample(wide, 10))
    in_frame = ((pixels > -50) & (pixels < 1000)).all(axis=1)
    frame = render([Stroke(tuple(wide), Role.LAY, 40)], platen_map, DEFAULT_PALETTE)
    assert in_frame.any() or not frame.any()
    assert not frame.any()


NUMBERS = st.one_of(st.floats(-300, 300), st.floats(allow_nan=True, allow_infinity=True))
POINTS = st.lists(st.tuples(NUMBERS, NUMBERS), max_size=8).map(tuple)
MARKS = st.one_of(
    st.builds(
        Stroke, POINTS, st.sampled_from(Role), NUMBERS, st.booleans(),
        st.one_of(st.none(), st.sampled_from(Dash)), st.one_of(st.just(0.0), NUMBERS),
    ),
    st.builds(Crosshair, st.tuples(NUMBERS, NUMBERS), st.sampled_from(Role), NUMBERS, NUMBERS),
    st.builds(Hatch, POINTS, st.sampled_from(Role), NUMBERS, NUMBERS),
    st.builds(
        Text, st.tuples(NUMBERS, NUMBERS), st.text(max_size=12), st.sampled_from(Role), NUMBERS
    ),
)  # fmt: skip


@pytest.mark.proof
@settings(max_examples=150)
@given(st.lists(MARKS, max_size=4))
def test_any_marks_can_be_rendered(marks):
    frame = render(marks, oblique_map(size=(64, 40)), DEFAULT_PALETTE)
    assert frame.shape == (40, 64, 3)


def test_thousands_of_vertices():
    t = np.linspace(0, 60 * math.tau, 6000)
    spiral = np.column_stack([t / 3 * np.cos(t), t / 3 * np.sin(t)])
    frame = render(
        [Stroke(xy_tuple(spiral), Role.LAY, 0.8, dash=Dash.DASHED)], RIGS[0], DEFAULT_PALETTE
    )
    assert frame.any()


def test_gamma_keeps_partly_covered_pixels_in_light():
    """Half a pixel of a line emits half the light: code 255 * 0.5 ** (1 / 2.2) = 186."""
    platen_map = RIGS[3]
    frame = render([Stroke(((-60, 0), (60, 3.7)), Role.NOTE, 1.3)], platen_map, DEFAULT_PALETTE)
    plain = render(
        [Stroke(((-60, 0), (60, 3.7)), Role.NOTE, 1.3)],
        platen_map,
        replace(DEFAULT_PALETTE, gamma=1.0),
    )
    half = np.abs(plain[:, :, 0].astype(int) - 128) <= 1
    assert half.any()
    np.testing.assert_allclose(frame[half][:, 0], 186, atol=2)


def test_several_lines_stand_in_one_box_from_last_baseline_to_first_capitals():
    block = Text((0, 0), "HH\nH", Role.NOTE, 10, align=(0.0, 0.0))
    upper = Text((0, LEADING * 10), "HH", Role.NOTE, 10, align=(0.0, 0.0))
    lower = Text((0, 0), "H", Role.NOTE, 10, align=(0.0, 0.0))
    np.testing.assert_array_equal(
        render([block], RIGS[0], DEFAULT_PALETTE), render([upper, lower], RIGS[0], DEFAULT_PALETTE)
    )
    middle = replace(block, align=(0.5, 0.5))
    rows, columns = np.nonzero(render([middle], RIGS[3], DEFAULT_PALETTE).any(axis=2))
    x, y = RIGS[3].projector_from_platen([(0, 0)])[0]
    assert (rows.min() + rows.max()) / 2 == pytest.approx(y, abs=1)
    assert (columns.min() + columns.max()) / 2 == pytest.approx(x, abs=1)
