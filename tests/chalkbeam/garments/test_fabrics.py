"""Fabric colours by name, by code and from a photo; the ladder picture."""

import io
import json

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from calibration.photo.read import Photo
from calibration.refusal import Refusal
from chalkbeam.cli.app import app
from chalkbeam.garments.fabrics import (
    WHITE_PAPER,
    Fabric,
    fabrics,
    find_fabric,
    measure_fabric,
    save_fabric,
    shop_fabrics_file,
)
from chalkbeam.paper.light_on_cloth import LADDER, _band, draw_ladder
from overlay.colour.colorimetry import (
    ciede2000,
    lab_from_linear,
    linear_from_srgb,
    relative_luminance,
    srgb_from_linear,
)
from overlay.colour.visibility import Lighting, palette_for
from overlay.marks import Role


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("navy", "navy"),
        ("Navy Blue", "navy"),
        ("GREY MARL", "heather grey"),
        ("Hi-Vis Yellow", "safety yellow"),
        ("off-white", "natural"),
    ],
)
def test_names_as_people_write_them(text, name):
    assert find_fabric(text).name == name


@pytest.mark.parametrize("text", ["#1d2542", "1D2542", " #1d2542 "])
def test_hex_codes(text):
    assert find_fabric(text).colour == (0x1D, 0x25, 0x42)
    assert find_fabric("#fa0").colour == (255, 170, 0)


def test_an_unknown_name_is_one_sentence_with_what_is_near():
    with pytest.raises(Refusal, match="is it navy") as refused:
        find_fabric("navvy")
    assert "\n" not in str(refused.value)
    with pytest.raises(Refusal, match="hex code"):
        find_fabric("xyzzy")


def test_no_spelling_means_two_colours():
    # Every spelling finds the fabric it stands with: none is listed twice.
    import tomllib

    from chalkbeam.garments.fabrics import DATA

    entries = tomllib.loads(DATA.read_text())["fabric"]
    for entry in entries:
        for spelling in (entry["name"], *entry.get("also", [])):
            assert find_fabric(spelling).name == entry["name"]
    assert len(fabrics()) == len(entries) >= 30


def test_every_cloth_of_the_ladder_is_known_and_no_cloth_is_brighter_than_paper_or_black_as_soot():
    assert [find_fabric(name).name for name in LADDER] == list(LADDER)
    for fabric in fabrics().values():
        assert 0.005 < relative_luminance(fabric.colour) < 0.95


def test_the_shops_own_fabrics_come_first():
    save_fabric(Fabric("Navy", (1, 2, 3)))
    save_fabric(Fabric("harbour “blue”", (9, 8, 7)))
    save_fabric(Fabric("navy", (4, 5, 6)))
    assert find_fabric("navy").colour == (4, 5, 6)
    assert find_fabric("Harbour blue").colour == (9, 8, 7)
    assert fabrics()["navy"].colour == (4, 5, 6)
    assert shop_fabrics_file().read_text().count("[[fabric]]") == 2
    shop_fabrics_file().write_text("[[fabric]]\nname = 'x'\ncolour = 'blue'\n")
    with pytest.raises(Refusal, match="line 3"):
        find_fabric("navy")


def photo(cloth, light=(1.0, 1.0, 1.0), grain=0.02):
    """Return a picture of cloth (left) and white paper (right) in coloured light."""
    rng = np.random.default_rng(4)
    scene = np.empty((200, 400, 3))
    scene[:, :200] = linear_from_srgb(cloth)
    scene[:, 200:] = WHITE_PAPER
    scene *= np.array(light) * (1 + rng.normal(0, grain, (200, 400, 1)))
    return Photo("cloth.jpg", np.ascontiguousarray(srgb_from_linear(scene)[..., ::-1]), "camera")


@pytest.mark.parametrize("cloth", [(29, 37, 66), (184, 29, 44), (162, 164, 167), (217, 240, 70)])
@pytest.mark.parametrize("light", [(0.9, 0.9, 0.9), (0.95, 0.7, 0.45), (0.3, 0.35, 0.4)])
def test_white_paper_takes_the_lights_colour_out(cloth, light):
    found = measure_fabric(photo(cloth, light), (20, 20, 150, 150), (220, 20, 150, 150), "x")
    labs = lab_from_linear(linear_from_srgb([found.colour, cloth]))
    assert ciede2000(labs[0], labs[1]) < 1.5


