"""What a scanner may be shown, and what is refused because it could hurt or flicker."""

import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.refusal import Refusal
from chalkbeam.artwork import load_artwork
from chalkbeam.garments import garment
from chalkbeam.lasers.frames import (
    ARROW,
    CENTRE,
    CROSS,
    GUIDES,
    PITS,
    SHEET,
    check_moving,
    lay_frame,
    load_frame,
    longest_stay,
    path_of,
)
from chalkbeam.lasers.scanner import ScannerUnit, read_scanner
from chalkbeam.locations import location
from chalkbeam.placement import place
from chalkbeam.placement.loading import load
from chalkbeam.placement.platens import platen
from overlay.laser.paths import BeamPath, LitLine
from tests.support.crew_order import write_pennant

UNIT = ScannerUnit(
    "bench unit", "2", 20_000.0, math.radians(8), math.radians(40), (0.0, 0.0, 1150.0)
)


@pytest.fixture(scope="module")
def laid(tmp_path_factory):
    art = tmp_path_factory.mktemp("art") / "pennant.png"
    write_pennant(art)
    placement = place(
        garment("crew_tee", "YM"), location("left-chest"), load_artwork(art, width=70.0)
    )
    return placement, load(placement, platen("16x20in"))


def test_load_lines_are_named_and_lie_at_the_cloth_s_height(laid):
    lines = load_frame(*laid)
    assert {CENTRE, PITS, ARROW, GUIDES} == {line.name for line in lines}
    assert {line.height for line in lines} == {laid[1].height}


def test_the_beam_lands_on_the_sheet_s_edges_at_the_cloth_s_height(laid):
    placement, loading = laid
    path = path_of([line for line in lay_frame(*laid) if line.name == SHEET], UNIT)
    lands = UNIT.scanner.platen_from_signal(path.signals[path.lit], loading.height)
    pose = loading.platen_from_garment @ placement.garment_from_art
    corners = pose.apply(placement.artwork.sheet.corners())
    low, high = corners.min(axis=0), corners.max(axis=0)
    off = np.minimum(np.abs(lands - low), np.abs(lands - high)).min(axis=1)
    assert off.max() < 1e-6
    assert {line.name for line in lay_frame(*laid)} == {SHEET, CROSS}


def test_lines_that_flicker_say_what_to_leave_out(laid):
    slow = replace(UNIT, points_a_second=6_000.0)
    lines = load_frame(*laid)
    with pytest.raises(Refusal, match="times a second and flicker") as refused:
        path_of(lines, slow)
    said = str(refused.value)
    out = said.split("leave out ")[1].rstrip(".").split(", ")
    path = path_of([line for line in lines if line.name not in out], slow)
    assert path.rate(6_000.0) >= 30.0
    kept = [line for line in lines if line.name not in out[:-1]]
    with pytest.raises(Refusal):  # no fewer would do
        path_of(kept, slow)


def test_a_beam_that_all_but_stands_still_is_refused(laid):
    with pytest.raises(Refusal, match="near one spot"):
        path_of([LitLine("dot", ((0.0, 0.0), (5.0, 0.0)))], UNIT)
    still = BeamPath(np.zeros((200, 2)), np.ones(200, dtype=bool))
    long = [LitLine("line", ((-100.0, 0.0), (100.0, 0.0)))]
    with pytest.raises(Refusal, match=r"rest on one spot for 10\.0 ms"):
        check_moving(long, still, UNIT)
    quick = replace(UNIT, points_a_second=30_000.0)
    assert longest_stay(path_of(load_frame(*laid), quick)) <= 10  # two ends of a line that meet


def test_lines_beyond_the_scanner_s_reach_are_refused(laid):
    narrow = replace(UNIT, full_angle=math.radians(10))
    with pytest.raises(Refusal, match="reaches only"):
        path_of(load_frame(*laid), narrow)


FILE = """
[scanner]
class_at_rest = "2"
kpps = 20
kpps_angle = 8
full_angle = 40
place = ["0 mm", "0 mm", "1150 mm"]
"""


@pytest.mark.parametrize("stated", ["2M", "3R", "3B", "4", "1M"])
def test_no_unit_above_class_2_at_rest(tmp_path, stated):
    path = tmp_path / "scanner.toml"
    path.write_text(FILE.replace('"2"', f'"{stated}"'))
    with pytest.raises(Refusal, match="a scanner can stop"):
        read_scanner(path)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('class_at_rest = "2"\n', "", "class_at_rest.*is missing"),
        ("kpps = 20", "kpps = 2000", "line 4"),
        ('"1150 mm"', '"11 mm"', "measure up"),
        ("kpps_angle = 8", "kpps_angle = 0.001", "line 5"),
    ],
)
def test_what_is_wrong_in_a_scanner_s_file_is_told(tmp_path, old, new, said):
    path = tmp_path / "scanner.toml"
    path.write_text(FILE.replace(old, new))
    with pytest.raises(Refusal, match=said):
        read_scanner(path)


def test_a_fit_that_no_scanner_has_is_refused(tmp_path):
    path = tmp_path / "scanner.toml"
    row = [3.14, 0, 0, 0, 0, 1150, 12, 0.0, -3, 0, 0]  # a gain of nothing
    rows = [[0.0] * 11] * 11
    fit = f"[fit]\nparameters = {row}\nswapped = false\ncovariance = {rows}\n"
    path.write_text(f"{FILE}{fit}freedom = 18\nrms_mm = 0.2\n")
    with pytest.raises(Refusal, match="no scanner has these"):
        read_scanner(path)
