"""The faces that come with the program, and the shop's own, against FreeType."""

import shutil

import numpy as np
import pytest
from PIL import ImageFont, features

from calibration.refusal import Refusal
from chalkbeam.artwork import letter
from chalkbeam.artwork.faces import BUILTIN, faces_folder, find_face

FACES = sorted(BUILTIN)
NAMES = "AÄÅBCÇDEÉFGHIJKLMNÑOÖØPQRSŠTUÜVWXYZŽ '-. 0123456789"


@pytest.mark.parametrize("name", FACES)
def test_a_face_sets_the_names_and_numbers_of_a_team(name):
    font = find_face(name)
    art = letter("H", height=50, font=font)
    assert art.letters.cap == 50
    assert art.baseline - art.ink.top == pytest.approx(50, rel=0.001)
    for start in range(0, len(NAMES), 24):
        letter(NAMES[start : start + 24], height=20, font=font)  # refused if one were missing


@pytest.mark.parametrize("name", FACES)
def test_a_face_has_its_licence_beside_it(name):
    font = find_face(name)
    if name == "varsity":  # the program's own
        return
    beside = [font.with_name(f"{name}.LICENSE.txt"), font.with_name("LICENSE.txt")]
    text = next(path for path in beside if path.is_file()).read_text("utf-8")
    assert any(
        word in text for word in ("SIL OPEN FONT LICENSE", "Apache License", "Bitstream Vera")
    )


def test_the_faces_are_small():
    files = [path for path in find_face("block").parent.iterdir() if path.suffix == ".ttf"]
    assert sum(path.stat().st_size for path in files) < 1_500_000


@pytest.mark.skipif(not features.check("raqm"), reason="this Pillow sets text without HarfBuzz")
@pytest.mark.parametrize(("name", "width"), [("block", 75), ("square", 60)])
def test_condensed_letters_are_the_fonts_own_narrow_ones(name, width):
    # Outside reference: the same cut of the variable font by FreeType through Pillow, whose
    # capitals are several hundred whole pixels high.
    font = find_face(name)
    theirs = ImageFont.truetype(str(font), 800, layout_engine=ImageFont.Layout.RAQM)

    def ink(text):
        left, top, right, bottom = theirs.getbbox(text, anchor="ls")
        return right - left, bottom - top

    wide, _ = ink("HARBOUR")
    theirs.set_variation_by_axes([width])
    narrow, high = ink("HARBOUR")
    free = letter("HARBOUR", height=60, font=font)
    art = letter("HARBOUR", height=60, font=font, widest=free.ink.width * narrow / wide)
    assert art.letters.share == pytest.approx(narrow / wide)
    assert art.ink.height == pytest.approx(60 * high / ink("H")[1], rel=0.005)
    # Its uprights keep their weight: squeezed ones would be as much thinner as the line.
    stems = [letter("I", height=60, font=font).ink.width]
    assert art.ink.width / free.ink.width < 0.8
    ours = _upright(art)
    assert ours > 1.05 * stems[0] * narrow / wide


def _upright(art):
    """How thick the first upright of set letters is, mm."""
    from chalkbeam.artwork.letters import letter_mask

    mask = letter_mask(art, per_mm=10)
    row = mask[mask.shape[0] // 4]
    start = int(np.argmax(row))
    return int(np.argmin(row[start:])) / 10


def test_a_face_is_found_by_its_name_or_file(tmp_path):
    own = faces_folder() / "Regatta.ttf"
    own.parent.mkdir(parents=True)
    shutil.copyfile(find_face("slab"), own)
    assert find_face("regatta") == own
    assert find_face("Regatta.ttf", beside=tmp_path) == own
    shutil.copyfile(own, tmp_path / "beside.ttf")
    assert find_face("beside.ttf", beside=tmp_path) == tmp_path / "beside.ttf"
    with pytest.raises(Refusal, match="no face “blok”: did you mean “block”"):
        find_face("blok")
    with pytest.raises(Refusal, match="is not there"):
        find_face("../secret.ttf", beside=tmp_path)


def test_a_file_that_is_no_font_is_refused(tmp_path):
    path = tmp_path / "broken.ttf"
    path.write_bytes(b"no font at all")
    with pytest.raises(Refusal, match="cannot be read as a font"):
        letter("PYKE", height=50, font=path)