def test_without_paper_the_photo_is_taken_as_it_is():
    found = measure_fabric(photo((29, 37, 66)), (20, 20, 150, 150), None, "x")
    assert np.abs(np.array(found.colour) - (29, 37, 66)).max() <= 1


@pytest.mark.parametrize(
    ("patch", "white", "said"),
    [
        ((-1, 0, 50, 50), None, "lie within"),
        ((0, 0, 4, 50), None, "8 px or more"),
        ((380, 0, 50, 50), None, "lie within"),
        ((220, 0, 100, 100), (0, 0, 100, 100), "darker than the cloth"),
        ((150, 0, 100, 100), None, "uneven"),
    ],
)
def test_bad_patches(patch, white, said):
    with pytest.raises(Refusal, match=said) as refused:
        measure_fabric(photo((29, 37, 66)), patch, white, "x")
    assert "\n" not in str(refused.value)


def test_a_burnt_out_photo_is_refused():
    with pytest.raises(Refusal, match="burnt out"):
        measure_fabric(photo((29, 37, 66), (1.4,) * 3), (0, 0, 99, 99), (220, 0, 99, 99), "x")


@pytest.mark.parametrize("name", LADDER)
def test_every_role_lights_every_cloth_of_the_ladder(name):
    cloth = find_fabric(name)
    band = _band(cloth, palette_for(cloth.colour), Lighting()).astype(int)
    ground = band[0, 0]
    for field in np.array_split(band, len(Role), axis=1):
        lit = np.abs(field - ground).sum(axis=-1) > 20
        assert lit.sum() > 500
        assert not lit[0].any()
    if name == "red":  # red cloth sends back red, whatever falls on it
        assert np.all(band[..., 0] >= band[..., 1:].max(axis=-1))


def test_the_ladder_is_a_picture_and_the_same_each_time():
    cloths = [find_fabric(name) for name in LADDER]
    data = draw_ladder(cloths)
    assert data == draw_ladder(cloths)
    assert Image.open(io.BytesIO(data)).size[0] > 1300


def chalkbeam(*words):
    result = CliRunner().invoke(app, ["fabrics", *map(str, words)], env={"COLUMNS": "120"})
    if isinstance(result.exception, Refusal):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.stdout


def test_the_command_lists_and_warns():
    assert "safety yellow" in chalkbeam()
    assert "Faint in this light on black" in chalkbeam("black", "--room", 4000)
    assert "Faint" not in chalkbeam("white")
    (said,) = json.loads(chalkbeam("#1d2542", "--json"))
    assert said["lines"]["lay"]["from_cloth_ciede2000"] > 15


def test_the_command_measures_a_photo_and_keeps_it(tmp_path):
    picture = photo((29, 37, 66), (0.9, 0.8, 0.6)).image
    big = np.kron(picture, np.ones((4, 4, 1), dtype=np.uint8))
    Image.fromarray(big[..., ::-1]).save(tmp_path / "cloth.png")
    (said,) = json.loads(
        chalkbeam(
            "--photo", tmp_path / "cloth.png", "--patch", "80,80,600,600",
            "--white", "880,80,600,600", "--save", "our navy", "--json",
        )
    )  # fmt: skip
    assert find_fabric("Our Navy").hex == said["colour"]
    labs = lab_from_linear(linear_from_srgb([find_fabric("our navy").colour, (29, 37, 66)]))
    assert ciede2000(labs[0], labs[1]) < 2
    with pytest.raises(Refusal, match="left,top,width,height"):
        chalkbeam("--photo", tmp_path / "cloth.png", "--patch", "80,80")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--save", "ours"), "--save goes with --photo"),
        (("--patch", "1,1,5,5"), "--patch goes with --photo"),
        (("white", "--photo", "cloth.png", "--patch", "1,1,5,5"), "not both"),
        (("--ladder", "ladder.gif"), "must end in .png"),
        (("--ladder", ""), "must end in .png"),
        (("--room", "nan"), "take lux"),
    ],
)
def test_options_that_contradict_are_refused(words, says):
    with pytest.raises(Refusal, match=says):
        chalkbeam(*words)


def test_the_command_draws_the_ladder(tmp_path):
    chalkbeam("--ladder", tmp_path / "ladder.png")
    cloths = [find_fabric(name) for name in LADDER]
    assert (tmp_path / "ladder.png").read_bytes() == draw_ladder(cloths)
