"""No number leaves the program that no garment, press or picture can have."""

import io
import json
import math
from pathlib import Path

import pytest
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from calibration.refusal import Refusal
from calibration.rig import file as rig_file
from calibration.rig.file import load
from chalkbeam.artwork import load_artwork
from chalkbeam.cli.answers import check_numbers
from chalkbeam.setup.point_files import read_crosses, read_points
from tests.support.run_cli import run_program

DATA = Path(__file__).parents[2] / "data"


def page(path, unit=None, crop=None):
    """A page 100 mm wide with a rectangle 80 x 40 mm on it, if a unit is a point."""
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(100 * mm, 60 * mm))
    canvas.rect(10 * mm, 10 * mm, 80 * mm, 40 * mm, stroke=0, fill=1)
    if crop:
        canvas.setCropBox(tuple(side * mm for side in crop))
    canvas.showPage()
    canvas.save()
    content = buffer.getvalue()
    if unit:
        content = content.replace(b"/Type /Page\n", b"/Type /Page /UserUnit %b\n" % unit.encode())
    path.write_bytes(content)
    return path


# ISO 32000-1, 14.11 (Table 30): a page's UserUnit is how many 1/72 in its unit is, 1 by default;
# its CropBox is what of it is shown.
@pytest.mark.parametrize(
    ("unit", "crop", "width", "height", "sheet"),
    [
        (None, None, 80, 40, 100),
        ("2", None, 160, 80, 200),
        ("10", None, 800, 400, 1000),
        ("0.5", None, 40, 20, 50),
        (None, (5, 5, 95, 55), 80, 40, 90),
        ("2", (20, 5, 95, 55), 140, 80, 150),
    ],
)
def test_a_pages_unit_and_crop_box_count(tmp_path, unit, crop, width, height, sheet):
    art = load_artwork(page(tmp_path / "art.pdf", unit, crop))
    assert (art.ink.width, art.ink.height) == pytest.approx((width, height), rel=2e-3)
    assert art.sheet.width == pytest.approx(sheet, rel=2e-3)


@pytest.mark.parametrize("unit", ["1000", "1000000"])
def test_a_page_of_a_hundred_metres_is_no_sheet(tmp_path, unit):
    with pytest.raises(Refusal, match="m long, which is no sheet of transfers"):
        load_artwork(page(tmp_path / "art.pdf", unit))


def damaged_rig(folder, path, value):
    """The demo's rig with a number put in its place, its check number made to fit."""
    content = json.loads((DATA / "demo-rig.json").read_text())
    part = content["rig"]
    for name in path[:-1]:
        part = part[name]
    part[path[-1]] = value
    for version in range(content["version"], rig_file.VERSION):
        content = rig_file.MIGRATIONS[version](content) | {"version": version + 1}
    content["calibration_id"] = rig_file._check_number(content["rig"])
    (folder / "rig.json").write_text(json.dumps(content))
    return folder / "rig.json"


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("face", "width"), 1e9),
        (("face", "width"), -400.0),
        (("projector", "pinhole", "focal"), 1e-200),
        (("projector", "pinhole", "focal"), math.inf),
        (("projector", "pinhole", "tz"), 0.0),
        (("projector", "size"), [10**30, 1080]),
        (("fit", "covariance"), [[1.0]]),
        (("fit", "covariance"), [[1.0] * 20] * 19 + [[1.0]]),
        (("fit", "covariance", 0, 0), 1e308),
        (("fit", "covariance", 3, 0), -1e5),
        (("fit", "covariance", 2, 2), -1.0),
        (("fit", "freedom"), -5),
        (("name",), "\ud800"),
        (("stated", "heights"), [1e300]),
    ],
    ids=str,
)
def test_rigs_that_no_press_is_are_refused_as_they_are_read(tmp_path, path, value):
    with pytest.raises(Refusal, match="is damaged") as told:
        load(damaged_rig(tmp_path, path, value))
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("content", ["[" * 100_000, '{"kind": ' + "9" * 5000 + "}", "null", ""])
def test_json_made_to_overrun_a_reader(tmp_path, content):
    (tmp_path / "rig.json").write_text(content)
    with pytest.raises(Refusal):
        load(tmp_path / "rig.json")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("x_mm,y_mm,x_in,y_in\n1,2,3,4\n", "2 columns x"),
        ("x,y,height\n1,2,-1\n", "Point 1 .* no height above the platen"),
        ("x,y,height\n1,2,3\n1,2,1e9\n", "Point 2"),
        ("x,y\n1e400,2\n", "longer than anything"),
        ("x,y\n1.2.3,2\n", "is not a length"),
        ("x,y\nnan,2\n", "is not a length"),
        ('x,y\n"' + "1" * 200_000 + '",2\n', "cannot be read as text"),
    ],
)
def test_points_that_cannot_be(tmp_path, text, words):
    (tmp_path / "points.csv").write_text(text)
    with pytest.raises(Refusal, match=words):
        read_points(tmp_path / "points.csv", 0.0)


@pytest.mark.parametrize("pixel", ["nan", "inf", "1e300", "1_0", "x"])
def test_pixels_that_cannot_be(tmp_path, pixel):
    (tmp_path / "crosses.csv").write_text(f"x_mm,y_mm,x_px,y_px\n1,2,{pixel},4\n")
    with pytest.raises(Refusal, match="is not a number of pixels"):
        read_crosses(tmp_path / "crosses.csv")


@pytest.mark.parametrize("number", [math.nan, math.inf, -1e9])
def test_answers_are_finite_and_possible(number):
    check_numbers({"a": [1.0, {"b": (2, True, None, "x")}]})
    with pytest.raises(Refusal, match="The within_mm comes out as"):
        check_numbers({"points": [{"within_mm": number}]})


def test_the_demo_rig_still_aims(capsys, monkeypatch):
    code, out, _ = run_program(
        capsys, monkeypatch, "aim", "0mm", "0mm", "--rig", DATA / "demo-rig.json", "--json"
    )
    assert code == 0
    assert json.loads(out)["points"][0]["lit"] is True


@pytest.mark.parametrize("number", ["9" * 5000, "²", "٣", "-1", "1e3", ""])
@pytest.mark.parametrize(
    "words",
    [
        ("fabrics", "--photo", "none.png", "--patch", "1,1,20,{}"),
        ("calibrate", "--platen", "16x20in", "--size", "1920x1080", "--camera", "{}"),
        ("pattern", "--size", "1920x{}", "--out", "p.png"),
    ],
)
def test_whole_numbers_that_are_none(capsys, monkeypatch, tmp_path, words, number):
    monkeypatch.chdir(tmp_path)
    code, _, err = run_program(capsys, monkeypatch, *(word.format(number) for word in words))
    assert (code, len(err.strip().splitlines())) == (2, 1)
