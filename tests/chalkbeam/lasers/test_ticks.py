"""Where ticks stand: hand-worked trigonometry, and planes of light cut by points and rays alone."""

import json
import math

import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from chalkbeam.lasers.hung import TWO_LINES, LineLaser, Move, Way, find_lasers
from chalkbeam.lasers.lines import LaserLine, LineKind
from chalkbeam.lasers.ticks import Edge, bare_offset, crossings, error_at, tilt_of
from tests.support.crew_order import write_pennant
from tests.support.run_cli import run_program

FACE = PlatenFace(400.0, 500.0, 15.0)
TURNS, SHIFTS = frozenset({Move.TURN}), frozenset({Move.SHIFT})


def line(point, degrees=90.0, height=0.0):
    return LaserLine(LineKind.UPRIGHT, "a line", point, math.radians(degrees), height)


def test_a_laser_that_hangs_aside_by_similar_triangles():
    # It hangs 1000 above the platen and 100 right of a line on cloth 20 high, so 980 above that:
    # its light goes on 20 further down and 20 * 100 / 980 = 2.0408 further left.
    laser = LineLaser("A", "", Way.AWAY, TURNS, (200.0, 0.0, 1000.0))
    asked = line((100.0, 30.0), height=20.0)
    assert bare_offset(laser, asked) == pytest.approx(100.0 - 2.0408, abs=1e-4)
    assert math.degrees(tilt_of(laser, asked)) == pytest.approx(5.826, abs=1e-3)  # atan(100/980)


@pytest.mark.parametrize(
    ("way", "degrees", "tilt", "point", "expected"),
    [
        (Way.AWAY, 90.0, 30.0, (50.0, 0.0), 50 - 5.7735),  # light from the right: 10 tan 30
        (Way.AWAY, 90.0, -30.0, (50.0, 0.0), 50 + 5.7735),  # from the left
        (Way.ACROSS, 0.0, 45.0, (0.0, 80.0), 70.0),  # from the back: nearer by 10
    ],
)
def test_a_laser_that_slides_keeps_its_tilt(way, degrees, tilt, point, expected):
    laser = LineLaser("A", "", way, SHIFTS, None, math.radians(tilt))
    assert bare_offset(laser, line(point, degrees, 10.0)) == pytest.approx(expected, abs=1e-4)


def test_an_unknown_tilt_allows_for_nothing_and_its_error_is_told():
    assert bare_offset(TWO_LINES[0], line((50.0, 0.0), height=12.0)) == 50.0
    assert error_at(12.0, 30.0) == pytest.approx(6.928, abs=1e-3)  # 12 tan 30


def test_light_through_two_ticks_falls_on_the_line_at_the_cloth_s_height():
    """A plane through the laser and both ticks, cut at a height: no tilt enters."""
    rng = np.random.default_rng(3)
    for _ in range(200):
        away = rng.random() < 0.5
        degrees = (90.0 if away else 0.0) + rng.uniform(-20, 20)
        place = tuple(rng.uniform((-400, -400, 500), (400, 400, 1500)))
        height = rng.uniform(0, 25)
        asked = line(tuple(rng.uniform(-90, 90, 2)), degrees, height)
        laser = LineLaser("A", "", Way.AWAY if away else Way.ACROSS, TURNS, place)
        ends = crossings(asked.angle, bare_offset(laser, asked), FACE)
        a, b = (np.array([*tick.point(FACE), 0.0]) for tick in ends)
        source = np.array(place)
        for end in (a, b):  # the ray from the laser to a tick, where it is as high as the cloth
            lit = source + (end - source) * (source[2] - height) / source[2]
            across = np.array([-math.sin(asked.angle), math.cos(asked.angle)])
            assert abs(across @ (lit[:2] - asked.point)) < 1e-9


