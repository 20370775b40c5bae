"""Location files: the trade's locations, their twins, faults with their line, the user's own."""

import math
import os

import pytest

from calibration.refusal import Refusal
from chalkbeam.garments import AGES
from chalkbeam.locations import location, locations
from chalkbeam.locations.library import DATA, read_location
from chalkbeam.locations.twins import other_side
from chalkbeam.placement.garment_lines import unknown_lines

GOOD = """
title = "over the heart"
face = "front"
basis = "the shop's own"
width = "3 in"

[[rule]]
says = "over the left neck point"
art = "optical_centre"
across = "left_neck_point"

[[rule]]
says = "so far under the collar"
art = "ink_top"
below = "neck_seam"
by.adult = ["3 in", "3 1/2 in", "4 in"]
by.youth = "60 mm"
by.toddler = "2 in"
by.infant = "1.5 in"
"""


def write(folder, text, name="heart.toml"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_the_trades_locations_are_all_there():
    # The places decoration goes, common practice, no source.
    assert set(locations()) >= {
        "centre-chest", "full-front", "left-chest", "right-chest", "left-chest-name",
        "right-chest-name", "left-chest-script", "right-chest-script", "upper-back", "full-back",
        "nape", "left-sleeve", "right-sleeve", "left-sleeve-long", "right-sleeve-long",
        "left-cuff", "right-cuff", "player-name", "player-number", "above-pocket", "left-hem",
        "right-hem", "left-leg", "right-leg", "tote",
    }  # fmt: skip


@pytest.mark.parametrize("name", sorted(locations()))
def test_every_location_says_where_it_comes_from_and_names_real_lines(name):
    found = locations()[name]
    assert "no source" in found.preset.basis or "from memory" in found.preset.basis
    assert unknown_lines(found) == ()
    for rule in found.rules:
        for age in rule.ages:
            band = rule.by[age]
            assert band.low <= band.usual <= band.high


@pytest.mark.parametrize("name", sorted(locations()))
def test_distances_and_art_shrink_with_age(name):
    # Depth and art width fall from adult to infant: common practice, no source.
    found = locations()[name]
    for sizes in (found.preset.width, found.preset.height):
        usual = [sizes[age].usual for age in AGES if sizes]
        assert usual == sorted(usual)
    for rule in found.rules:
        if set(rule.ages) == set(AGES) and rule.bound == "target" and not rule.check:
            usual = [rule.by[age].usual for age in AGES]
            assert usual == sorted(usual), rule.says


def test_usual_widths_of_children():
    # Youth 0.8, toddler 0.55, infant 0.4 of the adult's: common practice, no source.
    width = location("full-front").preset.width
    for age, share in (("youth", 0.8), ("toddler", 0.55), ("infant", 0.4)):
        assert width[age].usual == pytest.approx(share * width["adult"].usual)


def test_figures_come_in_their_height_unless_too_wide():
    # Numbers are 8 in high (common practice, no source), and no wider than the widest.
    spot = location("player-number")
    assert spot.usual_scale("adult", 100, 200) * 200 == pytest.approx(8 * 25.4)
    wide = spot.usual_scale("adult", 1000, 100)
    assert wide * 1000 == pytest.approx(spot.preset.width["adult"].high)
    assert spot.letter_height("adult") == (pytest.approx(8 * 25.4), pytest.approx(8 * 25.4))
    # Where only a width is usual, a name of six letters has it: common practice, no source.
    usual, _ = location("left-chest-name").letter_height("adult")
    assert usual == pytest.approx(3.5 * 25.4 / 4.5)


def test_twins_exchange_left_and_right_in_words_only():
    assert other_side("left_neck_point, Left chest; leftover bright") == (
        "right_neck_point, Right chest; leftover bright"
    )
    for path in sorted(DATA.glob("*.toml")):
        pair = read_location(path, builtin=True)
        if len(pair) == 1:
            continue
        first, twin = pair
        assert twin.name == other_side(first.name)
        assert twin.face == other_side(first.face)
        assert twin.preset.turn == first.preset.turn
        for mine, its in zip(first.rules, twin.rules, strict=True):
            assert its.line == other_side(mine.line)
            assert its.art == other_side(mine.art)
            assert its.by == mine.by
            assert mine.direction in (its.direction, other_side(its.direction))


def test_names_are_found_however_they_are_spelled():
    for text in ("left-chest", "Left Chest", "left_chest", "LC", "left breast"):
        assert location(text).name == "left-chest"
    assert location("RC").name == "right-chest"
    assert location("yoke").name == "upper-back"
    with pytest.raises(Refusal, match=r"no location “elbow”.*left-chest"):
        location("elbow")


def test_script_rises_to_the_right():
    assert location("left-chest-script").turn == pytest.approx(-math.radians(15))


def test_users_presets_are_picked_up_live(tmp_path):
    assert "heart" not in locations(tmp_path / "nowhere")
    path = write(tmp_path, GOOD)
    found = location("heart", tmp_path)
    assert found.origin == path
    assert found.rules[1].by["youth"].usual == 60
    write(tmp_path, GOOD.replace("60 mm", "65 mm"))
    os.utime(path, ns=(1, 1))
    assert location("heart", tmp_path).rules[1].by["youth"].usual == 65
    write(tmp_path, GOOD.replace("over the heart", "our own left chest"), "left-chest.toml")
    assert location("left-chest", tmp_path).title == "our own left chest"
    path.unlink()
    with pytest.raises(Refusal):
        location("heart", tmp_path)


def test_a_preset_replaces_the_programs_location_however_its_file_is_spelled(tmp_path):
    path = write(tmp_path, GOOD, "Left Chest.toml")
    assert location("left-chest", tmp_path).origin == path
    assert len(locations(tmp_path)) == len(locations(tmp_path / "nowhere"))
    write(tmp_path, GOOD.replace('"2 in"', '"2"'), path.name)
    os.utime(path, ns=(1, 1))
    assert "left-chest" not in locations(tmp_path)
    with pytest.raises(Refusal, match=r"Left Chest\.toml cannot be used: line 18"):
        location("left-chest", tmp_path)


def test_a_broken_preset_stops_no_other(tmp_path, caplog):
    write(tmp_path, GOOD)
    write(tmp_path, GOOD.replace('"2 in"', '"2"'), "nape.toml")
    known = locations(tmp_path)
    assert known["heart"].title == "over the heart"
    assert "nape" not in known  # nor the program's own, which it was to replace
    assert location("heart", tmp_path) is known["heart"]
    assert location("left chest", tmp_path).origin is None
    said = [record.getMessage() for record in caplog.records]
    assert len(said) == 1
    assert "nape.toml cannot be used: line 18" in said[0]
    with pytest.raises(Refusal, match=r"nape\.toml cannot be used: line 18"):
        location("Nape", tmp_path)
    # mended, it is there at once
    path = write(tmp_path, GOOD, "nape.toml")
    os.utime(path, ns=(1, 1))
    assert location("nape", tmp_path).title == "over the heart"


@pytest.mark.parametrize(
    ("broken", "twin", "also"),
    [("left-chest", "right-chest", "RC"), ("right-cuff", "left-cuff", "left-cuff")],
)
def test_the_twin_of_a_broken_preset_is_withheld_with_it(tmp_path, broken, twin, also):
    # The shop's rule for the one side stands for the other: the program's must not step in.
    text = f'twin = "{twin}"\n{GOOD}'
    path = write(tmp_path, text, f"{broken}.toml")
    assert location(twin, tmp_path).origin == path
    write(tmp_path, text.replace('"2 in"', '"2"'), path.name)
    os.utime(path, ns=(1, 1))
    assert not {broken, twin} & set(locations(tmp_path))
    for name in (broken, twin, also):
        with pytest.raises(Refusal, match=rf"{broken}\.toml cannot be used: line 19"):
            location(name, tmp_path)
    # a twin with a file of its own is the shop's word
    mine = write(tmp_path, GOOD, f"{twin}.toml")
    assert location(twin, tmp_path).origin == mine
    assert twin in locations(tmp_path)
    with pytest.raises(Refusal, match=rf"{broken}\.toml"):
        location(broken, tmp_path)


def test_a_link_to_nothing_stops_no_other(tmp_path, caplog):
    write(tmp_path, GOOD)
    # An editor's lock is such a link, hidden: no preset at all.
    (tmp_path / ".#heart.toml").symlink_to("mate@launch.4711:1732500000")
    write(tmp_path, "half wri", ".heart.toml")
    assert set(locations(tmp_path)) == {*locations(tmp_path / "nowhere"), "heart"}
    assert not caplog.records
    (tmp_path / "nape.toml").symlink_to(tmp_path / "gone.toml")
    assert "nape" not in locations(tmp_path)
    assert location("heart", tmp_path).title == "over the heart"
    with pytest.raises(Refusal, match=r"nape\.toml cannot be read"):
        location("nape", tmp_path)


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('by.youth = "60 mm"', "by.youth = 60", 17, "length with its unit"),
        ('by.youth = "60 mm"', 'by.youth = "60"', 17, "no unit"),
        ('by.youth = "60 mm"', 'by.yout = "60 mm"', 12, "no age"),
        ('by.youth = "60 mm"\n', "", 12, "no distance for youth"),
        ('"3 1/2 in", "4 in"]', '"5 in", "4 in"]', 16, "must rise"),
        ('art = "ink_top"', 'art = "ink_topp"', 14, "ink_bottom"),
        ('art = "ink_top"', 'art = "ink_left"', 12, "cannot lie below"),
        ('below = "neck_seam"', 'below = "neck_seam"\nhard = true', 12, "hard rule must be"),
        ('below = "neck_seam"', 'beneath = "neck_seam"', 15, "is not known here"),
        (
            'across = "left_neck_point"',
            'across = "left_neck_point"\nweight = -1',
            11,
            "greater than",
        ),
        ('across = "left_neck_point"', 'across = "left_neck_point"\nby = "1 in"', 7, "on the line"),
        ('face = "front"\n', "", 1, "is missing"),
    ],
)
def test_faults_are_told_with_their_line(tmp_path, old, new, line, words):
    assert old in GOOD
    path = write(tmp_path, GOOD.replace(old, new))
    with pytest.raises(Refusal, match=words) as caught:
        read_location(path)
    assert f"line {line} " in str(caught.value)
    assert path.name in str(caught.value)


def test_a_location_must_aim_both_ways(tmp_path):
    text = GOOD.replace('across = "left_neck_point"', 'right_of = "centre"\nbound = "at_least"')
    with pytest.raises(Refusal, match="left and right"):
        read_location(write(tmp_path, text))


def test_mistyped_lines_are_found(tmp_path):
    text = GOOD.replace("left_neck_point", "left_neckpoint")
    (found,) = read_location(write(tmp_path, text))
    assert unknown_lines(found) == ("left_neckpoint",)


def test_a_mistyped_location_is_answered_with_what_may_be_meant():
    with pytest.raises(Refusal, match="no location “lft-chest”: did you mean “left-chest”"):
        location("lft-chest")
