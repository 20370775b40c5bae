"""Platens and pads: sizes, names, the user's own, faults with their line."""

import os

import pytest
import shapely

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from chalkbeam.placement.platens import (
    COMMON,
    CORNER_RADIUS,
    Pad,
    Platen,
    parse_pad,
    platen,
    platens,
)

OWN = """
[platen.big-bertha]
width = "20 in"
depth = "600 mm"
corner_radius = "1 in"

[platen.big-bertha.pad]
width = "10 in"
depth = "10 in"
height = "12 mm"
y = "40 mm"
"""


def test_common_sizes():
    # Sizes in inches: common practice, no source. 1 in = 25.4 mm exactly (1959).
    sizes = {(p.face.width, p.face.depth) for p in COMMON.values()}
    inches = [(16, 20), (15, 15), (16, 16), (11, 15), (4, 16), (5, 18), (9, 12), (10, 12),
              (5, 5), (6, 6), (6.5, 3.5)]  # fmt: skip
    assert sizes == {(25.4 * w, 25.4 * d) for w, d in inches}


def test_found_by_name_or_size():
    assert platen("16x20in") is COMMON["16x20in"]
    assert platen(" Sleeve-4x16in ").face.width == pytest.approx(101.6)
    other = platen("406mm x 508mm")
    assert other.face == PlatenFace(406, 508, CORNER_RADIUS)
    for bare, whole in (("16x20", "16x20in"), ("406 x 508", "406 x 508mm")):
        with pytest.raises(Refusal, match=f"“{bare}” has no unit: write {whole}"):
            platen(bare)
    with pytest.raises(Refusal, match=r"no platen “kitchen table”.*16x20in"):
        platen("kitchen table")
    with pytest.raises(Refusal):
        platen("16x20")


def test_rounded_corners_are_not_pressed():
    # Area of a rounded rectangle: w d - (4 - pi) r^2, less what chords cut off.
    face = PlatenFace(400, 300, 20)
    area = shapely.Polygon(Platen("a", face).pressed()).area
    assert area == pytest.approx(400 * 300 - (4 - 3.14159265) * 20**2, abs=5)


def test_pad_takes_the_pressure():
    padded = Platen("a", PlatenFace(400, 500)).with_pad(Pad(PlatenFace(200, 100), 10.0, (20, 30)))
    assert padded.height == 10.0
    assert shapely.Polygon(padded.pressed()).bounds == (-80, -20, 120, 80)
    assert padded.with_pad(None).height == 0.0


def test_pads_as_typed():
    assert parse_pad("10x8x0.5in") == Pad(PlatenFace(254.0, 203.2, CORNER_RADIUS), 12.7, free=True)
    assert parse_pad("200mm x 150mm x 10mm").face.depth == 150
    assert parse_pad('10"x8"x1/2"') == parse_pad("10x8x0.5in")
    for text in ("10x8in", "10x8x9in", "pad", "10x8x"):
        with pytest.raises(Refusal):
            parse_pad(text)


def test_a_pad_must_lie_on_the_platen():
    with pytest.raises(Refusal, match="54 mm beyond the platen a"):
        Platen("a", PlatenFace(300, 300), Pad(PlatenFace(254, 254), 10.0, (77, 0)))


def test_own_platens_come_first_and_live(tmp_path):
    path = tmp_path / "platens.toml"
    path.write_text(OWN)
    found = platen("big-bertha", path)
    assert (found.face.width, found.face.depth) == (508.0, 600.0)
    assert found.pad == Pad(PlatenFace(254, 254, CORNER_RADIUS), 12.0, (0.0, 40.0))
    assert next(iter(platens(path))) == "big-bertha"
    path.write_text(OWN.replace('"600 mm"', '"610 mm"'))
    os.utime(path, ns=(1, 1))
    assert platen("big-bertha", path).face.depth == 610.0


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('"20 in"', "20", 3, "length with its unit"),
        ('"600 mm"', '"0 mm"', 4, "greater than 0"),
        ('height = "12 mm"\n', "", 7, "is missing"),
        ("corner_radius", "corner", 5, "is not known here"),
    ],
)
def test_faults_of_own_platens_have_their_line(tmp_path, old, new, line, words):
    path = tmp_path / "platens.toml"
    path.write_text(OWN.replace(old, new, 1))
    with pytest.raises(Refusal, match=words) as caught:
        platens(path)
    assert f"line {line} " in str(caught.value)


def test_a_pad_without_a_unit_is_told_so():
    for text in ("10x10", "10x10x0.5"):
        with pytest.raises(Refusal, match=f"pad “{text}” has no unit: .*10x10x0.5in"):
            parse_pad(text)