def test_a_turned_line_crosses_where_its_slope_takes_it():
    # Through the middle, rising 15 degrees to the right: 200 tan 15 = 53.590 at the edges.
    left, right = crossings(math.radians(15), 0.0, FACE)
    assert (left.edge, right.edge) == (Edge.LEFT, Edge.RIGHT)
    assert (left.at, right.at) == pytest.approx((-53.590, 53.590), abs=1e-3)


def test_a_line_beside_the_platen_is_refused():
    with pytest.raises(Refusal, match="miss the platen"):
        crossings(math.pi / 2, 201.0, FACE)


FILE = """
[[laser]]
name = "gantry"
line = "away"
moves = ["turn"]
place = ["120 mm", "0 mm", "36 in"]

[[laser]]
line = "across"
moves = ["shift"]
tilt = 12
light_from = "front"
"""


def test_lasers_of_a_file(tmp_path):
    path = tmp_path / "lasers.toml"
    path.write_text(FILE)
    first, second = find_lasers(str(path))
    assert (first.letter, first.place) == ("A", (120.0, 0.0, pytest.approx(914.4)))
    assert math.degrees(second.tilt) == pytest.approx(-12.0)
    assert find_lasers("two lines") == TWO_LINES


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('light_from = "front"\n', "", "line 8 .*tilt and light_from belong together"),
        ('"front"', '"left"', "comes from back or front"),
        ("tilt = 12", "tilt = 75", r"line 11 \(laser.1.tilt\): it should be less than or equal"),
        ('moves = ["turn"]', 'moves = ["shift"]', "shifts has no one place"),
        ('"36 in"', '"36"', "line 6"),
        ('line = "away"', 'line = "down"', "line 4"),
    ],
)
def test_what_is_wrong_in_a_file_is_told_by_its_line(tmp_path, old, new, said):
    path = tmp_path / "lasers.toml"
    path.write_text(FILE.replace(old, new))
    with pytest.raises(Refusal, match=said):
        find_lasers(str(path))


GARMENT = ("--style", "crew-tee")


@pytest.mark.parametrize(
    ("location", "size"),
    [
        ("left-chest", "M"),
        pytest.param("right-chest", "2XL", marks=pytest.mark.proof),
        pytest.param("full-back", "L", marks=pytest.mark.proof),
        ("left-chest-script", "M"),
    ],
)
def test_ticks_are_where_art_is_placed(capsys, monkeypatch, tmp_path, location, size):
    write_pennant(tmp_path / "pennant.png")
    art = ("--art", tmp_path / "pennant.png", "--width", "90mm")
    code, out, _ = run_program(
        capsys, monkeypatch, "ticks", *GARMENT, "--sizes", size, "--location", location, *art,
        "--platen", "16x20in", "--out", tmp_path / "t.pdf", "--json",
    )  # fmt: skip
    assert code == 0
    told = json.loads(out)
    code, out, _ = run_program(
        capsys, monkeypatch, "place", *GARMENT, "--size", size, "--location", location, *art,
        "--platen", "16x20in", "--json",
    )  # fmt: skip
    assert code == 0
    placed = json.loads(out)["loading"]
    x, y = placed["optical_centre_mm"]
    edges = {tick["label"]: tick["edges"] for tick in told["ticks"]}
    assert edges["A1"]["near"] == pytest.approx(x, abs=0.1)
    assert edges["A1"]["far"] == pytest.approx(x, abs=0.1)
    pose = placed["platen_from_art"]
    turn = math.radians(pose["angle_deg"])
    words = told["stops"][0]["aims"][1]["line"]
    left, right = edges["B1"]["left"], edges["B1"]["right"]
    assert math.atan2(right - left, 406.4) == pytest.approx(turn, abs=1e-3)
    if words == "height":
        assert left == pytest.approx(y, abs=0.1)
    elif words.startswith("depth"):  # the picture's edge is the ink's
        assert left == pytest.approx(max(y for _, y in placed["sheet_mm"]), abs=0.1)
    else:
        assert "tilt 15°" in words
